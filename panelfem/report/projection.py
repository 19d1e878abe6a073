"""A still view of the panel: from outside, slightly from the side, far faces first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray

#: How far the view leans from the panel's mean normal, rad: enough to see that a panel is curved.
LEAN = np.deg2rad(32.0)


@dataclass(frozen=True)
class View:
    """An orthographic view: `right`, `up` and `towards` the eye, (3,) unit each."""

    right: FloatArray
    up: FloatArray
    towards: FloatArray

    def flat(self, points: FloatArray) -> FloatArray:
        """Points (n, 3) as seen, (n, 2)."""
        return np.asarray(points @ np.stack([self.right, self.up], axis=1))

    def depth(self, points: FloatArray) -> FloatArray:
        """Height of points (n, 3) towards the eye, (n,)."""
        return np.asarray(points @ self.towards)


def normals(vertices: FloatArray, triangles: IntArray) -> FloatArray:
    """Normals of triangles times twice their area, (ne, 3)."""
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    return np.asarray(np.cross(b - a, c - a))


def view(vertices: FloatArray, triangles: IntArray) -> View:
    """The view of a panel: its longest direction lies across, and its mean normal leans towards the eye from below.

    A panel without a mean normal (closed, or folded on itself) is seen along its thinnest direction.

    >>> square = np.array([[0.0, 0, 0], [2, 0, 0], [2, 1, 0], [0, 1, 0]])
    >>> v = view(square, np.array([[0, 1, 2], [0, 2, 3]]))
    >>> v.right.round(6).tolist(), bool(v.towards[2] > 0.8)
    ([1.0, 0.0, 0.0], True)
    """
    area_normals = normals(vertices, triangles)
    mean = area_normals.sum(0)
    spread = vertices - vertices.mean(0)
    axes = np.linalg.svd(spread, full_matrices=False)[2]
    normal = mean if np.linalg.norm(mean) > 0.2 * np.linalg.norm(area_normals, axis=1).sum() else axes[2]
    normal = normal / np.linalg.norm(normal)
    right = axes[0] - (axes[0] @ normal) * normal
    right /= np.linalg.norm(right)
    if right[np.argmax(np.abs(right))] < 0:
        right = -right
    up = np.cross(normal, right)
    towards = np.cos(LEAN) * normal - np.sin(LEAN) * up
    return View(right, np.cross(towards, right), towards)


def boundary(triangles: IntArray) -> IntArray:
    """Edges (nb, 2) that belong to one triangle only.

    >>> len(boundary(np.array([[0, 1, 2], [2, 1, 3]])))
    4
    """
    if not len(triangles):
        return np.zeros((0, 2), np.int64)
    pairs = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    found, count = np.unique(pairs, axis=0, return_counts=True)
    return np.asarray(found[count == 1], np.int64)


def chains(edges: IntArray) -> list[list[int]]:
    """Edges (nb, 2) joined into polylines of vertices, for drawing.

    >>> chains(np.array([[0, 1], [1, 2], [0, 2]]))
    [[0, 1, 2, 0]]
    """
    near: dict[int, list[int]] = {}
    for a, b in edges.tolist():
        near.setdefault(a, []).append(b)
        near.setdefault(b, []).append(a)
    out = []
    for start in sorted(near):
        while near[start]:
            line = [start]
            while near[line[-1]]:
                here = line[-1]
                there = near[here].pop(0)
                near[there].remove(here)
                line.append(there)
            out.append(line)
    return out


def shade(vertices: FloatArray, triangles: IntArray, seen: View) -> FloatArray:
    """Brightness 0 … 1 of each triangle under a lamp over the left shoulder, both faces lit, (ne,)."""
    n = normals(vertices, triangles)
    length = np.linalg.norm(n, axis=1, keepdims=True)
    lamp = 0.80 * seen.towards + 0.45 * seen.up - 0.40 * seen.right
    return np.asarray(
        np.abs(np.divide(n, length, out=np.zeros_like(n), where=length > 0) @ (lamp / np.linalg.norm(lamp)))
    )


def edges_of(triangles: IntArray, inside: BoolArray) -> IntArray:
    """The border of a set of triangles, as edges (nb, 2)."""
    return boundary(triangles[inside])
