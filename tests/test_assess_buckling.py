"""Buckling in the assessment, on small panels made of records: factors, the path beyond, linear theory that holds."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.linalg import eigh

from panelfem.assess.branch import Foreseen, followed_stably
from panelfem.assess.buckle import beyond_linear
from panelfem.assess.model import Bent, Imperfection
from panelfem.assess.modes import Found, modes
from panelfem.assess.plan import State
from panelfem.assess.solve import Solved, far, solve
from panelfem.errors import PathEndsError
from panelfem.laminate import Laminate, parse_stack
from panelfem.loads import AreaForce, Contact, Cure, HalfRound, LoadCase, Pressure
from panelfem.material import library
from panelfem.mesh import PanelMesh
from panelfem.panel import EdgeSupport, Panel
from panelfem.reserve import observe
from panelfem.reserve.analyse import Settings, path_of
from panelfem.reserve.records import LoadResult
from panelfem.reserve.search import STABILITY
from panelfem.reserve.theory import BUCKLING
from panelfem.shell import Shell
from panelfem.shell.stability import initial_shape, reshaped, stable

Plan = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Where:
    """A region told by marks on points (n, 3)."""

    name: str
    marks: Plan
    size: float = 0.05

    def distance(self, x: np.ndarray) -> np.ndarray:
        return np.where(self.marks(x), -1.0, 1.0)


def panel(
    cells: tuple[int, int],
    sides: tuple[float, float],
    stack: str,
    edges: tuple[EdgeSupport, ...],
    pad: Plan,
    height: Callable[[np.ndarray, np.ndarray], np.ndarray] = lambda s, t: 0.0 * s,
) -> Panel:
    """A rectangle of T300/5208, lifted by a function of 0 ≤ s, t ≤ 1; `pad` marks the elements a force acts on."""
    nx, ny = cells
    s, t = (v.ravel() for v in np.meshgrid(np.linspace(0, 1, nx + 1), np.linspace(0, 1, ny + 1), indexing="ij"))
    vertices = np.column_stack([sides[0] * s, sides[1] * t, height(s, t)])
    i, j = (v.ravel() for v in np.meshgrid(np.arange(nx), np.arange(ny), indexing="ij"))
    a = i * (ny + 1) + j
    b, c, d = a + ny + 1, a + ny + 2, a + 1
    even = ((i + j) % 2 == 0)[:, None]
    triangles = np.concatenate(
        [
            np.where(even, np.column_stack([a, b, c]), np.column_stack([a, b, d])),
            np.where(even, np.column_stack([a, c, d]), np.column_stack([b, c, d])),
        ]
    )
    mesh = PanelMesh(vertices, triangles, {"pad": pad(vertices[triangles].mean(axis=1))})
    laminate = Laminate(parse_stack(stack, library(), "T300-5208"))
    return Panel("panel", mesh, (laminate,), np.zeros(len(triangles), np.int64), np.array([1.0, 0, 0]), edges=edges)


def edge_on(sides: tuple[float, float], cells: tuple[int, int], stack: str, rise: float = 0.0) -> Panel:
    """Pushed on its last column of cells against the opposite edge, all edges held against leaving the surface."""
    left = EdgeSupport("left", "hinged", Where("left", lambda x: x[:, 0] < 1e-9))
    rest = EdgeSupport("rest", "supported", Where("rest", lambda x: x[:, 0] > 1e-9))
    last = sides[0] * (1.0 - 1.0 / cells[0])
    return panel(
        cells, sides, stack, (left, rest), lambda x: x[:, 0] > last, lambda s, t: 4 * rise * t * (1 - t) + 0.0 * s
    )


def hinged(cells: int, rise: float = 0.0) -> Panel:
    """A square of 200 mm, 0.5 mm thick, hinged all round; the pad is in its middle."""
    rim = EdgeSupport("rim", "hinged", Where("rim", lambda x: x[:, 0] > -1.0))
    return panel(
        (cells, cells),
        (0.2, 0.2),
        "[0/90]s",
        (rim,),
        lambda x: np.hypot(x[:, 0] - 0.1, x[:, 1] - 0.1) < 0.04,
        lambda s, t: 16 * rise * s * (1 - s) * t * (1 - t),
    )


def push(force: float, direction: tuple[float, float, float] = (-1.0, 0.0, 0.0), **held: object) -> LoadCase:
    return LoadCase("push", "handling", "force", AreaForce("pad", force * np.array(direction)), **held)  # type: ignore[arg-type]


def words(place: np.ndarray) -> str:
    return "at ({:.0f}, {:.0f}) mm".format(*(1e3 * place[:2]))


def linear(made: Panel, load: LoadCase, settings: Settings) -> tuple[Solved, Solved]:
    state = State(("undamaged",), "undamaged", made, (), ("pad",))
    low = solve(state, (load,), settings, 2, words, None)
    return low, solve(state, (load,), settings, 3, words, None, low)


def assessed(made: Panel, load: LoadCase, settings: Settings) -> tuple[Solved, Solved, Settings]:
    low, high = linear(made, load, settings)
    return beyond_linear(low, high, far(low, settings), settings)


def result(solved: Solved) -> LoadResult:
    return solved.results[0]


# ----------------------------------------------------------------------------------------------- a plate pushed edge-on
SIDES, CELLS, FORCE = (0.2, 0.1), (8, 4), 2500.0


@pytest.fixture(scope="module")
def pushed() -> tuple[Solved, Solved, Settings]:
    return assessed(edge_on(SIDES, CELLS, "[0]_8"), push(FORCE), Settings())


def ritz(d: np.ndarray, force: float) -> np.ndarray:
    """Factors of a supported orthotropic plate, N(x) = P/b up to the pad and falling to nothing over it: sines along x,
    one half wave across.  Derived here: energy of the thin plate and of N over the slope.
    """
    (a, b), pad = SIDES, SIDES[0] / CELLS[0]
    m, n = np.arange(1, 15) * np.pi / a, np.pi / b
    stiff = a * b / 4 * np.diag(d[0, 0] * m**4 + 2 * (d[0, 1] + 2 * d[2, 2]) * m**2 * n**2 + d[1, 1] * n**4)
    point, weight = np.polynomial.legendre.leggauss(60)
    geometric = np.zeros_like(stiff)
    for start, end in ((0.0, a - pad), (a - pad, a)):
        x = (start + end) / 2 + (end - start) / 2 * point
        slope = m[:, None] * np.cos(m[:, None] * x)
        force_there = force / b * np.minimum(1.0, (a - x) / pad)
        geometric += b / 2 * (slope * (force_there * weight * (end - start) / 2)) @ slope.T
    return 1.0 / eigh(geometric, stiff, eigvals_only=True)[::-1]


def test_factors_against_ritz(pushed):
    """The hinged edge holds the plate's width too, which the Ritz solution leaves free: up to 1 %."""
    _, high, _ = pushed
    found = result(high).buckling
    exact = ritz(high.model.panel.laminates[0].stiffness[3:6, 3:6], FORCE)
    assert found.factors == pytest.approx(exact[:3], rel=0.01)
    assert all(0.0 < bar < 5e-3 * factor for bar, factor in zip(found.bars, found.factors, strict=True))
    middle = int(np.linalg.norm(found.shape, axis=1).argmax())
    assert high.model.panel.mesh.vertices[middle, :2] == pytest.approx((0.1, 0.05), abs=0.02)
    assert np.linalg.norm(found.shape, axis=1).max() == pytest.approx(1.0)


