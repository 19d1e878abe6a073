"""Loads on a real panel: totals against areas and masses by hand, fixings, and load cases as paths."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from panelfem.arrays import FloatArray
from panelfem.errors import InputError, ModelError
from panelfem.laminate import Laminate, Ply
from panelfem.loads import (
    AreaForce,
    Contact,
    Cure,
    Flat,
    HalfRound,
    Inertia,
    Load,
    Misfit,
    Pressure,
    Step,
)
from panelfem.loads.fixings import hold, washer_elements
from panelfem.loads.masses import panel_mass
from panelfem.loads.obstacle import obstacle_rows, place_obstacle
from panelfem.loads.vectors import fastener_gaps, load_vector, resultant, sampled
from panelfem.material import library
from panelfem.mesh import Disc, FlatLift, Outline, Ring, TwoRadii, mesh_outline
from panelfem.panel import EdgeSupport, Fastener, HeldArea, Panel, PointMass
from panelfem.shell import Shell
from panelfem.shell.contact import ContactProblem, ContactSolution, Pusher

SIDE = 0.4
UP = np.array([0.0, 0, 1])
PLACES = np.array([[0.05, 0.05], [0.35, 0.05], [0.35, 0.35], [0.05, 0.35]])


def laminate() -> Laminate:
    ply = library()["T300-5208"]
    return Laminate(tuple(Ply(ply, 2.5e-4, np.radians(a)) for a in (0, 90, 45, -45, -45, 45, 90, 0)))


@cache
def panel(curved: bool = False) -> Panel:
    """A square panel on four fasteners, with a patch region and a mass region."""
    lift = TwoRadii(2.0, 4.0, (SIDE / 2, SIDE / 2)) if curved else FlatLift()
    outline = Outline(Ring.polygon([(0, 0), (SIDE, 0), (SIDE, SIDE), (0, SIDE)]))
    height = lift.height(PLACES)
    places = np.column_stack([PLACES, height])
    regions = [Disc(f"F{i + 1}", place, 0.012, 0.006) for i, place in enumerate(places)]
    centre = np.array([SIDE / 2, SIDE / 2, 0.0])
    centre[2] = lift.height(centre[None, :2])[0]
    regions += [Disc("pad", centre, 0.03, 0.015)]
    mesh = mesh_outline(outline, lift, 0.03, regions)
    fasteners = tuple(
        Fastener(f"F{i + 1}", place, UP, 0.012, 2e6, np.inf if i else 5e5, 20.0) for i, place in enumerate(places)
    )
    masses = (PointMass("camera", "pad", 0.3),)
    of = np.zeros(len(mesh.triangles), np.int64)
    return Panel("plate", mesh, (laminate(),), of, np.array([1.0, 0, 0]), fasteners, masses=masses)


@cache
def shell_of(curved: bool = False) -> Shell:
    p = panel(curved)
    return Shell(p.mesh.curved(2), p.stiffness(), p.axis, ~p.removed)


class Case:
    """A held part, a scaled part and shapes on a held panel: what the small tests below step through."""

    def __init__(
        self,
        held: tuple[Load, ...] = (),
        shapes: tuple[Contact, ...] = (),
        curved: bool = False,
        p: Panel | None = None,
    ) -> None:
        self.panel, self.shell = p or panel(curved), shell_of(curved)
        self.holding = hold(self.panel, self.shell)
        self.k = self.holding.stiffness
        self.gaps = fastener_gaps(held, self.panel)
        self.load = sum((load_vector(one, self.panel, self.shell) for one in held), np.zeros(self.shell.n_total))
        self.base = self.holding.system.solve(self.load)
        pushers = [Pusher(self.holding.held, obstacle_rows(place_obstacle(c, self.shell), self.shell)) for c in shapes]
        if shapes:
            self.problem = ContactProblem(self.holding.held, pushers, [c.car_stiffness for c in shapes])

    def at(self, advance: float, k: FloatArray | None = None) -> ContactSolution:
        k = self.k if k is None else k
        return self.problem.at(self.problem.free(self.base, k, self.gaps), [advance], k)

    def force(self, amount: float) -> ContactSolution:
        return self.problem.force(self.problem.free(self.base, self.k, self.gaps), amount, k=self.k)

    def carried(self, reactions: FloatArray) -> FloatArray:
        """Total force of the skin on the fasteners, (3,)."""
        return np.asarray(np.einsum("fac,fa->c", self.holding.rows.frame, reactions[:, :3]))


def kerb(amount: float, control: str = "interference", car: float | None = None, **change: object) -> Contact:
    """A half-round from below across the middle."""
    values = {
        "shape": HalfRound(0.05),
        "place": np.array([SIDE / 2, SIDE / 2, -1.0]),
        "direction": UP,
        "travel": np.array([1.0, 0, 0]),
        "control": control,
        "amount": amount,
        "car_stiffness": car,
    }
    return Contact(**{**values, **change})  # type: ignore[arg-type]


def test_totals() -> None:
    """Pressure: −p A n; force on a pad: itself; inertia: (areal mass × area + what hangs on it) × g."""
    p, shell = panel(), shell_of()
    assert resultant(shell, load_vector(Pressure(1000.0), p, shell)) == pytest.approx([0, 0, -1000 * SIDE**2])
    force = np.array([3.0, -4, 12])
    assert resultant(shell, load_vector(AreaForce("pad", force), p, shell)) == pytest.approx(force)
    assert resultant(shell, load_vector(Pressure(-1000.0, "pad"), p, shell))[2] == pytest.approx(
        1000 * np.pi * 0.03**2, rel=1e-3
    )
    density = library()["T300-5208"].density
    mass = density * 2e-3 * SIDE**2 + 0.3 + 0.05
    heavier = replace(p, extra_mass=0.05)
    total = resultant(shell, load_vector(Inertia(np.array([0, 0, -9.81])), heavier, shell))
    assert total == pytest.approx([0, 0, -9.81 * mass], rel=1e-9)


def test_pressure_acts_against_the_normal_of_a_curved_panel() -> None:
    """The resultant of a uniform pressure on a surface is −p ∫ n dA: along z, p times the area in plan."""
    p, shell = panel(True), shell_of(True)
    total = resultant(shell, load_vector(Pressure(1000.0), p, shell))
    assert total[2] == pytest.approx(-1000 * SIDE**2, rel=1e-5)


def test_sampled_pressure() -> None:
    """A field sampled on a fine grid gives its integral; `value` multiplies it; a lone sample is uniform."""
    p, shell = panel(), shell_of()
    x, y = np.meshgrid(np.linspace(0, SIDE, 41), np.linspace(0, SIDE, 41))
    points = np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()])
    values = 500 + 2000 * points[:, 0]
    total = resultant(shell, load_vector(Pressure(2.0, None, points, values), p, shell))
    assert total[2] == pytest.approx(-2 * (500 * SIDE**2 + 2000 * SIDE**3 / 2), rel=2e-3)
    lone = load_vector(Pressure(1.0, None, points[:1], np.array([700.0])), p, shell)
    assert lone == pytest.approx(load_vector(Pressure(700.0), p, shell))
    assert sampled(points, values, points[[5, 77]]) == pytest.approx(values[[5, 77]])
    with pytest.raises(InputError, match="samples"):
        load_vector(Pressure(1.0, None, points, values[:3]), p, shell)


def test_cure_bends_an_unsymmetric_laminate_freely() -> None:
    """Two plies [0/90] held at one area only: strains equal the free laminate's; before fitting, none."""
    two = Laminate(tuple(Ply(library()["T300-5208"], 2.5e-4, np.radians(a)) for a in (0, 90)))
    p = replace(panel(), laminates=(two,), fasteners=(), held_areas=(HeldArea("bracket", "F1"),), masses=())
    shell = Shell(p.mesh.curved(2), p.stiffness(), p.axis)
    u = hold(p, shell).system.solve(load_vector(Cure(-100.0, since_fitting=-100.0), p, shell))
    far = np.flatnonzero(np.linalg.norm(p.mesh.centroids - (0.25, 0.25, 0), axis=1) < 0.1)
    strain = shell.strains(u, np.array([[1 / 3], [1 / 3]]), far)[:, 0, :6]
    assert not load_vector(Cure(-100.0), p, shell).any()
    free = np.linalg.solve(two.ABD, two.thermal_resultants(-100.0))
    assert strain == pytest.approx(np.broadcast_to(free, strain.shape), abs=0.02 * np.abs(free).max())


