"""Laminates whose material is softer or weaker than the book says: damaged areas and patches cured on the bench."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from panelfem.laminate.laminate import Laminate
from panelfem.material import Adhesive, CoreMaterial, Material, PlyMaterial

#: Fields that are moduli, by record: softening scales them, and leaves strengths and expansions alone.
_MODULI: dict[type, tuple[str, ...]] = {
    PlyMaterial: ("E1", "E2", "G12", "G13", "G23"),
    CoreMaterial: ("E", "E_plane", "G13", "G23"),
    Adhesive: ("E",),
}
#: Fields that are strengths, by record.
_STRENGTHS: dict[type, tuple[str, ...]] = {
    PlyMaterial: ("Xt", "Xc", "Yt", "Yc", "S", "Sil", "S23", "GIc", "GIIc"),
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
    """The material with every strength (and strain limit) scaled by `factor`; moduli as they were."""
    return _scaled(material, _STRENGTHS[type(material)], factor)


def stiffened_material(material: Material, factor: float) -> Material:
    """The material with every modulus scaled by `factor`; strengths as they were."""
    return _scaled(material, _MODULI[type(material)], factor)


def weakened(laminate: Laminate, factor: float, only: str | None = None) -> Laminate:
    """The laminate with the strengths of its plies scaled (those of material `only`, or all)."""
    return replace(
        laminate,
        plies=tuple(
            replace(ply, material=weakened_material(ply.material, factor)) if only in (None, ply.material.name) else ply
            for ply in laminate.plies
        ),
    )


def softened(laminate: Laminate, share: float, only: str | None = None) -> Laminate:
    """The laminate with the moduli of its plies scaled to `share` (those of material `only`, or all)."""
    return replace(
        laminate,
        plies=tuple(
            replace(ply, material=stiffened_material(ply.material, share)) if only in (None, ply.material.name) else ply
            for ply in laminate.plies
        ),
        stated_shear=None if laminate.stated_shear is None else np.array(laminate.stated_shear) * share,
    )
