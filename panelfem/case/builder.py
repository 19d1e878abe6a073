"""From a checked case file to a case on a mesh."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.case.build_loads import build_loads
from panelfem.case.build_panel import finish_panel, plan_panel
from panelfem.case.build_repair import build_damage, build_measured, build_options
from panelfem.case.checks_damage import found_faults, spare_faults
from panelfem.case.checks_materials import materials_of
from panelfem.case.checks_repair import reach_faults
from panelfem.case.inputs import assumed_inputs, input_rows, materials_used
from panelfem.case.read import parse
from panelfem.case.records import Case
from panelfem.case.regions import centre_of
from panelfem.case.schema import CLASS_FACTORS, CaseFile
from panelfem.case.schema_loads import AirLoad
from panelfem.case.site import Site, site_of
from panelfem.case.sizes import Sizes
from panelfem.damage import AreaDamage, Damage, EarlierRepair
from panelfem.errors import CaseError, Fault, InputError
from panelfem.failure import CRITERIA, deciding
from panelfem.loads.records import LoadCase
from panelfem.material import Material, PlyMaterial
from panelfem.panel import Panel
from panelfem.repair.records import Option


def load_case(path: str | Path, origins: Mapping[str, str] | None = None) -> Case:
    """A case file, checked and built; raises CaseError listing all faults, and MeshError for a surface that
    cannot be meshed.

    A part that protects people is checked but not built: `panel` is None.  `origins`: for a composed case, where what
    it says came from (see :func:`panelfem.case.inputs.input_rows`).
    """
    file = Path(path)
    return build(parse(file), file, origins)


def build(
    model: CaseFile, file: Path, origins: Mapping[str, str] | None = None, both: bool = False, digest: str = ""
) -> Case:
    """The case of a checked model; files it names are looked for beside `file`.

    `both`: the mesh carries the borders of damage as measured as well.  `digest`: the hash of the case, if it is known.
    """
    digest = digest or _hash(model, file)
    panel: Panel | None = None
    damage: tuple[Damage, ...] = ()
    measured: tuple[Damage, ...] = ()
    options: tuple[Option, ...] = ()
    loads: tuple[LoadCase, ...] = ()
    places: Mapping[str, FloatArray] = {}
    used: tuple[Material, ...] = ()
    if model.safety.protects_people == "no":
        materials = materials_of(model.materials)
        site = site_of(model, file)
        try:
            plan = plan_panel(model.panel, site)
            damage = build_damage(model.damage, site, materials, model.panel)
            measured = build_measured(model.damage, damage, site, materials, model.panel) if both else ()
            options = build_options(model.option, model.damage, site, materials, model.panel)
            loads = build_loads(model, site, file.parent)
        except InputError as error:
            if isinstance(error, CaseError):
                raise
            fault = Fault(error.where or "panel", error.what, error.allowed, error.do or "mend it")
            raise CaseError(str(file), (fault,)) from error
        mesh = site.mesh(str(file))
        panel = finish_panel(model.panel, plan, mesh, materials, str(file))
        on_mesh = (
            *found_faults(damage, panel),
            *spare_faults(options, panel),
            *reach_faults(options, panel, damage),
        )
        if on_mesh:
            raise CaseError(str(file), on_mesh)
        places = _places(panel, damage, loads, site)
        earlier = [d.patch for d in damage if isinstance(d, EarlierRepair)]
        used = materials_used(panel.laminates, [*earlier, *(a for option in options for a in option.actions)])
    factor, basis, consequence = _factor(model)
    criteria = {
        "unidirectional": model.settings.unidirectional_criterion or deciding("unidirectional"),
        "fabric": model.settings.fabric_criterion or deciding("fabric"),
    }
    if faults := tuple(_unjudged(used, criteria)):
        raise CaseError(str(file), faults)
    return Case(
        file=str(file), title=model.case.title, invented=model.case.invented, consequence=consequence,
        required_factor=factor, factor_basis=basis, protects_people=model.safety.protects_people,
        fastened_to_such_a_part=model.safety.fastened_to_such_a_part, such_a_part=model.safety.such_a_part,
        covers_high_voltage=model.safety.covers_high_voltage, minutes_left=model.case.minutes_left,
        panel_name=model.panel.name, panel=panel, damage=damage, options=options, loads=loads,
        criteria=criteria,
        modeless_criteria_govern=model.settings.criteria_without_mode_govern,
        in_situ=model.settings.in_situ_strength,
        lose_each_fastener=model.settings.lose_each_fastener, vibrations=model.settings.vibrations,
        large_displacements=model.settings.large_displacements,
        order=model.settings.element_order,
        accuracy=None if model.settings.element_size_mm is not None else model.settings.accuracy,
        near_only=model.settings.accuracy_near_governing_only,
        imperfection=None if (height := model.settings.imperfection_mm) is None else 1e-3 * height,
        inputs=input_rows(model, used, origins), assumed=assumed_inputs(model, used), hash=digest,
        places=places, measured=measured, flip_sizes=model.settings.flip_sizes,
        sizes=Sizes(model, lambda changed, both: build(changed, file, origins, both, digest)),
    )  # fmt: skip


def _unjudged(used: Sequence[Material], criteria: Mapping[str, str]) -> Iterator[Fault]:
    """The faults of plies whose deciding criterion lacks what it needs to know of them."""
    for material in used:
        if isinstance(material, PlyMaterial):
            name = criteria[material.kind]
            if missing := [need for need in CRITERIA[name].needs if getattr(material, need) is None]:
                what = (
                    f"{name!r} judges {material.kind} plies, and {material.name!r} does not state {', '.join(missing)}"
                )
                do = "state it in the material, or leave the criterion out"
                yield Fault(f"settings.{material.kind}_criterion", what, "a criterion whose data the plies have", do)


def _factor(model: CaseFile) -> tuple[float, str, str]:
    """The factor asked for, its basis, and the consequence class: the greatest of what all rules ask."""
    consequence = "high voltage" if model.safety.covers_high_voltage else model.case.consequence
    factor = CLASS_FACTORS[consequence]
    why = "; it covers high voltage" if model.safety.covers_high_voltage else ""
    basis = f"class {consequence!r} (common practice, no source){why}"
    stated = model.case.required_factor
    if stated is not None and stated >= factor:
        return stated, f"{model.case.required_factor_source}", consequence
    return factor, basis, consequence


def _places(panel: Panel, damage: tuple[Damage, ...], loads: tuple[LoadCase, ...], site: Site) -> dict[str, FloatArray]:
    """Named points: fasteners, damage, and where loads push."""
    places: dict[str, FloatArray] = {f.name: f.place for f in panel.fasteners}
    for found in damage:
        if isinstance(found, AreaDamage):
            places[found.name] = _centre(panel, found.region, site)
    for load in loads:
        region = getattr(load.scaled, "region", None)
        if region is not None:
            places[load.name] = _centre(panel, region, site)
        elif load.kind == "kerb strike":
            places[load.name] = np.asarray(getattr(load.scaled, "place"))  # noqa: B009 (any contact has one)
    return places


def _centre(panel: Panel, region: str, site: Site) -> FloatArray:
    return centre_of(site.regions[region], panel.mesh.centroids[panel.mesh.inside[region]])


def _hash(model: CaseFile, file: Path) -> str:
    """sha256 of the case file and of every file it reads, in the order of their names."""
    read = {file.name: file}
    if model.panel.mesh is not None:
        read[model.panel.mesh.file] = file.parent / model.panel.mesh.file
    for held in (model.held, *(load.held for load in model.load)):
        if held is not None and held.air_file is not None:
            read[held.air_file] = file.parent / held.air_file
    for load in model.load:
        if isinstance(load, AirLoad) and load.pressure_file is not None:
            read[load.pressure_file] = file.parent / load.pressure_file
    digest = hashlib.sha256()
    for name in sorted(read):
        content = read[name].read_bytes() if read[name].is_file() else b""
        digest.update(f"{name}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()
