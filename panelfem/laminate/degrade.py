"""Laminates whose material is softer or weaker than the book says: damaged areas and patches cured on the bench."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace

import numpy as np

from panelfem.laminate.laminate import Laminate
from panelfem.laminate.ply import Ply
from panelfem.material import Adhesive, CoreMaterial, Material, PlyMaterial

#: Fields that are moduli, by record: softening scales them, and leaves strengths and expansions alone.
_MODULI: dict[type, tuple[str, ...]] = {
    PlyMaterial: ("E1", "E2", "G12", "G13", "G23"),
    CoreMaterial: ("E", "E_plane", "G13", "G23"),
    Adhesive: ("E",),
}
#: Fields that are strengths, by record.
_STRENGTHS: dict[type, tuple[str, ...]] = {
    PlyMaterial: ("Xt", "Xc", "Yt", "Yc", "S", "Sil", "S23"),
    CoreMaterial: ("shear_strength_13", "shear_strength_23", "crush_strength"),
    Adhesive: ("shear_strength", "peel_strength"),
}


def _scaled(material: Material, fields: tuple[str, ...], factor: float) -> Material:
    changes: dict[str, object] = {
        name: value * factor for name in fields if (value := getattr(material, name)) is not None
    }
    limits = getattr(material, "strain_limits", None)
    if limits is not None and "Xt" in fields:
        changes["strain_limits"] = tuple(factor * limit for limit in limits)
    return replace(material, **changes)  # type: ignore[arg-type]


def weakened_material(material: Material, factor: float) -> Material:
    """The material with every strength (and strain limit) scaled by `factor`, and toughness by its square, as that of
    a crack that the strength comes from; moduli as they were.
    """
    weaker = _scaled(material, _STRENGTHS[type(material)], factor)
    return _scaled(weaker, ("GIc", "GIIc"), factor**2) if isinstance(weaker, PlyMaterial) else weaker


def stiffened_material(material: Material, factor: float) -> Material:
    """The material with every modulus scaled by `factor`; strengths as they were."""
    return _scaled(material, _MODULI[type(material)], factor)


def heated_material(material: Material, strength: float, stiffness: float) -> Material:
    """The material with what its matrix governs scaled: strengths by `strength`, moduli by `stiffness`.

    Of a unidirectional ply all but E1 and Xt; of a fabric the shear moduli, shear strengths and both compressive
    strengths, since fibres run both ways; of a core or an adhesive everything.  Strain limits go with the strengths.
    """
    if not isinstance(material, PlyMaterial):
        return stiffened_material(weakened_material(material, strength), stiffness)
    across = material.kind == "unidirectional"
    moduli = ("E2", "G12", "G13", "G23") if across else ("G12", "G13", "G23")
    strengths = ("Xc", "Yc", "S", "Sil", "S23", *(("Yt",) if across else ()))
    changed = _scaled(_scaled(material, moduli, stiffness), strengths, strength)
    if material.strain_limits is None:
        return changed
    scaled = [strength * limit for limit in material.strain_limits]
    scaled[0] = material.strain_limits[0]
    if not across:
        scaled[2] = material.strain_limits[2]
    return replace(changed, strain_limits=tuple(scaled))  # type: ignore[arg-type]


def exchanged(laminate: Laminate, change: Callable[[Ply], Ply], shear: float = 1.0) -> Laminate:
    """The laminate with every ply changed; a stated transverse shear stiffness is scaled by `shear`."""
    return replace(
        laminate,
        plies=tuple(change(ply) for ply in laminate.plies),
        stated_shear=None if laminate.stated_shear is None else np.array(laminate.stated_shear) * shear,
    )


def softened_plies(laminate: Laminate, share: float, plies: Collection[int]) -> Laminate:
    """The laminate with the moduli of some plies, counted from 0, scaled to `share`."""
    changed = [
        replace(ply, material=stiffened_material(ply.material, share)) if i in plies else ply
        for i, ply in enumerate(laminate.plies)
    ]
    return replace(laminate, plies=tuple(changed), stated_shear=None)


def weakened(laminate: Laminate, factor: float, only: str | None = None) -> Laminate:
    """The laminate with the strengths of its plies scaled (those of material `only`, or all)."""
    return exchanged(laminate, _where(only, lambda material: weakened_material(material, factor)))


def softened(laminate: Laminate, share: float, only: str | None = None) -> Laminate:
    """The laminate with the moduli of its plies scaled to `share` (those of material `only`, or all)."""
    return exchanged(laminate, _where(only, lambda material: stiffened_material(material, share)), share)


def _where(only: str | None, change: Callable[[Material], Material]) -> Callable[[Ply], Ply]:
    """The change of a ply that changes its material, if it is `only` or that is None."""
    return lambda ply: replace(ply, material=change(ply.material)) if only in (None, ply.material.name) else ply
