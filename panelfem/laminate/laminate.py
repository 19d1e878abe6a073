"""The laminate: A, B, D, transverse shear, residual resultants, ply strains and stresses.

Classical lamination for the membrane and bending part; transverse shear from equilibrium
(`panelfem.laminate.shear`). The reference surface is z = 0; `bottom` shifts the plies against it, so that a
patch on one face is eccentric by itself.

Sign conventions: z along the normal, first ply at the bottom; strain [e11 e22 2e12 | k11 k22 2k12 | g1 g2]
with eps(z) = e + z k; resultants [N11 N22 N12 | M11 M22 M12 | Q1 Q2]; tension positive.

Source: S. W. Tsai & H. T. Hahn 1980, Introduction to Composite Materials, chapters 4 to 8;
J. N. Reddy 2004, Mechanics of Laminated Composite Plates and Shells, 2nd ed., chapter 3.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.laminate import shear as through
from panelfem.laminate.constants import EngineeringConstants, engineering_constants
from panelfem.laminate.ply import (
    Ply,
    expansion,
    reduced_stiffness,
    strain_turn,
    swelling,
    transverse_shear_modulus,
    vector_turn,
)
from panelfem.material import CoreMaterial

Rows = tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Laminate:
    """Plies from the bottom (the face the normal enters) to the top, at z = `bottom` and up; None: centred on
    z = 0.

    `stated_shear`: transverse shear stiffness N/m to use instead of the one from equilibrium, (2, 2) or its
    two diagonal terms (2,); stored as nested tuples.  Arrays returned by the properties are read-only.

    Raises InputError for an empty laminate or a stated shear stiffness that is not symmetric and positive.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> lam = Laminate(parse_stack("[0/90]s", library(), "T300-5208"))
    >>> lam.thickness * 1e3, bool(abs(lam.B).max() < 1e-9), lam.kind
    (0.5, True, 'monolithic')
    """

    plies: tuple[Ply, ...]
    bottom: float | None = None
    stated_shear: Rows | Sequence[float] | FloatArray | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "plies", tuple(self.plies))
        if not self.plies:
            raise InputError("a laminate needs at least one ply")
        if self.bottom is not None and not np.isfinite(self.bottom):
            raise InputError(
                "the bottom of the laminate is not at a finite z", allowed="metres from the reference surface"
            )
        if self.stated_shear is not None:
            object.__setattr__(self, "stated_shear", _stated(self.stated_shear))

    @cached_property
    def thickness(self) -> float:
        """Sum of the ply thicknesses, m."""
        return float(sum(ply.thickness for ply in self.plies))

    @cached_property
    def interfaces(self) -> FloatArray:
        """(n + 1,) z of the faces and of the borders between plies, rising, m."""
        start = -0.5 * self.thickness if self.bottom is None else self.bottom
        return _frozen(start + np.concatenate([[0.0], np.cumsum([ply.thickness for ply in self.plies])]))

    @cached_property
    def kind(self) -> Literal["monolithic", "sandwich"]:
        """'sandwich' if a ply is a core."""
        return "sandwich" if any(isinstance(ply.material, CoreMaterial) for ply in self.plies) else "monolithic"

    @cached_property
    def areal_mass(self) -> float:
        """Mass per area, kg/m²."""
        return float(sum(ply.thickness * ply.material.density for ply in self.plies))

    @cached_property
    def mass_moments(self) -> FloatArray:
        """(3,) ∫ρ (1, z, z²) dz about the reference surface: kg/m², kg/m, kg; the inertia of a plate that vibrates.

        >>> from panelfem.laminate import parse_stack
        >>> from panelfem.material import library
        >>> plies = parse_stack("[0/90]s", library(), "T300-5208")
        >>> moments = Laminate(plies, bottom=0.0).mass_moments             # t = 0.5 mm on z = 0: m0 (1, t/2, t²/3)
        >>> (moments / moments[0] * [1, 1e3, 1e6]).round(6).tolist()
        [1.0, 0.25, 0.083333]
        """
        z, density = self.interfaces, np.array([ply.material.density for ply in self.plies])
        powers = np.arange(1, 4)
        return _frozen(density @ ((z[1:, None] ** powers - z[:-1, None] ** powers) / powers))

    @cached_property
    def ply_stiffness(self) -> FloatArray:
        """(plies, 3, 3) plane-stress stiffness of each ply in laminate axes, Pa."""
        turns = [strain_turn(ply.angle) for ply in self.plies]
        return _frozen(
            np.stack([t.T @ reduced_stiffness(ply.material) @ t for t, ply in zip(turns, self.plies, strict=True)])
        )

    def _moment(self, power: int) -> FloatArray:
        z = self.interfaces
        weights = (z[1:] ** (power + 1) - z[:-1] ** (power + 1)) / (power + 1)
        return _frozen(np.einsum("p,pij->ij", weights, self.ply_stiffness))

    @cached_property
    def A(self) -> FloatArray:
        """(3, 3) membrane stiffness, N/m."""
        return self._moment(0)

    @cached_property
    def B(self) -> FloatArray:
        """(3, 3) coupling of stretching and bending, N."""
        return self._moment(1)

    @cached_property
    def D(self) -> FloatArray:
        """(3, 3) bending stiffness about the reference surface, N·m."""
        return self._moment(2)

    @cached_property
    def ABD(self) -> FloatArray:
        """(6, 6) resultants per strain [[A, B], [B, D]]."""
        return _frozen(np.block([[self.A, self.B], [self.B, self.D]]))

    @cached_property
    def shear(self) -> FloatArray:
        """(2, 2) transverse shear stiffness N/m: the stated one, otherwise from equilibrium."""
        return self.equilibrium_shear if self.stated_shear is None else _frozen(np.array(self.stated_shear))

    @cached_property
    def stiffness(self) -> FloatArray:
        """(8, 8) resultants per strain, [[A, B, 0], [B, D, 0], [0, 0, shear]]."""
        full = np.zeros((8, 8))
        full[:6, :6], full[6:, 6:] = self.ABD, self.shear
        return _frozen(full)

    @cached_property
    def shear_moduli(self) -> FloatArray:
        """(plies, 2, 2) transverse shear moduli of each ply in laminate axes, Pa."""
        turns = [vector_turn(ply.angle) for ply in self.plies]
        moduli = [transverse_shear_modulus(ply.material) for ply in self.plies]
        return _frozen(np.stack([r.T @ (g[:, None] * r) for r, g in zip(turns, moduli, strict=True)]))

    @cached_property
    def _profile(self) -> through.ShearProfile:
        return through.profile(self.interfaces, self.ply_stiffness, self.A, self.B, self.D)

    @cached_property
    def equilibrium_shear(self) -> FloatArray:
        """(2, 2) transverse shear stiffness from the energy of the equilibrium stresses, N/m."""
        return _frozen(through.stiffness(self._profile, self.shear_moduli))

    def shear_by_factor(self, factor: float) -> FloatArray:
        """(2, 2) transverse shear stiffness of first-order theory with a shear factor, `factor` · Σ G t, N/m."""
        return np.asarray(factor * np.einsum("p,pij->ij", np.diff(self.interfaces), self.shear_moduli))

    @cached_property
    def _free(self) -> FloatArray:
        """(2, plies, 3) stress per kelvin and per moisture that holds the free strain back, laminate axes."""
        turns = np.stack([strain_turn(-ply.angle) for ply in self.plies])
        own = np.stack([[law(ply.material) for ply in self.plies] for law in (expansion, swelling)])
        return np.asarray(np.einsum("pij,pjk,apk->api", self.ply_stiffness, turns, own))

    def thermal_resultants(self, dT: float, moisture: float = 0.0) -> FloatArray:
        """[N; M] (6,) of the free strains held back, N/m and N: a free laminate takes the strain ABD⁻¹ @
        these.

        `dT` K: temperature minus stress-free temperature; `moisture`: share of mass.  Positive where plies
        want to grow. The stress resultants are ABD @ strain − these.
        """
        z = self.interfaces
        sigma = dT * self._free[0] + moisture * self._free[1]
        return np.concatenate([np.diff(z) @ sigma, 0.5 * np.diff(z**2) @ sigma])

    def strain_under(self, load: FloatArray) -> FloatArray:
        """Strain and curvature (..., 6) of a free laminate under resultants [N; M] (..., 6), N/m and N."""
        load = np.asarray(load, np.float64)
        return np.asarray(np.linalg.solve(self.ABD, load.reshape(-1, 6).T).T.reshape(load.shape))

    @cached_property
    def _strain_operator(self) -> FloatArray:
        """(6, plies·9): strains of the reference surface to ply strains at three positions in ply axes."""
        z = np.stack([self.interfaces[:-1], 0.5 * (self.interfaces[:-1] + self.interfaces[1:]), self.interfaces[1:]], 1)
        turns = np.stack([strain_turn(ply.angle) for ply in self.plies])
        membrane = np.broadcast_to(turns[:, None], (len(self.plies), 3, 3, 3))
        operator = np.concatenate([membrane, z[..., None, None] * membrane], axis=-1)
        return np.ascontiguousarray(operator.reshape(-1, 6).T)

    @cached_property
    def _stress_operator(self) -> FloatArray:
        q = np.stack([reduced_stiffness(ply.material) for ply in self.plies])
        per_ply = self._strain_operator.T.reshape(len(self.plies), 3, 3, 6)
        return np.ascontiguousarray(np.einsum("pij,pbjk->pbik", q, per_ply).reshape(-1, 6).T)

    def ply_strains(self, strain: FloatArray) -> FloatArray:
        """Total strains in ply axes (n, plies, 3, 3): position (bottom, middle, top), component (11, 22,
        2·12).

        `strain` (n, 8) or (n, 6), or one row (8,) or (6,), which gives (plies, 3, 3).
        """
        return self._through(strain, self._strain_operator)

    def ply_stresses(self, strain: FloatArray, dT: float = 0.0, moisture: float = 0.0) -> FloatArray:
        """Stresses in ply axes, Pa, Q (strain − alpha dT − beta moisture); shape as for :meth:`ply_strains`.

        `strain` is the total strain, so with `dT` it must contain what the temperature change did to the
        panel.
        """
        stress = self._through(strain, self._stress_operator)
        if dT or moisture:
            q = [reduced_stiffness(ply.material) for ply in self.plies]
            free = [dT * expansion(ply.material) + moisture * swelling(ply.material) for ply in self.plies]
            stress -= np.stack([qi @ fi for qi, fi in zip(q, free, strict=True)])[:, None, :]
        return stress

    def _through(self, strain: FloatArray, operator: FloatArray) -> FloatArray:
        strain = np.asarray(strain, dtype=np.float64)
        if strain.shape[-1] not in (6, 8):
            raise InputError(f"strain rows have {strain.shape[-1]} components", allowed="6 or 8 a row")
        return (strain[..., :6] @ operator).reshape(*strain.shape[:-1], len(self.plies), 3, 3)

    def transverse_shear(self, Q: FloatArray) -> FloatArray:
        """τ13, τ23 in ply axes, Pa, (n, plies, 3, 2): position (bottom, middle, top), by equilibrium.

        `Q` (n, 2) or (2,): transverse shear resultants N/m in laminate axes.  Zero on both faces.  The shape is that of
        two cylindrical bendings: exact where the panel bends along one axis; where twist carries part of Q it is not
        (24 % too high in τ23 at the middle of a square thin [0/90/0] plate's edge, see tests), and
        :meth:`transverse_shear_from_both` corrects it.
        """
        Q = np.asarray(Q, dtype=np.float64)
        turns = np.stack([vector_turn(ply.angle) for ply in self.plies])
        operator = np.einsum("pij,pbjk->pbik", turns, self._profile.at_positions())
        return np.asarray(Q @ operator.reshape(-1, 2).T).reshape(*Q.shape[:-1], len(self.plies), 3, 2)

    def transverse_shear_from_gradients(self, along1: FloatArray, along2: FloatArray) -> FloatArray:
        """τ13, τ23 in ply axes, Pa, (n, plies, 3, 2), from the measured change of the strains along the surface.

        `along1`, `along2` (n, 6) or (6,): derivatives of [e, k] along t1 and t2, 1/m.  Equilibrium with these alone, so
        the share of the twist is right, which :meth:`transverse_shear` leaves out; what remains at the top face shows
        how well the derivatives fulfil equilibrium.
        """
        operator = through.gradient_operator(self.interfaces, self.ply_stiffness)
        turns = np.stack([vector_turn(ply.angle) for ply in self.plies])
        both = np.stack([np.asarray(along1, np.float64), np.asarray(along2, np.float64)], -2)
        tau: FloatArray = np.einsum("pij,pbjdk,...dk->...pbi", turns, operator, both)
        return tau

    @cached_property
    def _transverse(self) -> FloatArray:
        """(14, plies·6): [Q1, Q2, change along t1, change along t2] to τ13, τ23 at three positions in ply axes."""
        turns = np.stack([vector_turn(ply.angle) for ply in self.plies])
        change = through.gradient_operator(self.interfaces, self.ply_stiffness)
        rest = change.reshape(len(self.plies), 3, 2, 12) @ through.balance(self.ABD)
        both = np.concatenate([self._profile.at_positions(), rest], axis=-1)
        return np.ascontiguousarray((turns[:, None] @ both).reshape(-1, 14).T)

    def transverse_shear_from_both(self, Q: FloatArray, gradient: FloatArray) -> FloatArray:
        """τ13, τ23 in ply axes, Pa, (n, plies, 3, 2), of resultants `Q` (n, 2) or (2,), N/m, with the share of the
        twist from `gradient` (n, 2, 6) or (2, 6), the derivatives of [e, k] along t1 and t2, 1/m.

        The resultant is Q and both faces are free, whatever the gradient: it decides the distribution only.  Where Q is
        not the divergence of the gradient's moments, the difference takes the shape of :meth:`transverse_shear`.
        """
        Q, gradient = np.asarray(Q, np.float64), np.asarray(gradient, np.float64)
        all_of = np.concatenate([Q, gradient.reshape(*gradient.shape[:-2], 12)], axis=-1)
        return (all_of @ self._transverse).reshape(*Q.shape[:-1], len(self.plies), 3, 2)

    def radial_forces(self, stress: FloatArray) -> FloatArray:
        """(n, plies, 3, 3), N/m, from ply stresses (n, plies, 3, 3), Pa, as :meth:`ply_stresses` gives them: its last
        axis times the curvatures [b11, b22, b12], 1/m, is the stress of :meth:`radial_stress`.
        """
        turns = np.stack([strain_turn(ply.angle) for ply in self.plies])
        return through.radial_forces(self.interfaces, np.einsum("pji,npfj->npfi", turns, stress))

    def radial_stress(
        self, strain: FloatArray, curvature: FloatArray, dT: float = 0.0, moisture: float = 0.0
    ) -> FloatArray:
        """Normal stress through the thickness of a curved laminate, Pa, tension positive, (n, plies, 3): position
        (bottom, middle, top), by equilibrium (`panelfem.laminate.shear`).

        `strain` (n, 8 or 6), total, as for :meth:`ply_stresses`; `curvature` (n, 3): [b11, b22, b12], 1/m, positive
        where the surface bends towards its normal.  Zero on both faces: pressure is left out.  The greatest is good to
        5 % from a radius of two thicknesses.
        """
        forces = self.radial_forces(self.ply_stresses(np.atleast_2d(strain), dT, moisture))
        return np.asarray(np.einsum("npfc,nc->npf", forces, np.atleast_2d(curvature)))

    def stacked(self, extra: Sequence[Ply], side: Literal[1, -1]) -> Laminate:
        """This laminate with `extra` plies on a face; the reference surface stays, so the result is
        eccentric.

        `extra` is listed **from the face outwards**: the first touches this laminate.  `side` +1: on the top
        face, which the normal leaves; −1: on the bottom face.  A stated shear stiffness is dropped, as it no
        longer holds.

        >>> from panelfem.laminate import parse_stack
        >>> from panelfem.material import library
        >>> lam = Laminate(parse_stack("[0/90]", library(), "carbon-ud"))
        >>> both = lam.stacked(parse_stack("[45]", library(), "carbon-ud"), -1)
        >>> (1e3 * both.interfaces).round(3).tolist()
        [-0.3, -0.15, 0.0, 0.15]
        """
        if side not in (1, -1):
            raise InputError(f"side {side} is neither face", allowed="1 (top, the normal leaves) or -1 (bottom)")
        bottom = float(self.interfaces[0])
        if side == 1:
            return replace(self, plies=self.plies + tuple(extra), bottom=bottom, stated_shear=None)
        added = float(sum(ply.thickness for ply in extra))
        return replace(self, plies=tuple(reversed(extra)) + self.plies, bottom=bottom - added, stated_shear=None)

    def split(self, after: int) -> tuple[Laminate, Laminate]:
        """The plies below and above the interface on top of ply `after`, counted from 1 at the bottom; each part keeps
        its place against the reference surface.

        Raises InputError for an interface that is not inside the laminate.

        >>> from panelfem.laminate import parse_stack
        >>> from panelfem.material import library
        >>> low, high = Laminate(parse_stack("[0/45/0/45]", library(), "carbon-ud")).split(1)
        >>> len(low.plies), (1e3 * high.interfaces).round(3).tolist()
        (1, [-0.15, 0.0, 0.15, 0.3])
        """
        if not 1 <= after < len(self.plies):
            raise InputError(
                f"there is no interface after ply {after}",
                where=f"laminate of {len(self.plies)} plies",
                allowed=f"1 to {len(self.plies) - 1}" if len(self.plies) > 1 else "two plies or more",
            )
        z = self.interfaces
        low, high = self.plies[:after], self.plies[after:]
        return (
            replace(self, plies=low, bottom=float(z[0]), stated_shear=None),
            replace(self, plies=high, bottom=float(z[after]), stated_shear=None),
        )

    @cached_property
    def reduced_bending(self) -> FloatArray:
        """(3, 3) D − B A⁻¹ B, N·m: bending stiffness where no membrane force goes with it; the same about any surface.

        >>> from panelfem.laminate import parse_stack
        >>> from panelfem.material import library
        >>> plies = parse_stack("[0/90]s", library(), "carbon-ud")
        >>> bool(np.allclose(Laminate(plies, bottom=1e-3).reduced_bending, Laminate(plies).D))
        True
        """
        return _frozen(self.D - self.B @ np.linalg.solve(self.A, self.B))

    def engineering_constants(self) -> EngineeringConstants:
        """Moduli of a homogeneous plate of the same thickness, about the mid-plane of the plies."""
        centred = self if self.bottom is None else replace(self, bottom=None)
        return engineering_constants(centred.ABD, centred.thermal_resultants(1.0), self.thickness)


def _frozen(array: FloatArray) -> FloatArray:
    array.setflags(write=False)
    return array


def _stated(value: Rows | Sequence[float] | FloatArray) -> Rows:
    given = np.asarray(value, dtype=np.float64)
    matrix = np.diag(given) if given.shape == (2,) else given
    good = matrix.shape == (2, 2) and bool(np.isfinite(matrix).all()) and bool(np.allclose(matrix, matrix.T, rtol=1e-9))
    if not good or np.linalg.eigvalsh(matrix).min() <= 0.0:
        raise InputError(
            "the stated transverse shear stiffness cannot be used",
            allowed="two positive numbers, or a symmetric positive 2 × 2 matrix, N/m",
        )
    return tuple(tuple(float(x) for x in row) for row in matrix)
