"""Modes that a plane stress cannot show: core shear, interlaminar shear, skin wrinkling and shear crimping.

Transverse shear stresses follow from the shear resultants by equilibrium.  Wrinkling and crimping look at the
compression in directions 15° apart.  All these stresses are linear in strain or resultant, so each laminate keeps one
matrix for each.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.failure.sandwich import compression, crimping, wrinkling
from panelfem.laminate import Laminate
from panelfem.material import CoreMaterial, PlyMaterial
from panelfem.panel import Panel
from panelfem.reserve.check import Words, factor_on_vector, least, merge, mode_reserve
from panelfem.reserve.observe import Observed
from panelfem.reserve.plies import POSITIONS, Residual
from panelfem.reserve.records import ModeReserve
from panelfem.reserve.sampling import Sampling

#: Directions in which compression is looked at, rad from the 0° axis.
DIRECTIONS = np.radians(np.arange(0.0, 180.0, 15.0))


@dataclass(frozen=True)
class ThroughThickness:
    """Core shear and interlaminar shear everywhere; wrinkling and crimping where there is a core.  All govern
    release.
    """

    panel: Panel
    sampling: Sampling
    residual: Residual
    words: Words

    @cached_property
    def _laws(self) -> dict[int, _Law]:
        numbers = np.unique(self.sampling.group).tolist()
        return {number: _Law(self.panel.laminates[number], self.residual) for number in numbers}

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        """The governing place of each mode."""
        found: list[ModeReserve] = []
        for number, law in self._laws.items():
            at = np.flatnonzero(self.sampling.group == number)
            points = self.sampling.points[at]
            before, added = held.shear[at], now.shear[at] - held.shear[at]
            for shear in law.shears:
                factors = factor_on_vector(shear.stress(before), shear.stress(added), 1.0)
                i, factor = least(factors.ravel())
                point, where = divmod(i, factors.shape[1])
                ply, position = shear.places[where]
                name = law.laminate.plies[ply].material.name
                found.append(
                    mode_reserve(
                        shear.mode, "shear by equilibrium", "release", factor, points[point], self.words, ply + 1, name,
                        POSITIONS[position], number,
                    )
                )  # fmt: skip
            strain, more = held.strain[at, :6], now.strain[at, :6] - held.strain[at, :6]
            for skin in law.compressions:
                factors = compression(more @ skin.rows.T, strain @ skin.rows.T + skin.offset, skin.allowed)
                i, factor = least(factors.ravel())
                place = points[i // len(DIRECTIONS)]
                found.append(
                    mode_reserve(skin.mode, skin.criterion, "release", factor, place, self.words, laminate=number)
                )
        return merge(found)


@dataclass(frozen=True)
class _Shear:
    """A shear mode: `rows` (2, m, 2) from resultants to (τ13, τ23)/strength at m places (ply, position)."""

    mode: str
    rows: FloatArray
    places: tuple[tuple[int, int], ...]

    def stress(self, resultants: FloatArray) -> FloatArray:
        """Stress over strength (n, m, 2) for resultants (n, 2)."""
        return np.tensordot(resultants, self.rows, (1, 0))


@dataclass(frozen=True)
class _Compression:
    """A compression mode: normal stress or force in each direction is `rows` (d, 6) @ strain + `offset` (d,); it
    fails at −`allowed` (d,).
    """

    mode: str
    criterion: str
    rows: FloatArray
    offset: FloatArray
    allowed: FloatArray


class _Law:
    """The matrices of one laminate."""

    def __init__(self, laminate: Laminate, residual: Residual) -> None:
        self.laminate = laminate
        self.shears = [s for s in (_shear(laminate, CoreMaterial), _shear(laminate, PlyMaterial)) if s is not None]
        self.compressions = _compressions(laminate, residual) if laminate.kind == "sandwich" else []


def _shear(laminate: Laminate, kind: type) -> _Shear | None:
    members = [p for p, ply in enumerate(laminate.plies) if isinstance(ply.material, kind)]
    if not members:
        return None
    strengths = []
    for p in members:
        match laminate.plies[p].material:
            case CoreMaterial() as core:
                strengths.append((core.shear_strength_13, core.shear_strength_23))
            case PlyMaterial() as ply:
                strengths.append((ply.Sil, ply.Sil))
    unit = laminate.transverse_shear(np.eye(2))[:, members] / np.array(strengths)[None, :, None, :]
    rows = unit.reshape(2, -1, 2)
    places = [(p, f) for p in members for f in range(3)]
    kept = _undominated(np.einsum("amc,bmc->mab", rows, rows))
    mode = "core shear" if kind is CoreMaterial else "interlaminar shear"
    return _Shear(mode, rows[:, kept], tuple(places[i] for i in kept))


def _undominated(forms: FloatArray) -> list[int]:
    """Which of the quadratic forms (m, 2, 2) may be the greatest for some resultant: none of the others is above it."""
    kept: list[int] = []
    for i in np.argsort(-np.trace(forms, axis1=1, axis2=2), kind="stable").tolist():
        above = [np.linalg.eigvalsh(forms[k] - forms[i])[0] >= -1e-12 * np.trace(forms[k]) for k in kept]
        if not any(above):
            kept.append(i)
    return kept


def _compressions(laminate: Laminate, residual: Residual) -> list[_Compression]:
    """Wrinkling of either skin, and crimping of the whole."""
    cores = [p for p, ply in enumerate(laminate.plies) if isinstance(ply.material, CoreMaterial)]
    thickness = np.diff(laminate.interfaces)
    # normal stress at the middle of each ply in each direction, for unit strains and for none
    stress = laminate.ply_stresses(np.vstack([np.eye(6), np.zeros(6)]))[:, :, 1]
    free = residual.stresses(laminate, np.zeros((1, 6)))[:, :, 1]
    unit, offset = _along(laminate, stress[:6]), _along(laminate, free)[0]
    found = []
    for name, members, core in (
        ("bottom", list(range(cores[0])), laminate.plies[cores[0]]),
        ("top", list(range(cores[-1] + 1, len(laminate.plies))), laminate.plies[cores[-1]]),
    ):
        if not members:
            continue
        assert isinstance(core.material, CoreMaterial)
        share = thickness[members] / thickness[members].sum()
        allowed = wrinkling(_moduli(laminate, members), core.material, DIRECTIONS - core.angle)
        rows = np.einsum("spd,p->ds", unit[:, members], share)
        found.append(
            _Compression(f"skin wrinkling, {name} skin", "skin wrinkling", rows, share @ offset[members], allowed)
        )
    rows = np.einsum("spd,p->ds", unit, thickness)
    found.append(
        _Compression("shear crimping", "shear crimping", rows, thickness @ offset, crimping(laminate, DIRECTIONS))
    )
    return found


def _along(laminate: Laminate, stress: FloatArray) -> FloatArray:
    """Normal stress (n, plies, directions) in each direction, from ply stresses (n, plies, 3) in ply axes."""
    turn = DIRECTIONS[None, :] - np.array([ply.angle for ply in laminate.plies])[:, None]
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(np.einsum("npi,ipd->npd", stress, np.stack([c * c, s * s, 2.0 * c * s])))


def _moduli(laminate: Laminate, members: list[int]) -> FloatArray:
    """Membrane modulus (directions,) Pa of a skin, in each direction."""
    thickness = np.diff(laminate.interfaces)[members]
    plane = np.einsum("p,pij->ij", thickness, laminate.ply_stiffness[members]) / thickness.sum()
    compliance = np.linalg.inv(plane)
    c, s = np.cos(DIRECTIONS), np.sin(DIRECTIONS)
    turn = np.stack([c * c, s * s, c * s], 1)
    return np.asarray(1.0 / np.einsum("di,ij,dj->d", turn, compliance, turn))
