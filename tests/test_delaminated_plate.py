"""The plates that delaminated plies count as: ellipses, long ones as strips, and what share of its load one carries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from test_delamination import material, sheet

from panelfem.errors import ModelError
from panelfem.reference.eigen_plate import EigenPlate
from panelfem.reference.ellipse_buckling import ClampedEllipseModes
from panelfem.reference.strip_buckling import ClampedStrip
from panelfem.reserve.delaminated import part_share
from panelfem.verify.delaminated import long_strip, rows


def test_a_long_ellipse_is_a_strip() -> None:
    """4, 6.97 and 8.98 π² D/w² across, along and in shear (Timoshenko & Gere; recalled), and the same along y."""
    ply = material(70e9, 70e9, 0.3, 70e9 / 2.6, 1e14)
    part = sheet(1, ply)
    D = part.D[0, 0]
    for axes, order in (((0.2, 0.01), (0, 1, 2)), ((0.01, 0.2), (1, 0, 2))):
        share = part_share(part, 0.0, axes)
        for load, k in (((0.0, -1.0, 0.0), 4.0), ((-1.0, 0.0, 0.0), 6.97), ((0.0, 0.0, 1.0), 8.98)):
            N = np.array(load)[list(order)]
            assert 1.0 / share(N)[0] * 0.02**2 / np.pi**2 / D == pytest.approx(k, rel=1e-3)


def test_a_long_ellipse_the_other_way_round() -> None:
    """Ply, ellipse and load turned by a quarter: the ellipse's second axis is then the long one."""
    ply = material(140e9, 9e9, 0.3, 5e9)
    one = part_share(sheet(1, ply, angles=(0.3,)), 0.0, (0.2, 0.01))
    other = part_share(sheet(1, ply, angles=(0.3 + np.pi / 2,)), 0.0, (0.01, 0.2))
    for load in ((-1.0, 0.2, 0.5), (0.1, -1.0, -0.3)):
        share, slope = one(np.array(load))
        back, turned = other(np.array([load[1], load[0], -load[2]]))
        assert back == pytest.approx(share, rel=1e-9)
        assert turned == pytest.approx([slope[1], slope[0], -slope[2]], rel=1e-5, abs=1e-9 * abs(slope).max())


def test_the_strip_is_on_the_safe_side_of_the_ellipse() -> None:
    """Law at an angle, all loads: below the ellipse it holds, by a quarter at most where it takes over."""
    law = sheet(1, material(140e9, 9e9, 0.3, 5e9), angles=(0.5,)).D
    b = 0.01
    a = 4.0 * b * (law[0, 0] / law[1, 1]) ** 0.25
    strip, ellipse = ClampedStrip(law, b), ClampedEllipseModes(law, a, b, 20).shares()
    for load in ((-1.0, 0, 0), (0, -1.0, 0), (-1.0, -1.0, 0), (0, 0, 1.0), (0, 0, -1.0), (-1.0, 0.3, -0.5)):
        assert 0.75 < strip.factor(load) * ellipse(np.array(load))[0] < 1.0


def test_shares_and_their_slopes() -> None:
    """Against the factors of the plate itself, and by differences; the sum with shear is convex."""
    law = sheet(1, material(140e9, 9e9, 0.3, 5e9), angles=(0.5,))
    plate = ClampedEllipseModes(law.D, 0.02, 0.013)
    N = np.array([-2.0, 0.7, 0.9])
    assert plate.shares()(N)[0] == pytest.approx(1.0 / plate.factors(1, tuple(N))[0], rel=1e-9)
    share = part_share(law, 0.4, (0.02, 0.013))
    by_differences = [(share(N + h)[0] - share(N - h)[0]) / 2e-4 for h in 1e-4 * np.eye(3)]
    assert share(N)[1] == pytest.approx(by_differences, rel=1e-5)
    M = np.array([0.4, -1.5, 0.2])
    assert share((N + M) / 2)[0] <= (share(N)[0] + share(M)[0]) / 2
    assert share(3.0 * N)[0] == pytest.approx(3.0 * share(N)[0])


def test_the_ellipse_through_a_rectangles_corners_is_on_the_safe_side() -> None:
    """Against the clamped rectangle itself, by another Ritz: it takes 1.4 to 1.9 times as much."""
    law = np.zeros((8, 8))
    law[:3, :3], law[6:, 6:] = np.eye(3), 1e9 * np.eye(2)
    for angle in (0.0, 0.5):
        law[3:6, 3:6] = sheet(1, material(140e9, 9e9, 0.3, 5e9), angles=(angle,)).D
        for load in ((-1.0, 0, 0), (0, -1.0, 0), (-1.0, -1.0, 0), (0, 0, 1.0), (0, 0, -1.0)):
            exact = EigenPlate(law, 0.06, 0.04, ("clamped",) * 4, degree=14).factors(1, load)[0]
            oval = ClampedEllipseModes(law[3:6, 3:6], 0.03 * math.sqrt(2), 0.02 * math.sqrt(2)).factors(1, load)[0]
            assert 1.3 < exact / oval < 2.0


def test_a_strip_pressed_along_itself() -> None:
    """The characteristic equation of a long isotropic strip, 6.97 by Timoshenko & Gere (recalled)."""
    got = ClampedStrip(sheet(1).D, 0.01).factor((-1.0, 0.0, 0.0)) * 4e-4 / np.pi**2 / sheet(1).D[0, 0]
    assert got == pytest.approx(long_strip(), rel=2e-4)
    assert long_strip() == pytest.approx(6.97, rel=1e-3)
    assert ClampedStrip(sheet(1).D, 0.01).factor((1.0, 1.0, 0.0)) == math.inf
    with pytest.raises(ModelError, match="positive width"):
        ClampedStrip(sheet(1).D, 0.0)


def test_the_rows_of_the_checks() -> None:
    found = list(rows())
    assert len(found) == 6
    assert all(row.passed and row.covered in (None, True) for row in found)
