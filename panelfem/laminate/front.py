"""Energy release rate at a straight front where a laminate comes apart into two, from the resultants of its parts.

The parts are plates in cylindrical bending (or beams).  Ahead of the front they are one; behind it each carries its own
force and moment.  The difference against what each carries ahead does no work on what is continuous, so that
G = ½ Σ Δᵀ C Δ over both parts, exact for beams and plates without the shear of the part beyond the front.

The difference is a pair of forces n along the crack plane, which presses the upper part, and a pair of moments m, which
opens the front.  G = ½ |v|² with v = √c1 n e^{i(π/2 + Ω)} + √c2 m e^{i(Ω + Γ)}: real opens, imaginary slides; c1, c2, Γ
follow from C, the mode angle Ω from the stress at the tip.  Two are given, since for fibre plies they differ and
neither is exact: that of the singular stress in a homogeneous sheet; and one fitted to tests, where the bridged tip is
longer than the singular zone.  A front that is pressed shut (real < 0) slides with all of G.

Along a straight front nothing varies, so that a part sheared along it is sheared alike over its thickness, and tears
with ½ s² Σ 1/A66, s the difference of the shear forces: exact without the coupling of shear with stretch (A16, B16),
which is left out.

Signs: as `panelfem.laminate`; k = −w'', so that a positive moment on the upper part closes the front.

Source: J. G. Williams 1988, Int. J. Fracture 36:101 (G from resultants); Z. Suo & J. W. Hutchinson 1990, Int. J.
Fracture 43:1 (mode angle ω = 52.1° − 3° η); B. D. Davidson, H. Hu & R. A. Schapery 1995, J. Appl. Mech. 62:787 and
B. D. Davidson, L. Gharibian & L. Yu 2000, Int. J. Fracture 105:45 (crack-tip element, fitted angle).  All recalled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.laminate.laminate import Laminate
from panelfem.laminate.ply import strain_turn

#: Both estimates of the mode angle.
ANGLES = ("singular", "fitted")


@dataclass(frozen=True)
class Section:
    """One part: stiffness [[A, B], [B, D]] per width (N/m, N, N·m) about its own middle, thickness (m), and stiffness
    against shear along the front (A66, N/m; nan: not known).
    """

    stiffness: FloatArray
    thickness: float
    shear: float = math.nan

    @classmethod
    def plane(cls, part: Laminate, angle: float = 0.0) -> Section:
        """A part whose strains along the front are held; the front's normal is at `angle` rad from the 0° axis."""
        stiffness = _about_middle(part)
        back = strain_turn(-angle)
        turn = np.zeros((6, 6))
        turn[:3, :3] = turn[3:, 3:] = back
        turned = turn.T @ stiffness @ turn
        return cls(turned[np.ix_([0, 3], [0, 3])], part.thickness, float(turned[2, 2]))

    @classmethod
    def beam(cls, part: Laminate) -> Section:
        """A part that is narrow, so that nothing holds it along the front; along the 0° axis."""
        compliance = np.linalg.inv(_about_middle(part))[np.ix_([0, 3], [0, 3])]
        return cls(np.linalg.inv(compliance), part.thickness)

    @property
    def bending(self) -> float:
        """D − B²/A, N·m: without a membrane force."""
        (a, b), (_, d) = self.stiffness
        return float(d - b * b / a)


def _about_middle(part: Laminate) -> FloatArray:
    middle = float(part.interfaces[0] + part.interfaces[-1]) / 2.0
    B = part.B - middle * part.A
    D = part.D - middle * (part.B + part.B.T) + middle**2 * part.A
    return np.block([[part.A, B], [B, D]])


