"""Problems of large deflection: where they come from stands in each; all loads are scaled from zero."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.reference.stiffness import isotropic
from panelfem.shell import Shell
from panelfem.shell.continuation import LoadPath, Newton
from panelfem.shell.equilibrium import Acting, Equilibrium, Point
from panelfem.shell.large import ElementLoads
from panelfem.verify.grids import ALL, DOF, Grid, rectangle

#: symmetry about the plane across x, and about the plane across y
ACROSS_X, ACROSS_Y = ("ux", "ry", "rz"), ("uy", "rx", "rz")
AXIS = np.array([1.0, 0.0, 0.0])


@dataclass(frozen=True)
class Problem:
    """A mesh with its parameters, and the equilibrium of the shell on it; a factor of 1 is the full load."""

    grid: Grid
    equilibrium: Equilibrium

    def path(self, first: float = 1.0) -> LoadPath:
        """A new path from rest; `first` as there."""
        return LoadPath(Newton(self.equilibrium), first)

    def motion(self, point: Point, s: float, t: float, component: str) -> float:
        """A displacement ("ux", "uy", "uz") of the node at parameters (s, t)."""
        return float(point.pose.u[6 * self.grid.node(s, t) + DOF[component]])


def _held(
    grid: Grid,
    stiffness: FloatArray,
    held: Mapping[str, tuple[str, ...]],
    load: Callable[[Shell], Acting],
    points: Mapping[tuple[float, float], tuple[str, ...]] | None = None,
    axis: FloatArray = AXIS,
) -> Problem:
    shell = Shell(grid.mesh, stiffness, axis)
    fixed = grid.supports(held, points).fixed
    return Problem(grid, Equilibrium(shell, Acting(np.zeros(shell.n_total)), load(shell), fixed))


def _forces(grid: Grid, *forces: tuple[float, float, str, float]) -> Callable[[Shell], Acting]:
    """Forces (s, t, component, size) on nodes."""

    def load(shell: Shell) -> Acting:
        out = np.zeros(shell.n_total)
        for s, t, component, size in forces:
            out[6 * grid.node(s, t) + DOF[component]] += size
        return Acting(out)

    return load


def _pressure(q: float, follower: bool) -> Callable[[Shell], Acting]:
    """Pressure along +n, staying along +z on the undeformed area or following the surface."""

    def load(shell: Shell) -> Acting:
        if not follower:
            return Acting(shell.traction(np.array([0.0, 0.0, q])))
        there = np.full((shell.layout.ne, shell.layout.tables.nq), -q)
        return Acting(np.zeros(shell.n_total), ElementLoads(pressure=there))

    return load


def cantilever(order: int, cells: int = 10) -> Problem:
    """End shear P = 4 along z on a strip clamped at s = 0: E = 1.2e6, ν = 0, L = 10, b = 1, h = 0.1 (Sze et al.)."""
    grid = Grid.even(cells, 1, order, rectangle(10.0, 1.0))

    def load(shell: Shell) -> Acting:
        return Acting(grid.line_load(shell, "s1", np.array([0.0, 0.0, 4.0])))

    return _held(grid, isotropic(1.2e6, 0.0, 0.1), {"s0": ALL}, load)


def roll_up(order: int, cells: int = 12) -> Problem:
    """End moment 2π EI/L about −y on a strip clamped at s = 0: E = 1.2e6, ν = 0, L = 12, b = 1, h = 0.1 (Sze et al.).

    The end turns about y alone, so it is all the same whether the moment turns with it.
    """
    grid = Grid.even(cells, 1, order, rectangle(12.0, 1.0))

    def load(shell: Shell) -> Acting:
        line = grid.line_load(shell, "s1", np.array([0.0, -2 * np.pi * 1.2e6 * 0.1**3 / 12 / 12, 0.0]))
        moment = np.zeros_like(line)
        nodes = 6 * np.arange(grid.mesh.nb)
        moment[nodes + DOF["ry"]] = line[nodes + DOF["uy"]]
        return Acting(moment)

    return _held(grid, isotropic(1.2e6, 0.0, 0.1), {"s0": ALL}, load)


def slit_annulus(order: int, around: int = 16, across: int = 2) -> Problem:
    """Annulus cut along s = 0, 1, one lip clamped and the other pulled by 0.8 per length along z: E = 21e6, ν = 0,
    radii 6 (t = 0) and 10, h = 0.03 (Sze et al.).
    """

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        r, turn = 6 + 4 * t, 2 * np.pi * s
        return np.stack([r * np.cos(turn), r * np.sin(turn), 0 * r], axis=1)

    grid = Grid.even(around, across, order, surface)

    def load(shell: Shell) -> Acting:
        return Acting(grid.line_load(shell, "s1", np.array([0.0, 0.0, 0.8])))

    return _held(grid, isotropic(21e6, 0.0, 0.03), {"s0": ALL}, load)


def hemisphere(order: int, cells: int = 6) -> Problem:
    """Hemisphere with an 18° hole, two pairs of forces of 400, outward at s = 0 (x) and inward at s = 1 (y), t = 0; a
    quarter: E = 6.825e7, ν = 0.3, R = 10, h = 0.04 (Sze et al.).
    """

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        p, q = np.pi / 2 * s, np.radians(72) * t
        return 10 * np.stack([np.cos(p) * np.cos(q), np.sin(p) * np.cos(q), np.sin(q)], axis=1)

    grid = Grid.even(cells, cells, order, surface)
    load = _forces(grid, (0.0, 0.0, "ux", 200.0), (1.0, 0.0, "uy", -200.0))
    held = {"s0": ACROSS_Y, "s1": ACROSS_X}
    return _held(grid, isotropic(6.825e7, 0.3, 0.04), held, load, {(0.5, 0.0): ("uz",)}, np.array([0.0, 0, 1]))


def hinged_panel(order: int, h: float, force: float, cells: int = 4) -> Problem:
    """Cylindrical panel, its straight edges hinged (s = 1), `force` N inward at the middle (0, 0); a quarter: E =
    3102.75 MPa, ν = 0.3, R = 2540, L = 508 along x, 0.1 rad to each side, thickness `h`, in mm (Sze et al.).
    """

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        return np.stack([254 * t, 2540 * np.sin(0.1 * s), 2540 * np.cos(0.1 * s)], axis=1)

    grid = Grid.even(cells, cells, order, surface)
    held = {"s0": ACROSS_Y, "t0": ACROSS_X, "s1": ("ux", "uy", "uz")}
    return _held(grid, isotropic(3102.75, 0.3, h), held, _forces(grid, (0.0, 0.0, "uz", -force / 4)))


def pressed_panel(order: int, h: float, rise: float, whole: bool = False, cells: int = 4) -> Problem:
    """Square panel of side 2, parabolic with a rise of `rise` × h across y, hinged along y = ±1 and free along x = ±1,
    under a dead pressure h⁴ on the plan towards −z; E = 1, ν = 0.3; a quarter (the middle at s = t = 0) or the whole.
    """

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        x, y = (2 * t - 1, 2 * s - 1) if whole else (t, s)
        return np.stack([x, y, rise * h * (1 - y**2)], axis=1)

    grid = Grid.even(cells, cells, order, surface)
    hinge = ("ux", "uy", "uz")
    held = {"s0": hinge, "s1": hinge} if whole else {"s0": ACROSS_Y, "t0": ACROSS_X, "s1": hinge}

    def load(shell: Shell) -> Acting:
        down = np.array([0.0, 0.0, -(h**4)])
        return Acting(shell.traction(lambda x, n: np.asarray(np.abs(n[..., 2:]) * down)))

    return _held(grid, isotropic(1.0, 0.3, h), held, load)


def pulled_cylinder(order: int, around: int = 8, along: int = 6) -> Problem:
    """Open cylinder pulled apart by two forces of 40 000 at mid-length, outward at s = 0 (z), t = 0; an eighth: E =
    10.5e6, ν = 0.3125, R = 4.953, L = 10.35, h = 0.094 (Sze et al.).
    """

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        turn = np.pi / 2 * s
        return np.stack([5.175 * t, 4.953 * np.sin(turn), 4.953 * np.cos(turn)], axis=1)

    grid = Grid.even(around, along, order, surface)
    held = {"s0": ACROSS_Y, "t0": ACROSS_X, "s1": ("uz", "rx", "ry")}
    return _held(grid, isotropic(10.5e6, 0.3125, 0.094), held, _forces(grid, (0.0, 0.0, "uz", 10000.0)))


def clamped_square(order: int, h: float, slip: bool = False, follower: bool = False, cells: int = 3) -> Problem:
    """Clamped square of side 1 under q a⁴/(E h⁴) = 1; a quarter, the middle at (0, 0); `slip`: edges may slide along
    themselves; ν² = 0.1 (Levy).
    """
    grid = Grid.even(cells, cells, order, rectangle(0.5, 0.5))
    held = {
        "s0": ACROSS_X,
        "t0": ACROSS_Y,
        "s1": ("ux", "uz", "rx", "ry", "rz", *(() if slip else ("uy",))),
        "t1": ("uy", "uz", "rx", "ry", "rz", *(() if slip else ("ux",))),
    }
    return _held(grid, isotropic(1.0, 0.1**0.5, h), held, _pressure(h**4, follower))


def circle(order: int, h: float, clamped: bool, follower: bool = False, cells: int = 3) -> Problem:
    """Circular plate of radius 1 held in its plane, q a⁴/(E h⁴) = 1; a quarter, the middle at s = t = 0, the edge on
    s = 1 and t = 1; ν = 0.3.
    """

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        x, y = s * np.sqrt(1 - t**2 / 2), t * np.sqrt(1 - s**2 / 2)
        return np.stack([x, y, 0 * x], axis=1)

    grid = Grid.even(cells, cells, order, surface)
    edge = ALL if clamped else ("ux", "uy", "uz")
    held = {"s0": ACROSS_X, "t0": ACROSS_Y, "s1": edge, "t1": edge}
    return _held(grid, isotropic(1.0, 0.3, h), held, _pressure(h**4, follower))


def strip(order: int, h: float, clamped: bool, q: float, follower: bool, cells: int = 8) -> Problem:
    """Long strip of span 1 between immovable edges under `q`; half of it, the middle at s = 0, one element wide; E = 1,
    ν = 0.3, no strain along y.
    """
    grid = Grid.even(cells, 1, order, rectangle(0.5, 0.1))
    edge = ALL if clamped else ("ux", "uy", "uz", "rx", "rz")
    held = {"s0": ("ux", "uy", "rx", "ry", "rz"), "s1": edge, "everywhere": ("uy", "rx", "rz")}
    return _held(grid, isotropic(1.0, 0.3, h), held, _pressure(q, follower))
