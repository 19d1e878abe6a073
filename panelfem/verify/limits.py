"""The limits of first-order theory: the exact solution it is held against, and how far it is off at each span.

The exact solution is checked against printed values and against `layerwise`: displacements as polynomials through each
layer, by least energy, which shares nothing with the state space but the material law.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.laminate import Laminate, Ply
from panelfem.material import PlyMaterial, library
from panelfem.reference.curved_beam import CurvedBeam
from panelfem.reference.curved_strip import CurvedStrip
from panelfem.reference.elasticity import Layer, Orthotropic, PressureWave, stress_turn
from panelfem.reference.wave import FirstOrderWave, exact
from panelfem.reserve.validity import TOO_FAR
from panelfem.verify.laminates import t300
from panelfem.verify.row import LAMINATE, STRESS, Row
from panelfem.verify.thick import generic

#: The ply of Pagano's problems, and [0/90/0] of it, one thick.
PAGANO = Orthotropic(25.0, 1.0, 1.0, 0.25, 0.25, 0.25, 0.5, 0.5, 0.2)
THREE = tuple(Layer(PAGANO, math.radians(a), 1 / 3) for a in (0.0, 90.0, 0.0))
#: S: 100 E2 h³ w/(q L⁴) at mid-height and σx at the top over q S²
PRINTED: dict[int, tuple[float, float]] = {4: (2.887, 1.176), 10: (0.932, 0.737)}
SPANS = (4, 10, 20, 100)


def layerwise(layers: tuple[Layer, ...], length: float, q: float, order: int = 9) -> tuple[FloatArray, FloatArray]:
    """W (n, 3) m and stresses (n, 3, 6) Pa, in wave axes, at bottom, middle, top of each of n layers, under a wave
    along the 0° axis.

    Each of U, V, W is a polynomial of `order` in each layer, continuous from layer to layer; the energy of the exact
    strains per area is made least with the work of q on the top face.  Legendre points and weights integrate exactly.
    """
    k, n = math.pi / length, order
    points, weights = np.polynomial.legendre.leggauss(n + 1)
    nodes = -np.cos(np.pi * np.arange(n + 1) / n)
    to_nodes = np.linalg.inv(np.polynomial.legendre.legvander(nodes, n))
    slope = np.stack([np.polynomial.legendre.legder(row) for row in np.eye(n + 1)])

    def strain_rows(at: FloatArray, h: float) -> FloatArray:
        """[11, 22, 33, 23, 13, 12] (m, 6, 3 (n + 1)) per [U, V, W] at the nodes."""
        value = np.polynomial.legendre.legvander(at, n) @ to_nodes
        change = 2 / h * np.polynomial.legendre.legvander(at, n - 1) @ slope.T @ to_nodes
        u, v, w = (slice(i * (n + 1), (i + 1) * (n + 1)) for i in range(3))
        rows = np.zeros((len(at), 6, 3 * (n + 1)))
        rows[:, 0, u], rows[:, 5, v], rows[:, 2, w] = k * value, k * value, change
        rows[:, 4, u], rows[:, 4, w], rows[:, 3, v] = change, -k * value, change
        return rows

    size = n * len(layers) + 1
    matrix, load = np.zeros((3 * size, 3 * size)), np.zeros(3 * size)
    laws = [layer.ply.turned(layer.angle) for layer in layers]
    where = [np.concatenate([j * n + np.arange(n + 1) + i * size for i in range(3)]) for j in range(len(layers))]
    for layer, law, at in zip(layers, laws, where, strict=True):
        rows = strain_rows(points, layer.thickness)
        matrix[np.ix_(at, at)] += np.einsum("g,gia,ij,gjb->ab", weights * layer.thickness / 2, rows, law, rows)
    load[-1] = q
    scale = 1 / np.sqrt(np.diag(matrix))
    move = scale * np.linalg.solve(matrix * scale * scale[:, None], load * scale)
    places = np.array([-1.0, 0.0, 1.0])
    value = np.polynomial.legendre.legvander(places, n) @ to_nodes
    deflection = np.stack([value @ move[at][2 * (n + 1) :] for at in where])
    stress = np.stack(
        [
            strain_rows(places, layer.thickness) @ move[at] @ law.T
            for layer, law, at in zip(layers, laws, where, strict=True)
        ]
    )
    return deflection, stress


def rows() -> Iterator[Row]:
    """Exact wave and exact curved strip; then first-order theory over exact at each span."""
    yield from _pagano()
    yield from _curved()
    yield from _table()


def _pagano() -> Iterator[Row]:
    for s, printed in PRINTED.items():
        wave = PressureWave(THREE, float(s), (0.0,), 1.0)
        moved, stress = layerwise(THREE, float(s), 1.0)
        ours = (100 * wave.deflection[0] / s**4, wave.stresses[0, 2, 2, 0] / s**2)
        reference = (100 * moved[1, 1] / s**4, stress[2, 2, 0] / s**2)
        for name, p, r, o in zip(("100 E2 h³ w/(q L⁴)", "σx at +h/2/(q S²)"), printed, reference, ours, strict=True):
            yield Row(
                "theory limits",
                f"[0/90/0] in cylindrical bending, L/h = {s}",
                name,
                "Pagano 1969, J. Compos. Mater. 3:398 (recalled)",
                p,
                float(r),
                "polynomials through each layer, least energy",
                float(o),
                "-",
                LAMINATE,
            )


def _curved() -> Iterator[Row]:
    ply = Orthotropic(10.0, 1.0, 1.0, 0.0, 0.0, 0.3, 0.5, 0.5, 1 / 2.6)
    law = ply.turned(0.0)
    beam = CurvedBeam(1.0, 2.0, float(law[0, 0] / law[2, 2]))
    strip = CurvedStrip((Layer(ply, 0.0, 0.3), Layer(ply, 0.0, 0.7)), 1.0, 0.0, 1.0)
    for name, r, o in (
        ("hoop stress inside, σθ", beam.hoop(np.array([1.0]), 1.0)[0], strip.stress(1.0, 0)[0]),
        ("opening stress at mid-depth, σr", beam.radial(np.array([1.5]), 1.0)[0], strip.stress(1.5, 1)[2]),
    ):
        yield Row(
            "theory limits",
            "curved strip in pure bending, one material, h/R = 0.67",
            name,
            "Lekhnitskii 1968, Anisotropic Plates (formula recalled)",
            None,
            float(r),
            "closed form for one layer",
            float(o),
            "Pa",
            LAMINATE,
        )


def problems() -> dict[str, Laminate]:
    """The laminates of the table; the wave runs along their 0° axis."""

    def stack(material: PlyMaterial, *degrees: float) -> tuple[Ply, ...]:
        return tuple(Ply(material, material.thickness, math.radians(a)) for a in degrees)

    lib = library()
    twill, foam = lib["carbon-twill"], lib["foam-pvc-80"]
    assert isinstance(twill, PlyMaterial)
    skin = stack(twill, 0, 45, 0)
    return {
        "[0/90/0], E1/E2 = 25": Laminate(stack(generic(), 0, 90, 0)),
        "[30/-30]s, T300-5208": Laminate(stack(t300(), 30, -30, -30, 30)),
        "[0/45/0] twill skins on 10 mm foam": Laminate((*skin, Ply(foam, 10e-3), *skin[::-1])),
    }


def _table() -> Iterator[Row]:
    for name, lam in problems().items():
        for s in SPANS:
            length = s * lam.thickness
            ours, truth = FirstOrderWave(lam, length, (0.0,), 1.0), exact(lam, length, (0.0,))
            moved, wave_stress = layerwise(truth.layers, length, 1.0)
            turns = [stress_turn(-ply.angle).T for ply in lam.plies]
            own = np.stack([stress @ turn for stress, turn in zip(wave_stress, turns, strict=True)])
            sigma, tau = np.abs(ours.in_plane[..., 0]).max(), np.linalg.norm(ours.shear_from_gradients, axis=-1).max()
            # mid-height is the middle of the middle ply, or the border between the two middle ones
            n = len(lam.plies)
            mid = moved[n // 2, 1 if n % 2 else 0]
            found = (
                ("deflection", ours.deflection[0], truth.deflection[0], mid),
                ("ply stress along", sigma, np.abs(truth.stresses[..., 0]).max(), np.abs(own[..., 0]).max()),
                (
                    "transverse shear",
                    tau,
                    np.linalg.norm(truth.stresses[..., 3:5], axis=-1).max(),
                    np.linalg.norm(own[..., 3:5], axis=-1).max(),
                ),
            )
            for what, first, by_state, by_layer in found:
                away = float(first / by_state - 1)
                yield Row(
                    "theory limits",
                    f"{name}, span/thickness = {s}",
                    f"{what}, first-order over exact",
                    "exact three-dimensional elasticity, no printed value",
                    None,
                    float(first / by_layer),
                    "polynomials through each layer, least energy",
                    float(first / by_state),
                    "-",
                    STRESS if what.startswith("ply stress") else LAMINATE,
                    f"{what}, span/thickness {s}: first-order theory {100 * away:+.2f} % from exact elasticity"
                    + ("; out of its range" if abs(away) > TOO_FAR else ""),
                )