def test_followed_past_buckling(pushed):
    low, high, _ = pushed
    for solved in (low, high):
        r = result(solved)
        assert r.linear is not None
        assert r.linear.reasons[0].startswith("compression ")
        assert r.theory.holds
        assert r.buckling.imperfection == pytest.approx(max(0.1 * 1e-3, 1e-3 * 0.1), rel=0.05)  # bay: 100 mm
        assert r.linear.deflection < 0.03 * 1e-3 < 1e-3 < r.deflection.value  # thickness 1 mm
        assert (np.diff([point.deflection for point in r.curve]) > 0).all()
        assert r.release.status == "found"
        assert r.release.factor > 2.0 * r.buckling.factors[0]
        response = solved.responder.far["push"]
        assert max(point.factor for point in response.path.points) >= r.release.factor
        assert not any(stable(response.equilibrium, point) for point in response.path.points)
    assert result(high).deflection.value == pytest.approx(result(low).deflection.value, rel=0.02)


def test_the_height_is_a_setting_and_matters_little_beyond_buckling(pushed):
    stated = 2e-5
    _, high, _ = assessed(edge_on(SIDES, CELLS, "[0]_8"), push(FORCE), Settings(imperfection=stated))
    shape = high.responder.bent["push"].imperfection.shape
    normal = shape[high.model.shell.layout.displacement_unknowns[..., 2]]
    assert np.abs(normal).max() == pytest.approx(stated, rel=5e-3)
    assert result(high).buckling.imperfection == stated
    assert result(high).deflection.value == pytest.approx(result(pushed[1]).deflection.value, rel=0.06)
    assert result(high).release.factor == pytest.approx(result(pushed[1]).release.factor, rel=0.05)


