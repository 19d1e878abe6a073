"""Failure criteria against worked examples, and against a scan of the load with the formula written out again."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq

from panelfem.arrays import FloatArray
from panelfem.failure import CRITERIA
from panelfem.failure.in_situ import embedded_strengths
from panelfem.material import PlyMaterial
from panelfem.reference.stiffness import rotated_plane
from panelfem.verify.laminates import KAW, stack, t300
from panelfem.verify.row import LAMINATE, Row


def _strengths(s: FloatArray, m: PlyMaterial) -> tuple[float, float]:
    return (m.Xt if s[0] >= 0 else m.Xc), (m.Yt if s[1] >= 0 else m.Yc)


def maximum_stress(s: FloatArray, m: PlyMaterial) -> float:
    """Index: the greatest stress over its strength."""
    x, y = _strengths(s, m)
    return float(max(abs(s[0]) / x, abs(s[1]) / y, abs(s[2]) / m.S))


def tsai_hill(s: FloatArray, m: PlyMaterial) -> float:
    """Index of Tsai-Hill, the strength of each stress's own sign."""
    x, y = _strengths(s, m)
    return float((s[0] / x) ** 2 - s[0] * s[1] / x**2 + (s[1] / y) ** 2 + (s[2] / m.S) ** 2)


def tsai_wu(s: FloatArray, m: PlyMaterial) -> float:
    """Index of Tsai-Wu with F12 = −½√(F11 F22)."""
    f11, f22 = 1 / (m.Xt * m.Xc), 1 / (m.Yt * m.Yc)
    return float(
        (1 / m.Xt - 1 / m.Xc) * s[0]
        + (1 / m.Yt - 1 / m.Yc) * s[1]
        + f11 * s[0] ** 2
        + f22 * s[1] ** 2
        + s[2] ** 2 / m.S**2
        - math.sqrt(f11 * f22) * s[0] * s[1]
    )


def hoffman(s: FloatArray, m: PlyMaterial) -> float:
    """Index of Hoffman from the three-dimensional form, strengths across equal in 2 and 3."""
    a, b = 1 / (m.Xt * m.Xc), 1 / (m.Yt * m.Yc)
    square = (b - a / 2) * s[1] ** 2 + a / 2 * s[0] ** 2 + a / 2 * (s[0] - s[1]) ** 2 + (s[2] / m.S) ** 2
    return float(square + (1 / m.Xt - 1 / m.Xc) * s[0] + (1 / m.Yt - 1 / m.Yc) * s[1])


def puck(s: FloatArray, m: PlyMaterial) -> float:
    """Greatest of Puck's exposures over the planes parallel to the fibre, from their tractions (p+ 0.35, p− 0.30)."""
    up, down = 0.35 / m.S, 0.30 / m.S
    RA = (math.sqrt(1 + 2 * down * m.Yc) - 1) / (2 * down)
    c, sn = np.cos(np.linspace(0, math.pi, 7201)), np.sin(np.linspace(0, math.pi, 7201))
    normal = s[1] * c * c
    shear = (s[1] * sn * c / RA) ** 2 + (s[2] * c / m.S) ** 2
    pulled = np.sqrt(((1 / m.Yt - up) * normal) ** 2 + shear) + up * normal
    pressed = np.sqrt(shear + (down * normal) ** 2) + down * normal
    return float(np.where(normal >= 0, pulled, pressed).max())


def scanned(index: Callable[[FloatArray, PlyMaterial], float], s: FloatArray, m: PlyMaterial) -> float:
    """The factor on s at which the index is 1, by bracketing."""
    high = 1.0
    while index(high * s, m) < 1:
        high *= 1.5
    return float(brentq(lambda f: index(f * s, m) - 1, 0.0, high, xtol=1e-12, rtol=1e-14))


