"""First to last ply: closed forms by hand, a published worked example, and what must hold for any stack."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from panelfem.errors import InputError
from panelfem.failure.progression import NOTHING, Progression, Shares, progression
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import Material, PlyMaterial, library

NX = np.array([1.0, 0, 0, 0, 0, 0])
STRESS = {"unidirectional": "maximum stress"}


def laminate(stack: str, material: str = "T300-5208", **changes: object) -> Laminate:
    ply = library()[material]
    assert isinstance(ply, PlyMaterial)
    names: dict[str, Material] = {**library(), material: replace(ply, **changes)}  # type: ignore[arg-type]
    return Laminate(parse_stack(stack, names, material))


@pytest.mark.parametrize("share", [0.01, 0.1, 0.3])
def test_cross_ply_by_hand(share: float) -> None:
    """[0/90]s without contraction, pulled along x, by hand: strain is one for all plies, so the 90° plies crack at
    Yt/E2 with 2t (E1 + E2) Yt/E2, and the 0° plies break at Xt/E1 with 2t (E1 + share E2) Xt/E1."""
    lam = laminate("[0/90]s", nu12=0.0)
    m, t = lam.plies[0].material, 0.125e-3
    assert isinstance(m, PlyMaterial)
    found = progression(lam, NX, shares=Shares(E2=share), decide=STRESS)
    first, last = found.events[:2]
    assert (first.plies, first.mode, first.breaks) == ((2, 3), "matrix tension", "matrix")
    assert first.factor == pytest.approx(2 * t * (m.E1 + m.E2) * m.Yt / m.E2, rel=1e-9)
    assert first.factor * first.before[0] == pytest.approx(m.Yt / m.E2, rel=1e-9)
    assert (last.plies, last.mode, last.breaks) == ((1, 4), "fibre tension", "fibre")
    assert last.factor == pytest.approx(2 * t * (m.E1 + share * m.E2) * m.Xt / m.E1, rel=1e-9)
    assert found.collapsed
    assert found.last == last.factor
    after = first.factor / (2 * t * (m.E1 + share * m.E2))
    curve = [(0, 0), (m.Yt / m.E2, first.factor), (after, first.factor), (m.Xt / m.E1, last.factor)]
    assert np.array(found.curve) == pytest.approx(np.array(curve), rel=1e-9)


def test_cross_ply_with_contraction_by_hand() -> None:
    """The same with contraction: two equations for the strains, solved by Cramer's rule before and after."""
    lam, share, t = laminate("[0/90]s"), 0.1, 0.125e-3
    m = lam.plies[0].material
    assert isinstance(m, PlyMaterial)

    def strains(E2: float) -> tuple[float, float]:
        """Per unit Nx, with 90° plies of modulus E2 across."""
        d0, d90 = 1 - m.nu12**2 * m.E2 / m.E1, 1 - m.nu12**2 * E2 / m.E1
        a11 = 2 * t * (m.E1 / d0 + E2 / d90)
        a22 = 2 * t * (m.E2 / d0 + m.E1 / d90)
        a12 = 2 * t * m.nu12 * (m.E2 / d0 + E2 / d90)
        return a22 / (a11 * a22 - a12**2), -a12 / (a11 * a22 - a12**2)

    ex, ey = strains(m.E2)
    d = 1 - m.nu12**2 * m.E2 / m.E1
    first = m.Yt / (m.E2 / d * (ex + m.nu12 * ey))
    ex, ey = strains(share * m.E2)
    last = m.Xt / ((m.E1 * ex + m.nu12 * m.E2 * ey) / d)
    found = progression(lam, NX, shares=Shares(E2=share), decide=STRESS)
    assert [e.factor for e in found.events] == pytest.approx([first, last], rel=1e-9)


