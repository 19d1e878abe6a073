"""From prepared files and a finding to a case document."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from panelfem.case.inputs import origin_of
from panelfem.case.read import check, read, validated
from panelfem.case.schema_panel import Panel
from panelfem.errors import CaseError, Fault
from panelfem.garage.checks import travel_faults, unknown
from panelfem.garage.library import Library, label, located
from panelfem.garage.loads import compose_loads
from panelfem.garage.options import compose_options
from panelfem.garage.overrides import KEPT, kept_faults, override, override_list
from panelfem.garage.records import Composed, Step
from panelfem.garage.schema_finding import Finding
from panelfem.garage.schema_panel import PreparedPanel
from panelfem.garage.toml import toml_text

Document = dict[str, Any]
#: Why the sizes at which damage changes the outcome are not looked for unless that is asked for.
_MINUTES = "off where minutes count"
#: The order of the sections of a case.
_ORDER = ("case", "safety", "materials", "panel", "damage", "option", "held", "load", "settings")


@dataclass(frozen=True)
class Base:
    """A case without finding and options: the files it names are absolute.

    `comments` and `origins` as in :class:`panelfem.garage.records.Composed`.
    """

    document: Document
    comments: dict[str, str]
    origins: dict[str, str]
    left_out: tuple[str, ...]
    files: tuple[Path, ...]


def compose(library: Library, finding: Path) -> Composed:
    """The case that a finding file and the prepared files it names make together.

    Raises CaseError listing all faults of the finding and of what comes of it, each with file and key.
    """
    raw = read(finding)
    where = finding.name
    model, faults = validated(raw, Finding)
    if model is None:
        raise CaseError(str(finding), tuple(faults))
    head = model.finding
    faults = [*_names(library, model), *kept_faults(model)]
    if not faults:
        faults += travel_faults(library, head.car, head.circuit)
    if faults:
        raise CaseError(str(finding), tuple(faults))
    base = compose_base(library, head.panel, head.car, head.circuit)
    panel, kit = library.panels[head.panel], library.kits[head.kit]
    document, origins, comments = base.document, base.origins, base.comments
    of_panel, of_kit = label("panels", head.panel), label("kits", head.kit)
    damage = ", ".join(d.name for d in model.damage) or "no damage"
    document["case"] |= {"title": head.title or f"{panel.panel.name}: {damage}"}
    document["case"]["invented"] |= kit.kit.invented
    if head.minutes_left is not None:
        document["case"]["minutes_left"] = head.minutes_left
    document["damage"] = copy.deepcopy(raw.get("damage", []))
    origins |= {"case": where, "damage": where, "option": of_kit}
    comments["case"] = f"{where}; consequence and factor: {of_panel}"
    comments |= {f"damage[{i}]": where for i in range(len(model.damage))}
    _add_materials(library, base, head.kit, faults)
    if "flip_sizes" not in document.setdefault("settings", {}):
        document["settings"] = document["settings"] | {"flip_sizes": False}
        origins["settings.flip_sizes"] = _MINUTES
        said = f"flip_sizes: {_MINUTES}; {of_panel} or {where} may turn it on"
        comments["settings"] = "\n".join(t for t in (comments.get("settings"), said) if t)
    given = _files_absolute(raw, finding.parent)
    overrides = [*override(document, given)]
    options = compose_options(kit, _as_found(panel, document["panel"]), model.damage, of_kit)
    document["option"] = options.tables
    for i in range(len(options.tables)):
        origins[f"option[{i}].permitted"] = of_panel
        comments[f"option[{i}]"] = f"{of_kit}; permitted: {of_panel}"
    overrides += override_list(document, given, "option")
    for path in overrides:
        origins[path] = where
        top = path if path.endswith("]") else path.rpartition(".")[0]
        comments[top] = "\n".join(t for t in (comments.get(top), f"{where} replaces {path}") if t)
    document = {name: document[name] for name in _ORDER if document.get(name)}
    faults += _composed_faults(document, finding, origins)
    if faults:
        raise CaseError(str(finding), tuple(faults))
    final, beside = files_beside(document)
    left_out = (*base.left_out, *options.left_out)
    files = (finding, *base.files, library.path("kits", head.kit), *beside.values())
    text = toml_text(final, comments, _head(where, library, model, overrides, left_out))
    steps = _steps(options.steps, final.get("option", []), where)
    return Composed(
        final, text, files, beside, origins, tuple(overrides), left_out, steps,
        head.panel, head.car, head.circuit, head.kit, head.who,
    )  # fmt: skip


def compose_base(library: Library, panel: str, car: str, circuit: str) -> Base:
    """What a case says of a panel on a car at a circuit before anything happened."""
    of_panel = label("panels", panel)
    raw = _files_absolute(library.documents[of_panel], library.folder / "panels")
    file = library.panels[panel]
    made = compose_loads(library, panel, car, circuit)
    stakes = {key: raw["prepared"][key] for key in KEPT if key in raw["prepared"]}
    invented = file.prepared.invented or library.cars[car].car.invented or library.circuits[circuit].circuit.invented
    document: Document = {
        "case": {"title": f"{file.panel.name}, undamaged", "invented": invented} | stakes,
        "load": _files_absolute({"load": made.tables}, library.folder / "panels")["load"],
    }
    taken = ("safety", "materials", "panel", "held", "settings")
    document |= {name: raw[name] for name in taken if name in raw}
    origins = dict.fromkeys((*taken, *(f"case.{key}" for key in stakes)), of_panel)
    comments = dict.fromkeys(taken, of_panel)
    for i, (comment, keys) in enumerate(zip(made.comments, made.origins, strict=True)):
        comments[f"load[{i}]"] = comment
        origins |= {f"load[{i}].{key}" if key else f"load[{i}]": origin for key, origin in keys.items()}
    files = (library.path("panels", panel), library.path("cars", car), library.path("circuits", circuit))
    return Base(document, comments, origins, tuple(made.left_out), files)


def _as_found(panel: PreparedPanel, table: Document) -> PreparedPanel:
    """The panel with what the finding says of it; as prepared if that is faulty, which the checks of the case say."""
    found, _ = validated(table, Panel)
    return panel if found is None else panel.model_copy(update={"panel": found})


def _names(library: Library, model: Finding) -> Iterator[Fault]:
    head = model.finding
    for thing, valid in (
        ("panel", library.panels),
        ("car", library.cars),
        ("circuit", library.circuits),
        ("kit", library.kits),
    ):
        yield from unknown(getattr(head, thing), tuple(valid), f"finding.{thing}", thing)
    if head.panel in library.panels and head.car in library.cars:
        carried = [c.panel for c in library.cars[head.car].carries]
        if head.panel not in carried:
            what = f"{label('cars', head.car)} does not carry {head.panel!r}"
            do = "name another panel or car, or add [[carries]] to the car file"
            yield Fault("finding.panel", what, ", ".join(carried), do)


def _add_materials(library: Library, base: Base, kit: str, faults: list[Fault]) -> None:
    """Put the materials of the kit beside those of the panel; one name may not mean two things."""
    of_kit = library.documents[label("kits", kit)].get("materials", {})
    own = base.document.setdefault("materials", {})
    for name, table in of_kit.items():
        if name in own and own[name] != table:
            where = base.origins["materials"]
            what = f"is one thing there and another in {where}"
            do = "rename one of them: a patch would change its plies"
            faults.append(Fault(f"{label('kits', kit)}: materials.{name}", what, "one meaning a name", do))
        own[name] = table
        base.origins[f"materials.{name}"] = label("kits", kit)
        base.comments[f"materials.{name}"] = label("kits", kit)
    for patch in library.kits[kit].patch:
        for key in ("material", "adhesive"):
            name = getattr(patch, key)
            if name in own and name not in of_kit:
                what = f"means the library's {name!r} in the kit, but {base.origins['materials']} changes it"
                do = f"rename it in {base.origins['materials']}"
                where = f"{label('kits', kit)}: patch {patch.name!r}.{key}"
                faults.append(Fault(where, what, "one meaning a name", do))


def _composed_faults(document: Document, finding: Path, origins: Mapping[str, str]) -> list[Fault]:
    """The faults of a composed case, each with the file it comes from and the name of the entry."""
    try:
        check(document, finding)
    except CaseError as error:
        return [f for fault in error.faults for f in located([fault], origin_of(fault.path, origins) or finding.name)]
    return []


def _steps(
    steps: Mapping[str, tuple[Step, ...]], options: Sequence[Document], where: str
) -> dict[str, tuple[Step, ...]]:
    """The steps of every option; an option whose minutes the finding states has one step."""
    found = {}
    for option in options:
        own = steps.get(option["name"], ())
        if sum(step.minutes for step in own) != option["minutes"]:
            own = (Step("all told", option["minutes"], "stated", where),)
        found[option["name"]] = own
    return found


def _head(where: str, library: Library, model: Finding, overrides: Sequence[str], left_out: Sequence[str]) -> str:
    head = model.finding
    lines = [
        f"Composed of {where}, {label('panels', head.panel)}, {label('cars', head.car)}, "
        f"{label('circuits', head.circuit)} and {label('kits', head.kit)}; found by {head.who}.",
        "What stands above a section says where it came from.",
    ]
    if overrides:
        lines += [f"The finding replaces: {', '.join(overrides)}."]
    return "\n".join([*lines, *(f"Left out: {what}." for what in left_out)])


def _files(document: Mapping[str, Any], change: Callable[[str], str]) -> Document:
    """A copy of a document with every file it names changed."""

    def at(table: Any, key: str) -> None:
        if isinstance(table, dict) and isinstance(table.get(key), str):
            table[key] = change(table[key])

    made: Document = copy.deepcopy(dict(document))
    panel, loads = made.get("panel"), made.get("load")
    at(panel.get("mesh") if isinstance(panel, dict) else None, "file")
    at(made.get("held"), "air_file")
    for load in loads if isinstance(loads, list) else ():
        at(load, "pressure_file")
        at(load.get("held") if isinstance(load, dict) else None, "air_file")
    return made


def _files_absolute(document: Mapping[str, Any], folder: Path) -> Document:
    return _files(document, lambda name: (folder.absolute() / name).as_posix())


def files_beside(document: Mapping[str, Any]) -> tuple[Document, dict[str, Path]]:
    """A document with bare file names in place of absolute ones, and where the file of each name is."""
    beside: dict[str, Path] = {}

    def bare(name: str) -> str:
        path = Path(name)
        same = next((n for n, p in beside.items() if p == path), None)
        if same is not None:
            return same
        short, i = path.name, 2
        while short in beside or short == "case.toml":
            short, i = f"{i}-{path.name}", i + 1
        beside[short] = path
        return short

    return _files(document, bare), beside
