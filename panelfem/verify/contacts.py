"""Strips and a disc pressed on a rigid flat and on a rigid cylinder."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from scipy.sparse import csr_array

from panelfem.arrays import FloatArray
from panelfem.mesh.curved import CurvedMesh
from panelfem.reference.obstacle import DiscOnFlat, beam_on_cylinder, beam_on_flat
from panelfem.reference.stiffness import isotropic
from panelfem.shell import Shell, Supports, System
from panelfem.shell.contact import ContactProblem, ContactSolution, Pusher
from panelfem.shell.held import HeldSystem
from panelfem.shell.touch import surface_points, touch_rows
from panelfem.verify.grids import Grid, rectangle
from panelfem.verify.row import VALUE, Row

AXIS = np.array([1.0, 0.0, 0.0])
DERIVED = "none printed"
THIN = "thin theory; h/L = 0.002"


def press(
    shell: Shell,
    system: System,
    base: FloatArray,
    direction: FloatArray,
    advance: float,
    shape: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    division: int,
) -> ContactSolution:
    """Contact of one shape: `shape(places (n, q, 3))` gives its clearance (n, q) and outward normals (n, q, 3)."""
    points = surface_points(shell, division)
    clearance, normal = shape(points.place)
    held = HeldSystem(system, csr_array((6, shell.n_total)))
    problem = ContactProblem(held, [Pusher(held, touch_rows(shell, points, clearance, normal, direction))])
    return problem.at(problem.free(base), [advance])


def flat_shape(gap: float) -> Callable[[FloatArray], tuple[FloatArray, FloatArray]]:
    """A plane above the panel, `gap` m away, facing down."""
    return lambda x: (np.full(x.shape[:-1], gap) - x[..., 2], np.broadcast_to([0.0, 0.0, -1.0], x.shape))


def strip(length: float, cells: int, end: tuple[str, ...], width: float = 0.02) -> tuple[Grid, Shell, System, float]:
    """A strip bent to a cylinder, held at s = 0 by `end`, symmetric about s = 1; its D11."""
    C = isotropic(70e9, 0.3, 0.002 * length)
    grid = Grid.even(cells, 1, 4, rectangle(length, width))
    shell = Shell(grid.mesh, C, AXIS)
    supports = grid.supports({"s0": end, "s1": ("ry",), "everywhere": ("ux", "uy", "rx", "rz")})
    return grid, shell, shell.factor(supports), float(C[3, 3])


def on_flat() -> Iterator[Row]:
    """Strips under pressure against a flat."""
    length, q, width = 0.5, 2e3, 0.02
    for end, names in (("supported", ("uz",)), ("clamped", ("uz", "ry"))):
        grid, shell, system, EI = strip(length, 40, names, width)
        gap = q * (0.6 * length) ** 4 / (24 if end == "supported" else 72) / EI
        exact = beam_on_flat(EI, q, gap, length, "supported" if end == "supported" else "clamped")
        load = shell.traction(np.array([0, 0, q]))
        found = press(shell, system, system.solve(load), np.array([0, 0, -1.0]), 0.0, flat_shape(gap), 2)
        u = found.displacement()
        reaction = system.reactions(u, load + found.load())
        edge = float(reaction[6 * grid.edges["s0"] + 2].sum()) / width
        name = f"strip, {end}, pressed on a flat"
        yield Row(
            "contact",
            name,
            "force of the support",
            DERIVED,
            None,
            exact.support,
            "closed form, derived",
            edge,
            "N/m",
            VALUE,
            THIN,
        )
        yield Row(
            "contact",
            name,
            "force of the flat",
            DERIVED,
            None,
            exact.concentrated + exact.pressure * (length - exact.free),
            "closed form, derived",
            float(found.total[0]) / width,
            "N/m",
            VALUE,
            THIN,
        )
        node = int(np.abs(grid.par[: grid.mesh.nb, 0] - 0.5 * exact.free / length).argmin())
        t = float(grid.par[node, 0]) * length / exact.free
        shape = t / 12 - t**3 / 12 if end == "supported" else t**2 / 12 - t**3 / 9
        expected = q * exact.free**4 / EI * (shape + t**4 / 24)
        yield Row(
            "contact",
            name,
            "deflection in the middle of the free part",
            DERIVED,
            None,
            1e3 * expected,
            "closed form, derived",
            1e3 * float(u[6 * node + 2]),
            "mm",
            VALUE,
            THIN,
        )


def on_cylinder() -> Iterator[Row]:
    """A supported strip with a cylinder pushed into its middle: line contact and wrapped."""
    length, radius, width = 0.5, 20.0, 0.02
    grid, shell, system, EI = strip(length, 40, ("uz",), width)

    def round_shape(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        away = (x[..., 0] - length) / radius
        drop = radius * (1 - np.sqrt(1 - away**2))
        return drop, np.stack([away, 0 * away, np.sqrt(1 - away**2)], axis=-1)

    for what, share in (("line contact", 0.8), ("wrapped", 1.25)):
        rise = share * length**2 / (3 * radius)
        exact = beam_on_cylinder(EI, length, radius, rise)
        found = press(shell, system, np.zeros(shell.n_total), np.array([0, 0, 1.0]), rise, round_shape, 2)
        name = f"strip on a cylinder, {what}"
        yield Row(
            "contact",
            name,
            "force",
            DERIVED,
            None,
            exact.force,
            "closed form, derived",
            2 * float(found.total[0]) / width,
            "N/m",
            VALUE,
            THIN,
        )
        u = found.displacement()
        node = int(np.abs(grid.par[: grid.mesh.nb] - (0.5, 0.0)).sum(1).argmin())
        x = length / 2  # a cantilever from lift-off, force F/2 at the support
        free, P = length - exact.wrapped, exact.force / 2
        if exact.wrapped:
            expected = rise - _wrapped_drop(length - x, exact.wrapped, radius, P, EI, free)
        else:
            expected = rise * (3 * (x / length) - (x / length) ** 3) / 2
        yield Row(
            "contact",
            name,
            "deflection at a quarter of the span",
            DERIVED,
            None,
            1e3 * expected,
            "closed form, derived",
            1e3 * float(u[6 * node + 2]),
            "mm",
            VALUE,
            THIN,
        )


def _wrapped_drop(y: float, c: float, R: float, P: float, EI: float, free: float) -> float:
    """How far the strip at y from the middle is below it, in small slopes."""
    if y <= c:
        return y * y / (2 * R)
    s = y - c
    return c * c / (2 * R) + c * s / R + P / EI * (free * s * s / 2 - s**3 / 6)


def on_disc() -> Iterator[Row]:
    """A clamped disc under pressure against a flat, a quarter of it."""
    a, h, q, rings = 0.3, 1e-3, 2e3, 14
    C = isotropic(70e9, 0.3, h)
    D = float(C[3, 3])
    gap = 0.35 * q * a**4 / (64 * D)
    exact = DiscOnFlat(D, 0.3, a, q, gap, "clamped")
    # ring i has i + 1 vertices: the lattice of a triangle, pulled out to a quarter of a circle
    corner = np.concatenate([[0], np.cumsum(np.arange(1, rings + 2))])
    plain = np.array([((i - j) / rings, j / rings) for i in range(rings + 1) for j in range(i + 1)])
    triangles = [(corner[i] + j, corner[i + 1] + j, corner[i + 1] + j + 1) for i in range(rings) for j in range(i + 1)]
    triangles += [(corner[i] + j, corner[i + 1] + j + 1, corner[i] + j + 1) for i in range(rings) for j in range(i)]
    lattice = CurvedMesh.straight(plain, np.array(triangles, np.int64), 4)
    s = lattice.x[:, :2]
    r = s.sum(axis=1)
    angle = np.pi / 2 * s[:, 1] / np.where(r > 0, r, 1.0)
    mesh = lattice.moved(np.stack([a * r * np.cos(angle), a * r * np.sin(angle), 0 * r], axis=1))
    shell = Shell(mesh, C, AXIS)
    fixed = np.zeros((mesh.nb, 6), bool)
    fixed[:, [0, 1, 5]] = True
    x, y, _ = mesh.x[: mesh.nb].T
    rim = r[: mesh.nb] > 1 - 1e-9
    fixed[np.abs(x) < 1e-9, 4] = fixed[np.abs(y) < 1e-9, 3] = True
    fixed[rim] = True
    system = shell.factor(Supports(fixed))
    load = shell.traction(np.array([0, 0, q]))
    found = press(shell, system, system.solve(load), np.array([0, 0, -1.0]), 0.0, flat_shape(gap), 2)
    reaction = system.reactions(found.displacement(), load + found.load())
    name, theory = "clamped disc pressed on a flat", "thin theory; h/a = 0.003"
    force = exact.rim_force()
    yield Row(
        "contact",
        name,
        "force of the rim",
        DERIVED,
        None,
        -force,
        "ring solution, derived",
        4 * float(reaction[6 * np.flatnonzero(rim) + 2].sum()),
        "N",
        VALUE,
        theory,
    )
    yield Row(
        "contact",
        name,
        "force of the flat",
        DERIVED,
        None,
        q * np.pi * a**2 - force,
        "ring solution, derived",
        4 * float(found.total[0]),
        "N",
        VALUE,
        theory,
    )


def rows() -> Iterator[Row]:
    """All rows of contact."""
    yield from on_flat()
    yield from on_cylinder()
    yield from on_disc()
