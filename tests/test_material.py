"""The built-in materials against their publications, and what no material can be."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import pytest

from panelfem.errors import InputError
from panelfem.material import Adhesive, CoreMaterial, PlyMaterial, Provenance, library, sources
from panelfem.material.library import read

GPA, MPA = 1e9, 1e6

# E1, E2, G12 GPa; nu12; Xt, Xc, Yt, Yc, S MPa; alpha1, alpha2 1e-6/K.
PUBLISHED = {
    # S. W. Tsai & H. T. Hahn 1980, Introduction to Composite Materials, tables 1.7, 7.1, 8.3 (recalled)
    "T300-5208": (181, 10.3, 7.17, 0.28, 1500, 1500, 40, 246, 68, 0.02, 22.5),
    # P. D. Soden, M. J. Hinton & A. S. Kaddour 1998, Compos. Sci. Technol. 58:1011 (recalled unless said otherwise)
    "AS4-3501-6": (126, 11, 6.6, 0.28, 1950, 1480, 48, 200, 79, -1, 26),
    "T300-914C": (138, 11, 5.5, 0.28, 1500, 900, 27, 200, 80, -1, 26),  # elastic constants read in the source
    "E-glass-LY556": (53.48, 17.7, 5.83, 0.278, 1140, 570, 35, 114, 72, 8.6, 26.4),  # elastic, Yt, Yc read
    "E-glass-MY750": (45.6, 16.2, 5.83, 0.278, 1280, 800, 40, 145, 73, 8.6, 26.4),  # elastic constants read
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_plies(name: str) -> None:
    ply = library()[name]
    assert isinstance(ply, PlyMaterial)
    E1, E2, G12, nu12, Xt, Xc, Yt, Yc, S, a1, a2 = PUBLISHED[name]
    ours = (ply.E1, ply.E2, ply.G12, ply.nu12, ply.Xt, ply.Xc, ply.Yt, ply.Yc, ply.S, ply.alpha1, ply.alpha2)
    printed = (
        E1 * GPA,
        E2 * GPA,
        G12 * GPA,
        nu12,
        Xt * MPA,
        Xc * MPA,
        Yt * MPA,
        Yc * MPA,
        S * MPA,
        a1 * 1e-6,
        a2 * 1e-6,
    )
    assert ours == pytest.approx(printed, rel=1e-12)


@pytest.mark.parametrize("name", library())
def test_every_property_says_where_it_comes_from(name: str) -> None:
    material = library()[name]
    silent = {
        "name",
        "kind",
        "provenance",
        "S23",
        "GIc",
        "GIIc",
        "mixed_mode",
        "shear_softening",
        "cell_size",
        "strain_limits",
        "stress_free_temperature",
    }
    given = {f.name for f in fields(material) if getattr(material, f.name) is not None}
    assert given - {"name", "kind", "provenance"} == set(material.provenance), "no value without provenance"
    assert {f.name for f in fields(material)} - silent <= set(material.provenance)
    for prop, provenance in material.provenance.items():
        if provenance.basis == "assumed":
            assert provenance.source.startswith(("generic", "rule")), (
                prop,
                "an assumption is a rule or plainly generic",
            )
            without = prop == "stress_free_temperature" or getattr(material, prop) == 0.0
            assert provenance.band is not None or without, (prop, "a relative band, but of zero and of °C")


def test_constants_missing_in_print_follow_their_stated_rule() -> None:
    for name in PUBLISHED:
        ply = library()[name]
        assert isinstance(ply, PlyMaterial)
        assert ply.G13 == ply.G12
        assert ply.Sil == ply.S
        assert pytest.approx(ply.E2 / 2.8, rel=2e-4) == ply.G23
        assert "rule" in ply.provenance["G23"].source


def test_sources_say_what_is_recalled() -> None:
    assert sum("recalled" in source for source in sources()) >= 2


def _ply(**changes: object) -> PlyMaterial:
    base = library()["carbon-ud"]
    assert isinstance(base, PlyMaterial)
    return replace(base, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "prop", ["E1", "E2", "G12", "G13", "G23", "Xt", "Xc", "Yt", "Yc", "S", "Sil", "density", "thickness"]
)
@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_moduli_and_strengths_are_positive(prop: str, bad: float) -> None:
    with pytest.raises(InputError, match=f"{prop} = .* is not positive .*'carbon-ud'.*Allowed"):
        _ply(**{prop: bad})


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"nu12": 4.0}, "law of energy.*E1 and E2 are not swapped"),
        ({"nu12": -4.0}, "law of energy"),
        ({"E1": 8.5e9, "E2": 1300e9}, "law of energy"),
        ({"thickness": 0.15}, "150 mm thick.*unit"),
        ({"kind": "woven"}, "unknown.*unidirectional, fabric"),
        ({"strain_limits": (0.01, 0.01, 0.01, 0.01)}, "five positive strains"),
        ({"strain_limits": (0.01, 0.01, -0.01, 0.01, 0.01)}, "five positive strains"),
        ({"alpha1": math.nan}, "alpha1 is not a finite number"),
        ({"stress_free_temperature": -300.0}, "stress-free temperature"),
        ({"S23": -1.0}, "S23 = -1 is not positive"),
    ],
)
def test_impossible_plies_are_refused(changes: dict[str, object], says: str) -> None:
    with pytest.raises(InputError, match=says):
        _ply(**changes)


def test_impossible_cores_and_adhesives_are_refused() -> None:
    foam, glue = library()["foam-pvc-80"], library()["paste-epoxy"]
    assert isinstance(foam, CoreMaterial)
    assert isinstance(glue, Adhesive)
    with pytest.raises(InputError, match="law of energy"):
        replace(foam, nu=0.6)
    with pytest.raises(InputError, match="crush_strength"):
        replace(foam, crush_strength=0.0)
    with pytest.raises(InputError, match=r"law of energy.*below 0\.5"):
        replace(glue, nu=0.5)
    with pytest.raises(InputError, match="peel_strength"):
        replace(glue, peel_strength=-1.0)
    assert pytest.approx(glue.E / (2 * (1 + glue.nu))) == glue.G


def test_provenance_checks_itself() -> None:
    with pytest.raises(InputError, match=r"basis 'guess' is unknown.*B-basis"):
        Provenance("GPa", "guess", "somebody")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="no source"):
        Provenance("GPa", "typical", " ")
    with pytest.raises(InputError, match="does not enclose"):
        Provenance("GPa", "typical", "data sheet", (1.1, 1.2))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[m]\nkind = "wood"', "kind 'wood' is unknown"),
        ('[m]\nkind = "foam"\nE_MPa = { value = 85, basis = "typical" }', "'E_MPa' is not a full entry"),
        ('[m]\nkind = "foam"\nE_MPa = 85', "'E_MPa' is not a full entry"),
        ('[m]\nkind = "foam"\nEE_MPa = { value = 85, basis = "typical", source = "x" }', "key 'EE_MPa' is unknown"),
        ('[m]\nkind = "fabric"', "E1, E2, G12.*missing"),
    ],
)
def test_material_files_with_faults(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        read(text)


def test_materials_can_be_keys() -> None:
    assert len(set(library().values())) == len(library())
