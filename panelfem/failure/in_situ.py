"""In-situ strength: an embedded ply that its neighbours hold takes more across its fibres than a coupon of it alone.

A crack in a thick ply grows through it first, in a thin one along the fibres, and the thinner the ply, the less energy
that sets free.  Only unidirectional plies between fibre plies of other directions are held so; equal neighbours count
as one thick ply, and outer plies and plies beside a core or adhesive keep the strength of the coupon.

Thick: Yt √2 · 1.12.  Thin: Yt = √(8 GIc/(π t Λ)), Λ = 2 (1/E2 − nu12²/E1).  Shear with γ = τ/G12 + β τ³:
S = √([√(1 + β φ G12²) − 1]/(3 β G12)), φ = 12 S²/G12 + 18 β S⁴ (thick), 48 GIIc/(π t) (thin).  The greater of
thick and thin holds.  What a ply does not state is not credited: without GIc or GIIc only the thick value, without β
no gain in shear, as linear shear (β = 0) doubles the gain of real resins.

Source: P. P. Camanho, C. G. Davila, S. T. Pinho, L. Iannucci & P. Robinson 2006, Composites A 37:165 (recalled).
"""

from __future__ import annotations

import math
from dataclasses import replace

from panelfem.laminate import Laminate, Ply
from panelfem.material import PlyMaterial, Provenance

#: Of a surface crack in the coupon over an embedded one: free edge, and half the length.
THICK = 1.12 * math.sqrt(2.0)
SOURCE = "in situ: Camanho et al. 2006, Composites A 37:165 (recalled)"
_SAME = math.radians(0.5)


def embedded_strengths(ply: PlyMaterial, thickness: float) -> tuple[float, float]:
    """Yt and S, Pa, of a ply `thickness` m thick that is held on both sides; never below its own.

    >>> from panelfem.material import library
    >>> Yt, S = embedded_strengths(library()["T300-5208"], 0.25e-3)      # toughness not stated: as a thick ply
    >>> round(Yt / 1e6, 2), round(S / 1e6, 2)
    (63.36, 68.0)
    """
    Yt = THICK * ply.Yt
    if ply.GIc is not None:
        compliance = 2.0 * (1.0 / ply.E2 - ply.nu12**2 / ply.E1)
        Yt = max(Yt, math.sqrt(8.0 * ply.GIc / (math.pi * thickness * compliance)))
    if ply.shear_softening is None:
        return Yt, ply.S
    beta, G = ply.shear_softening, ply.G12
    energies = [12.0 * ply.S**2 / G + 18.0 * beta * ply.S**4]
    if ply.GIIc is not None:
        energies.append(48.0 * ply.GIIc / (math.pi * thickness))
    phi = max(energies)
    # [√(1 + x) − 1]/(3 β G) with x = β φ G², written without the difference, so that β may be 0
    S = math.sqrt(phi * G / (3.0 * (math.sqrt(1.0 + beta * phi * G * G) + 1.0)))
    return Yt, max(ply.S, S)


def held_thickness(laminate: Laminate) -> tuple[float | None, ...]:
    """For each ply the thickness, m, of it and its equal neighbours, None where it is not held on both sides or not
    unidirectional.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> held_thickness(Laminate(parse_stack("[0/90]s", library(), "T300-5208")))
    (None, 0.00025, 0.00025, None)
    """
    groups: list[list[int]] = []
    for i, ply in enumerate(laminate.plies):
        if groups and _alike(laminate.plies[groups[-1][-1]], ply):
            groups[-1].append(i)
        else:
            groups.append([i])
    fibre = [isinstance(ply.material, PlyMaterial) for ply in laminate.plies]
    out: list[float | None] = [None] * len(laminate.plies)
    for before, group, after in zip(groups, groups[1:], groups[2:], strict=False):
        material = laminate.plies[group[0]].material
        own = laminate.plies[group[0]]
        held = all(fibre[i] and not _along(own, laminate.plies[i]) for i in (before[-1], after[0]))
        if held and isinstance(material, PlyMaterial) and material.kind == "unidirectional":
            for i in group:
                out[i] = sum(laminate.plies[k].thickness for k in group)
    return tuple(out)


def in_situ(laminate: Laminate) -> Laminate:
    """The laminate with Yt and S of its held plies as they are in it; all else as it was."""
    plies = []
    for ply, thickness in zip(laminate.plies, held_thickness(laminate), strict=True):
        if thickness is None or not isinstance(ply.material, PlyMaterial):
            plies.append(ply)
            continue
        Yt, S = embedded_strengths(ply.material, thickness)
        where = {**ply.material.provenance, **{key: Provenance("MPa", "assumed", SOURCE) for key in ("Yt", "S")}}
        plies.append(replace(ply, material=replace(ply.material, Yt=Yt, S=S, provenance=where)))
    return replace(laminate, plies=tuple(plies))


def _alike(one: Ply, other: Ply) -> bool:
    """Of one material, with fibres along one line."""
    return one.material == other.material and _along(one, other)


def _along(one: Ply, other: Ply) -> bool:
    """With fibres along one line only: a fabric always has others across it."""
    turn = (one.angle - other.angle) % math.pi
    fabric = any(isinstance(p.material, PlyMaterial) and p.material.kind == "fabric" for p in (one, other))
    return min(turn, math.pi - turn) < _SAME and (not fabric or one.material == other.material)
