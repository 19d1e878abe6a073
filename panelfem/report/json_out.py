"""``result.json``: the assessment as data, every number with its unit in the key.

Numbers that are not finite never appear as such: a missing number (nan) is null and infinity is the string "Infinity"
or "-Infinity"; the status beside a factor says which case it is.  :func:`panelfem.report.describe` lists every key.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.records import Assessment, Configuration, Declined, FlipSize, Meshing, Variant, Vibration
from panelfem.balance import Ballast
from panelfem.disposition.records import Assumption, Disposition, Outcome, Uncertainty
from panelfem.errors import InputError
from panelfem.repair import StepHeight
from panelfem.report import figures, wording
from panelfem.report.folder import FORMAT
from panelfem.report.limit import Limit, limits, strike
from panelfem.reserve.records import Buckling, LinearAnswer, LoadResult, ModeReserve
from panelfem.units import SUFFIXES

Json = dict[str, Any]


def document(found: Assessment | Declined, ballast: Mapping[str, Ballast] | None = None) -> Json:
    """The assessment, or the refusal, as plain JSON data; `ballast` as in :func:`panelfem.report.write`."""
    if isinstance(found, Declined):
        return {
            "format": FORMAT,
            "status": "declined",
            "case": found.case,
            "reason": found.reason,
            "refer_to": found.refer_to,
        }
    return {
        "format": FORMAT,
        "status": "assessed",
        "version": found.version,
        "case": found.case,
        "case_hash": found.case_hash,
        "title": found.title,
        "invented": found.invented,
        "panel": found.panel,
        "consequence": found.consequence,
        "required_factor": number(found.required),
        "minutes_left_min": None if found.minutes_left is None else number(found.minutes_left),
        "recommendation": found.recommendation,
        "recommendation_reason": found.recommendation_reason,
        "conditions": list(found.conditions),
        "cautions": list(found.cautions),
        "recommendation_sentence": wording.winner_sentence(found),
        "configurations": [
            _configuration(c, found.required, (ballast or {}).get(c.name)) for c in found.configurations
        ],
        "assumptions": [_assumption(a) for a in found.assumptions],
        "inputs": [{"key": i.key, "shown": i.shown, "basis": i.basis, "source": i.source} for i in found.inputs],
        "sources": list(found.sources),
        "stacks": [{"name": name, "plies": list(plies)} for name, plies in found.stacks.items()],
        "places": [{"name": name, "place_mm": _mm(place)} for name, place in found.places.items()],
        "damage_regions": [
            {"name": name, "elements_count": int(np.count_nonzero(inside))}
            for name, inside in found.damage_regions.items()
        ],
        "mesh": {
            "vertices_count": len(found.mesh.vertices),
            "triangles_count": len(found.mesh.triangles),
            "notes": list(found.mesh.notes),
        },
        "meshing": _meshing(found.meshing),
        "provisional": found.provisional,
        "screened": [
            {"configuration": s.configuration, "load": s.load, "factor": number(s.factor), "reason": s.reason}
            for s in found.screened
        ],
        "notched": [
            {
                "hole": n.hole,
                "load": n.load,
                "point_factor": number(n.point),
                "average_factor": number(n.average),
                "meshed_factor": number(n.meshed),
                "length_mm": number(1e3 * n.length),
                "bending_ratio": number(n.bending),
                "why_not": n.why_not,
            }
            for n in found.notched
        ],
        "flip_sizes": [_flip(f) for f in found.flip_sizes],
        "checks": [{"name": name, "found": text} for name, text in found.checks.items()],
        "settings": plain(found.settings),
    }


def _flip(flip: FlipSize) -> Json:
    def word(outcome: Outcome | None) -> str | None:
        return None if outcome is None else outcome.value

    return {
        "damage": flip.damage,
        "configuration": flip.configuration,
        "size_mm": number(1e3 * flip.size),
        "below_mm": number(1e3 * flip.below),
        "above_mm": number(1e3 * flip.above),
        "outcome_below": word(flip.outcome_below),
        "outcome_above": word(flip.outcome_above),
        "load": flip.load,
        "mode": flip.mode,
        "reached_mm": number(1e3 * flip.reached),
        "outcome": word(flip.outcome),
        "bound": flip.bound,
        "looks_count": flip.looks,
        "why_not": flip.why_not,
    }


def dumps(found: Assessment | Declined, ballast: Mapping[str, Ballast] | None = None) -> str:
    """The document as JSON text; strictly valid, ends in a new line."""
    return json.dumps(document(found, ballast), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def read(path: Path) -> Json:
    """A ``result.json`` read back.  Raises InputError if it cannot be read or is not of this format."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be read as JSON: {error}", where=str(path)) from error
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise InputError("is not a result of this tool", where=str(path), allowed=f'"format": "{FORMAT}"')
    return found


