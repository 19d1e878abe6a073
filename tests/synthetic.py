"""An assessment made up from nothing, with every kind of figure a report must show; no solver is run.

The numbers are invented but consistent: a curved panel 600 × 400 mm on six fasteners with a hole and a dull area,
four options, five loads, a bracket, a patch that may be gone, a mode reached at zero load, a bound, and a load outside
linear theory.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from panelfem.assess.records import (
    Assessment,
    Configuration,
    Declined,
    FlipSize,
    InputRow,
    Marked,
    Mesh,
    Meshing,
    Notched,
    Restoration,
    Screened,
    Variant,
)
from panelfem.disposition.records import Assumption, Disposition, LoadOutcome, Outcome, Part, Uncertainty
from panelfem.marks import Mark
from panelfem.mesh import PanelMesh
from panelfem.repair import StepHeight
from panelfem.reserve.records import (
    BondCheck,
    ContactState,
    Deflection,
    FieldSet,
    FixingLoad,
    LimitCheck,
    LoadResult,
    ModeReserve,
    PlyRow,
    TheoryCheck,
)

LENGTH, WIDTH, RADIUS = 0.6, 0.4, 0.9
HOLE, DULL = np.array([0.21, 0.16]), np.array([0.235, 0.17])
FASTENERS = {
    "F1": (0.03, 0.03),
    "F2": (0.30, 0.03),
    "F3": (0.57, 0.03),
    "F4": (0.03, 0.37),
    "F5": (0.30, 0.37),
    "F6": (0.57, 0.37),
}
#: name, kind, parameter, expected (SI), first-ply factor, release factor, deflection (m) of the undamaged panel
LOADS = (
    ("kerb strike", "kerb strike", "interference", 0.0014, 1.62, 2.31, 0.0012),
    ("compression", "compression", "acceleration", 6.0 * 9.80665, 2.60, 3.40, 0.0007),
    ("wall contact", "wall contact", "force", 420.0, 1.15, 1.95, 0.0019),
    ("air load", "air load", "pressure", -2400.0, 2.05, 6.0, 0.0011),
    ("ram test", "load test", "force", 300.0, 1.90, 2.20, 0.0015),
)
#: name, kind, share of strength left, extra mass (kg), minutes, permitted, outcome, note
CONFIGURATIONS = (
    ("undamaged", "undamaged", 1.00, 0.0, 0.0, True, Outcome.MEETS, ""),
    ("as found", "as found", 0.52, -0.012, 0.0, True, Outcome.DOES_NOT, ""),
    ("tape", "option", 0.52, 0.008, 10.0, True, Outcome.DOES_NOT, "keeps the air out, carries nothing"),
    ("wet patch, two plies", "option", 0.81, 0.041, 30.0, None, Outcome.MEETS_IF, ""),
    ("heated patch", "option", 0.93, 0.052, 90.0, True, Outcome.MEETS, ""),
    ("spare", "option", 1.00, 0.0, 25.0, False, Outcome.MEETS, "the only spare"),
)


def surface(xy: np.ndarray) -> np.ndarray:
    """Points (n, 2) of the outline lifted on a shallow cylinder with a little twist, (n, 3)."""
    x, y = xy[:, 0], xy[:, 1]
    z = RADIUS - np.sqrt(RADIUS**2 - (x - LENGTH / 2) ** 2) + 0.06 * (x / LENGTH) * (y / WIDTH)
    return np.column_stack([x, y, -z])


def mesh(nx: int = 36, ny: int = 24) -> PanelMesh:
    """The panel as a regular triangle mesh."""
    x, y = np.meshgrid(np.linspace(0, LENGTH, nx + 1), np.linspace(0, WIDTH, ny + 1), indexing="ij")
    plan = np.column_stack([x.ravel(), y.ravel()])
    a = (np.arange(nx)[:, None] * (ny + 1) + np.arange(ny)).ravel()
    b, c, d = a + ny + 1, a + ny + 2, a + 1
    triangles = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.int64)
    centre = plan[triangles].mean(1)
    inside = {
        "hole H1": np.linalg.norm(centre - HOLE, axis=1) < 0.022,
        "dull area D1": np.linalg.norm(centre - DULL, axis=1) < 0.06,
    }
    return PanelMesh(surface(plan), triangles, inside, np.zeros(len(triangles), np.int64), ("two slivers collapsed",))


def point(x: float, y: float) -> np.ndarray:
    """A place on the surface, (3,)."""
    return surface(np.array([[x, y]]))[0]


def _mode(name: str, criterion: str, grade: str, factor: float, **more: object) -> ModeReserve:
    place = point(0.245, 0.182)
    where = "at the edge of hole H1, 31 mm from its centre"
    return ModeReserve(name, criterion, grade, factor, place=place, where=where, **more)  # type: ignore[arg-type]


def _plies(scale: float) -> tuple[PlyRow, ...]:
    rows = []
    for ply, angle in enumerate((0.0, 45.0, 45.0, 0.0), 1):
        for k, position in enumerate(("bottom", "middle", "top")):
            z = -0.5e-3 + 0.25e-3 * (ply - 1) + 0.125e-3 * k
            stress = scale * np.array([310e6 * z / 0.5e-3, -42e6 * z / 0.5e-3, 18e6])
            rows.append(
                PlyRow(ply, "twill carbon", np.deg2rad(angle), position, z, stress / 60e9, stress, 0.1 * stress)
            )
    return tuple(rows)


def _result(load: tuple, strength: float, kind: str) -> LoadResult:
    name, what, parameter, expected, first, release, deflection = load
    outside = name == "wall contact" and kind == "as found"
    first_ply = _mode(
        "matrix tension", "Hashin plane", "inspection", first * strength, ply=2, ply_name="twill carbon", position="top"
    )
    if name == "compression" and kind == "as found":
        first_ply = replace(first_ply, factor=float("nan"), status="zero load")
    governing = _mode(
        "fibre compression",
        "maximum stress",
        "release",
        release * strength,
        ply=4,
        ply_name="twill carbon",
        position="top",
    )
    if name == "air load":
        governing = ModeReserve("skin wrinkling", "wrinkling, foam core", "release", 6.0, status="beyond search")
    limits = (
        (LimitCheck("ram test", 0.0015 / strength, 0.010, 0.010 / 0.0015 * strength),) if what == "load test" else ()
    )
    modes = [governing, first_ply, _mode("pull on fastener F2", "rating", "release", 1.2 * release)]
    modes += [ModeReserve("limit 'ram test'", "deflection limit", "release", limits[0].factor)] if limits else []
    reasons = ("deflection 0.44 times the thickness, limit 0.3",) if outside else ()
    return LoadResult(
        load=name,
        kind=what,
        parameter=parameter,
        expected=expected,
        deflection=Deflection(
            deflection / strength, point(0.23, 0.17), "47 mm from the centre", np.array([0.0, 0.0, 1.0])
        ),
        first_ply=first_ply,
        release=governing,
        modes=tuple(modes),
        theory=TheoryCheck(0.44 if outside else 0.12, 0.021, 0.18, reasons),
        limits=limits,
        fixings=tuple(
            FixingLoad(f, 40.0 + 12.0 * i, -25.0 + 30.0 * i, 900.0, 600.0 if i else None)
            for i, f in enumerate(FASTENERS)
        ),
        bonds=(BondCheck("patch P1", 7.4e6, 2.1e6, 18e6, 9e6, "at its forward end"),) if kind == "patch" else (),
        contacts=(ContactState(610.0, 0.0014, 2.4e-4, point(0.4, 0.2)[None], 1e-9),)
        if parameter == "interference"
        else (),
        plies=_plies(1.0 / strength),
        path=tuple((f, f * deflection / strength) for f in (0.5, 1.0, 1.5)),
        notes=("dynamic factor 1.2 stated, swept 1.0 to 1.5",) if what == "kerb strike" else (),
        residual=3.1e-12,
        scaled="force of 420 N by hand" if parameter == "force" else what,
        held=("1 g on the panel and all that hangs on it", "cure stress: 80 K below stress-free"),
        dynamic=1.2 if what == "kerb strike" else 1.0,
    )


def _fields(made: PanelMesh, load: tuple, strength: float, removed: np.ndarray) -> FieldSet:
    x, y = made.vertices[:, 0] / LENGTH, made.vertices[:, 1] / WIDTH
    bump = np.sin(np.pi * x) * np.sin(np.pi * y) + 0.3 * np.exp(-((x - 0.38) ** 2 + (y - 0.42) ** 2) / 0.02) * (
        1 - strength
    )
    displacement = np.column_stack([0 * x, 0 * x, load[6] / strength * bump])
    reserve = np.minimum(load[5] * strength / np.maximum(bump, 1e-3), 10.0)
    used = np.zeros(len(x), bool)
    used[made.triangles[~removed]] = True
    return FieldSet(displacement, np.where(used, reserve, np.nan))


def _variant(made: PanelMesh, name: str, strength: float, kind: str, removed: np.ndarray, lost: bool) -> Variant:
    return Variant(
        name,
        tuple(_result(load, strength, kind) for load in LOADS),
        removed,
        {load[0]: _fields(made, load, strength, removed) for load in LOADS},
        {f: (1.4 * strength - 0.08 * i, "wall contact") for i, f in enumerate(FASTENERS)} if lost else {},
    )


def _disposition(outcome: Outcome, results: tuple[LoadResult, ...]) -> Disposition:
    loads = []
    for r in results:
        mode = r.release
        low = Outcome.CANNOT_TELL if not r.theory.holds else Outcome.MEETS if mode.factor >= 1.5 else Outcome.DOES_NOT
        loads.append(LoadOutcome(r.load, low, 1.5, mode.factor, f"{mode.mode} at {mode.factor:.2f}; 1.5 is asked for"))
    worst = min(loads, key=lambda o: o.factor)
    reason = f"{worst.load}: fibre compression at the edge of hole H1 is reached at {worst.factor:.2f} times the "
    reason += "expected severity; 1.5 is asked for"
    conditions = (
        "look at the whole edge of the patch after every run and take the panel off if it lifts",
        "ask the scrutineers and the panel's supplier whether this repair is permitted",
        "check that F2 is locked before every run",
    )
    inspect = ("tap the dull area D1 again and mark its edge", "matrix cracks at the edge of hole H1 (ply 2)")
    return Disposition(
        outcome,
        worst.load,
        reason,
        conditions if outcome is Outcome.MEETS_IF else (),
        inspect,
        tuple(loads),
        (_flipping(),) if outcome is Outcome.MEETS_IF else (),
    )


def _flipping() -> Assumption:
    return Assumption(
        "damage[1].strength_percent",
        "strength left in the dull area",
        "60 %",
        "assumed",
        ("30 %", "90 %"),
        (Outcome.DOES_NOT, Outcome.MEETS_IF),
        (1.21, 2.02),
        True,
        "tap the dull area and measure it again, or drill a 3 mm core beside it",
    )


def assessment(
    *, recommendation: str | None = "wet patch, two plies", resolution: tuple[int, int] = (36, 24)
) -> Assessment:
    """The whole made-up assessment."""
    made = mesh(*resolution)
    nothing = np.zeros(len(made.triangles), bool)
    hole = made.inside["hole H1"]
    configurations = []
    for name, kind, strength, extra, minutes, permitted, outcome, note in CONFIGURATIONS:
        patched = "patch" in name
        what = "patch" if patched else kind
        damaged = name in ("as found", "tape") or patched
        removed = hole if damaged else nothing
        if damaged:
            variants = (
                _variant(made, "dull area stiff", strength, what, removed, True),
                _variant(made, "dull area soft", strength * 1.04, what, removed, False),
            )
        else:
            variants = (_variant(made, "as it is", strength, what, removed, True),)
        gone = (_variant(made, "patch P1 gone", 0.52, "as found", hole, False),) if patched else ()
        configurations.append(
            Configuration(
                name,
                kind,
                1.204 + extra,
                minutes,
                permitted,
                variants,
                gone,
                {load[0]: variants[0].name for load in LOADS},
                tuple(Restoration(load[0], strength, 0.97 * strength) for load in LOADS),
                _disposition(outcome, variants[0].loads),
                note,
                step=StepHeight(0.9e-3, "last ply")
                if patched
                else StepHeight(unstated=("tape over H1",))
                if name == "tape"
                else None,
            )
        )
    return Assessment(
        case="side_panel.toml",
        title="Side panel, left, after a kerb strike",
        invented=True,
        panel="side panel, left",
        minutes_left=80.0,
        required=1.5,
        consequence="debris",
        configurations=tuple(configurations),
        recommendation=recommendation,
        recommendation_reason=(
            "Nothing else offered meets the factor, is permitted and fits in the time left."
            if recommendation
            else "No option offered meets the factor asked for."
        ),
        conditions=("inspect the attachment on the part that protects people by its manufacturer's procedure",),
        cautions=(
            "Carbon dust is harmful and conducts: mask, gloves, extraction.",
            "Uncured resin sensitises the skin.",
            "A heated cure can burn people and damage what lies under the panel.",
            "Cut edges are sharp.",
            "Keep dust, tools and heat away from batteries.",
        ),
        assumptions=(
            _flipping(),
            Assumption(
                "loads[0].dynamic_factor",
                "dynamic factor of the kerb strike",
                "1.2",
                "assumed",
                ("1.0", "1.5"),
                (Outcome.MEETS_IF, Outcome.MEETS_IF),
                (1.9, 1.55),
            ),
        ),
        inputs=(
            InputRow("panel.thickness_mm", "1 mm", "stated", "caliper on the edge"),
            InputRow("material.twill.E1_GPa", "60 GPa", "typical", "generic woven carbon/epoxy"),
        ),
        sources=("Z. Hashin, Failure criteria for unidirectional fiber composites, J. Appl. Mech. 47 (1980)",),
        mesh=made,
        places={name: point(*at) for name, at in FASTENERS.items()} | {"hole H1": point(*HOLE)},
        checks={"relative residual, greatest": "3.1e-12 (limit 1e-8)", "least mesh quality": "0.71 (1 is equilateral)"},
        stacks={"skin": ("1: twill carbon 0.25 mm at 0°", "2: twill carbon 0.25 mm at 45°")},
        version="0.1.0",
        case_hash="0f3a9c",
        settings={"order": 4, "criteria": {"fabric": "maximum stress"}, "search_up_to": float("inf")},
        screened=(
            Screened("heated patch", "compression", 3.162, "more than 1.5 times the factor asked for"),
            Screened("spare", "air load", float("nan"), "nothing reached in the search"),
        ),
        notched=(
            Notched("hole H1", "kerb strike", 1.71, 1.84, 1.62, 3.8e-3, 0.12),
            Notched("hole H1", "air load", float("nan"), float("nan"), float("inf"), 3.8e-3, 0.0, "it is no ellipse"),
        ),
        marked=(
            Marked("hole H1", "hole", Mark(), inside=hole),
            Marked("dull area D1", "softened", Mark("//"), inside=made.inside["dull area D1"]),
            Marked("wet plies", "patch", Mark("//", "--"), "wet patch, two plies", made.inside["dull area D1"]),
        ),
        flip_sizes=(
            FlipSize(
                "hole H1",
                "as found",
                0.044,
                0.03,
                0.031,
                Outcome.MEETS,
                Outcome.DOES_NOT,
                "kerb strike",
                "fibre compression",
                0.011,
                looks=4,
            ),
            FlipSize(
                "dull area D1",
                "as found",
                0.12,
                reached=0.03,
                outcome=Outcome.DOES_NOT,
                bound="no smaller",
                round=False,
                looks=2,
            ),
            FlipSize("hole H1", "tape", 0.044, reached=0.13, outcome=Outcome.MEETS, bound="no larger", looks=2),
            FlipSize("dull area D1", "tape", 0.12, round=False, why_not="a look does not tell"),
        ),
    )


def barred(made: Assessment, share: float = 0.01, met: bool = True) -> Assessment:
    """The assessment with every bar at a `share` of its number, uncertainties, and meshes; `met`: accurate enough."""
    meshes = (
        Mesh(812, 0.064, "deflection", "kerb strike, as it is"),
        Mesh(2140, 0.017 if met else 0.031, "pull on F2", "ram test"),
    )
    stopped = "" if met else "the limit of 2140 elements is reached"
    configurations = tuple(
        replace(
            c,
            variants=tuple(_barred_variant(v, share) for v in c.variants),
            contingencies=tuple(_barred_variant(v, share) for v in c.contingencies),
            disposition=replace(c.disposition, uncertainty=_uncertainty(c)),
        )
        for c in made.configurations
    )
    return replace(made, configurations=configurations, meshing=Meshing(0.02, meshes, met, 3, stopped))


def _barred_variant(variant: Variant, share: float) -> Variant:
    return replace(variant, loads=tuple(_barred_result(r, share) for r in variant.loads))


def _barred_result(r: LoadResult, share: float) -> LoadResult:
    def mode(m: ModeReserve) -> ModeReserve:
        return replace(m, bar=share * m.factor)

    return replace(
        r,
        deflection=replace(r.deflection, bar=share * r.deflection.value),
        first_ply=mode(r.first_ply),
        release=mode(r.release),
        modes=tuple(mode(m) for m in r.modes),
        limits=tuple(replace(c, bar=share * c.value) for c in r.limits),
        fixings=tuple(replace(f, bar=(share * abs(f.shear), share * abs(f.pull))) for f in r.fixings),
        bonds=tuple(replace(b, bar=(share * b.shear, share * b.peel)) for b in r.bonds),
        contacts=tuple(replace(c, bar=(share * c.force, share * c.advance)) for c in r.contacts),
        plies=tuple(
            replace(p, strain_bar=share * np.abs(p.strain), stress_bar=share * np.abs(p.stress)) for p in r.plies
        ),
    )


def _uncertainty(conf: Configuration) -> Uncertainty:
    parts = (
        Part("load severity", "kerb strike: interference", 0.75, 1.20, "computed"),
        Part("strength", "strengths of ply twill carbon", 0.90, 1.10, "bound"),
        Part("mesh", "mesh error of the governing mode", 0.99, 1.01, "computed"),
        Part("fixing stiffness", "stiffness of fastener F1", float("nan"), float("nan"), "not computed"),
    )
    least = min(conf.disposition.loads, key=lambda o: o.factor)
    return Uncertainty(parts, 0.73, 1.22, least.load, least.factor)


def declined() -> Declined:
    """A part that is not assessed."""
    return Declined(
        "nose.toml", "it is part of a front impact structure", "its manufacturer and the governing body's tests"
    )
