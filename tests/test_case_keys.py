"""Every key of a case file, wrong in every way: each message names the path and says what to write."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, get_origin

import pytest
from test_case_documents import documents

from panelfem.case.faults import split
from panelfem.case.fields import Quantity, Section, about, key_of
from panelfem.case.keys import keys_markdown
from panelfem.case.other_keys import other_markdown
from panelfem.case.read import check
from panelfem.case.schema import CaseFile
from panelfem.case.walk import keys, plain, sections_in
from panelfem.errors import CaseError, Fault

Place = tuple[str | int, ...]


def faults(document: dict[str, Any], folder: Path) -> tuple[Fault, ...]:
    """The faults of a document; none if it is sound."""
    try:
        check(document, folder / "case.toml")
    except CaseError as error:
        return error.faults
    return ()


def dotted(place: Place) -> str:
    """A place as messages write it."""
    text = ""
    for step in place:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text


def walk(model: Section, place: Place = ()) -> Iterator[tuple[Place, type[Section], str]]:
    """Place, section class and field of every key a document sets."""
    for name in type(model).model_fields:
        if name not in model.model_fields_set:
            continue
        here = (*place, key_of(name, type(model).model_fields[name]))
        yield here, type(model), name
        value = getattr(model, name)
        for step, item in _items(value):
            if isinstance(item, Section) and not isinstance(item, Quantity):
                yield from walk(item, (*here, *step))


def _items(value: Any) -> list[tuple[Place, Any]]:
    if isinstance(value, list):
        return [((i,), item) for i, item in enumerate(value)]
    if isinstance(value, dict):
        return [((key,), item) for key, item in value.items()]
    return [((), value)]


def put(document: dict[str, Any], place: Place, value: Any) -> dict[str, Any]:
    """A copy of a document with another value at a place."""
    result = copy.deepcopy(document)
    target: Any = result
    for step in place[:-1]:
        target = target[step]
    target[place[-1]] = value
    return result


def renamed(document: dict[str, Any], place: Place, name: str) -> dict[str, Any]:
    """A copy of a document with another name for the key at a place."""
    result = copy.deepcopy(document)
    target: Any = result
    for step in place[:-1]:
        target = target[step]
    target[name] = target.pop(place[-1])
    return result


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("case")


@pytest.fixture(scope="module")
def occurrences(folder: Path) -> dict[tuple[type[Section], str], tuple[dict[str, Any], Place]]:
    """For every key of the schema a document that sets it, and where."""
    found: dict[tuple[type[Section], str], tuple[dict[str, Any], Place]] = {}
    for document in documents(folder).values():
        for place, owner, field in walk(check(document, folder / "case.toml")):
            found.setdefault((owner, field), (document, place))
    return found


ALL = {(k.owner, k.field): k for k in keys(CaseFile)}
Which = tuple[type[Section], str]


def kind_of(which: Which) -> str:
    """What kind of value a key takes."""
    return about(which[0].model_fields[which[1]]).kind


def each(chosen: Callable[[Which], bool]) -> pytest.MarkDecorator:
    """A test for every key that is chosen."""
    those = [which for which in ALL if chosen(which)]
    return pytest.mark.parametrize("which", those, ids=[f"{owner.__name__}.{field}" for owner, field in those])


@each(lambda which: ALL[which].required)
def test_missing(which, occurrences, folder) -> None:
    """A key that must be there and is not: the message names it."""
    document, place = occurrences[which]
    broken = copy.deepcopy(document)
    target: Any = broken
    for step in place[:-1]:
        target = target[step]
    del target[place[-1]]
    found = faults(broken, folder)
    fault = next((f for f in found if f.path == dotted(place)), None)
    assert fault is not None, found
    assert fault.what.startswith("is missing")
    assert fault.allowed


@each(lambda which: True)
def test_mistyped(which, occurrences, folder) -> None:
    """A value of the wrong type: the message names the key, what was found and what is allowed."""
    owner, field = which
    document, place = occurrences[which]
    for wrong, word in ((True, "true"), ("eleven", "eleven"), (7, "7")):
        kind = about(owner.model_fields[field]).kind
        allowed_too = {
            True: kind in ("flag",) or field == "permitted",
            "eleven": kind in ("text", "choice", "flag"),
            7: kind in ("number", "quantity"),
        }[wrong]
        if allowed_too:
            continue
        found = faults(put(document, place, wrong), folder)
        near = [f for f in found if f.path.startswith(dotted(place))]
        assert near, (wrong, found)
        assert any(word in f.what for f in near), near
        assert all(f.allowed and f.do for f in near)


@each(lambda which: kind_of(which) in ("choice", "flag"))
def test_wrong_word(which, occurrences, folder) -> None:
    """A word that is not one of the choices: all choices are listed, the nearest is proposed."""
    document, place = occurrences[which]
    found = faults(put(document, place, "elevenses"), folder)
    near = [f for f in found if f.path == dotted(place)]
    assert near, found
    assert "elevenses" in near[0].what
    assert near[0].allowed


@each(lambda which: bool(split(key_of(which[1], which[0].model_fields[which[1]]))[1]) and kind_of(which) != "section")
def test_wrong_unit(which, occurrences, folder) -> None:
    """The right key in another unit: one message, naming the right key and its unit."""
    document, place = occurrences[which]
    right = str(place[-1])
    stem, unit = split(right)
    other = {"mm": "cm", "N": "kN", "kPa": "bar", "g": "kg", "GPa": "MPa", "MPa": "GPa"}.get(
        unit, "mm" if unit != "mm" else "cm"
    )
    for wrong in (f"{stem}_{other}", stem):
        if wrong in {key_of(n, i) for n, i in which[0].model_fields.items()}:
            continue
        found = faults(renamed(document, place, wrong), folder)
        path = dotted((*place[:-1], wrong))
        fault = next((f for f in found if f.path == path), None)
        assert fault is not None, found
        assert "unit" in fault.what
        assert f"write {right}" in fault.do
        assert not [f for f in found if f.path == dotted(place) and f.what == "is missing"], "said twice"


@each(lambda which: which != (CaseFile, "materials"))
def test_misspelt(which, occurrences, folder) -> None:
    """A misspelt key: the nearest one is named."""
    document, place = occurrences[which]
    right = str(place[-1])
    wrong = right[:2] + "x" + right[2:]
    found = faults(renamed(document, place, wrong), folder)
    fault = next((f for f in found if f.path == dotted((*place[:-1], wrong))), None)
    if fault is None:  # the key that says what kind of table it is
        fault = next(f for f in found if f.path == dotted(place))
        assert fault.what == "is missing"
        return
    assert right in fault.do or right in fault.allowed


@each(lambda which: kind_of(which) in ("number", "numbers", "quantity", "point", "points"))
def test_out_of_range(which, occurrences, folder) -> None:
    """A number outside the range of its key: the message names the path, the number and the range with its
    unit.
    """
    owner, field = which
    known = about(owner.model_fields[field])
    document, place = occurrences[which]
    tried = 0
    for beyond in (known.high * 1.5 + 1, known.low - 1 - abs(known.low)):
        if abs(beyond) == float("inf"):
            continue
        value: Any = int(beyond) if plain(owner.model_fields[field].annotation) is int else float(beyond)
        if known.kind in ("numbers", "point"):
            value = [value] * known.lengths[-1]
        if known.kind == "points":
            value = [[value] * 2] * 3
        found = faults(put(document, place, value), folder)
        fault = next((f for f in found if f.path == dotted(place)), None)
        assert fault is not None, found
        assert "out of range" in fault.what
        assert known.allowed(str(place[-1])) == fault.allowed
        tried += 1
    assert tried


@each(lambda which: kind_of(which) in ("number", "quantity") and plain(ALL[which].info.annotation) is not int)
def test_not_finite(which, occurrences, folder) -> None:
    """nan and inf, which TOML can write, are no numbers here."""
    document, place = occurrences[which]
    for value in (float("nan"), float("inf")):
        found = faults(put(document, place, value), folder)
        assert any(f.path == dotted(place) and "finite" in f.what for f in found), found


@each(lambda which: kind_of(which) == "quantity")
def test_quantity_as_a_table(which, occurrences, folder) -> None:
    """A number that may be uncertain, as a table: each of its own keys wrong."""
    owner, field = which
    document, place = occurrences[which]
    known = about(owner.model_fields[field])
    value = 0.5 * (max(known.low, -1e6) + min(known.high, 1e6)) or 1.0
    cases: list[tuple[Any, str, str]] = [
        ({"basis": "assumed"}, "value", "is missing"),
        ({"value": "high"}, "value", "high"),
        ({"value": value, "basis": "guessed"}, "basis", "guessed"),
        ({"value": value, "source": 3}, "source", "3"),
        ({"value": value, "source": " "}, "source", "is empty"),
        ({"value": value, "band": [value]}, "band", "1 number"),
        ({"value": value, "bnad": [value, value]}, "bnad", "no key"),
    ]
    for table, key, word in cases:
        found = faults(put(document, place, table), folder)
        assert any(f.path == dotted((*place, key)) and word in f.what for f in found), (table, found)
    span = abs(value) * 0.01
    found = faults(put(document, place, {"value": value, "band": [value + span, value + 2 * span]}), folder)
    assert any(f.path.startswith(dotted(place)) and "outside its band" in f.what for f in found), found
    found = faults(put(document, place, {"value": value, "band": [value + span, value - span]}), folder)
    assert any(f.path.startswith(dotted(place)) and "high to low" in f.what for f in found), found
    if known.high < 1e9:
        found = faults(put(document, place, {"value": value, "band": [value, known.high * 2 + 1]}), folder)
        assert any(f.path == dotted(place) and "out of range" in f.what for f in found), found


@each(lambda which: kind_of(which) in ("point", "direction", "points"))
def test_places_and_directions(which, occurrences, folder) -> None:
    """Too few numbers; a direction of zero length; text among numbers."""
    known = about(which[0].model_fields[which[1]])
    document, place = occurrences[which]
    wrap = (lambda v: [v, v, v]) if known.kind == "points" else (lambda v: v)
    found = faults(put(document, place, wrap([1.0])), folder)
    assert any(f.path == dotted(place) and "1 number" in f.what for f in found), found
    found = faults(put(document, place, wrap(["a"] * known.lengths[-1])), folder)
    assert any(f.path.startswith(dotted(place)) and "'a'" in f.what for f in found), found
    if known.kind == "direction":
        found = faults(put(document, place, [0.0, 0.0, 0.0]), folder)
        assert any(f.path == dotted(place) and "no direction" in f.what for f in found), found


def test_every_fault_is_listed_at_once(occurrences, folder) -> None:
    """Faults of all kinds in one file come in one message, each with its path."""
    document = documents(folder)["outline"]
    broken = put(document, ("case", "title"), 3)
    broken = put(broken, ("safety", "protects_people"), "maybe")
    broken = renamed(broken, ("load", 0, "force_N"), "force_kN")
    broken = put(broken, ("damage", 2, "fastener"), "F9")
    del broken["safety"]["covers_high_voltage"]
    paths = {f.path for f in faults(broken, folder)}
    assert {
        "case.title",
        "safety.protects_people",
        "safety.covers_high_voltage",
        "load[0].force_kN",
        "damage[2].fastener",
    } <= paths


def test_conversion_is_worked_out(folder) -> None:
    """A force in kN, a thickness in cm: the message gives the number to write."""
    document = documents(folder)["outline"]
    broken = put(renamed(document, ("load", 0, "force_N"), "force_kN"), ("load", 0, "force_kN"), 0.6)
    assert next(f for f in faults(broken, folder) if f.path == "load[0].force_kN").do == "write force_N = 600"
    broken = renamed(document, ("materials", "cloth", "thickness_mm"), "thickness_cm")
    broken["materials"]["cloth"]["thickness_cm"] = 0.03
    assert next(f for f in faults(broken, folder) if "thickness_cm" in f.path).do == "write thickness_mm = 0.3"


def test_every_section_is_reachable() -> None:
    """Lists hold tables, tables hold keys: nothing in the schema escapes the walk."""
    for key in ALL.values():
        if about(key.info).kind in ("section", "sections"):
            inner = sections_in(key.info.annotation)
            assert inner or get_origin(plain(key.info.annotation)) is list, key.path


def test_reference_is_up_to_date() -> None:
    """cases/KEYS.md is what the schema says (python -m panelfem.case.keys > cases/KEYS.md)."""
    file = Path(__file__).parents[1] / "cases" / "KEYS.md"
    assert file.read_text("utf-8") == keys_markdown()


def test_the_reference_of_other_files_is_up_to_date() -> None:
    """cases/OTHER_FILES.md is what the schemas say (python -m panelfem.case.other_keys > cases/OTHER_FILES.md), and the
    examples it names are there."""
    cases = Path(__file__).parents[1] / "cases"
    written = (cases / "OTHER_FILES.md").read_text("utf-8")
    assert written == other_markdown()
    examples = re.findall(r"an example: \[[^]]*\]\(([^)]*)\)", written)
    assert len(examples) == 3
    assert all((cases / example).is_file() for example in examples)
