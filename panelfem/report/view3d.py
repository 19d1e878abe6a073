"""The turning view: all fields of the assessment packed into the page, and the controls that show them."""

from __future__ import annotations

import base64
import json
from typing import Any

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.records import Assessment, Configuration, Marked
from panelfem.disposition import is_bound
from panelfem.mesh import PanelMesh
from panelfem.report import wording
from panelfem.report.markup import Markup, el
from panelfem.report.pictures import shown_marks
from panelfem.report.projection import boundary, edges_of, view
from panelfem.report.vtu import states
from panelfem.units import show

#: Kinds of line as the drawing library calls them.
_DASHES = {"-": "solid", "--": "dash", "-.": "dashdot", ":": "dot"}
#: Stands for nan among the 16-bit numbers of a packed field.
_NONE = -32768


def packed(values: FloatArray) -> dict[str, Any]:
    """An array as 16-bit whole numbers times a scale, base64: error at most 1/65534 of the greatest value.

    >>> packed(np.array([1.0, -0.5, np.nan]))["scale"]
    3.051850947599719e-05
    """
    flat = np.asarray(values, float).ravel()
    good = np.isfinite(flat)
    scale = (float(np.abs(flat[good]).max()) if good.any() else 0.0) / 32767.0 or 1.0
    whole = np.full(len(flat), _NONE, np.int16)
    whole[good] = np.rint(flat[good] / scale).astype(np.int16)
    return {"scale": scale, "data": base64.b64encode(whole.astype("<i2").tobytes()).decode("ascii")}


def nearest_vertex(vertices: FloatArray, place: FloatArray | None) -> int | None:
    """The vertex nearest to a place (3,), with which a mark there moves.

    >>> nearest_vertex(np.eye(3), np.array([0.1, 0.9, 0.0]))
    1
    """
    return None if place is None else int(np.argmin(((vertices - place) ** 2).sum(1)))


def data(assessment: Assessment) -> dict[str, Any]:
    """Everything the view needs, as JSON data; lengths in millimetres."""
    mesh = assessment.mesh
    seen = view(mesh.vertices, mesh.triangles)
    kept = []
    for conf, variant in states(assessment):
        results = {r.load: r for r in variant.loads}
        loads = []
        for load, shown in variant.fields.items():
            result = results.get(load)
            rule = None if result is None else wording.ruling(result)
            loads.append(
                {
                    "name": load,
                    "displacement": packed(1e3 * shown.displacement),
                    "reserve": packed(shown.reserve),
                    "governing": conf.governing.get(load) == variant.name,
                    "vertex": None if rule is None or is_bound(rule) else nearest_vertex(mesh.vertices, rule.place),
                    "mode": "" if rule is None else wording.mode_text(rule),
                    "required": wording.required_of(conf, load, assessment.required),
                    "note": "" if result is None else wording.shown_at(result) or wording.doubt(result.theory),
                    "greatest": "" if result is None else show(result.deflection.value, "mm"),
                }
            )
        if loads:
            kept.append(
                {
                    "configuration": conf.name,
                    "variant": variant.name,
                    "contingency": any(variant is c for c in conf.contingencies),
                    "removed": np.flatnonzero(variant.removed).tolist(),
                    "marks": [i for i, m in enumerate(assessment.marked) if m in shown_marks(assessment, conf.name)],
                    "border": boundary(mesh.triangles[~variant.removed]).ravel().tolist(),
                    "loads": loads,
                }
            )
    first = wording.find(assessment, assessment.recommendation) or wording.as_found(assessment)
    return {
        "vertices": packed(1e3 * mesh.vertices),
        "triangles": mesh.triangles.ravel().tolist(),
        "states": kept,
        "places": [
            {"name": name, "vertex": nearest_vertex(mesh.vertices, np.asarray(place))}
            for name, place in assessment.places.items()
        ],
        "damage": [
            {"name": mark.label, "place": mark.name, "elements": np.flatnonzero(mark.inside).tolist()}
            for mark in assessment.marked
            if not mark.option and mark.inside is not None
        ],
        "marks": [
            {
                "name": mark.label,
                "dash": _DASHES[mark.mark.line],
                "border": [] if mark.inside is None else edges_of(mesh.triangles, mark.inside).ravel().tolist(),
                "vertex": nearest_vertex(mesh.vertices, _where(mesh, mark)),
            }
            for mark in assessment.marked
        ],
        "eye": (0.85 * seen.towards).round(4).tolist(),
        "up": seen.up.round(4).tolist(),
        "towards": seen.towards.round(4).tolist(),
        "first": "" if first is None else first.name,
        "load": "" if first is None else wording.governing_load(first),
    }


def _where(mesh: PanelMesh, mark: Marked) -> FloatArray | None:
    """A place (3,) to name a mark by, None for one of the whole panel or of no element."""
    if mark.inside is None or not mark.inside.any():
        return mark.place
    return np.asarray(mesh.centroids[mark.inside].mean(0))


def has_fields(conf: Configuration) -> bool:
    """True if some load of a configuration kept its fields."""
    return any(v.fields for v in (*conf.variants, *conf.contingencies))


def section(assessment: Assessment) -> Markup | None:
    """The view with its controls; None if no field was kept."""
    if not any(has_fields(c) for c in assessment.configurations):
        return None
    # "<" is written as an escape so that no name can end the script element
    packed_data = json.dumps(data(assessment), allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")

    def choice(label: str, name: str) -> Markup:
        return el("label", el("span", label), el("select", id=f"v-{name}"))

    return el(
        "section",
        el("h2", "Turn it: deflection, reserve and damage"),
        el(
            "div",
            choice("Configuration", "configuration"),
            choice("State", "variant"),
            choice("Load", "load"),
            choice("Shown", "quantity"),
            el(
                "label",
                el("span", "Deformation drawn ", el("output", id="v-times")),
                el("input", type="range", id="v-scale", min=0, max=100, value=50),
            ),
            el("button", "True scale", type="button", id="v-true"),
            cls="controls",
        ),
        el("p", "", id="v-caption", cls="caption", role="status"),
        el("div", id="v-plot", role="img", aria_label="Turning view of the panel"),
        el(
            "p",
            "Drag to turn, wheel or pinch to come closer, double-click to come back. Grey lines: at rest. "
            "Names: fixings, damage and what the option does. White cross: where the release-governing mode is reached "
            "first. "
            "Needs WebGL; the still pictures above show the same without it.",
            cls="small",
        ),
        Markup(f'<script type="application/json" id="v-data">{packed_data}</script>'),
        id="view",
        cls="screen",
    )
