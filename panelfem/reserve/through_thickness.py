"""Modes that a plane stress cannot show: core shear, interlaminar shear and tension, skin wrinkling, shear crimping.

Transverse shear stresses follow by equilibrium from the shear resultants and, for their distribution, from the change
of the strains along the surface.  Where the panel is curved, bending that opens it pulls the plies apart: this
interlaminar tension is the radial stress by equilibrium, residual stresses included.  Wrinkling, crimping and, over
honeycomb whose cell size is known, dimpling look at the compression in directions 15° apart.  All these stresses are
linear in strain, its change or a resultant, so each laminate keeps one matrix for each.

The strength in interlaminar tension is seldom on a data sheet.  It is taken from the transverse tensile strength Yt for
unidirectional plies, and from the interlaminar shear strength Sil for fabric, both resin-governed (common practice, no
source); the criterion's name says which.  Shear and tension are not combined.  A sharp crease between elements counts
as flat, since its true radius is not known, and so does a radius beyond `FLAT` thicknesses.  A core's own
through-thickness tension is not checked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from panelfem.arrays import FloatArray, IntArray
from panelfem.failure.sandwich import compression, crimping, dimpling, wrinkling
from panelfem.laminate import Laminate
from panelfem.laminate.ply import strain_turn
from panelfem.material import CoreMaterial, PlyMaterial
from panelfem.panel import Panel
from panelfem.reserve.check import Words, factor_on_scalar, factor_on_vector, least, merge, mode_reserve
from panelfem.reserve.observe import Observed
from panelfem.reserve.plies import POSITIONS, Residual
from panelfem.reserve.records import ModeReserve
from panelfem.reserve.sampling import Sampling

#: Directions in which compression is looked at, rad from the 0° axis.
DIRECTIONS = np.radians(np.arange(0.0, 180.0, 15.0))
#: Radius over thickness beyond which a laminate counts as flat: the radial stress is then below 1/FLAT of the bending
#: stress, and no ply is weaker through its thickness by that much.
FLAT = 1e4

#: A ply, counted from 0, and a position in it.
Place = tuple[int, int]


@dataclass(frozen=True)
class ThroughThickness:
    """Core shear and interlaminar shear everywhere; interlaminar tension where the panel is curved; wrinkling, dimpling
    and crimping where there is a core.  All govern release.
    """

    panel: Panel
    sampling: Sampling
    residual: Residual
    words: Words

    @cached_property
    def _laws(self) -> dict[int, _Law]:
        numbers = np.unique(self.sampling.group).tolist()
        return {number: _law(self.panel.laminates[number], self.residual) for number in numbers}

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        """The governing place of each mode."""
        found: list[ModeReserve] = []
        for number, law in self._laws.items():
            at = np.flatnonzero(self.sampling.group == number)
            before, after = _transverse(held, at), _transverse(now, at)
            for shear in law.shears:
                least_one = least_on_vector(shear.stress(before), shear.stress(after - before))
                found.append(self._at_ply(shear.mode, "shear by equilibrium", least_one, shear.places, number, at))
            strain, more = held.strain[at, :6], now.strain[at, :6] - held.strain[at, :6]
            bent = now.curvature[at]
            if np.abs(bent).max(initial=0.0) * law.laminate.thickness * FLAT > 1.0:
                for radial in law.radials:
                    factors = factor_on_scalar(radial.stress(strain, bent, 1.0), radial.stress(more, bent, 0.0), 1.0)
                    least_one = least(factors.ravel())
                    found.append(self._at_ply(radial.mode, radial.criterion, least_one, radial.places, number, at))
            for skin in law.compressions:
                factors = compression(more @ skin.rows.T, strain @ skin.rows.T + skin.offset, skin.allowed)
                i, factor = least(factors.ravel())
                point = at[i // len(DIRECTIONS)]
                found.append(
                    mode_reserve(
                        skin.mode, skin.criterion, "release", factor, self.sampling.points[point], self.words,
                        laminate=number, averaged=float(self.sampling.length[point]),
                    )
                )  # fmt: skip
        return merge(found)

    def _at_ply(
        self, mode: str, criterion: str, found: tuple[int, float], places: Sequence[Place], number: int, at: IntArray
    ) -> ModeReserve:
        """The least factor `found`, with its index in (n, m): sampling points `at` (n,) of laminate `number`, and m
        `places` in it.
        """
        i, factor = found
        row, where = divmod(i, len(places))
        ply, position = places[where]
        return mode_reserve(
            mode, criterion, "release", factor, self.sampling.points[at[row]], self.words, ply + 1,
            self.panel.laminates[number].plies[ply].material.name, POSITIONS[position], number,
            averaged=float(self.sampling.length[at[row]]),
        )  # fmt: skip


def least_on_vector(held: FloatArray, added: FloatArray) -> tuple[int, float]:
    """Index and value of the least factor r at which |held + r·added| = 1 over the first axes of (..., 2); nan comes
    first, as in :func:`panelfem.reserve.check.least`.

    |held + r·added| ≤ |held| + r·|added| bounds every factor from below; only those whose bound is not above the factor
    at the place of the least bound are solved for.

    >>> least_on_vector(np.array([[0.5, 0.0], [0.0, 0.5]]), np.array([[-1.0, 0.0], [0.0, 0.5]]))
    (1, 1.0)
    """
    held, added = held.reshape(-1, held.shape[-1]), added.reshape(-1, added.shape[-1])
    room, rate = 1.0 - np.sqrt(np.einsum("nc,nc->n", held, held)), np.sqrt(np.einsum("nc,nc->n", added, added))
    bound = room / np.maximum(rate, 1e-300)
    first = int(np.argmin(bound))
    reached = float(factor_on_vector(held[first], added[first], 1.0))
    if np.isnan(reached):
        return first, reached
    near = np.flatnonzero(bound <= reached * (1.0 + 1e-9))  # the first place itself, whatever the rounding
    i, factor = least(factor_on_vector(held[near], added[near], 1.0))
    return int(near[i]), factor


def _transverse(state: Observed, at: IntArray) -> FloatArray:
    """(n, 14): shear resultants, and changes of the strains along t1 and t2, at sampling points `at` (n,)."""
    return np.concatenate([state.shear[at], state.gradient[at].reshape(len(at), 12)], axis=1)


@dataclass(frozen=True)
class _Shear:
    """A shear mode: `rows` (14, 2 m) from resultants and changes to (τ13, τ23)/strength at m places (ply, position)."""

    mode: str
    rows: FloatArray
    places: tuple[Place, ...]

    def stress(self, transverse: FloatArray) -> FloatArray:
        """Stress over strength (n, m, 2) for resultants and changes (n, 14)."""
        return (transverse @ self.rows).reshape(len(transverse), -1, 2)


@dataclass(frozen=True)
class _Radial:
    """Interlaminar tension: `rows` (6, 3 m) and `offset` (3 m,) give what times [b11, b22, b12] is the radial stress
    over the strength at m places.
    """

    mode: str
    criterion: str
    rows: FloatArray
    offset: FloatArray
    places: tuple[Place, ...]

    def stress(self, strain: FloatArray, curvature: FloatArray, held: float) -> FloatArray:
        """Stress over strength (n, m) of strains (n, 6), with `held` times the residual stresses."""
        forces = (strain @ self.rows + held * self.offset).reshape(len(strain), -1, 3)
        return np.asarray((forces @ curvature[:, :, None])[:, :, 0])


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


@lru_cache(maxsize=256)
def _law(laminate: Laminate, residual: Residual) -> _Law:
    return _Law(laminate, residual)


class _Law:
    """The matrices of one laminate."""

    def __init__(self, laminate: Laminate, residual: Residual) -> None:
        self.laminate = laminate
        self.shears = [s for s in (_shear(laminate, CoreMaterial), _shear(laminate, PlyMaterial)) if s is not None]
        self.radials = _radials(laminate, residual)
        self.compressions = _compressions(laminate, residual) if laminate.kind == "sandwich" else []


def _shear(laminate: Laminate, kind: type) -> _Shear | None:
    strengths: dict[int, tuple[float, float]] = {}
    for p, ply in enumerate(laminate.plies):
        match ply.material:
            case CoreMaterial() as core if kind is CoreMaterial:
                strengths[p] = (core.shear_strength_13, core.shear_strength_23)
            case PlyMaterial() as material if kind is PlyMaterial:
                strengths[p] = (material.Sil, material.Sil)
    if not strengths:
        return None
    change = np.eye(14)
    unit = laminate.transverse_shear_from_both(change[:, :2], change[:, 2:].reshape(14, 2, 6))
    # two like directions: the strength does not ask how the ply is turned
    same = {p: s if s[0] == s[1] else (*s, laminate.plies[p].angle) for p, s in strengths.items()}
    places = _places(laminate, same)
    rows = np.stack([unit[:, p, f] / np.array(strengths[p]) for p, f in places], axis=1)
    mode = "core shear" if kind is CoreMaterial else "interlaminar shear"
    return _Shear(mode, np.ascontiguousarray(rows.reshape(14, -1)), places)


def _places(laminate: Laminate, strength: Mapping[int, object]) -> tuple[Place, ...]:
    """Places (ply, position) in the plies that have a `strength`, where a stress can be greatest that is continuous
    through the thickness and zero on the faces: not the faces, and the border of two plies of one strength once.
    """
    last = len(laminate.plies) - 1
    found: list[Place] = []
    for p, own in strength.items():
        if p > 0 and strength.get(p - 1) != own:
            found.append((p, 0))
        found.append((p, 1))
        if p < last:
            found.append((p, 2))
    return tuple(found)


def _radials(laminate: Laminate, residual: Residual) -> list[_Radial]:
    """Interlaminar tension, of unidirectional plies and of fabrics apart as their strengths have other names."""
    unit = laminate.radial_forces(laminate.ply_stresses(np.eye(6)))
    free = laminate.radial_forces(residual.stresses(laminate, np.zeros((1, 6))))[0]
    found = []
    for kind, name in (("unidirectional", "Yt"), ("fabric", "Sil")):
        strength = {
            p: float(getattr(ply.material, name))
            for p, ply in enumerate(laminate.plies)
            if isinstance(ply.material, PlyMaterial) and ply.material.kind == kind
        }
        if not strength:
            continue
        places = _places(laminate, strength)
        rows = np.stack([unit[:, p, f] / strength[p] for p, f in places], axis=1)
        offset = np.stack([free[p, f] / strength[p] for p, f in places])
        found.append(
            _Radial(
                "interlaminar tension",
                f"radial stress by equilibrium (strength taken from {name})",
                rows.reshape(6, -1),
                offset.ravel(),
                places,
            )
        )
    return found


def _compressions(laminate: Laminate, residual: Residual) -> list[_Compression]:
    """Wrinkling and dimpling of either skin, and crimping of the whole."""
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
        if core.material.cell_size is not None:
            skin = replace(laminate, plies=tuple(laminate.plies[m] for m in members), bottom=None, stated_shear=None)
            between = dimpling(_plate_moduli(skin), 0.0, skin.thickness, core.material.cell_size)
            found.append(
                _Compression(f"skin dimpling, {name} skin", "skin dimpling", rows, share @ offset[members], between)
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


def _plate_moduli(skin: Laminate) -> FloatArray:
    """What Ef/(1 − ν²) of an isotropic skin is in each direction (directions,), Pa: 12 √(Da Db)/t³ with the bending
    stiffness of the skin along it and across it (MIL-HDBK-23A's rule for orthotropic facings, recalled).
    """
    turned = [strain_turn(float(-d)) for d in DIRECTIONS]
    D = np.array([t.T @ skin.reduced_bending @ t for t in turned])
    return np.asarray(12.0 * np.sqrt(D[:, 0, 0] * D[:, 1, 1]) / skin.thickness**3)


def _moduli(laminate: Laminate, members: list[int]) -> FloatArray:
    """Membrane modulus (directions,) Pa of a skin, in each direction."""
    thickness = np.diff(laminate.interfaces)[members]
    plane = np.einsum("p,pij->ij", thickness, laminate.ply_stiffness[members]) / thickness.sum()
    compliance = np.linalg.inv(plane)
    c, s = np.cos(DIRECTIONS), np.sin(DIRECTIONS)
    turn = np.stack([c * c, s * s, c * s], 1)
    return np.asarray(1.0 / np.einsum("di,ij,dj->d", turn, compliance, turn))
