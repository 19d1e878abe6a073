"""In-situ strength: published values, the energy of a slit crack integrated independently, limits, where it holds."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from panelfem.assess import assess
from panelfem.case import load_case
from panelfem.errors import InputError
from panelfem.failure.in_situ import THICK, embedded_strengths, held_thickness, in_situ
from panelfem.laminate import Laminate, parse_stack
from panelfem.laminate.degrade import weakened_material
from panelfem.material import PlyMaterial, library


def ply(name: str = "AS4-3501-6", **changes: object) -> PlyMaterial:
    material = library()[name]
    assert isinstance(material, PlyMaterial)
    return replace(material, **changes)  # type: ignore[arg-type]


#: A carbon ply of 0.125 mm (Camanho et al. 2006 and Maimi et al. 2007, Mech. Mater. 39:897, recalled).
PRINTED = ply(
    E1=171.42e9, E2=9.08e9, G12=5.29e9, nu12=0.32, Yt=62.3e6, S=92.3e6,
    GIc=277.4, GIIc=787.9, shear_softening=2.98e-26,
)  # fmt: skip


def test_published_values_of_a_thin_embedded_ply() -> None:
    """160.2 MPa across and 130.2 MPa in shear (Maimi et al. 2007, recalled)."""
    assert embedded_strengths(PRINTED, 0.125e-3) == pytest.approx((160.2e6, 130.2e6), rel=5e-3)


def test_the_energy_of_a_slit_that_grows_along_the_fibres() -> None:
    """Independent, for an isotropic ply: K = σ √(πa) through the thickness, energy K² (1 − ν²)/E in tension and
    K²/2G in shear; along the fibres the mean of it over all lengths 2a up to the thickness is set free."""
    E, nu, t = 9e9, 0.3, 0.2e-3
    m = ply(E1=E, E2=E, nu12=nu, G12=4e9, Yt=1e6, S=1e6, GIc=250.0, GIIc=700.0, shear_softening=0.0)
    Yt, S = embedded_strengths(m, t)
    opened = quad(lambda a: 2 * (Yt**2 * math.pi * a) * (1 - nu**2) / E, 0, t / 2)[0] / t
    slid = quad(lambda a: 2 * (S**2 * math.pi * a) / (2 * m.G12), 0, t / 2)[0] / t
    assert opened == pytest.approx(250.0, rel=1e-9)
    assert slid == pytest.approx(700.0, rel=1e-9)
    beta = 3e-26  # with a curved law the work of the shear takes the place of τ²/2G
    _, S = embedded_strengths(replace(m, shear_softening=beta), t)
    work = quad(lambda tau: tau * (1 / m.G12 + 3 * beta * tau**2), 0, S)[0]
    assert math.pi * t / 4 * work == pytest.approx(700.0, rel=1e-9)


def test_thick_plies_and_what_is_not_stated() -> None:
    """Thick: 1.12 √2 across, √2 in linear shear, less as the resin softens (all from the same paper, recalled)."""
    bare = replace(PRINTED, GIc=None, GIIc=None)
    assert embedded_strengths(bare, 1e-4)[0] == pytest.approx(1.584 * 62.3e6, rel=1e-3)
    assert embedded_strengths(PRINTED, 5e-3)[0] == pytest.approx(THICK * 62.3e6)
    assert embedded_strengths(replace(bare, shear_softening=0.0), 1e-4)[1] == pytest.approx(math.sqrt(2) * 92.3e6)
    assert 92.3e6 < embedded_strengths(bare, 1e-4)[1] < math.sqrt(2) * 92.3e6
    assert embedded_strengths(replace(PRINTED, shear_softening=None), 1e-4)[1] == 92.3e6
    found = np.array([embedded_strengths(PRINTED, t) for t in np.geomspace(5e-5, 2e-3, 12)])
    assert (np.diff(found, axis=0) <= 1e-6 * found[:-1]).all(), "a thicker ply is never stronger"


def test_only_held_unidirectional_plies_gain() -> None:
    """Outer plies, plies beside a core and fabrics keep theirs; equal neighbours, also turned by half, are one ply."""
    names = {"AS4-3501-6": PRINTED, **{k: v for k, v in library().items() if k != "AS4-3501-6"}}

    def held(stack: str) -> list[float | None]:
        found = held_thickness(Laminate(parse_stack(stack, names, "AS4-3501-6")))
        return [None if t is None else round(1e3 * t, 4) for t in found]

    assert held("[0/90]s") == [None, 0.25, 0.25, None]
    assert held("[0/90/-90/45/0]") == [None, 0.25, 0.25, 0.125, None]
    assert held("[0/0/0]") == [None] * 3
    assert held("[0:T300-5208/0/0:T300-5208]") == [None] * 3  # nothing across stops the crack
    assert held("[0/90/foam-pvc-80:5mm/90/0]") == [None] * 5
    assert held("[0:carbon-twill/0/45:carbon-twill/0]") == [None, 0.125, None, None]
    laminate = Laminate(parse_stack("[0/90]s", names, "AS4-3501-6"))
    stronger = in_situ(laminate)
    assert stronger.plies[0] == laminate.plies[0]
    inner = stronger.plies[1].material
    assert isinstance(inner, PlyMaterial)
    assert (inner.Yt, inner.S) == embedded_strengths(PRINTED, 0.25e-3)
    assert "in situ" in inner.provenance["Yt"].source
    assert replace(inner, Yt=PRINTED.Yt, S=PRINTED.S, provenance=PRINTED.provenance) == PRINTED
    assert np.array_equal(stronger.ABD, laminate.ABD)


def test_weakened_plies_are_weaker_in_the_laminate_too() -> None:
    Yt, _ = embedded_strengths(PRINTED, 0.125e-3)
    assert embedded_strengths(weakened_material(PRINTED, 0.7), 0.125e-3)[0] == pytest.approx(0.7 * Yt)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="GIc = -1 is not positive"):
        ply(GIc=-1.0)
    with pytest.raises(InputError, match="shear_softening"):
        ply(shear_softening=-1.0)


CASE = """
[case]
title = "Pulled strip"
invented = true
consequence = "debris"
[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false
[settings]
element_size_mm = 60
vibrations = false
lose_each_fastener = false
large_displacements = false
SWITCH
[panel]
name = "strip"
zero_direction = [1, 0, 0]
stack = "[0/90/0]"
material = "T300-5208"
[panel.outline]
corners_mm = [[0, 0], [120, 0], [120, 60], [0, 60]]
[[panel.edges]]
name = "left"
area = { shape = "polygon", corners_mm = [[-1, -1], [1, -1], [1, 61], [-1, 61]] }
hold = "clamped"
[[load]]
kind = "handling"
name = "pull"
area = { shape = "polygon", corners_mm = [[110, -1], [121, -1], [121, 61], [110, 61]] }
force_N = 4000
direction = [1, 0, 0]
"""


def test_it_is_off_unless_asked_for(tmp_path: Path) -> None:
    """From the switch of a case to the reserve: matrix tension of the held ply gains 1.12 √2, by maximum stress."""
    found = {}
    for switch in ("", "in_situ_strength = true"):
        file = tmp_path / "case.toml"
        file.write_text(CASE.replace("SWITCH", switch), encoding="utf-8")
        (undamaged,) = (c for c in assess(load_case(file)).configurations if c.kind == "undamaged")
        modes = undamaged.result("pull").modes
        found[switch] = {(m.mode, m.criterion): m for m in modes}
    before, after = found.values()
    key = ("matrix tension", "maximum stress")
    assert before[key].ply == 2
    assert before[key].status == "found"
    assert after[key].factor == pytest.approx(THICK * before[key].factor, rel=1e-6)
    key = ("fibre tension", "Hashin")
    assert after[key].factor == before[key].factor
