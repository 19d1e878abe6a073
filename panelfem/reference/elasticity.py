"""Exact three-dimensional elasticity of laminates under a sinusoidal pressure on the top face: simply supported
cross-ply plates (`CrossPlyBlock`), and any laminate under a wave of pressure (`PressureWave`).

In each layer the six quantities that must be continuous (U, V, W, σz, τxz, τyz) follow a linear
differential equation in z with constant coefficients; its matrix exponential carries them from face to
face, so any number of layers is exact.
 u = U cos px sin qy, v = V sin px cos qy, w = W sin sin, σz = Z sin sin, τxz = X cos sin, τyz = Y sin cos.


Under a wave of pressure q cos(k·x) nothing changes along the crest (generalised plane strain), so plies at any angle
to it are exact too.  In the axes of the wave (x along k, y along the crest)
 u = U sin kx, v = V sin kx, w = W cos kx, σz = Z cos kx, τxz = X sin kx, τyz = Y sin kx.

Source: the problems of Pagano 1970, *J. Compos. Mater.* 4:20 (plate) and 1969, *J. Compos. Mater.* 3:398 (wave);
solved here by state space instead of his characteristic roots.  Values held against: his tables (recalled).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg import expm

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError

#: A layer is cut into steps through which no part of the solution grows by more than exp(this).
_GROWTH = 1.0
#: The solution must fit from layer to layer within this, relative; the 3 x 3 matrix that is inverted may not be worse.
_MISFIT, _CONDITION = 1e-6, 1e13


@dataclass(frozen=True)
class Orthotropic:
    """Nine constants of a ply in its own axes, Pa."""

    E1: float
    E2: float
    E3: float
    nu12: float
    nu13: float
    nu23: float
    G12: float
    G13: float
    G23: float

    def turned(self, angle: float) -> FloatArray:
        """C (6, 6), Pa, for [11, 22, 33, 23, 13, 12] in axes in which the ply's 1-axis stands at `angle` rad.

        >>> ply = Orthotropic(25., 1., 1., .25, .25, .25, .5, .5, .2)
        >>> bool(np.allclose(ply.turned(math.pi / 2), ply.stiffness(90)))
        True
        """
        turn = stress_turn(angle)
        return np.asarray(turn @ self.stiffness(0.0) @ turn.T)

    def stiffness(self, degrees: float) -> FloatArray:
        """C (6, 6) for [11, 22, 33, 23, 13, 12] at 0 or 90 degrees."""
        s = np.zeros((6, 6))
        s[0, 0], s[1, 1], s[2, 2] = 1 / self.E1, 1 / self.E2, 1 / self.E3
        s[0, 1] = s[1, 0] = -self.nu12 / self.E1
        s[0, 2] = s[2, 0] = -self.nu13 / self.E1
        s[1, 2] = s[2, 1] = -self.nu23 / self.E2
        s[3, 3], s[4, 4], s[5, 5] = 1 / self.G23, 1 / self.G13, 1 / self.G12
        c = np.linalg.inv(s)
        if degrees == 90:
            swap = [1, 0, 2, 4, 3, 5]
            c = c[np.ix_(swap, swap)]
        elif degrees != 0:
            raise ValueError(f"layers at 0 or 90 degrees only, not {degrees}")
        return np.asarray(c)


def stress_turn(angle: float) -> FloatArray:
    """K (6, 6): stresses [11, 22, 33, 23, 13, 12] in ply axes to axes in which the ply's 1-axis stands at `angle` rad.

    Source: σ'ij = aik ajl σkl written out.

    >>> stress_turn(math.pi / 2).round(9) @ [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    array([ 2.,  1.,  3.,  5., -4., -6.])
    """
    c, s = math.cos(angle), math.sin(angle)
    k = np.zeros((6, 6))
    k[0, [0, 1, 5]] = c * c, s * s, -2 * c * s
    k[1, [0, 1, 5]] = s * s, c * c, 2 * c * s
    k[2, 2] = 1.0
    k[3, [3, 4]] = c, s
    k[4, [3, 4]] = -s, c
    k[5, [0, 1, 5]] = c * s, -c * s, c * c - s * s
    return k


@dataclass(frozen=True)
class CrossPlyBlock:
    """Plate a × b of `layers` (degrees 0 or 90, thickness m), bottom first, σz = q sin(πx/a) sin(πy/b) on
    the top.

    Source: Pagano 1970, [0/90/0] square, S = a/h = 4: σx = .801 q S² on the top face (recalled).

    >>> ply = Orthotropic(25., 1., 1., .25, .25, .25, .5, .5, .2)
    >>> block = CrossPlyBlock(ply, ((0, 1/3), (90, 1/3), (0, 1/3)), 4.0, 4.0, 1.0)
    >>> round(float(block.stress(0.5, layer=2)[0]) / 16, 3)
    0.801
    """

    ply: Orthotropic
    layers: tuple[tuple[float, float], ...]
    a: float
    b: float
    q: float

    def _system(self, degrees: float) -> FloatArray:
        """M of S' = M S for S = (U, V, W, Z, X, Y)."""
        c, p, q = self.ply.stiffness(degrees), math.pi / self.a, math.pi / self.b
        m = np.zeros((6, 6))
        m[0, 4], m[0, 2] = 1 / c[4, 4], -p
        m[1, 5], m[1, 2] = 1 / c[3, 3], -q
        m[2, 3], m[2, 0], m[2, 1] = 1 / c[2, 2], c[0, 2] * p / c[2, 2], c[1, 2] * q / c[2, 2]
        m[3, 4], m[3, 5] = p, q
        sx, sy, t = self._in_plane(degrees)
        m[4] = -p * sx + q * t
        m[5] = -q * sy + p * t
        return m

    def _in_plane(self, degrees: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Rows giving the amplitudes of σx, σy, τxy from S."""
        c, p, q = self.ply.stiffness(degrees), math.pi / self.a, math.pi / self.b
        wz = np.array([c[0, 2] * p, c[1, 2] * q, 0, 1, 0, 0]) / c[2, 2]
        sx = np.array([-c[0, 0] * p, -c[0, 1] * q, 0, 0, 0, 0]) + c[0, 2] * wz
        sy = np.array([-c[0, 1] * p, -c[1, 1] * q, 0, 0, 0, 0]) + c[1, 2] * wz
        return sx, sy, np.array([c[5, 5] * q, c[5, 5] * p, 0, 0, 0, 0])

    def _bottom(self) -> FloatArray:
        """S on the bottom face, from free faces but for σz = q on the top."""
        through = np.eye(6)
        for degrees, t in self.layers:
            through = expm(self._system(degrees) * t) @ through
        s = np.zeros(6)
        s[:3] = np.linalg.solve(through[3:, :3], [self.q, 0, 0])
        return s

    def state(self, z: float, layer: int) -> FloatArray:
        """(U, V, W, σz, τxz, τyz) amplitudes at height z (m, from the mid-plane), taken inside `layer` (0
        the lowest)."""
        s, at = self._bottom(), -sum(t for _, t in self.layers) / 2
        for degrees, t in self.layers[:layer]:
            s, at = expm(self._system(degrees) * t) @ s, at + t
        return np.asarray(expm(self._system(self.layers[layer][0]) * (z - at)) @ s)

    def stress(self, z: float, layer: int) -> FloatArray:
        """Amplitudes of (σx, σy, τxy, σz, τxz, τyz), Pa, each at the place where its sine term is one."""
        s = self.state(z, layer)
        sx, sy, t = self._in_plane(self.layers[layer][0])
        return np.array([sx @ s, sy @ s, t @ s, s[3], s[4], s[5]])

    def deflection(self) -> float:
        """Deflection at the centre of the mid-plane, m."""
        half, at = sum(t for _, t in self.layers) / 2, 0.0
        for layer, (_, t) in enumerate(self.layers):
            at += t
            if at >= half * (1 - 1e-12):
                return float(self.state(0.0, layer)[2])
        raise AssertionError("the mid-plane lies in a layer")


@dataclass(frozen=True)
class Layer:
    """A layer of a laminate: `ply`, `angle` rad of its 1-axis from the 0° axis, `thickness` m."""

    ply: Orthotropic
    angle: float
    thickness: float


@dataclass(frozen=True)
class PressureWave:
    """Any laminate, unbounded, under σz = q cos(k·x) on its top face; the bottom face is free.

    `layers` from the bottom; `length` m: half a wavelength, π/|k|, the span of a simply supported strip; `directions`
    (d,) rad: of k from the 0° axis, all solved at once; `q` Pa, pulling the top face up.  Transverse shear and in-plane
    displacements are those where sin kx = 1, all else where cos kx = 1.

    The relation traction = K displacement is carried from the free bottom to the top, step by step, and displacements
    back down, so that nothing that grows is carried far; all quantities are scaled with the power of h k with which
    they grow in thin plates.  Raises ModelError if the solution does not fit from layer to layer.

    Source: Pagano 1969, J. Compos. Mater. 3:398, cylindrical bending of [0/90/0], span/thickness 4: σx = 18.8 q at the
    top (recalled; the value here is 18.81).

    >>> ply = Orthotropic(25., 1., 1., .25, .25, .25, .5, .5, .2)
    >>> layers = tuple(Layer(ply, math.radians(a), 1 / 3) for a in (0.0, 90.0, 0.0))
    >>> wave = PressureWave(layers, 4.0, (0.0,), 1.0)
    >>> round(float(wave.stresses[0, 2, 2, 0]), 2)
    18.81
    """

    layers: tuple[Layer, ...]
    length: float
    directions: tuple[float, ...]
    q: float

    @cached_property
    def thickness(self) -> float:
        """Sum of the layers' thicknesses, m."""
        return sum(layer.thickness for layer in self.layers)

    @property
    def k(self) -> float:
        """Wave number, rad/m."""
        return math.pi / self.length

    @cached_property
    def _unit(self) -> FloatArray:
        """(6,) what a scaled state is multiplied by."""
        small = min(self.k * self.thickness, 1.0)
        stiff = max(max(layer.ply.E1, layer.ply.E2) for layer in self.layers)
        move = self.q / stiff * small / self.k
        return np.array([move / small**3] * 2 + [move / small**4, self.q, self.q / small, self.q / small])

    @cached_property
    def _laws(self) -> tuple[FloatArray, FloatArray]:
        """A (d, n, 6, 6) of S' = A S, and rows (d, n, 6, 6) that give the stresses from S, both in wave axes."""
        k = self.k
        d, n = len(self.directions), len(self.layers)
        system, rows = np.zeros((d, n, 6, 6)), np.zeros((d, n, 6, 6))
        for i, direction in enumerate(self.directions):
            for j, layer in enumerate(self.layers):
                c = layer.ply.turned(layer.angle - direction)
                m, r = system[i, j], rows[i, j]
                m[:2, 4:] = np.linalg.inv(c[np.ix_([4, 3], [4, 3])])
                m[0, 2] = k
                m[2, [0, 1, 3]] = -c[0, 2] * k / c[2, 2], -c[5, 2] * k / c[2, 2], 1 / c[2, 2]
                for at in (0, 1, 5):
                    r[at, :2] = c[at, 0] * k, c[at, 5] * k
                    r[at] += c[at, 2] * m[2]
                r[2, 3] = r[3, 5] = r[4, 4] = 1.0
                m[3, 4] = -k
                m[4:] = k * r[[0, 5]]
        return system, rows

    @cached_property
    def _steps(self) -> tuple[FloatArray, list[int]]:
        """Transfer (d, n, 6, 6) of scaled states over a step of each layer, and how many steps (even) it has."""
        system = self._laws[0]
        growth = np.abs(np.linalg.eigvals(system).real).max((0, 2))
        t = np.array([layer.thickness for layer in self.layers])
        counts = 2 * np.ceil(0.5 * growth * t / _GROWTH).clip(1, None).astype(int)
        if counts.sum() > 4000:
            raise ModelError(
                f"half a wave of {1e3 * self.length:.3g} mm is too short for a laminate {1e3 * self.thickness:.3g} mm "
                "thick",
                allowed="longer waves",
            )
        scaled = system * self._unit / self._unit[:, None]
        return np.asarray(expm(scaled * (t / counts)[:, None, None])), counts.tolist()

    @cached_property
    def _states(self) -> list[FloatArray]:
        """Scaled states (d, steps + 1, 6) of each layer, at the ends of its steps."""
        steps, counts = self._steps
        d = len(self.directions)
        relation, back = np.zeros((d, 3, 3)), []
        relations = [relation]
        for j, count in enumerate(counts):
            upper, lower = steps[:, j, :3], steps[:, j, 3:]
            for _ in range(count):
                inverse = np.linalg.inv(upper[..., :3] + upper[..., 3:] @ relation)
                relation = (lower[..., :3] + lower[..., 3:] @ relation) @ inverse
                back.append(inverse)
                relations.append(relation)
        if not np.linalg.cond(relation).max() < _CONDITION:
            raise ModelError(
                f"exact elasticity of a laminate {1e3 * self.thickness:.3g} mm thick under half waves of "
                f"{1e3 * self.length:.3g} mm cannot be solved: condition number {np.linalg.cond(relation).max():.1g}"
            )
        load = np.broadcast_to(np.array([[1.0], [0.0], [0.0]]), (d, 3, 1))
        move = np.linalg.solve(relation, load)
        moves = [move]
        for inverse in reversed(back):
            move = inverse @ move
            moves.append(move)
        all_of = np.concatenate(
            [np.concatenate([m, r @ m], 1)[:, None, :, 0] for m, r in zip(reversed(moves), relations, strict=True)],
            1,
        )
        states, at = [], 0
        for count in counts:
            states.append(all_of[:, at : at + count + 1])
            at += count
        size = np.abs(all_of).max((0, 1))
        for j, mine in enumerate(states):
            misfit = np.einsum("dij,dsj->dsi", steps[:, j], mine[:, :-1]) - mine[:, 1:]
            if not np.abs(misfit).max() <= _MISFIT * size.max():
                raise ModelError(f"exact elasticity does not fit from face to face of layer {j + 1}")
        return states

    @cached_property
    def stresses(self) -> FloatArray:
        """(d, layers, 3, 6) Pa: position (bottom, middle, top), [11, 22, 33, 23, 13, 12] in the axes of each layer."""
        rows = self._laws[1]
        found = np.empty((len(self.directions), len(self.layers), 3, 6))
        for j, (layer, states) in enumerate(zip(self.layers, self._states, strict=True)):
            middle = (states.shape[1] - 1) // 2
            wave = np.einsum("dij,dsj->dsi", rows[:, j], states[:, [0, middle, -1]] * self._unit)
            for i, direction in enumerate(self.directions):
                found[i, j] = wave[i] @ stress_turn(direction - layer.angle).T
        return found

    @cached_property
    def deflection(self) -> FloatArray:
        """(d,) m: W at mid-height."""
        half, below = 0.5 * self.thickness, 0.0
        counts = self._steps[1]
        for j, layer in enumerate(self.layers):
            if below + layer.thickness >= half * (1.0 - 1e-12):
                share = (half - below) / layer.thickness * counts[j]
                at = min(int(share + 1e-9), counts[j] - 1)
                scaled = self._laws[0][:, j] * self._unit / self._unit[:, None]
                move = expm(scaled * (max(share - at, 0.0) * layer.thickness / counts[j]))
                return np.asarray(np.einsum("dj,dj->d", move[:, 2], self._states[j][:, at])) * float(self._unit[2])
            below += layer.thickness
        raise AssertionError("mid-height lies in a layer")