def rows() -> Iterator[Row]:
    """All rows of failure criteria."""
    m, how = t300(), "the index scanned to 1 along the load"
    c, s = math.cos(math.radians(60)), math.sin(math.radians(60))
    turn = np.array([[c * c, s * s, 2 * c * s], [s * s, c * c, -2 * c * s], [-c * s, c * s, c * c - s * s]])
    local = turn @ np.array([2.0, -3.0, 4.0])
    # the same through the laminate: a strain state that gives those stresses
    lam = stack(m, (60,), 5e-3)
    strain = np.zeros(8)
    strain[:3] = np.linalg.solve(lam.A / 5e-3, np.array([2e6, -3e6, 4e6]))
    ours = lam.ply_stresses(strain[None])[0, 0, 1]
    name = "60° ply, σ = 2, −3, 4 MPa"
    for k, value in enumerate((1.714, -2.714, -4.165)):
        yield Row(
            "failure",
            name,
            ("σ11", "σ22", "τ12")[k],
            KAW,
            value,
            float(local[k]),
            "stress transformation",
            float(ours[k]) / 1e6,
            "MPa",
            LAMINATE,
        )
    for criterion, index, value in (
        ("maximum stress", maximum_stress, 16.33),
        ("Tsai-Hill", tsai_hill, 16.06),
        ("Tsai-Wu", tsai_wu, 22.39),
    ):
        found = float(np.min(CRITERIA[criterion].reserve(ours, np.zeros(3), m)))
        yield Row(
            "failure",
            name,
            f"reserve factor, {criterion}",
            KAW,
            value,
            scanned(index, local * 1e6, m),
            how,
            found,
            "-",
            LAMINATE,
        )
    found = float(np.min(CRITERIA["Hoffman"].reserve(ours, np.zeros(3), m)))
    source = CRITERIA["Hoffman"].source
    quantity = "reserve factor, Hoffman"
    yield Row("failure", name, quantity, source, None, scanned(hoffman, local * 1e6, m), how, found, "-", LAMINATE)
    for mode, stress in ((2, (0, 25e6, 40e6)), (3, (0, -50e6, 60e6)), (4, (0, -150e6, 60e6))):
        law, state = CRITERIA["Puck"], np.array(stress, np.float64)
        yield Row(
            "failure",
            f"UD ply, σ22, τ12 = {stress[1] / 1e6:.0f}, {stress[2] / 1e6:.0f} MPa".replace("-", "−"),
            f"reserve factor, Puck, {law.modes[mode].name}",
            law.source,
            None,
            scanned(puck, state, m),
            "the worst of 7200 action planes from their tractions",
            float(law.reserve(state, np.zeros(3), m)[mode]),
            "-",
            LAMINATE,
        )
    yield from in_place(m)
    # first ply of [0/90/0] pulled along x: strains from the uncoupled membrane stiffness of a symmetric stack
    lam = stack(m, (0, 90, 0), 5e-3)
    d = 1 - m.nu12**2 * m.E2 / m.E1
    plane = np.array([[m.E1 / d, m.nu12 * m.E2 / d, 0], [m.nu12 * m.E2 / d, m.E2 / d, 0], [0, 0, m.G12]])
    membrane = 5e-3 * (2 * plane + rotated_plane(plane, math.pi / 2))
    strains = np.linalg.solve(membrane, [1.0, 0, 0])
    least = min(scanned(tsai_wu, plane @ e, m) for e in (strains, strains[[1, 0, 2]]))
    load = np.linalg.solve(lam.stiffness, np.eye(8)[0])
    stresses = lam.ply_stresses(load[None])[0]
    found = float(np.min(CRITERIA["Tsai-Wu"].reserve(stresses, np.zeros(3), m)))
    yield Row(
        "failure",
        "[0/90/0], 5 mm plies",
        "first ply failure, Nx, Tsai-Wu",
        KAW,
        7.277e6,
        least,
        how,
        found,
        "N/m",
        LAMINATE,
    )


def _work(shear: float, G: float, beta: float) -> float:
    """∫τ dγ, J/m³, of γ = τ/G + β τ³ up to a stress."""
    return float(quad(lambda tau: tau * (1.0 / G + 3.0 * beta * tau * tau), 0.0, shear)[0])


def in_place(m: PlyMaterial) -> Iterator[Row]:
    """Strength of a thin ply between others."""
    thin = replace(
        m, E1=171.42e9, E2=9.08e9, G12=5.29e9, nu12=0.32, Yt=62.3e6, S=92.3e6,
        GIc=277.4, GIIc=787.9, shear_softening=2.98e-26,
    )  # fmt: skip
    t, source = 0.125e-3, "P. Maimi et al. 2007, Mech. Mater. 39:897 (recalled)"
    stiff = 1.0 / (1.0 / thin.E2 - thin.nu12**2 / thin.E1)
    # G of a slit 2a in plane strain along the fibre is σ² πa/stiff; along the fibres its mean up to a = t/2 is set free
    opened = float(brentq(lambda s: s * s * math.pi * t / (4.0 * stiff) - 277.4, 1e6, 1e9, xtol=1.0))
    # in shear πt/4 times the work ∫τ dγ of the curved law
    slid = float(brentq(lambda s: 0.25 * math.pi * t * _work(s, thin.G12, 2.98e-26) - 787.9, 1e6, 1e9, xtol=1.0))
    Yt, S = embedded_strengths(thin, t)
    how = "energy set free by a slit that grows along the fibres"
    for quantity, printed, reference, ours in (("Yt", 160.2, opened, Yt), ("S", 130.2, slid, S)):
        name = "0.125 mm ply between others"
        yield Row(
            "failure", name, f"in-situ {quantity}", source, printed, reference / 1e6, how, ours / 1e6, "MPa", LAMINATE
        )
