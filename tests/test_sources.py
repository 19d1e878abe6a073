"""What a report says it rests on, and criteria that may not judge the plies they are set to."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from test_case_delamination import built
from test_in_situ import CASE

from panelfem.assess.cautions import BOLTED, CRUSHED, TAPERED, sources_of
from panelfem.case import Case
from panelfem.errors import CaseError
from panelfem.failure import CRITERIA
from panelfem.laminate import Laminate, parse_stack
from panelfem.loads import Contact, HalfRound, LoadCase
from panelfem.material import library
from panelfem.panel import Fastener
from panelfem.repair import Option, ScarfRepair


def case(folder: Path, switch: str = "", material: str = "T300-5208", more: str = "") -> Case:
    text = CASE.replace("SWITCH", switch).replace('"T300-5208"', f'"{material}"')
    return built(tomllib.loads(text + more), folder)


def test_only_what_a_case_uses_is_named(tmp_path: Path) -> None:
    plain = case(tmp_path)
    said = "\n".join(sources_of(plain))
    assert CRITERIA["Hashin"].source in said
    assert "'fabric'" not in said
    assert not any(words in said for words in (BOLTED, TAPERED, "Strength of held plies"))
    assert plain.panel is not None
    hole = Fastener("F", np.zeros(3), np.array([0, 0, 1.0]), 0.01, 1e5, 1e5, hole_diameter=5e-3, bearing_strength=4e8)
    plies = Laminate(parse_stack("[0]", library(), "carbon-twill-wet"))
    scarf = ScarfRepair("S", "R", plies, library()["wet-resin"], 2e-4, 1, 0.7, None, "H", 20.0)  # type: ignore[arg-type]
    held, puck = {"in_situ": True}, {"criteria": {"unidirectional": "Puck", "fabric": "maximum stress by direction"}}
    full = replace(plain, **held, **puck, options=(Option("scarf", (scarf,), 60.0),))  # type: ignore[arg-type]
    full = replace(full, panel=replace(plain.panel, fasteners=(hole,)))
    told = sources_of(full)
    assert {BOLTED, TAPERED} <= set(told)
    assert any("Strength of held plies, in situ" in one for one in told)
    for kind, name in (("unidirectional", "Puck"), ("fabric", "maximum stress by direction")):
        assert f"Plies of kind {kind!r} are judged by {name}: {CRITERIA[name].source}." in told


def test_core_crushing_is_named_where_a_shape_strikes_a_core(tmp_path: Path) -> None:
    plain = case(tmp_path)
    assert plain.panel is not None
    core = replace(plain.panel, laminates=(Laminate(parse_stack("[0/foam-pvc-80:5mm]s", library(), "carbon-ud")),))
    up, along = np.array([0.0, 0, 1]), np.array([1.0, 0, 0])
    kerb = LoadCase("k", "kerb strike", "force", Contact(HalfRound(0.05), np.zeros(3), up, along, "force", 100.0))
    for panel, loads, named in ((core, (kerb,), True), (core, plain.loads, False), (plain.panel, (kerb,), False)):
        assert (CRUSHED in sources_of(replace(plain, panel=panel, loads=loads))) is named


def test_in_situ_strength_where_no_ply_is_held_is_told(tmp_path: Path) -> None:
    """A weave is never credited with it, and a report that names it says that nothing was."""
    woven = "\n".join(sources_of(case(tmp_path, "in_situ_strength = true", "carbon-twill")))
    assert "no ply of this panel is held" in woven
    assert "no ply of this panel is held" not in "\n".join(sources_of(case(tmp_path, "in_situ_strength = true")))


def test_a_criterion_without_its_data_is_refused(tmp_path: Path) -> None:
    """Without strain limits the plies would not be judged at all."""
    own = """
[materials.weave]
kind = "fabric"
E1_GPa = 60
E2_GPa = 60
G12_GPa = 4
nu12 = 0.05
G13_GPa = 3
G23_GPa = 3
Xt_MPa = 600
Xc_MPa = 500
Yt_MPa = 600
Yc_MPa = 500
S_MPa = 80
Sil_MPa = 50
density_kg_per_m3 = 1550
thickness_mm = 0.25
"alpha1_1e-6_per_K" = 3
"alpha2_1e-6_per_K" = 3
beta1 = 0
beta2 = 0
"""
    assert case(tmp_path, "", "weave", own).panel is not None
    with pytest.raises(CaseError, match="'weave' does not state strain_limits"):
        case(tmp_path, 'fabric_criterion = "maximum strain by direction"', "weave", own)