@dataclass(frozen=True)
class CrackTip:
    """The front between `lower` and `upper`."""

    lower: Section
    upper: Section

    @cached_property
    def _c(self) -> tuple[float, float, float]:
        """c1, c2, c12: G = ½ (c1 n² + c2 m² + 2 c12 n m)."""
        up, low = (np.linalg.inv(part.stiffness) for part in (self.upper, self.lower))
        h, H = self.upper.thickness, self.lower.thickness
        n_up, m_up = np.array([-1.0, h / 2.0]), np.array([0.0, -1.0])
        n_low, m_low = np.array([1.0, H / 2.0]), np.array([0.0, 1.0])
        return (
            float(n_up @ up @ n_up + n_low @ low @ n_low),
            float(m_up @ up @ m_up + m_low @ low @ m_low),
            float(n_up @ up @ m_up + n_low @ low @ m_low),
        )

    @cached_property
    def whole(self) -> FloatArray:
        """[[A, B], [B, D]] of both parts as one, about the crack plane."""
        found = np.zeros((2, 2))
        for part, z in ((self.lower, -self.lower.thickness / 2.0), (self.upper, self.upper.thickness / 2.0)):
            move = np.array([[1.0, z], [0.0, 1.0]])
            found += move.T @ part.stiffness @ move
        return found

    def pair(self, upper: FloatArray, lower: FloatArray) -> tuple[FloatArray, FloatArray]:
        """n (N/m) and m (N) of the resultants behind the front, [N, M] (2, ...) of each part about its own middle."""
        h, H = self.upper.thickness, self.lower.thickness
        force = upper[0] + lower[0]
        moment = upper[1] + lower[1] + (upper[0] * h - lower[0] * H) / 2.0
        strain, curve = np.tensordot(np.linalg.inv(self.whole), np.stack([force, moment]), 1)
        ahead = np.tensordot(self.upper.stiffness, np.stack([strain + curve * h / 2.0, curve]), 1)
        return self.of_difference(upper - ahead)

    def of_difference(self, upper: FloatArray) -> tuple[FloatArray, FloatArray]:
        """n and m from what the upper part carries more behind the front than ahead, [N, M] (2, ...)."""
        return -upper[0], -upper[1] - upper[0] * self.upper.thickness / 2.0

    def total(self, n: FloatArray, m: FloatArray) -> FloatArray:
        """Energy release rate, J/m²."""
        c1, c2, c12 = self._c
        return np.asarray(0.5 * (c1 * n * n + c2 * m * m + 2.0 * c12 * n * m))

    def tearing(self, s: FloatArray) -> FloatArray:
        """Energy release rate of tearing, J/m²; `s` N/m: the upper part's shear along the front, behind less ahead."""
        return np.asarray(0.5 * s * s * (1.0 / self.upper.shear + 1.0 / self.lower.shear))

    def modes(self, n: FloatArray, m: FloatArray, angle: str = "singular") -> tuple[FloatArray, FloatArray]:
        """Opening and sliding energy release rates, J/m², by one of :data:`ANGLES`.

        >>> ply = Section(np.diag([70e6, 70e6 * 1e-6 / 12]), 1e-3)
        >>> tip = CrackTip(ply, ply)
        >>> [float(g.round(9)) for g in tip.modes(np.array(0.0), np.array(1.0))]  # opened by moments, m²/D
        [0.171428571, 0.0]
        """
        c1, c2, c12 = self._c
        big = np.arcsin(np.clip(c12 / np.sqrt(c1 * c2), -1.0, 1.0))
        omega = self.angle(angle)
        opening = -np.sqrt(c1) * n * np.sin(omega) + np.sqrt(c2) * m * np.cos(omega + big)
        whole = self.total(n, m)
        open_part = np.where(opening > 0.0, 0.5 * opening**2, 0.0)
        return open_part, np.maximum(whole - open_part, 0.0)

    def angle(self, which: str = "singular") -> float:
        """The mode angle Ω, rad: 0 for parts of one thickness."""
        h, H = self.upper.thickness, self.lower.thickness
        if which == "fitted":
            at = float(np.clip(np.log10(H / h), -0.468, 0.468))
            # the fit as printed, held at its ends
            return float(np.radians(np.clip(60.409 * at - 41.738 * at**3, -24.0, 24.0)))
        return _homogeneous(h / H) if h <= H else -_homogeneous(H / h)


def _homogeneous(ratio: float) -> float:
    """Ω of a homogeneous sheet, from Suo and Hutchinson's ω, thickness of the upper part over the lower ≤ 1."""
    U = 1.0 / (1.0 + 4.0 * ratio + 6.0 * ratio**2 + 3.0 * ratio**3)
    V = 1.0 / (12.0 * (1.0 + ratio**3))
    gamma = np.arcsin(6.0 * ratio**2 * (1.0 + ratio) * np.sqrt(U * V))
    c1, c2, c12 = 4.0 * (1.0 + ratio), 12.0 * (1.0 + ratio**3), -6.0 * (1.0 - ratio**2)
    # both give the direction of a pair of moments; at one thickness they differ by < 0.01°, taken for none
    omega = np.radians(52.1 - 3.0 * ratio) + gamma - np.pi / 2.0 - np.arcsin(c12 / np.sqrt(c1 * c2))
    return float(omega) if ratio < 1.0 else 0.0