def test_kaw_last_ply() -> None:
    """A. K. Kaw 2006, Mechanics of Composite Materials, 2nd ed., [0/90/0] of 5 mm plies, T300/5208 (recalled): first
    ply 7.277e6 N/m by Tsai-Wu; with the 90° ply taken out, the 0° plies break at 1.5e7 N/m, strength times thickness.
    Here its fibres stay and hold the contraction, which by maximum stress changes little."""
    lam = Laminate(parse_stack("[0/90/0]", library(), "T300-5208", 5e-3))
    shares = Shares(NOTHING, NOTHING)
    found = progression(lam, NX, shares=shares, decide={"unidirectional": "Tsai-Wu"})
    assert found.first == pytest.approx(7.277e6, rel=1e-3)
    assert found.events[0].plies == (2,)
    assert progression(lam, NX, shares=shares, decide=STRESS).last == pytest.approx(1.5e7, rel=1e-2)


def test_cure_stress_is_held_and_lowers_the_first_ply_only() -> None:
    """[0/90]s, fully cracked afterwards: the fibres then carry all, by statics, cooled or not."""
    lam = laminate("[0/90]s")
    warm, cold = (progression(lam, NX, k, Shares(NOTHING, NOTHING), STRESS) for k in (0.0, -100.0))
    assert cold.first < 0.7 * warm.first
    assert cold.last == pytest.approx(warm.last, rel=2e-2)


@pytest.mark.parametrize(
    ("stack", "load", "strength"),
    [("[0]", (0, 1, 0), "Yt"), ("[90]", (1, 0, 0), "Yt"), ("[0/90]s", (0, 0, 1), "S"), ("[0]", (-1, 0, 0), "Xc")],
)
def test_where_statics_leaves_no_choice_first_is_last(stack: str, load: tuple[float, ...], strength: str) -> None:
    """Nothing takes over: the laminate is gone with the first failure, at strength times thickness."""
    lam = laminate(stack)
    found = progression(lam, np.array([*load, 0, 0, 0], float), decide=STRESS)
    expected = getattr(lam.plies[0].material, strength) * lam.thickness
    assert (found.first, found.last) == pytest.approx((expected, expected), rel=1e-9)


def test_what_must_hold_for_any_stack() -> None:
    """The last is never below the first, factors scale with the load, order ends, turned stacks agree, and a fabric and
    a sandwich in bending run through."""
    rng = np.random.default_rng(4)
    for stack in ("[0/45/-45/90]s", "[30/-60/10]", "[0/90/foam-pvc-80:6mm]s"):
        for name in ("Hashin", "Puck", "Tsai-Wu"):
            load = rng.normal(size=6) * np.array([1, 1, 1, 1e-3, 1e-3, 1e-3])
            lam = laminate(stack, "AS4-3501-6")
            one: Progression = progression(lam, load, decide={"unidirectional": name})
            two = progression(lam, 3.0 * load, decide={"unidirectional": name})
            assert 0 < one.first <= one.last < math.inf
            assert [e.factor for e in two.events] == pytest.approx([e.factor / 3.0 for e in one.events])
            factors = [f for _, f in one.curve]
            assert factors == sorted(factors)
            assert factors[-1] == pytest.approx(one.last)
    a = progression(laminate("[0/45/90]s"), NX)
    b = progression(laminate("[30/75/120]s"), _turned(30.0))
    assert [e.factor for e in a.events] == pytest.approx([e.factor for e in b.events])
    fabric = progression(laminate("[0/45/foam-pvc-80:6mm]s", "carbon-twill"), np.array([0, 0, 0, 1.0, 0, 0]))
    assert fabric.first <= fabric.last < math.inf


def _turned(degrees: float) -> np.ndarray:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([c * c, s * s, c * s, 0, 0, 0])


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="needs a load"):
        progression(laminate("[0]"), np.zeros(6))
    with pytest.raises(InputError, match="shares"):
        Shares(E2=0.0)
    with pytest.raises(InputError, match="no ply"):
        progression(laminate("[foam-pvc-80:5mm]"), NX)