def number(value: float) -> float | str | None:
    """A number as JSON can hold it: finite as it is (to 9 digits), nan as None, infinity as a string.

    >>> number(0.1 + 0.2), number(float("nan")), number(float("-inf"))
    (0.3, None, '-Infinity')
    """
    value = float(value)
    if math.isnan(value):
        return None
    if math.isinf(value):
        return "Infinity" if value > 0 else "-Infinity"
    return float(f"{value:.9g}")


def plain(value: object) -> Any:
    """Settings of any kind as JSON data; what JSON does not know becomes its text."""
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return number(float(value))
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, Sequence):
        return [plain(item) for item in value]
    return str(value)


def _mm(place: FloatArray | None) -> list[float | str | None] | None:
    return None if place is None else [number(1e3 * float(v)) for v in place]


def _mpa(stress: FloatArray) -> list[float | str | None]:
    return [number(1e-6 * float(v)) for v in stress]


def _in_unit(value: float, parameter: str) -> tuple[str, float | str | None]:
    unit = figures.PARAMETER_UNITS[parameter]
    return unit, number(value / SUFFIXES[unit][0])


def _configuration(conf: Configuration, required: float, move: Ballast | None) -> Json:
    return {
        "name": conf.name,
        "kind": conf.kind,
        "mass_g": number(1e3 * conf.mass),
        "minutes_min": number(conf.minutes),
        "permitted": conf.permitted,
        "note": conf.note,
        "step": None if conf.step is None else _step(conf.step),
        "ballast": None if move is None else _ballast(move),
        "will_not_take": [_limit(limit) for limit in limits(conf)],
        "disposition": _disposition(conf.disposition),
        "governing": [{"load": load, "variant": variant} for load, variant in conf.governing.items()],
        "restoration": [
            {"load": r.load, "release_ratio": number(r.release), "first_ply_ratio": number(r.first_ply)}
            for r in conf.restoration
        ],
        "variants": [_variant(v, conf, required) for v in conf.variants],
        "contingencies": [_variant(v, conf, required) for v in conf.contingencies],
    }


def _step(found: StepHeight) -> Json:
    return {"height_mm": number(1e3 * found.height), "face": found.face, "unstated": list(found.unstated)}


def _ballast(move: Ballast) -> Json:
    moves = [{"station": m.station, "change_g": number(1e3 * m.change)} for m in move.moves]
    return {"moves": moves, "restored": move.restored}


def _limit(found: Limit) -> Json:
    result, mode = found.result, found.mode
    ends = {"from": mode.factor, "from_low": found.low, "from_high": found.high, "from_bar": mode.bar}
    if mode.status == "zero load":
        ends = dict.fromkeys(ends, math.nan)
    shown = {key: _in_unit(found.amount(end), result.parameter) for key, end in ends.items()}
    return {
        "load": result.load,
        "bound": found.bound,
        **{f"{key}_{unit}": value for key, (unit, value) in shown.items()},
        "mode": mode.mode,
        "where": mode.where,
        "said": strike(found),
    }


