"""What holds for every kind of damage, present and to come."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from damage_examples import AREAS, FIXINGS, IN_A_CASE, MIDDLE, STACK, X, board

from panelfem.case.read import check
from panelfem.case.schema_found import SECTIONS
from panelfem.damage import KINDS, AreaDamage, Damage, FasteningDamage, damaged, ends
from panelfem.damage.keys import keys_of
from panelfem.errors import CaseError
from panelfem.laminate import Laminate, parse_stack
from panelfem.loads.vectors import spread
from panelfem.marks import Mark
from panelfem.material import library
from panelfem.mesh import Disc, Outline, Ring, mesh_outline
from panelfem.panel import Fastener, Panel
from panelfem.shell import Shell, Supports

RADII = (0.004, 0.012, 0.036)


@cache
def sandwich() -> Panel:
    """A sandwich of 300 × 200 mm with discs of three sizes round its middle, and one fixing."""
    discs = [Disc(f"r{i}", MIDDLE, r, 0.8 * r) for i, r in enumerate(RADII)]
    outline = Outline(Ring.polygon([(0, 0), (0.3, 0), (0.3, 0.2), (0, 0.2)]))
    push = Disc("push", np.array([0.26, 0.06, 0.0]), 0.015, 0.015)
    mesh = mesh_outline(outline, None, 0.05, (*discs, push))
    fixing = Fastener("F1", np.array([0.26, 0.15, 0]), np.array([0.0, 0, 1]), 0.01, 1e5, 1e5, 10.0, 10.0, 500.0, 800.0)
    laminate = Laminate(parse_stack(STACK, library(), "carbon-ud"))
    return Panel("sandwich", mesh, (laminate,), np.zeros(len(mesh.triangles), np.int64), X, (fixing,))


@cache
def _shell() -> tuple[Shell, np.ndarray]:
    panel = sandwich()
    shell = Shell(panel.mesh.curved(2), panel.stiffness(), panel.axis)
    return shell, spread(shell, np.array([50.0, 30.0, 100.0]), panel.mesh.inside["push"])


def compliance(panel: Panel) -> float:
    """f·u of a force on the skin away from the damage, the edge x = 0 clamped; f is that of the undamaged panel."""
    shell, load = _shell()
    curved = shell.mesh
    held = np.zeros((curved.nb, 6), bool)
    held[curved.x[: curved.nb, 0] < 1e-9] = True
    changed = shell.exchanged(panel.stiffness(), ~panel.removed)
    return float(load @ changed.factor(Supports(held)).solve(load))


@pytest.mark.parametrize("word", sorted(AREAS))
def test_larger_is_never_stiffer_and_none_is_undamaged(word: str) -> None:
    """Nested areas, a fixed load on the undamaged outline: Rayleigh.  The excess goes down at least
    as the area does.  Where plies were bonded on, only the soft end is bounded by the undamaged panel."""
    whole = compliance(sandwich())
    records = [AREAS[word](f"r{i}", r) for i, r in enumerate(RADII)]
    for end in ends(records[:1]):
        panels = [damaged(sandwich(), [record], end) for record in records]
        if panels[0].patches:
            continue
        found = [compliance(panel) for panel in panels]
        excess = np.array(found) / whole - 1.0
        assert excess[0] >= -1e-9
        assert (np.diff(excess) >= -1e-9).all()
        shares = (np.array(RADII) / RADII[-1]) ** 2
        assert (excess[:-1] <= 2.0 * shares[:-1] * excess[-1] + 1e-9).all()


@pytest.mark.parametrize("word", sorted(AREAS))
def test_the_soft_end_is_never_stiffer(word: str) -> None:
    record = AREAS[word]("r2", RADII[2])
    found = [compliance(damaged(sandwich(), [record], end)) for end in ends([record])]
    assert len(found) == (1 if record.bracket is None else 2)
    assert found == sorted(found)


@pytest.mark.parametrize("word", sorted(FIXINGS))
def test_fixings_hold_less(word: str) -> None:
    """At the soft end no stiffness is above that at the stiff end, and none above the sound fixing's."""
    record = FIXINGS[word]("F1")
    rows = []
    for end in ends([record]):
        (f,) = damaged(sandwich(), [record], end).fasteners
        rows.append(np.array([f.in_plane, f.out_of_plane, f.tilt, f.twist]) * f.fitted)
    (sound,) = sandwich().fasteners
    assert (rows[0] <= [sound.in_plane, sound.out_of_plane, sound.tilt, sound.twist]).all()
    assert (rows[-1] <= rows[0]).all()
    assert (rows[-1] < [sound.in_plane, sound.out_of_plane, sound.tilt, sound.twist]).any()


@pytest.mark.parametrize("word", sorted(KINDS))
def test_every_kind_is_whole(word: str) -> None:
    """An example, a test of its own, a place in a case, a source and limits."""
    record = KINDS[word]
    example = AREAS[word]("r2", RADII[2]) if issubclass(record, AreaDamage) else FIXINGS[word]("F1")
    assert type(example) is record
    tests = "".join(p.read_text("utf-8") for p in Path(__file__).parent.glob("test_*.py"))
    own = f"def test_{word.replace(' ', '_')}_"
    assert own in tests, f"no test of its own: {own}…"
    assert word in IN_A_CASE, "no case has it"
    assert len(record.source) > 20
    assert len(record.limits) > 20
    assert isinstance(getattr(record, "mark", None), Mark), "nothing marks it in pictures"
    assert record.bracket is not None or record.about
    assert SECTIONS[word].model_fields["kind"].description == record.about
    assert issubclass(record, AreaDamage | FasteningDamage)
    for key in keys_of(record).values():
        assert key.name in SECTIONS[word].model_fields
        assert key.sweep is None or key.measure, "a swept input says what would settle it"


def test_areas_and_fixings_are_bracketed_apart() -> None:
    """Two dull areas go together, an area and a fixing do not: four states."""
    dull, loose = AREAS["softened"]("r2", 0.036), FIXINGS["loose fastener"]("F1")
    every = ends([dull, loose])
    assert len(every) == len(set(every)) == 4
    assert len(ends([dull, AREAS["disbond"]("r0", 0.004)])) == 2
    states = {end: damaged(sandwich(), [dull, loose], end) for end in every}
    seen = {(bool(p.slack.any()), p.fasteners[0].in_plane < 1e5) for p in states.values()}
    assert seen == {(a, b) for a in (False, True) for b in (False, True)}
    for end, p in states.items():
        assert ("carrying nothing" in end) == bool(p.slack.any())
        assert ("slack" in end) == (p.fasteners[0].in_plane < 1e5)


def test_kinds_are_found_by_themselves() -> None:
    """One module, one kind or more; nothing else lists them."""
    assert set(KINDS) == {*AREAS, *FIXINGS}
    assert all(issubclass(record, Damage) and record.word == word for word, record in KINDS.items())


def test_a_slot_that_is_wider_than_long_is_told_so(tmp_path) -> None:
    document = board()
    crack = next(d for d in document["damage"] if d["kind"] == "crack")
    crack["area"]["width_mm"] = 2.0 * crack["area"]["length_mm"]
    with pytest.raises(CaseError) as error:
        check(document, tmp_path / "case.toml")
    (fault,) = error.value.faults
    assert fault.what == "the slot is no longer than it is wide"
    assert fault.allowed == "length_mm above width_mm"
