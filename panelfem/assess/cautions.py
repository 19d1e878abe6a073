"""What every report says besides its numbers, and what is declined."""

from __future__ import annotations

from panelfem.assess.records import Declined
from panelfem.case import Case
from panelfem.repair import Spare

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


def sources_of(case: Case) -> tuple[str, ...]:
    """What every report rests on, then the model and the limits of each kind of damage that was found."""
    spares = (d for option in case.options for a in option.actions if isinstance(a, Spare) for d in a.damage)
    kinds = dict.fromkeys(type(found) for found in (*case.damage, *spares))
    return (*SOURCES, *(f"Damage of kind {k.word!r}: {k.source}. Limits: {k.limits}." for k in kinds))


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