def test_regions_that_are_not_there() -> None:
    p, shell = panel(), shell_of()
    with pytest.raises(InputError, match=r"no region 'knee'.*pad"):
        load_vector(AreaForce("knee", UP), p, shell)
    gone = replace(p, removed=p.mesh.inside["pad"])
    for load in (AreaForce("pad", UP), Pressure(1.0, "pad"), Inertia(UP)):
        with pytest.raises(InputError, match="nothing of the panel is left"):
            load_vector(load, gone, shell)
    with pytest.raises(InputError, match="no fastener 'F9'"):
        fastener_gaps((Misfit("F9", 1e-3),), p)


def test_fasteners_balance_loads_with_a_misfit() -> None:
    """Forces and moments on the fasteners, in their axes, are those of the load; rigid rows move by the gap."""
    case = Case((Inertia(np.array([0, 0, -60.0])), Pressure(400.0), Misfit("F2", 1e-3)))
    state = case.holding.held.at(case.k)
    u, reactions = state.displacement(case.base, case.gaps), state.reactions(case.base, case.gaps)
    total = resultant(case.shell, case.load)
    assert case.carried(reactions) == pytest.approx(total, abs=1e-7 * np.abs(total).max())
    moment = sum(
        np.cross(place, frame.T @ r[:3]) + frame.T @ r[3:]
        for place, frame, r in zip(case.holding.rows.place, case.holding.rows.frame, reactions, strict=True)
    )
    turn = np.zeros((case.shell.n_total, 3))  # displacements of unit turns about the origin
    for c in range(3):
        spin = np.cross(np.eye(3)[c], case.shell.layout.x)
        turn[case.shell.layout.displacement_unknowns.ravel(), c] = spin.ravel()
    assert moment == pytest.approx(turn.T @ case.load, abs=1e-7 * np.abs(total).max())
    motion = (case.holding.held.rows @ u).reshape(-1, 6)
    assert motion[1:, 2] == pytest.approx([1e-3, 0, 0], abs=1e-12)
    assert reactions[0, 2] == pytest.approx(5e5 * motion[0, 2], rel=1e-9)


