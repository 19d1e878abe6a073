"""Natural frequencies of plates, laminates, beams and stretched membranes through the shell."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.reference import navier_modes, vibrating_beam
from panelfem.reference.eigen_plate import EigenPlate
from panelfem.reference.kirchhoff import Hold
from panelfem.reference.navier import Family
from panelfem.reference.stiffness import isotropic, laminate
from panelfem.shell import Shell
from panelfem.shell.continuation import LoadPath, Newton
from panelfem.shell.equilibrium import Acting, Equilibrium
from panelfem.shell.large import ElementLoads
from panelfem.shell.mass import Mass, hung_mass
from panelfem.shell.supports import fastener_rows
from panelfem.shell.vibration import unloaded, vibration
from panelfem.verify.barred import ORDER, barred
from panelfem.verify.grids import ALL, Grid, rectangle
from panelfem.verify.plates import ANGLE_PLY, AXIS, CROSS_PLY
from panelfem.verify.row import VALUE, Row

LEISSA = "Leissa 1973, J. Sound Vib. 31:257 (from memory)"
REDDY = "Reddy, Mechanics of Laminated Composite Plates and Shells, a/h = 10, E1/E2 = 40 (from memory)"
THIN = "h/a = 0.001 stands for thin"
HOLDS: Mapping[str, Hold] = {"C": "clamped", "S": "supported", "F": "free"}
EDGES = ("s0", "s1", "t0", "t1")


def moments(h: float) -> FloatArray:
    """Moments of mass of a sheet of thickness h and density 1."""
    return np.array([h, 0.0, h**3 / 12.0])


def first(grid: Grid, C: FloatArray, held: Mapping[str, tuple[str, ...]], h: float) -> float:
    """Lowest circular frequency that is not zero, of density 1."""
    shell = Shell(grid.mesh, C, AXIS)
    found = vibration(unloaded(shell, grid.supports(held)), Mass(shell, moments(h)), 7)
    return float(found.omega[found.zeros])


@cache
def _ritz(code: str) -> float:
    """ω a² √(ρh/D) of a thin square plate, edges x = 0, a, y = 0, a held as `code` says."""
    a, b, c, d = (HOLDS[letter] for letter in code)
    return float(EigenPlate(isotropic(12 * 0.91, 0.3, 1.0), 1.0, 1.0, (a, b, c, d), degree=16).frequencies(1, 1.0)[0])


def thin(order: int = ORDER) -> Iterator[Row]:
    """Square thin plates with all kinds of edges."""
    h = 1e-3
    C = isotropic(1.0, 0.3, h)
    scale = np.sqrt(h / C[3, 3])
    printed = {
        "CCCC": 35.992,
        "SSCC": 28.951,
        "SSSF": 11.685,
        "SSFF": 9.631,
        "SCSC": 27.056,
        "CCSF": 23.46,
        "CFFF": 3.4917,
        "FFFF": 13.489,
    }
    for code, value in printed.items():
        held: dict[str, tuple[str, ...]] = {"everywhere": ("ux", "uy", "rz")}
        for edge, hold in zip(EDGES, code, strict=True):
            held[edge] = {"C": ALL, "S": ("uz", "rx" if edge[0] == "s" else "ry"), "F": ()}[hold]
        yield Row(
            "vibration",
            f"thin square plate {code}",
            "ω a² √(ρh/D)",
            LEISSA,
            value,
            _ritz(code),
            "Ritz, degree 16",
            first(Grid.even(6, 6, order, rectangle(1, 1)), C, held, h) * scale,
            "-",
            VALUE,
            f"{THIN}; edges x = 0, a, y = 0, a; printed values of CCCC, CCSF, CFFF and FFFF are upper bounds",
        )


def laminated(order: int = ORDER) -> Iterator[Row]:
    """First-order laminated plates with coupling."""
    h = 0.1
    cases: tuple[tuple[tuple[float, float], Family, float, Mapping[str, tuple[str, ...]]], ...] = (
        ((0, 90), "cross-ply", 10.473, CROSS_PLY),
        ((45, -45), "angle-ply", 13.044, ANGLE_PLY),
    )
    for angles, family, printed, held in cases:
        C = laminate(40, 1, 0.25, 0.6, 0.6, 0.5, [(angle, h / 2) for angle in angles])
        yield Row(
            "vibration",
            f"[{angles[0]:g}/{angles[1]:g}], supported",
            "ω a² √(ρ/E2)/h",
            REDDY,
            printed,
            float(navier_modes.frequencies(C, 1.0, 1.0, h, h**3 / 12, family=family)[0]) / h,
            "Navier series",
            first(Grid.even(4, 4, order, rectangle(1, 1)), C, held, h) / h,
            "-",
            VALUE,
            "first-order, k = 5/6, rotary inertia kept",
        )


def beams(order: int = ORDER) -> Iterator[Row]:
    """A cantilever strip, ν = 0, bare and with its own mass at the tip."""
    h, width, n = 1e-3, 0.05, 16
    grid = Grid.even(n, 1, order, rectangle(1.0, width))
    shell = Shell(grid.mesh, isotropic(1.0, 0.0, h), AXIS)
    EI = float(shell.stiffness[0, 3, 3])
    supports = grid.supports({"everywhere": ("uy", "rx", "rz"), "s0": ALL})
    tip = grid.within((1 - 1 / n, 1.0), (0.0, 1.0))
    rows = fastener_rows(shell, [tip], np.array([[0.0, 0.0, 1.0]]))
    arm = np.array([1.0, width / 2, 0.0]) - rows.place[0]
    for share, printed in ((0.0, (1.8751, 4.6941)), (1.0, (1.2479, 4.0311))):
        exact = np.sqrt(vibrating_beam.cantilever(2, EI, h, 1.0, share * h) * np.sqrt(h / EI))
        mass = Mass(shell, moments(h), hung_mass(rows, 0, share * h * width, arm))
        ours = np.sqrt(vibration(unloaded(shell, supports), mass, 2).omega * np.sqrt(h / EI))
        for i in range(2):
            yield Row(
                "vibration",
                "cantilever" + (" with its own mass at the tip" if share else ""),
                f"β{i + 1}, ω = (β/L)² √(EI/m)",
                "Blevins, Formulas for Natural Frequency and Mode Shape, 1979 (from memory)",
                printed[i],
                float(exact[i]),
                "transcendental equation",
                float(ours[i]),
                "-",
                VALUE,
                "h/L = 0.001 stands for slender",
            )


def stretched(order: int = ORDER) -> Iterator[Row]:
    """A square plate held at its edges while it would shrink: m ω² = T κ² + D κ⁴ about the stretched state."""
    h, tension = 1e-3, 1e-5
    C = isotropic(1.0, 0.3, h)
    grid = Grid.even(5, 5, order, rectangle(1, 1))
    shell = Shell(grid.mesh, C, AXIS)
    held = {edge: ("ux", "uy", "uz", "rz", "rx" if edge[0] == "s" else "ry") for edge in EDGES}
    initial = np.zeros((len(grid.mesh.triangles), 8))
    initial[:, :2] = -tension
    nothing = np.zeros(shell.n_total)
    equilibrium = Equilibrium(
        shell, Acting(nothing, ElementLoads(initial=initial)), Acting(nothing), grid.supports(held).fixed
    )
    found = vibration(equilibrium, Mass(shell, moments(h)), 4, LoadPath(Newton(equilibrium)).held())
    exact = navier_modes.frequencies(C, 1.0, 1.0, h, 0.0, (tension, tension), 4, thin=True)
    for i in (0, 1, 3):
        yield Row(
            "vibration",
            "stretched square membrane",
            f"ω{i + 1} a √(m/T)",
            "Rayleigh, The Theory of Sound: membrane without bending stiffness (from memory)",
            float(vibrating_beam.membrane(4, (1.0, 1.0), 1.0, 1.0, 1.0)[i]),
            float(exact[i]) * np.sqrt(h / tension),
            "exact, with bending",
            float(found.omega[i]) * np.sqrt(h / tension),
            "-",
            VALUE,
            "T = 1e-5 E a, h/a = 0.001; the printed one is of the pure membrane",
        )


def rows() -> Iterator[Row]:
    """All rows of natural frequencies."""
    yield from barred(thin, 1e-3)
    yield from barred(laminated)
    yield from barred(beams)
    yield from barred(stretched)