def _disposition(found: Disposition) -> Json:
    return {
        "outcome": found.outcome.value,
        "governing_load": found.governing_load,
        "reason": found.reason,
        "conditions": list(found.conditions),
        "inspect": list(found.inspect),
        "loads": [
            {
                "load": o.load,
                "outcome": o.outcome.value,
                "required_factor": number(o.required),
                "factor": None if o.factor < 0 else number(o.factor),
                "reason": o.reason,
                "outcome_by_linear_numbers": None if o.linear is None else o.linear.value,
            }
            for o in found.loads
        ],
        "assumptions": [_assumption(a) for a in found.assumptions],
        "uncertainty": _uncertainty(found.uncertainty),
    }


def _uncertainty(found: Uncertainty | None) -> Json:
    if found is None:
        return {"load": None, "factor": None, "low_ratio": None, "high_ratio": None, "parts": []}
    return {
        "load": found.load,
        "factor": number(found.factor),
        "low_ratio": number(found.low),
        "high_ratio": number(found.high),
        "parts": [
            {
                "name": p.name,
                "what": p.what,
                "low_ratio": number(p.low),
                "high_ratio": number(p.high),
                "basis": p.basis,
            }
            for p in found.parts
        ],
    }


def _meshing(found: Meshing | None) -> Json:
    if found is None:
        return {"accuracy_ratio": None, "met": None, "element_order": None, "stopped": "", "meshes": []}
    return {
        "accuracy_ratio": None if found.accuracy is None else number(found.accuracy),
        "met": found.met,
        "element_order": found.order,
        "stopped": found.stopped,
        "meshes": [
            {"elements_count": m.elements, "worst_ratio": number(m.worst), "what": m.what, "where": m.where}
            for m in found.meshes
        ],
    }


def _assumption(found: Assumption) -> Json:
    return {
        "key": found.key,
        "what": found.what,
        "shown": found.shown,
        "source": found.source,
        "band": None if found.band is None else list(found.band),
        "outcomes": None if found.outcomes is None else [o.value for o in found.outcomes],
        "factors": None if found.factors is None else [number(f) for f in found.factors],
        "flips": found.flips,
        "measure": found.measure,
    }


def _variant(variant: Variant, conf: Configuration, required: float) -> Json:
    return {
        "name": variant.name,
        "removed_elements_count": int(np.count_nonzero(variant.removed)),
        "loads": [_load(r, wording.required_of(conf, r.load, required)) for r in variant.loads],
        "fastener_lost": [
            {"fastener": name, "factor": None if factor < 0 else number(factor), "load": load}
            for name, (factor, load) in variant.fastener_lost.items()
        ],
        "vibration": None if variant.vibration is None else _vibration(variant.vibration),
    }


def _vibration(found: Vibration) -> Json:
    return {
        "mass_g": number(1e3 * found.mass),
        "tones": [
            {
                "frequency_Hz": number(t.frequency),
                "bar_Hz": number(t.bar),
                "effective_mass_ratio": [number(float(v)) for v in t.effective],
                "where": t.where,
                "like": t.like,
                "likeness_ratio": number(t.likeness),
            }
            for t in found.tones
        ],
        "notes": list(found.notes),
    }


def _mode(mode: ModeReserve) -> Json:
    zero = mode.status == "zero load"
    return {
        "mode": mode.mode,
        "criterion": mode.criterion,
        "grade": mode.grade,
        "status": mode.status,
        "factor": None if zero else number(mode.factor),
        "bar_factor": None if zero else number(mode.bar),
        "margin_percent": None if zero else number(100.0 * mode.margin),
        "place_mm": _mm(mode.place),
        "where": mode.where,
        "ply": mode.ply,
        "ply_name": mode.ply_name,
        "position": mode.position,
    }


def _linear(found: LinearAnswer) -> Json:
    return {
        "deflection_mm": number(1e3 * found.deflection),
        "release": _mode(found.release),
        "first_ply": _mode(found.first_ply),
        "reasons": list(found.reasons),
    }


def _buckling(found: Buckling) -> Json:
    return {
        "factors": [number(f) for f in found.factors],
        "bars_factor": [number(b) for b in found.bars],
        "where": found.where,
        "imperfection_mm": number(1e3 * found.imperfection),
    }


