"""``[materials.NAME]``: plies, cores and adhesives, from the library, changed in part, or given whole."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Tag

from panelfem.case.fields import Quantity, Section, choice, numbers, quantity, text

_WHOLE = "without `like`"
_COUPON = "coupons of the same laminate, tested to a standard (five or more)"
_STIFF = "a strip of the laminate bent by a known weight, or the panel itself under a dial gauge"


def _strength(what: str) -> Any:
    return quantity(what, 0.0, 10000.0, low_open=True, default=None, needed=_WHOLE, sweep="strength", measure=_COUPON)


def _modulus(what: str, high: float = 1000.0) -> Any:
    return quantity(what, 0.0, high, low_open=True, default=None, needed=_WHOLE, sweep="stiffness", measure=_STIFF)


def _expansion(what: str, alias: str) -> Any:
    return quantity(what, -100.0, 300.0, default=None, needed=_WHOLE, alias=alias)


def _toughness(what: str) -> Any:
    return quantity(
        what, 0.0, 20000.0, low_open=True, default=None, sweep="strength", measure="specimens tested to a standard"
    )


class PlyKeys(Section):
    """A unidirectional or woven ply."""

    like: str | None = text(
        "A ply of the built-in library to start from; the keys given here replace its values.", default=None
    )
    kind: Literal["unidirectional", "fabric"] | None = choice(
        "One fibre direction, or a weave.", default=None, needed=_WHOLE
    )
    E1_GPa: Quantity | None = _modulus("Young's modulus along the fibre (the warp of a fabric).")
    E2_GPa: Quantity | None = _modulus("Young's modulus across the fibre (the fill of a fabric).")
    G12_GPa: Quantity | None = _modulus("In-plane shear modulus.")
    nu12: Quantity | None = quantity(
        "Poisson's ratio: contraction along 2 per strain along 1.", -1.0, 1.0, default=None, needed=_WHOLE
    )
    G13_GPa: Quantity | None = _modulus("Transverse shear modulus, plane 1-3.")
    G23_GPa: Quantity | None = _modulus("Transverse shear modulus, plane 2-3.")
    Xt_MPa: Quantity | None = _strength("Tensile strength along 1.")
    Xc_MPa: Quantity | None = _strength("Compressive strength along 1, as a positive number.")
    Yt_MPa: Quantity | None = _strength("Tensile strength along 2.")
    Yc_MPa: Quantity | None = _strength("Compressive strength along 2, as a positive number.")
    S_MPa: Quantity | None = _strength("In-plane shear strength.")
    Sil_MPa: Quantity | None = _strength("Interlaminar shear strength.")
    S23_MPa: Quantity | None = quantity(
        "Transverse shear strength, plane 2-3.",
        0.0,
        10000.0,
        low_open=True,
        default=None,
        sweep="strength",
        measure=_COUPON,
    )
    GIc_J_per_m2: Quantity | None = _toughness("Toughness between plies against opening (double cantilever beam).")
    GIIc_J_per_m2: Quantity | None = _toughness("Toughness between plies against sliding (end-notched flexure).")
    mixed_mode: Quantity | None = quantity(
        "Exponent of Benzeggagh and Kenane between both toughnesses (mixed-mode bending).",
        0.0,
        10.0,
        low_open=True,
        default=None,
    )
    shear_softening_per_GPa3: Quantity | None = quantity(
        "β of the in-plane shear strain τ/G12 + β τ³ (0: linear, on the unsafe side); absent: no gain of shear "
        "strength by `settings.in_situ_strength`.",
        0.0,
        1000.0,
        default=None,
        measure="the shear curve of ±45° coupons, tested to a standard",
    )
    strain_limits_percent: list[float] | None = numbers(
        "Strain limits: tension along 1, compression along 1, tension along 2, compression along 2, "
        "in-plane shear angle; all "
        "positive.",
        5,
        0.0,
        50.0,
        default=None,
        low_open=True,
    )
    alpha1: Quantity | None = _expansion("Thermal expansion along 1.", "alpha1_1e-6_per_K")
    alpha2: Quantity | None = _expansion("Thermal expansion along 2.", "alpha2_1e-6_per_K")
    beta1: Quantity | None = quantity(
        "Moisture swelling along 1: strain per share of mass taken up.",
        -1.0,
        2.0,
        default=None,
        needed=_WHOLE,
    )
    beta2: Quantity | None = quantity(
        "Moisture swelling along 2: strain per share of mass taken up.",
        -1.0,
        2.0,
        default=None,
        needed=_WHOLE,
    )
    density_kg_per_m3: Quantity | None = quantity(
        "Density of the cured ply.",
        500.0,
        5000.0,
        default=None,
        needed=_WHOLE,
        measure="weigh a trimmed piece of known area",
    )
    thickness_mm: Quantity | None = quantity(
        "Nominal cured thickness of one ply.",
        0.01,
        5.0,
        default=None,
        needed=_WHOLE,
        measure="a caliper on a trimmed edge",
    )
    stress_free_temperature_C: Quantity | None = quantity(
        "Temperature at which the ply carries no cure stress.", -50.0, 300.0, default=None
    )


class CoreKeys(Section):
    """A foam or honeycomb core."""

    like: str | None = text(
        "A core of the built-in library to start from; the keys given here replace its values.", default=None
    )
    kind: Literal["foam", "honeycomb"] | None = choice("Foam or honeycomb.", default=None, needed=_WHOLE)
    E_MPa: Quantity | None = _modulus("Young's modulus through the thickness.", 10000.0)
    E_plane_MPa: Quantity | None = _modulus("Young's modulus in the plane of the core.", 10000.0)
    nu: Quantity | None = quantity("Poisson's ratio in the plane.", -0.99, 0.99, default=None, needed=_WHOLE)
    G13_MPa: Quantity | None = _modulus("Transverse shear modulus along 0° (the ribbon of a honeycomb).", 5000.0)
    G23_MPa: Quantity | None = _modulus("Transverse shear modulus along 90°.", 5000.0)
    shear_strength_13_MPa: Quantity | None = _strength("Transverse shear strength along 0° (ribbon).")
    shear_strength_23_MPa: Quantity | None = _strength("Transverse shear strength along 90°.")
    crush_strength_MPa: Quantity | None = _strength("Compressive strength through the thickness.")
    density_kg_per_m3: Quantity | None = quantity("Density of the core.", 10.0, 1000.0, default=None, needed=_WHOLE)
    cell_size_mm: Quantity | None = quantity("Cell size of a honeycomb.", 0.5, 30.0, default=None)
    alpha: Quantity | None = _expansion("Thermal expansion.", "alpha_1e-6_per_K")


class AdhesiveKeys(Section):
    """An adhesive, or the resin of a wet patch as it bonds."""

    like: str | None = text(
        "An adhesive of the library to start from; the keys given here replace its values.", default=None
    )
    kind: Literal["adhesive"] | None = choice("Adhesive.", default=None, needed=_WHOLE)
    E_MPa: Quantity | None = _modulus("Young's modulus.", 20000.0)
    nu: Quantity | None = quantity("Poisson's ratio.", -0.99, 0.49, default=None, needed=_WHOLE)
    shear_strength_MPa: Quantity | None = _strength("Shear strength of the bond.")
    peel_strength_MPa: Quantity | None = _strength("Strength of the bond against pulling apart.")
    density_kg_per_m3: Quantity | None = quantity("Density.", 500.0, 5000.0, default=None, needed=_WHOLE)
    alpha: Quantity | None = quantity("Thermal expansion.", -100.0, 300.0, default=None, alias="alpha_1e-6_per_K")
    beta: Quantity | None = quantity("Moisture swelling: strain per share of mass taken up.", -1.0, 2.0, default=None)


MaterialKeys = PlyKeys | CoreKeys | AdhesiveKeys
#: Kinds of material and the section each belongs to.
FAMILY = {
    "unidirectional": "ply",
    "fabric": "ply",
    "foam": "core",
    "honeycomb": "core",
    "adhesive": "adhesive",
}
FAMILY_CLASS: dict[str, type[PlyKeys] | type[CoreKeys] | type[AdhesiveKeys]] = {
    "ply": PlyKeys,
    "core": CoreKeys,
    "adhesive": AdhesiveKeys,
}


def library_family(name: str) -> str | None:
    """The family of a library material: ``ply``, ``core`` or ``adhesive``; None if there is none of that
    name.
    """
    from panelfem.material import Adhesive, CoreMaterial, library

    found = library().get(name)
    if found is None:
        return None
    return "adhesive" if isinstance(found, Adhesive) else "core" if isinstance(found, CoreMaterial) else "ply"


def family_of(data: Any) -> str | None:
    """Which kind of material a table is about: by `kind`, by what it is `like`, else by the keys it has.

    >>> family_of({"kind": "foam"}), family_of({"E1_GPa": 60}), family_of({"peel_strength_MPa": 20})
    ('core', 'ply', 'adhesive')
    """
    if isinstance(data, PlyKeys | CoreKeys | AdhesiveKeys):
        return next(name for name, cls in FAMILY_CLASS.items() if isinstance(data, cls))
    if not isinstance(data, dict):
        return "ply"
    if isinstance(kind := data.get("kind"), str) and kind in FAMILY:
        return FAMILY[kind]
    if isinstance(like := data.get("like"), str) and (found := library_family(like)):
        return found
    counts = {name: sum(key in _file_keys(cls) for key in data) for name, cls in FAMILY_CLASS.items()}
    return max(counts, key=lambda name: counts[name])


def _file_keys(cls: type[Section]) -> set[str]:
    return {info.alias or name for name, info in cls.model_fields.items()} - {"like", "kind"}


MaterialTable = Annotated[
    Annotated[PlyKeys, Tag("ply")] | Annotated[CoreKeys, Tag("core")] | Annotated[AdhesiveKeys, Tag("adhesive")],
    Discriminator(family_of),
]
