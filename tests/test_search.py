"""Reserves along a path: against responses whose answer is known in closed form."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelfem.reserve.analyse import governing
from panelfem.reserve.check import factor_by_bisection, factor_on_scalar, factor_on_vector
from panelfem.reserve.observe import Observed, State
from panelfem.reserve.records import ModeReserve
from panelfem.reserve.search import SEARCH_LIMIT, STABILITY, Path, along


class Toy:
    """Stress σ(p) = held + scale·p^power; the path must find p with σ = strength."""

    def __init__(self, power, scale=1.0, held=0.0):
        self.power, self.scale, self.base, self.calls = power, scale, held, 0
        self.held = State(np.array([held]), np.zeros((0, 6)))
        self.proportional = power == 1.0

    def at(self, p):
        self.calls += 1
        return State(np.array([self.base + self.scale * p**self.power]), np.zeros((0, 6)))


def observe(state):
    return Observed(
        state.unknowns[None, :],
        np.zeros((1, 2)),
        np.zeros((0, 8)),
        np.zeros((0, 2)),
        np.zeros((0, 6)),
        state.reactions,
        (),
    )


class Strength:
    def __init__(self, allow, grade="release", name="fibre tension", ply=1):
        self.allow, self.grade, self.name, self.ply = allow, grade, name, ply

    def reserves(self, held, now, everything):
        r = factor_on_scalar(held.strain[:, 0], now.strain[:, 0] - held.strain[:, 0], self.allow)[0]
        return [
            ModeReserve(self.name, "toy", self.grade, float(r), "zero load" if np.isnan(r) else "found", ply=self.ply)
        ]


@settings(deadline=None)
@given(st.floats(0.4, 2.5), st.floats(0.3, 4.5), st.floats(0.0, 0.3))
def test_finds_the_factor_of_a_power_law(power, answer, held):
    strength = held + answer**power
    (mode,) = along(Path(Toy(power, held=held), observe, [Strength(strength)]))
    assert mode.factor == pytest.approx(answer, rel=3e-3)


def test_proportional_response_needs_one_state():
    toy = Toy(1.0)
    modes = along(Path(toy, observe, [Strength(3.0), Strength(2.0, "inspection", "matrix tension")]))
    assert {m.mode: m.factor for m in modes} == {"fibre tension": 3.0, "matrix tension": 2.0}
    assert toy.calls == 1


def test_other_modes_are_interpolated_between_the_states_known():
    modes = along(
        Path(
            Toy(1.5),
            observe,
            [Strength(3.0**1.5), Strength(2.0**1.5, "inspection", "a"), Strength(2.5**1.5, "inspection", "b")],
        )
    )
    assert {m.mode: pytest.approx(m.factor, rel=1e-2) for m in modes} == {"fibre tension": 3.0, "a": 2.0, "b": 2.5}


def test_the_held_state_does_not_disturb_the_others():
    """Asked for at zero added load (as the check of linear theory does), a path still tells its modes."""
    path = Path(Toy(1.5), observe, [Strength(2.0**1.5)])
    along(path, everything=False)
    (before,) = along(path, everything=False, known=True)
    path.state(0.0)
    (after,) = along(path, everything=False, known=True)
    assert after == before
    assert after.factor == pytest.approx(2.0, rel=1e-2)


def test_beyond_the_search_is_said():
    (mode,) = along(Path(Toy(0.5), observe, [Strength(1e3)]))
    assert (mode.status, mode.factor) == ("beyond search", SEARCH_LIMIT)


def test_held_state_that_fails_is_said():
    (mode,) = along(Path(Toy(1.0, held=5.0), observe, [Strength(3.0)]))
    assert mode.status == "zero load"
    assert math.isnan(mode.factor)


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3))
def test_vector_factor_reaches_the_allowable(a, b, c, d):
    held, applied = np.array([[a, b]]), np.array([[c, d]])
    r = factor_on_vector(held, applied, 5.0)[0]
    if np.isfinite(r) and r < 1e6:
        assert np.linalg.norm(held + r * applied) == pytest.approx(5.0, rel=1e-6)
    else:
        assert np.linalg.norm(applied) < 1e-5


def test_bisection_against_a_known_root():
    answer = np.array([0.01, 1.0, 37.0])
    assert factor_by_bisection(lambda r: (r / answer) ** 2, 3) == pytest.approx(answer, rel=1e-8)
    assert np.isinf(factor_by_bisection(lambda r: 0.0 * r, 1))[0]
    assert np.isnan(factor_by_bisection(lambda r: 1.0 + r, 1))[0]


def test_where_a_path_ends_what_happens_governs_before_what_lies_beyond():
    beyond = ModeReserve("fibre tension", "Hashin", "release", 0.6, "beyond search")
    end = ModeReserve("snap-through", STABILITY, "release", 0.6)
    assert governing([beyond, end])[1] is end