def _load(result: LoadResult, required: float) -> Json:
    unit, expected = _in_unit(result.expected, result.parameter)
    theory = result.theory
    return {
        "load": result.load,
        "kind": result.kind,
        "parameter": result.parameter,
        "unit": SUFFIXES[unit][1],
        f"expected_{unit}": expected,
        f"asked_{unit}": _in_unit(required * result.expected, result.parameter)[1],
        "deflection": {
            "value_mm": number(1e3 * result.deflection.value),
            "bar_mm": number(1e3 * result.deflection.bar),
            "place_mm": _mm(result.deflection.place),
            "where": result.deflection.where,
            "direction_unit_vector": [number(float(v)) for v in result.deflection.vector],
        },
        "first_ply": _mode(result.first_ply),
        "release": _mode(result.release),
        "modes": [_mode(m) for m in result.modes],
        "theory": {
            "holds": theory.holds,
            "deflection_over_thickness_ratio": number(theory.deflection_over_thickness),
            "rotation_rad": number(theory.rotation),
            "buckling_share_ratio": number(theory.buckling_share),
            "membrane_change_ratio": None if theory.large else number(theory.membrane_change),
            "large_displacements": theory.large,
            "reasons": list(theory.reasons),
        },
        "linear": None if result.linear is None else _linear(result.linear),
        "curve": [{"factor": number(p.factor), "deflection_mm": number(1e3 * p.deflection)} for p in result.curve],
        "buckling": None if result.buckling is None else _buckling(result.buckling),
        "limits": [
            {
                "name": c.name,
                "value_mm": number(1e3 * c.value),
                "bar_mm": number(1e3 * c.bar),
                "limit_mm": number(1e3 * c.limit),
                "factor": number(c.factor),
            }
            for c in result.limits
        ],
        "fixings": [
            {
                "name": f.name,
                "shear_N": number(f.shear),
                "pull_N": number(f.pull),
                "shear_bar_N": number(f.bar[0]),
                "pull_bar_N": number(f.bar[1]),
                "rating_shear_N": None if f.rating_shear is None else number(f.rating_shear),
                "rating_pull_N": None if f.rating_pull is None else number(f.rating_pull),
            }
            for f in result.fixings
        ],
        "bonds": [
            {
                "name": b.name,
                "shear_MPa": number(1e-6 * b.shear),
                "peel_MPa": number(1e-6 * b.peel),
                "shear_bar_MPa": number(1e-6 * b.bar[0]),
                "peel_bar_MPa": number(1e-6 * b.bar[1]),
                "shear_strength_MPa": number(1e-6 * b.shear_strength),
                "peel_strength_MPa": number(1e-6 * b.peel_strength),
                "where": b.where,
            }
            for b in result.bonds
        ],
        "contacts": [
            {
                "force_N": number(c.force),
                "advance_mm": number(1e3 * c.advance),
                "force_bar_N": number(c.bar[0]),
                "advance_bar_mm": number(1e3 * c.bar[1]),
                "area_mm2": number(1e6 * c.area),
                "places_count": len(c.where),
                "error_ratio": number(c.error),
            }
            for c in result.contacts
        ],
        "plies": [
            {
                "ply": p.ply,
                "name": p.name,
                "angle_deg": number(math.degrees(p.angle)),
                "position": p.position,
                "z_mm": number(1e3 * p.z),
                "strain_microstrain": [number(1e6 * float(v)) for v in p.strain],
                "stress_MPa": _mpa(p.stress),
                "strain_bar_microstrain": [number(1e6 * float(v)) for v in p.strain_bar],
                "stress_bar_MPa": _mpa(p.stress_bar),
                "residual_MPa": _mpa(p.residual),
            }
            for p in result.plies
        ],
        "scaled": result.scaled,
        "held": list(result.held),
        "dynamic_factor": number(result.dynamic),
        "path": [[number(x) for x in point] for point in result.path],
        "notes": list(result.notes),
        "residual_ratio": number(result.residual),
    }