@pytest.mark.parametrize("curved", [False, True])
def test_kerb_under_held_loads(curved: bool) -> None:
    """Interference, force and the car in series agree with each other and balance."""
    held = (Inertia(np.array([0, 0, -9.81])), Pressure(100.0))
    strike = Case(held, (kerb(2e-3),), curved)
    half, full = strike.at(1e-3), strike.at(2e-3)
    assert 0 < half.total[0] < full.total[0]
    assert full.error < 1e-7
    force = float(full.total[0])
    assert strike.force(force).advance[0] == pytest.approx(2e-3, rel=1e-6)
    car = 3e5
    lifted = Case(held, (kerb(2e-3, car=car),), curved)
    with_car = lifted.at(2e-3 + force / car)
    assert with_car.total[0] == pytest.approx(force, rel=1e-6)
    assert with_car.advance[0] == pytest.approx(2e-3, rel=1e-6)
    assert lifted.force(force).advance[0] == pytest.approx(2e-3, rel=1e-6)
    total = resultant(strike.shell, strike.load + full.load())
    assert strike.carried(full.reactions()) == pytest.approx(total, abs=1e-6 * force)


def test_road_under_a_dip() -> None:
    """The floor settles on the road only once it has gone through the gap."""
    road = Contact(Flat(), np.zeros(3), UP, np.array([1.0, 0, 0]), "interference", 0.0, gap=5e-4)
    light = Case((Inertia(np.array([0, 0, -2.0])),), (road,))
    heavy = Case((Inertia(np.array([0, 0, -600.0])),), (road,))
    assert light.at(0.0).total[0] == 0
    pressed = heavy.at(0.0)
    assert pressed.total[0] > 0
    motion = heavy.problem.rows @ pressed.displacement()  # mean motion along the road's normal
    assert motion.min() > -5e-4 - 1e-9
    free = heavy.problem.rows @ heavy.holding.held.correct(heavy.base, heavy.k)
    assert free.min() < -6e-4


def test_lost_fastener_softens_the_kerb() -> None:
    """With a fastener lost the same interference meets less force, as on a panel factored without it."""
    strike = Case((), (kerb(2e-3),))
    whole = float(strike.at(2e-3).total[0])
    lost = strike.at(2e-3, strike.holding.without(2))
    assert 0 < lost.total[0] < whole
    assert lost.reactions()[2] == pytest.approx(np.zeros(6))
    missing = replace(panel(), fasteners=tuple(replace(f, fitted=i != 2) for i, f in enumerate(panel().fasteners)))
    again = Case((), (kerb(2e-3),), p=missing).at(2e-3)
    assert again.total[0] == pytest.approx(lost.total[0], rel=1e-6)
    assert again.displacement() == pytest.approx(lost.displacement(), abs=1e-6 * np.abs(lost.displacement()).max())


def test_known_columns_serve_other_advances_and_stiffnesses() -> None:
    strike = Case((), (kerb(2e-3),))
    strike.at(2e-3)
    before = strike.holding.held.back_solves
    strike.at(2e-3)
    softer = strike.k.copy()
    softer[0, 2] *= 0.9
    strike.at(2e-3, softer)
    assert strike.holding.held.back_solves - before <= 1 + 12  # the changed row, and at most one more round


def edged(hold_by: str, **values: float) -> Panel:
    """A panel held along its whole edge only."""
    return replace(panel(), fasteners=(), edges=(EdgeSupport("rim", hold_by, None, **values),))  # type: ignore[arg-type]