def test_an_unstable_path_is_noticed_without_known_modes(pushed):
    """The flat plate stays flat; what it gives in is then found on its path, and is the mode known from the start."""
    settings = Settings()
    low, high = linear(edge_on(SIDES, CELLS, "[0]_8"), push(FORCE), settings)
    low, high, _ = followed_stably(low, high, push(FORCE), Foreseen(Found(counted=9.0), 1.0, 9.0), settings)
    mode = low.responder.bent["push"].imperfection.mode
    assert mode.factor == pytest.approx(low_first(pushed), rel=1e-3)
    for ours, theirs in zip((low, high), pushed[:2], strict=True):
        assert result(ours).release.factor == pytest.approx(result(theirs).release.factor, rel=1e-3)
        assert result(ours).deflection.value == pytest.approx(result(theirs).deflection.value, rel=1e-3)


def low_first(pushed: tuple[Solved, Solved, Settings]) -> float:
    return pushed[0].responder.bent["push"].imperfection.mode.factor


def test_strains_from_an_initial_shape(pushed):
    """What is observed of a state from it is what a shell made on the moved mesh recovers itself."""
    model = pushed[0].model
    mode = pushed[0].responder.bent["push"].imperfection.mode
    bent = Bent(model, Imperfection(initial_shape(model.shell, mode.shape, 5e-4), 5e-4, mode))
    u = 3e-3 * mode.shape
    seen = model.subject.observer(observe.State(u, np.zeros((0, 6)), large=True, recovery=bent.recovery))
    mesh = reshaped(model.shell, bent.imperfection.shape)
    fresh = Shell(mesh, model.panel.stiffness(), model.panel.axis).recovery(model.panel.laminate_of)
    rows = model.subject.sampling.rows
    own = np.asarray(rows @ fresh.large.strains(u))
    size = np.abs(own).max(axis=0)
    flat = np.asarray(rows @ model.recovery.large.strains(u))
    for part in (slice(0, 3), slice(3, 6)):
        assert np.abs(seen.strain - own)[:, part].max() < 1e-3 * size[part].max()
    assert np.abs(flat - own)[:, :3].max() > 0.1 * size[:3].max()  # and not what the flat plate would


# ---------------------------------------------------------------------------------------------------- curved and hot
def test_a_curved_panel_snaps():
    """A shallow cap under pressure: linear theory sees a fifth of its thickness and nothing else wrong."""
    load = LoadCase("air", "air load", "pressure", Pressure(3e3))
    low, high, _ = assessed(hinged(6, 5e-3), load, Settings())
    for solved in (low, high):
        r = result(solved)
        assert (r.release.mode, r.release.criterion) == ("snap-through", STABILITY)
        assert r.release.factor < r.buckling.factors[0] < 3.0
    linear_low, _ = linear(hinged(6, 5e-3), load, Settings())
    assert result(linear_low).theory.deflection_over_thickness < 0.3
    flawless = linear_low.responder.following(load)
    with pytest.raises(PathEndsError) as end:
        flawless.at(3.0)
    assert end.value.snaps
    assert result(low).release.factor < end.value.factor


