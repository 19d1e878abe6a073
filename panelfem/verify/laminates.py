"""Laminate theory: stiffness, strains, constants, the layered strip."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.laminate import Laminate, Ply
from panelfem.material import PlyMaterial, library
from panelfem.reference.layered_beam import LayeredBeam
from panelfem.reference.stiffness import laminate, rotated_plane
from panelfem.verify.row import LAMINATE, STRESS, VALUE, Row

KAW = "Kaw, Mechanics of Composite Materials (recalled)"


def t300() -> PlyMaterial:
    """T300/5208 with the constants of Tsai & Hahn."""
    return library()["T300-5208"]  # type: ignore[return-value]


def stack(material: PlyMaterial, degrees: Sequence[float], thickness: float) -> Laminate:
    """Equal plies of one material."""
    return Laminate(tuple(Ply(material, thickness, math.radians(angle)) for angle in degrees))


def again(m: PlyMaterial, degrees: Sequence[float], thickness: float) -> FloatArray:
    """The stiffness written out a second time, (8, 8)."""
    return laminate(m.E1, m.E2, m.nu12, m.G12, m.G13, m.G23, [(angle, thickness) for angle in degrees])


def quasi_isotropic() -> Iterator[Row]:
    """Engineering constants from the invariants."""
    m = t300()
    q = np.linalg.inv(np.array([[1 / m.E1, -m.nu12 / m.E1, 0], [-m.nu12 / m.E1, 1 / m.E2, 0], [0, 0, 1 / m.G12]]))
    u1 = (3 * q[0, 0] + 3 * q[1, 1] + 2 * q[0, 1] + 4 * q[2, 2]) / 8
    u4 = (q[0, 0] + q[1, 1] + 6 * q[0, 1] - 4 * q[2, 2]) / 8
    lam = stack(m, (0, 45, -45, 90, 90, -45, 45, 0), 0.125e-3)
    a = np.linalg.inv(lam.A / lam.thickness)
    source = "Tsai & Hahn 1980 (recalled)"
    for what, printed, reference, ours, unit in (
        ("E", 69.68, (u1**2 - u4**2) / u1 / 1e9, 1 / a[0, 0] / 1e9, "GPa"),
        ("G", 26.88, (u1 - u4) / 2 / 1e9, 1 / a[2, 2] / 1e9, "GPa"),
        ("ν", 0.296, u4 / u1, -a[0, 1] / a[0, 0], "-"),
    ):
        yield Row(
            "laminate theory",
            "T300/5208 [0/45/-45/90]s",
            what,
            source,
            printed,
            float(reference),
            "invariants U1, U4",
            float(ours),
            unit,
            LAMINATE,
        )


def kaw() -> Iterator[Row]:
    """A, B, D and strains of an unsymmetric laminate; thermal bending."""
    m, angles = t300(), (0, 30, -45)
    lam, C = stack(m, angles, 5e-3), again(m, angles, 5e-3)
    printed = {
        "A": ((1.739e9, 3.884e8, 5.663e7, 4.533e8, -1.141e8, 4.525e8), 0, 0, "N/m"),
        "B": ((-3.129e6, 9.855e5, -1.072e6, 1.158e6, -1.072e6, 9.855e5), 0, 3, "N"),
        "D": ((3.343e4, 6.461e3, -5.240e3, 9.320e3, -5.596e3, 7.663e3), 3, 3, "N·m"),
    }
    name = "[0/30/-45], 5 mm plies"
    for letter, (values, r, c, unit) in printed.items():
        for value, (i, j) in zip(values, ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)), strict=True):
            yield Row(
                "laminate theory",
                name,
                f"{letter}{i + 1}{j + 1}".replace("3", "6"),
                KAW,
                value,
                float(C[r + i, c + j]),
                "written out again",
                float(lam.stiffness[r + i, c + j]),
                unit,
                LAMINATE,
            )
    load = np.array([1e3, 1e3, 0, 0, 0, 0])
    ours, reference = np.linalg.solve(lam.stiffness[:6, :6], load), np.linalg.solve(C[:6, :6], load)
    for k, (what, value) in enumerate(
        (
            ("ε⁰x", 3.123e-7),
            ("ε⁰y", 3.492e-6),
            ("γ⁰xy", -7.598e-7),
            ("κx", 2.971e-5),
            ("κy", -3.285e-4),
            ("κxy", 4.101e-4),
        )
    ):
        yield Row(
            "laminate theory",
            name + ", Nx = Ny = 1 kN/m",
            what,
            KAW,
            value,
            float(reference[k]),
            "written out again",
            float(ours[k]),
            "-" if k < 3 else "1/m",
            LAMINATE,
        )
    yield from thermal()


def thermal() -> Iterator[Row]:
    """[0/90], −75 °C: by compatibility of two layers that stay plane in section, solved as a small system
    of its own."""
    m = t300()
    lam = stack(m, (0, 90), 5e-3)
    ours = np.linalg.solve(lam.stiffness[:6, :6], lam.thermal_resultants(-75.0))
    # two layers with unknown layer strains e(z) = e0 + z k, forces and moments of each from Hooke's law in
    # x and y
    s = np.array([[1 / m.E1, -m.nu12 / m.E1], [-m.nu12 / m.E1, 1 / m.E2]])
    q0 = np.linalg.inv(s)
    q90 = q0[::-1, ::-1]
    free = -75.0 * np.array([m.alpha1, m.alpha2])
    g, w = np.polynomial.legendre.leggauss(3)
    K, f = np.zeros((4, 4)), np.zeros(4)
    for q, e, bottom in ((q0, free, -5e-3), (q90, free[::-1], 0.0)):
        for gi, wi in zip(g, w, strict=True):
            z = bottom + 2.5e-3 * (gi + 1)
            row = np.hstack([np.eye(2), z * np.eye(2)])
            K += wi * 2.5e-3 * row.T @ q @ row
            f += wi * 2.5e-3 * row.T @ q @ e
    reference = np.linalg.solve(K, f)
    for what, value, r, o, unit in (
        ("ε⁰x", -3.907e-4, reference[0], ours[0], "-"),
        ("κx", -0.1276, reference[2], ours[3], "1/m"),
    ):
        yield Row(
            "laminate theory",
            "[0/90], 5 mm plies, ΔT = −75 °C",
            what,
            KAW,
            value,
            float(r),
            "integrated through the thickness",
            float(o),
            unit,
            LAMINATE,
        )


def crawford() -> Iterator[Row]:
    """Stiffness of a ply at 35°."""
    m = replace(t300(), E1=145e9, E2=15e9, G12=4e9, nu12=0.278)
    ours = stack(m, (35,), 1e-3).A / 1e-3
    d = 1 - m.nu12**2 * m.E2 / m.E1
    plane = np.array([[m.E1 / d, m.nu12 * m.E2 / d, 0], [m.nu12 * m.E2 / d, m.E2 / d, 0], [0, 0, m.G12]])
    reference = rotated_plane(plane, math.radians(35))
    for value, (i, j) in zip(
        (7.28, 3.44, 4.17, 2.80, 1.98, 3.42), ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)), strict=True
    ):
        yield Row(
            "laminate theory",
            "ply at 35°",
            f"Q̄{i + 1}{j + 1}".replace("3", "6"),
            "Crawford, Plastics Engineering, example 3.16",
            value,
            float(reference[i, j]) / 1e10,
            "TᵀQT written out again",
            float(ours[i, j]) / 1e10,
            "1e4 MPa",
            LAMINATE,
        )


def strip() -> Iterator[Row]:
    """The layered strip in three-point bending, through laminate theory."""
    source = "NAFEMS R0031/1 (recalled)"
    m = replace(t300(), E1=100e9, E2=5e9, G12=3e9, G13=3e9, G23=2e9, nu12=0.4)
    t = (0.1, 0.1, 0.1, 0.4, 0.1, 0.1, 0.1)
    angles = (0, 90, 0, 90, 0, 90, 0)
    lam = Laminate(tuple(Ply(m, 1e-3 * ti, math.radians(a)) for ti, a in zip(t, angles, strict=True)))
    beam = LayeredBeam(
        tuple((100e9, 3e9, 1e-3 * ti) if a == 0 else (5e9, 2e9, 1e-3 * ti) for ti, a in zip(t, angles, strict=True))
    )
    span, load = 30e-3, 10e3  # N/m of width at mid-span
    moment, force = load * span / 4, load / 2
    compliance = np.linalg.inv(lam.stiffness)
    strain = np.asarray(compliance[:, 3] * moment, np.float64)
    stress = float(lam.ply_stresses(strain[None])[0, -1, 2, 0])
    shear = float(lam.transverse_shear(np.array([[force, 0.0]]))[0, 0, 2, 0])
    deflection = compliance[3, 3] * load * span**3 / 48 + compliance[6, 6] * load * span / 4
    theory = "narrow strip: the curvature across is free"
    yield Row(
        "laminate theory",
        "layered strip",
        "outer-fibre stress at mid-span",
        source,
        683.9,
        beam.stress(0.5e-3, 6, moment) / 1e6,
        "layered beam",
        stress / 1e6,
        "MPa",
        STRESS,
        theory,
    )
    yield Row(
        "laminate theory",
        "layered strip",
        "shear at the first interface",
        source,
        4.1,
        beam.shear(-0.4e-3, force) / 1e6,
        "layered beam, Jourawski",
        abs(shear) / 1e6,
        "MPa",
        STRESS,
        theory,
    )
    yield Row(
        "laminate theory",
        "layered strip",
        "deflection at mid-span",
        source,
        1.06,
        beam.three_point(span, load) * 1e3,
        "layered beam with shear",
        float(deflection) * 1e3,
        "mm",
        VALUE,
        theory,
    )


def rows() -> Iterator[Row]:
    """All rows of laminate theory."""
    yield from quasi_isotropic()
    yield from kaw()
    yield from crawford()
    yield from strip()