def middle(p: Panel) -> float:
    """Deflection (m) of the pad under 1 kPa."""
    shell = Shell(p.mesh.curved(2), p.stiffness(), p.axis)
    u = hold(p, shell).system.solve(load_vector(Pressure(1000.0), p, shell))
    probe = load_vector(AreaForce("pad", -UP), p, shell)
    return float(probe @ u)


def test_edges() -> None:
    """Clamped is stiffer than hinged; springs run from soft to hinged; supported holds w only on a flat panel."""
    clamped, hinged = middle(edged("clamped")), middle(edged("hinged"))
    assert 0 < clamped < 0.5 * hinged
    elastic = [middle(edged("elastic", translation=t)) for t in (1e5, 1e7, 1e10)]
    assert elastic[0] > elastic[1] > elastic[2] > 0.999 * hinged
    assert elastic[2] == pytest.approx(hinged, rel=5e-3)
    assert middle(edged("elastic", translation=1e10, rotation=1e6)) == pytest.approx(clamped, rel=0.02)
    with pytest.raises(ModelError):
        middle(edged("supported"))  # slides in its plane
    pin = replace(panel().fasteners[0], out_of_plane=0.0, tilt=0.0, twist=1e4)
    pinned = replace(edged("supported"), fasteners=(pin,))
    assert middle(pinned) == pytest.approx(hinged, rel=1e-3)


def test_slanting_supported_edge_is_stiff_along_its_normal() -> None:
    """On a curved panel the support acts along each edge's own normal, and gives next to nothing."""
    p = panel(True)
    rim = EdgeSupport("rim", "supported", None)
    p = replace(p, edges=(rim,), fasteners=p.fasteners[:1])
    shell = Shell(p.mesh.curved(2), p.stiffness(), p.axis)
    kept = hold(p, shell)
    u = kept.held.correct(kept.system.solve(load_vector(Pressure(1000.0), p, shell)), kept.stiffness)
    w = u[: shell.n_boundary].reshape(-1, 6)[:, :3]
    rim_vertices = np.unique(p.mesh.boundary_edges)
    along_normal = np.abs(np.sum(w[rim_vertices] * p.mesh.vertex_normals[rim_vertices], axis=1)).max()
    assert along_normal < 0.02 * np.abs(w).max()


def test_washers() -> None:
    p = panel()
    assert (washer_elements(p, p.fasteners[0]) == p.mesh.inside["F1"]).all()
    other = replace(p.fasteners[0], name="bolt", place=np.array([0.2, 0.3, 0.0]), washer_radius=1e-6)
    assert washer_elements(p, other).sum() == 1
    gone = replace(p, removed=p.mesh.inside["F1"])
    assert not washer_elements(gone, p.fasteners[0]).any()


def test_step_presses_where_it_is() -> None:
    """A step whose edge is across the middle presses on one half only."""
    strike = Case((), (kerb(1e-3, shape=Step(0.005)),))
    place = strike.problem.place
    assert place[:, 0].min() > SIDE / 2 - 0.03
    assert place[:, 0].max() == pytest.approx(SIDE, abs=0.02)
    with pytest.raises(ModelError, match="cannot give"):
        strike.at(1e-3)  # two of the fasteners it covers are rigid along their normals
    soft = strike.k.copy()
    soft[:, 2] = 5e5
    found = strike.at(1e-3, soft)
    assert found.total[0] == pytest.approx(found.reactions()[:, 2].sum(), rel=1e-6)
    assert found.total[0] > 0
    assert place[found.touching, 0].min() > SIDE / 2 - 0.03


def test_the_mass_that_vibrates_is_the_mass_that_weighs():
    """Skin, hung mass and tape: the same kilograms as an acceleration acts on, each where it hangs."""
    p, shell = replace(panel(), extra_mass=0.05), shell_of()
    mass = panel_mass(p, shell)
    assert mass.total == pytest.approx(p.mass() + 0.3, rel=1e-6)
    field = np.array([0.0, 0, -9.81])
    weight = load_vector(Inertia(field), p, shell)
    assert mass(mass.shifts @ field) @ mass.shifts == pytest.approx(weight @ mass.shifts, abs=1e-9)
    on = p.mesh.inside["pad"]
    assert mass.area[on] @ (mass.moments[on, 0] - mass.moments[~on, 0].mean()) == pytest.approx(0.3, rel=1e-6)
    lost = replace(p, removed=p.mesh.inside["F1"])
    hole = panel_mass(lost, Shell(lost.mesh.curved(2), lost.stiffness(), lost.axis, ~lost.removed))
    assert hole.total == pytest.approx(lost.mass() + 0.3, rel=1e-3)  # rims are curved in the one, straight in the other
    with pytest.raises(InputError, match="no region 'nowhere'"):
        panel_mass(replace(p, masses=(PointMass("m", "nowhere", 1.0),)), shell)
