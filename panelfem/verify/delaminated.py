"""Buckling of the plies over a delamination: closed forms, and a pushed strip along the whole line."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.special import jn_zeros

from panelfem.arrays import FloatArray
from panelfem.assess.model import Model
from panelfem.assess.plan import State
from panelfem.assess.respond import Responder
from panelfem.damage import Delamination, damaged
from panelfem.laminate import Laminate, Ply
from panelfem.loads import Inertia, LoadCase
from panelfem.material import PlyMaterial, library
from panelfem.mesh import Disc, Ellipse, Outline, Ring, mesh_outline
from panelfem.panel import EdgeSupport, Panel
from panelfem.reference.ellipse_buckling import ClampedEllipseModes
from panelfem.reserve.analyse import Settings, analyse
from panelfem.reserve.delaminated import MODE, part_share
from panelfem.verify.barred import barred
from panelfem.verify.row import LAMINATE, VALUE, Row

TIMOSHENKO = "Timoshenko & Gere, Theory of Elastic Stability (recalled)"
X, Z = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])
THICKNESS, RADIUS = 0.2e-3, 0.02


def ply(E1: float, E2: float, nu: float, G: float, shear: float) -> PlyMaterial:
    """A ply whose stiffness is given, Pa."""
    any_ply = library()["T300-5208"]
    assert isinstance(any_ply, PlyMaterial)
    return replace(any_ply, name="ply", E1=E1, E2=E2, G12=G, nu12=nu, G13=shear, G23=shear, provenance={})


def sheet(count: int, material: PlyMaterial) -> Laminate:
    """So many plies at 0°."""
    return Laminate((Ply(material, THICKNESS),) * count)


def discs() -> Iterator[Row]:
    """One isotropic ply over a disc, pressed from all sides: thin, and with the shear of a real ply."""
    exact = float(jn_zeros(1, 1)[0]) ** 2
    for name, shear in (("thin", 1e15), ("G13 = E/25", 70e9 / 25)):
        part = sheet(1, ply(70e9, 70e9, 0.3, 70e9 / 2.6, shear))
        D = 70e9 * THICKNESS**3 / 12 / 0.91
        used, _ = part_share(part, 0.0, (RADIUS, RADIUS))(np.array([-1.0, -1.0, 0.0]))
        yield Row(
            "buckling",
            f"ply over a delaminated disc, a/t = 100, pressed from all sides, {name}",
            "N a²/D",
            TIMOSHENKO,
            14.68,
            1.0 / (1.0 / exact + D / RADIUS**2 / (shear * THICKNESS / 1.2)),
            "J1(√(N a²/D)) = 0, and Mindlin's clamped disc: 1/N = 1/N_thin + 1.2/(G t)",
            RADIUS**2 / D / used,
            "-",
            LAMINATE,
            "the printed value is of thin plates",
        )


def ellipses() -> Iterator[Row]:
    """An orthotropic ply whose ellipse is a stretched circle, turned in the panel; and one that is almost a strip."""
    a, b, turn, E2, nu = 0.03, 0.02, math.radians(25.0), 10e9, 0.3
    ratio = (a / b) ** 4
    m = 1 - nu**2 / ratio
    part = sheet(1, ply(ratio * E2, E2, nu, 0.5 * (math.sqrt(ratio) * E2 / m - nu * E2 / m), 1e15))
    part = Laminate(tuple(Ply(p.material, p.thickness, turn) for p in part.plies))
    used, _ = part_share(part, turn, (a, b))(_turned(np.array([-(a**2), -(b**2), 0.0]), turn))
    yield Row(
        "buckling",
        "ply over a delaminated ellipse, D11/a⁴ = D22/b⁴ = (D12 + 2 D66)/(a b)², a/b = 1.5, turned by 25°",
        "N1 a²/D11 at N1/a² = N2/b²",
        "none printed",
        None,
        float(jn_zeros(1, 1)[0]) ** 2,
        "the equation is that of the isotropic circle",
        a**4 / used / (ratio * E2 / m * THICKNESS**3 / 12),
        "-",
        LAMINATE,
    )
    part = sheet(1, ply(70e9, 70e9, 0.3, 70e9 / 2.6, 1e15))
    D, width = 70e9 * THICKNESS**3 / 12 / 0.91, 0.02
    for name, load, printed, exact, how in (
        ("across it", (0.0, -1.0, 0.0), 4.0, 4.0, "closed form"),
        ("along it", (-1.0, 0.0, 0.0), 6.97, long_strip(), "α tanh(αb) + β tan(βb) = 0, least over the wave number"),
    ):
        used, _ = part_share(part, 0.0, (0.2, width / 2))(np.array(load))
        yield Row(
            "buckling",
            f"ply over a delaminated ellipse twenty times as long as wide, pressed {name}",
            "N w²/(π² D)",
            f"long clamped strip, {TIMOSHENKO}",
            printed,
            exact,
            how,
            width**2 / math.pi**2 / D / used,
            "-",
            LAMINATE,
            "taken for a strip of its width, which is on the safe side",
        )


def long_strip() -> float:
    """N w²/(π² D) of a long isotropic strip clamped along both edges and pressed along itself.

    With w = f(y) sin κx, symmetric about the middle: f = cosh αy/cosh αb − cos βy/cos βb, α² = κ(√(N/D) + κ),
    β² = κ(√(N/D) − κ), and no slope at y = b.
    """

    def load(kappa: float) -> float:
        def slope(root: float) -> float:
            alpha, beta = math.sqrt(kappa * (root + kappa)), math.sqrt(kappa * (root - kappa))
            return alpha * math.tanh(alpha) + beta * math.tan(beta)

        # β from π/2 to π, b = 1
        low, high = (x * x / kappa + kappa for x in (math.pi / 2 + 1e-9, math.pi))
        return float(brentq(slope, low, high)) ** 2

    least = minimize_scalar(load, bounds=(1.0, 4.0), method="bounded", options={"xatol": 1e-9})
    return float(least.fun) * 4.0 / math.pi**2


def _turned(force: FloatArray, angle: float) -> FloatArray:
    """Resultants (3,) in axes turned by `angle` rad, in the axes they are turned from."""
    c, s = math.cos(angle), math.sin(angle)
    tensor = np.array([[c, -s], [s, c]]) @ np.array([[force[0], force[2]], [force[2], force[1]]])
    tensor = tensor @ np.array([[c, s], [-s, c]])
    return np.array([tensor[0, 0], tensor[1, 1], tensor[0, 1]])


def pushed(order: int) -> Iterator[Row]:
    """A strip under a body force towards its held end, N = −m g x, with an ellipse at an angle under its outer ply."""
    material = ply(70e9, 70e9, 0.3, 70e9 / 2.6, 4e9)
    whole, axes, turn, gee, x = sheet(10, material), (0.03, 0.015), 0.6, 5e4, 0.1
    centre, along = np.array([x, 0.05, 0.0]), np.array([math.cos(turn), math.sin(turn), 0.0])
    outline = Outline(Ring.polygon([(0.0, 0.0), (0.3, 0.0), (0.3, 0.1), (0.0, 0.1)]))
    mesh = mesh_outline(outline, None, 0.025, (Ellipse("area", centre, Z, along, axes, 0.009),))
    held = EdgeSupport("end", "clamped", Disc("end", np.array([1.3, 0.05, 0.0]), 1.0 + 2e-3, 1.0))
    sound = Panel("strip", mesh, (whole,), np.zeros(len(mesh.triangles), np.int64), X, edges=(held,))
    bad = damaged(sound, [Delamination("area", "area", centre, along, axes, 9)])
    load = LoadCase("push", "inertia", "acceleration", Inertia(gee * X))
    model = Model(State(("pushed",), "pushed", bad, ()), order, str)
    found, _, _ = analyse(model.subject, load, Responder(model, (load,)).linear(load), Settings())
    ours = next(mode.factor for mode in found.modes if mode.mode == MODE)
    force = -whole.areal_mass * gee * x / 10
    c, s = along[:2].tolist()
    plate = ClampedEllipseModes(sheet(1, material).D, *axes, degree=16)
    bending = plate.factors(1, (force * c * c, force * s * s, -force * c * s))[0]
    yield Row(
        "buckling",
        "strip pushed along itself, ellipse 60 × 30 mm at 34° under its outer ply of ten",
        "factor on the push",
        "none printed",
        None,
        float(1.0 / (1.0 / bending - force * 1.2 / (4e9 * THICKNESS))),
        "N = −m g x of the beam, the outer ply's share of it on the ellipse by Ritz, and its shear",
        ours,
        "-",
        VALUE,
    )


def rows() -> Iterator[Row]:
    """All rows of delaminations."""
    yield from discs()
    yield from ellipses()
    yield from barred(pushed, 1e-3)
