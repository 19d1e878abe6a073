"""From the exposures of a panel, a car and a circuit to the load cases of a case document."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from panelfem.case.fields import Quantity
from panelfem.garage.library import Library, label
from panelfem.garage.schema_car import CarHead
from panelfem.garage.schema_panel import Exposure
from panelfem.garage.statics import Spread, clearance, combined, stiffness, worst

Table = dict[str, Any]
#: The least interference a case takes, mm: where a band reaches lower, it ends here.
_LEAST = 0.01


@dataclass(frozen=True)
class Loads:
    """Load tables; for each its comment and the files of its keys; and what does not reach the panel, and why."""

    tables: list[Table] = field(default_factory=list)
    comments: list[str] = field(default_factory=list)
    origins: list[Mapping[str, str]] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)

    def add(self, table: Table, comment: str, origins: Mapping[str, str]) -> None:
        """One more load; `origins` maps its keys to files, the empty key to that of all others."""
        self.tables.append(table)
        self.comments.append(comment)
        self.origins.append(origins)


@dataclass(frozen=True)
class _Meeting:
    """What meets where: the labels of panel, car and circuit, and the car."""

    panel: str
    car: str
    circuit: str
    head: CarHead

    def origins(self, both: str) -> Mapping[str, str]:
        """The files of the keys of a contact; `both`: those of its severity."""
        of_panel = ("place_mm", "push_direction", "travel_direction", "footprint_mm", "limits")
        return {"": self.circuit, "interference_mm": both, "car_stiffness_N_per_mm": self.car} | dict.fromkeys(
            of_panel, self.panel
        )


def compose_loads(library: Library, panel: str, car: str, circuit: str) -> Loads:
    """The loads of a panel on a car at a circuit: its own, every kerb and wall at every exposure to it, and every
    compression, with the road where it is met.
    """
    file, at = library.panels[panel], library.circuits[circuit]
    raw_panel, raw = library.documents[label("panels", panel)], library.documents[label("circuits", circuit)]
    meeting = _Meeting(label("panels", panel), label("cars", car), label("circuits", circuit), library.cars[car].car)
    limits: Table = {"limits": raw_panel["limit"]} if file.limit else {}
    made = Loads()
    for table in raw_panel.get("load", []):
        made.add(dict(table), f"{meeting.panel}: load {table['name']!r}", {"": meeting.panel})
    for i, kerb in enumerate(at.kerb):
        for exposure in (e for e in file.exposure if "kerb" in e.meets):
            base = _contact("kerb strike", f"{kerb.name} at {exposure.name}", exposure, raw["kerb"][i])
            base |= {"shape": raw["kerb"][i]["shape"], "place_mm": exposure.place_mm} | limits
            base["footprint_mm"] = exposure.footprint_mm
            what = f"kerb {kerb.name!r} at exposure {exposure.name!r}"
            if kerb.suspension_travel_mm is not None:
                up = {"height": kerb.height_mm, "travel": kerb.suspension_travel_mm}
                _reach(made, base, what, up, exposure, meeting)
            else:
                _stated(made, base, what, kerb.interference_mm, raw["kerb"][i], exposure, meeting)
    for i, wall in enumerate(at.wall):
        for exposure in (e for e in file.exposure if "wall" in e.meets):
            base = _contact("wall contact", f"{wall.name} at {exposure.name}", exposure, raw["wall"][i]) | limits
            what = f"wall {wall.name!r} at exposure {exposure.name!r}"
            _stated(made, base, what, None, raw["wall"][i], exposure, meeting)
    for i, dip in enumerate(at.compression):
        table = {"kind": "compression", **raw["compression"][i]} | limits
        del table["suspension_travel_mm"]
        origins = {"": meeting.circuit, "limits": meeting.panel}
        roads = [e for e in file.exposure if "road" in e.meets]
        what = f"compression {dip.name!r}"
        if roads:
            gaps = [(_gap(meeting.head, e, dip.suspension_travel_mm), e) for e in roads]
            gap, lowest = min(gaps, key=lambda found: found[0].value)
            table["road"] = {"gap_mm": round(max(gap.value, 0.0), 3), "direction": lowest.push_direction}
            origins["road"] = f"{meeting.car}, {meeting.circuit}, {meeting.panel}"
            what += f", road under exposure {lowest.name!r}: clearance less travel is {gap.value:.4g} mm"
        made.add(table, f"{meeting.circuit}: {what}", origins)
        for exposure in roads:
            if _gap(meeting.head, exposure, dip.suspension_travel_mm).low < -_LEAST:
                name = f"road in {dip.name} at {exposure.name}"
                base = _contact("wall contact", name, exposure, raw["compression"][i]) | limits
                what = f"the road in {dip.name!r} at exposure {exposure.name!r}"
                _reach(made, base, what, {"travel": dip.suspension_travel_mm}, exposure, meeting)
    return made


def _contact(
    kind: Literal["kerb strike", "wall contact"], name: str, exposure: Exposure, raw: Mapping[str, Any]
) -> Table:
    return {
        "kind": kind,
        "name": name,
        "push_direction": exposure.push_direction,
        "travel_direction": exposure.travel_direction,
        "dynamic_factor": raw["dynamic_factor"],
    }


def _gap(car: CarHead, exposure: Exposure, travel: Quantity) -> Spread:
    """Clearance of an exposure (mm) less the travel of the car."""
    rest = clearance(car, exposure.behind_front_axle_mm, exposure.height_mm)
    return combined([(1.0, rest), (-1.0, Spread.of(travel))])


def _stated(
    made: Loads,
    base: Table,
    what: str,
    lifts: Quantity | None,
    raw: Mapping[str, Any],
    exposure: Exposure,
    meeting: _Meeting,
) -> None:
    """A contact whose severity the circuit file states; the car yields to one that `lifts` it by an interference."""
    key = "force_N" if "force_N" in raw else "interference_mm"
    table = base | {key: raw[key]}
    if lifts is not None:
        table["car_stiffness_N_per_mm"] = _car(meeting, exposure)
    made.add(table, f"{meeting.circuit}: {what} of {meeting.panel}", meeting.origins(meeting.circuit))


def _reach(
    made: Loads, base: Table, what: str, up: Mapping[str, Quantity], exposure: Exposure, meeting: _Meeting
) -> None:
    """A contact whose severity comes from heights: their sum less the clearance.

    One that reaches the panel only at the top of its band is taken there; one that never does is left out, and said.
    """
    rest = clearance(meeting.head, exposure.behind_front_axle_mm, exposure.height_mm)
    deep = combined([*((1.0, Spread.of(q)) for q in up.values()), (-1.0, rest)])
    how = " + ".join(f"{name} {q.value:g}" for name, q in up.items())
    how += f" ({meeting.circuit}) − clearance {rest.value:.4g} mm ({meeting.car})"
    if deep.high < _LEAST:
        left = f"{how} = {deep.value:.4g} mm, at most {deep.high:.4g} mm"
        made.left_out.append(f"{what} does not reach the panel: {left}")
        return
    value, basis, source = deep.value, deep.basis, how
    if deep.value < _LEAST:
        value, basis = deep.high, worst(deep.basis, "assumed")
        source += f" = {deep.value:.4g} mm does not reach it; taken at the top of its band"
    severity: Table = {"value": round(value, 3), "basis": basis, "source": source}
    if deep.low < deep.high:
        severity["band"] = [round(max(deep.low, _LEAST), 3), round(deep.high, 3)]
    table = base | {"interference_mm": severity, "car_stiffness_N_per_mm": _car(meeting, exposure)}
    comment = f"{meeting.circuit}: {what} of {meeting.panel}; ride height and stiffness of {meeting.car}"
    made.add(table, comment, meeting.origins(f"{meeting.circuit}, {meeting.car}, {meeting.panel}"))


def _car(meeting: _Meeting, exposure: Exposure) -> Table:
    """The stiffness of the car under an exposure, as a case writes it."""
    found = stiffness(meeting.head, exposure.behind_front_axle_mm)
    f, r = meeting.head.stiffness_front_N_per_mm, meeting.head.stiffness_rear_N_per_mm
    lever = f"{exposure.behind_front_axle_mm:g} mm behind the front one"
    source = f"axles {f.value:g} and {r.value:g} N/mm ({meeting.car}) by the lever, {lever}"
    table: Table = {"value": round(found.value, 3), "basis": found.basis, "source": source}
    if found.low < found.high:
        table["band"] = [round(found.low, 3), round(found.high, 3)]
    return table