def test_linear_theory_holds_where_only_the_hand_measure_fears_buckling():
    """A curved panel pushed along its axis: the hand measure knows nothing of the curvature."""
    load, settings = push(700.0), Settings(asked=1.25)
    low, high = linear(edge_on((0.2, 0.15), (10, 8), "[0/90]s", 0.015), load, settings)
    checks = far(low, settings)
    hand = checks["push"].buckling_share
    assert hand > 3.0
    after_low, after, told = beyond_linear(low, high, checks, settings)
    r = result(after)
    assert r.linear is None
    assert r.theory.holds
    assert replace(r, theory=result(high).theory, notes=(), buckling=None) == replace(result(high), notes=())
    first = r.buckling.factors[0] - r.buckling.bars[0]
    assert first > 3.0 * settings.asked
    assert r.theory.buckling_share == pytest.approx(settings.asked / first, rel=0.01)
    assert f"is {hand:.2g} of a hand buckling load" in r.notes[0]
    assert f"buckles at {r.buckling.factors[0]:.2g}" in r.notes[0]
    # the share keeps its limit where the load is looked at further
    for solved in (after_low, after):
        path = path_of(solved.model.subject, load, solved.responder(load), told)[0]
        assert solved.model.subject.theory(path, 0.9 * BUCKLING * first).holds
        over = solved.model.subject.theory(path, 1.1 * BUCKLING * first)
        assert over.far[0].startswith("compression 0.37 of the buckling load")


def test_heat_held_back_is_compression():
    """A square held all round has the force N = ∫ Q α ΔT dz and no strain (as laminate theory has it)."""
    made, load = hinged(4), push(0.01, (0, 0, -1), held=(Cure(0.0, 0.0, 4.0),))
    solved, _ = linear(made, load, Settings())
    check = solved.model.subject.theory(solved.paths["push"], 1.0)
    force = made.laminates[0].thermal_resultants(4.0)[:3]
    assert force[0] == pytest.approx(force[1], rel=1e-9)
    limits = solved.model.subject.limits
    assert check.buckling_share == pytest.approx(force[0] / limits.critical.min(), rel=0.02)


def test_a_panel_that_heat_buckles_pops_through_under_a_hand():
    load = push(2.0, (0, 0, -1), held=(Cure(0.0, 0.0, 10.0),))
    _, high, _ = assessed(hinged(6), load, Settings())
    r = result(high)
    assert r.buckling.factors == (0.0,)
    assert "the panel buckles under what is held alone" in r.notes
    assert r.release.mode == "snap-through"
    assert 0.1 < r.release.factor < 1.0
    against = [point.deflection for point in r.curve]
    assert against[0] > 1e-4  # it bulges by part of its thickness, and is pushed back
    assert (np.diff(against) < 0).all()


# ------------------------------------------------------------------------------------------------------------- contact
def test_contact_stays_as_it_is_at_the_expected_severity():
    kerb = Contact(
        HalfRound(0.1), np.array([0.1, 0.1, 0.0]), np.array([0.0, 0, -1]), np.array([1.0, 0, 0]), "interference", 4e-4
    )
    load = LoadCase("kerb", "kerb strike", "interference", kerb)
    low, _ = linear(hinged(6, 5e-3), load, Settings())
    state = low.paths["kerb"].found(1.0)
    response = low.responder.following(load)
    touching = response.touching(state)
    assert touching.sum() == len(state.contacts[0].where) > 0
    found = modes(low, load, 50.0)
    shape = response.equilibrium.shapes[0]
    for mode in found:
        assert mode.factor > 0.0
        pressed = (shape.rows @ mode.shape)[touching]
        assert np.abs(pressed).max() < 1e-4 * np.abs(shape.rows @ mode.shape).max()


def test_a_shape_is_brought_up_to_the_panel_as_it_stands():
    kerb = Contact(
        HalfRound(0.1), np.array([0.1, 0.1, 0.0]), np.array([0.0, 0, -1]), np.array([1.0, 0, 0]), "interference", 4e-4
    )
    load = LoadCase("kerb", "kerb strike", "interference", kerb)
    low, _ = linear(hinged(4, 5e-3), load, Settings())
    before = low.responder.following(load).equilibrium
    mode = modes(low, load, math.inf)[0]
    shape = initial_shape(low.model.shell, mode.shape, 3e-4)
    low.responder.bent["kerb"] = Bent(low.model, Imperfection(shape, 3e-4, mode))
    after = low.responder.following(load).equilibrium
    assert (after.gap / after.share).min() == pytest.approx((before.gap / before.share).min(), abs=1e-12)
    moved = after.gap - before.gap - before.places @ shape
    assert np.ptp(moved / after.share) == pytest.approx(0.0, abs=1e-12)
