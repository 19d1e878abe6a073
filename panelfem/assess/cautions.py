"""What every report says besides its numbers, and what is declined."""

from __future__ import annotations

from panelfem.assess.records import Declined
from panelfem.case import Case
from panelfem.failure import CRITERIA, deciding
from panelfem.failure.in_situ import SOURCE as IN_SITU
from panelfem.failure.in_situ import held_thickness
from panelfem.loads import Contact
from panelfem.material import PlyMaterial
from panelfem.repair import Bonded, ScarfRepair, Spare
from panelfem.reserve.bolted import known

CAUTIONS = (
    "This is advice to a competent person.  Rule book, supplier's repair manual and scrutineers come first.",
    "Carbon dust: cut and abrade with extraction, a fitted mask, gloves and eye protection; the dust conducts.",
    "Uncured resin and adhesive: gloves, air, and the supplier's safety sheet; do not let a mixed pot run away.",
    "Heated cure: know what the core, the resin and the parts behind the panel stand; never leave it alone.",
    "Broken carbon is sharp: tape edges before handling.",
    "Batteries nearby: an authorised person isolates and releases; carbon conducts.",
    "No inspection proves a bond's strength.",
)

SOURCES = (
    "Lamination theory and ply failure: Tsai & Hahn 1980; Hashin 1980, J. Appl. Mech. 47:329; Tsai & Wu 1971.",
    "Notch rule: Whitney & Nuismer 1974, J. Compos. Mater. 8:253; closed form beside it: Lekhnitskii 1968, "
    "width by Tan 1988 (all from memory).",
    "Bonded overlap: linear adhesive shear and peel after Goland & Reissner 1944, solved directly.",
    "Sandwich: Hoff & Mautner 1945; Allen 1969; shear crimping as in MIL-HDBK-23 (from memory).",
    "Hand buckling load: strip of orthotropic plate, Lekhnitskii 1968 (from memory).",
    "Growth of a delamination: crack-tip element, Davidson, Hu & Schapery 1995, mode angle of Suo & Hutchinson 1990; "
    "Benzeggagh & Kenane 1996 (all from memory); only where the toughness is known.",
    "Factors asked for, by consequence: common practice, no source.",
)


#: Of what only some cases use.
BOLTED = (
    "Laminate round a fixing's hole: bearing, shear-out, net tension, pull-through as in CMH-17 vol. 3; net tension "
    "with what passes by, Hart-Smith 1976, NASA CR-144899 (both from memory), the by-pass from the meshed field."
)
CRUSHED = (
    "Core crushing under a shape: the skin as a plate on an elastic layer, after Hertz 1884 and Allen 1969 (from "
    "memory). It is reported and asks for inspection, and does not govern release: the panel holds, and a dent is "
    "damage of its own, assessed when it is found. Limits: forces act on lines without width (too high under flat "
    "faces); the far face is taken as held; next to a free edge up to four times too low."
)
TAPERED = "Scarf and stepped bonds: shear lag ply by ply after Hart-Smith 1974, NASA CR-112237 (from memory)."


def sources_of(case: Case) -> tuple[str, ...]:
    """What every report rests on, then what this case uses beside: each criterion that decides, in-situ strength,
    joints, and the model and the limits of each kind of damage that was found.
    """
    found = list(SOURCES)
    for kind in _kinds(case):
        criterion = CRITERIA[case.criteria.get(kind) or deciding(kind)]
        found.append(f"Plies of kind {kind!r} are judged by {criterion.name}: {criterion.source}.")
    if case.in_situ:
        none = "" if _held(case) else "; no ply of this panel is held (fabrics and outer plies never are)"
        found.append(f"Strength of held plies, {IN_SITU}{none}.")
    if case.panel is not None and known(case.panel):
        found.append(BOLTED)
    if _strikes_a_core(case):
        found.append(CRUSHED)
    if any(isinstance(action, ScarfRepair) for option in case.options for action in option.actions):
        found.append(TAPERED)
    spares = (d for option in case.options for a in option.actions if isinstance(a, Spare) for d in a.damage)
    damage = dict.fromkeys(type(one) for one in (*case.damage, *spares))
    return (*found, *(f"Damage of kind {k.word!r}: {k.source}. Limits: {k.limits}." for k in damage))


def _held(case: Case) -> bool:
    """Whether any ply of the panel is held as in-situ strength asks."""
    laminates = () if case.panel is None else case.panel.laminates
    return any(thickness is not None for laminate in laminates for thickness in held_thickness(laminate))


def _strikes_a_core(case: Case) -> bool:
    """Whether a rigid shape presses on the panel, and there is a core in it."""
    shapes = any(isinstance(load.scaled, Contact) or load.obstacles for load in case.loads)
    laminates = () if case.panel is None else case.panel.laminates
    return shapes and any(laminate.kind == "sandwich" for laminate in laminates)


def _kinds(case: Case) -> list[str]:
    """The kinds of fibre plies in the panel and its repairs, each once."""
    laminates = [] if case.panel is None else list(case.panel.laminates)
    actions = [action for option in case.options for action in option.actions]
    laminates += [action.laminate for action in actions if isinstance(action, Bonded)]
    plies = [ply.material for laminate in laminates for ply in laminate.plies]
    return sorted({material.kind for material in plies if isinstance(material, PlyMaterial)})


_WHY = {
    "is one": "is a part that protects people",
    "bonded into one": "is bonded into a part that protects people",
    "holds occupant protection in place": "holds occupant protection in place",
    "counts in its approval": "counts in the approval of a part that protects people",
}


def declined(case: Case) -> Declined:
    """Why a part is not assessed, and who releases it."""
    return Declined(
        case.title,
        f"{case.panel_name} {_WHY[case.protects_people]}; such parts are not assessed here",
        "its manufacturer and the governing body's static and dynamic tests",
        case.panel_name,
        case.hash,
        case.invented,
    )
