"""Unknown layups: 200 synthetic panels whose truth is worked out by other means; the notation; bending by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from panelfem.errors import InputError
from panelfem.knowledge.bending import Plate, Strip
from panelfem.knowledge.layup import Bank, Bent, Layups, Measured, fit, relative
from panelfem.knowledge.stacks import UNSYMMETRIC, Candidates, Stack, stacks
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import CoreMaterial, PlyMaterial, library
from panelfem.reference.navier import Navier, patch

LIB = library()
TWILL, UD, FOAM = LIB["carbon-twill"], LIB["carbon-ud"], LIB["foam-pvc-80"]
assert isinstance(TWILL, PlyMaterial)
assert isinstance(UD, PlyMaterial)
assert isinstance(FOAM, CoreMaterial)
RIGHT = (0.0, math.pi / 2)
AMONG = Candidates((TWILL, UD), RIGHT, (None,), 3, 5)
PLATE = Plate(0.3, 0.25, 0.04, 10.0)


def truth(stack: Stack, rng: np.random.Generator) -> tuple[float, float, np.ndarray, np.ndarray]:
    """Mass per area, thickness, A and D of a stack with its factors drawn, ply by ply by hand (angles 0° and 90°).

    Source: Tsai & Hahn 1980, chapters 4 and 5 (recalled); nothing of the package's laminate is used.
    """
    factor = {
        m.name: np.exp(rng.normal(0, [relative(m, name, 0.0) for name in ("thickness", "density", "E1")]))
        for m in (TWILL, UD)
    }
    z, mass, a, d = 0.0, 0.0, np.zeros((3, 3)), np.zeros((3, 3))
    thickness = sum(ply.material.thickness * factor[ply.material.name][0] for ply in stack.plies)
    for ply in stack.plies:
        m = ply.material
        f = factor[m.name]
        e1, e2 = (m.E1, m.E2) if abs(ply.angle) < 1e-9 else (m.E2, m.E1)
        nu12 = m.nu12 if abs(ply.angle) < 1e-9 else m.nu12 * m.E2 / m.E1
        q = f[2] * np.array([[e1, nu12 * e2, 0], [nu12 * e2, e2, 0], [0, 0, m.G12 * (1 - nu12**2 * e2 / e1)]])
        q /= 1 - nu12**2 * e2 / e1
        t = m.thickness * f[0]
        low, high = z - thickness / 2, z + t - thickness / 2
        a, d, mass, z = a + q * t, d + q * (high**3 - low**3) / 3, mass + m.density * f[1] * t, z + t
    return mass, thickness, a, d


def deflection(a: np.ndarray, d: np.ndarray) -> float:
    """Middle of the plate by Navier's series without transverse shear; source: see panelfem.reference.navier."""
    stiffness = np.zeros((8, 8))
    stiffness[:3, :3], stiffness[3:6, 3:6] = a, d
    stiffness[6, 6] = stiffness[7, 7] = 1e6  # not used by thin theory
    side = PLATE.pad * math.sqrt(math.pi) / 2
    load = patch(PLATE.force / side**2, (PLATE.a / 2, PLATE.b / 2), (side, side), PLATE.a, PLATE.b, 60)
    return float(Navier(stiffness, PLATE.a, PLATE.b, load, thin=True).deflection(*np.array([[PLATE.a], [PLATE.b]]) / 2)[0])


def entries(a: np.ndarray, d: np.ndarray) -> list[float]:
    return [float(m[i, j]) for m in (a, d) for i, j in ((0, 0), (1, 1), (0, 1), (2, 2))]


def told(found: Layups) -> list:
    return [s for s in found.spreads if s.name not in ("A16", "A26", "D16", "D26")]


def test_on_200_panels_the_interval_holds_the_truth_and_is_narrow() -> None:
    rng, among = np.random.default_rng(11), stacks(AMONG)
    bank, share = Bank(among), np.array([s.share for s in among])
    holds, widths, fits = [], [], []
    for i in rng.choice(len(among), 200, p=share / share.sum()):
        mass, thickness, a, d = truth(among[i], rng)
        w = deflection(a, d)
        read = np.array([mass, thickness, w]) * (1 + np.array([0.01, 0.01, 0.02]) * rng.normal(size=3))
        found = fit(
            bank,
            Measured((read[0], 0.01 * mass), (read[1], 0.01 * thickness), (Bent(PLATE, read[2], 0.02 * w),)),
        )
        holds.append([s.low <= v <= s.high for s, v in zip(told(found), entries(a, d), strict=True)])
        widths.append([s.share for s in told(found)])
        fits.append(found.fits)
    print(np.mean(holds, 0), np.median(widths, 0), np.mean(fits))
    assert (np.mean(holds, axis=0) >= 0.90).all()
    assert np.median(widths, axis=0).max() <= 0.5
    assert np.mean(fits) > 0.95
