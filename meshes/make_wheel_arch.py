"""Makes `wheel_arch.ply`: a deep, doubly curved wheel-arch cover of an invented shape.

    python meshes/make_wheel_arch.py

A section (inner wall, crown, outer wall, outer flange, all joined by fillets) is swept round a half circle about the
wheel's axis (y); the radius grows towards the rear, the crown carries a shallow bead, and the ends are trimmed
obliquely as on a part that meets other bodywork.  Coordinates in millimetres: x backwards, y outwards, z upwards; the
wheel's axis is the line x = z = 0.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

FILE = Path(__file__).with_name("wheel_arch.ply")
AROUND, ACROSS = 84, 34
RADIUS, REARWARD, CROWN, FLANGE = 318.0, 14.0, 9.0, 26.0
CORNERS = np.array([(0.0, 72.0), (0.0, 0.0), (232.0, 0.0), (252.0, 58.0), (252.0 + FLANGE, 62.0)])
"""Section: (outward, towards the axis) of the inner wall's foot, its top, the crown's outer end, the wall's foot, the
flange's lip."""
FILLETS = (34.0, 42.0, 16.0)


def section() -> np.ndarray:
    """The section as points (ACROSS + 1, 2): straight legs joined by tangent arcs, evenly divided."""
    fine: list[np.ndarray] = [CORNERS[:1]]
    for before, corner, after, radius in zip(CORNERS[:-2], CORNERS[1:-1], CORNERS[2:], FILLETS, strict=True):
        u = (before - corner) / np.linalg.norm(before - corner)
        v = (after - corner) / np.linalg.norm(after - corner)
        half = 0.5 * np.arccos(u @ v)
        centre = corner + radius / np.sin(half) * (u + v) / np.linalg.norm(u + v)
        first, last = corner + u * radius / np.tan(half) - centre, corner + v * radius / np.tan(half) - centre
        sweep = np.pi - 2 * half
        t = np.linspace(0.0, 1.0, 60)[:, None]
        fine.append(centre + (np.sin((1 - t) * sweep) * first + np.sin(t * sweep) * last) / np.sin(sweep))
    points = np.vstack([*fine, CORNERS[-1:]])
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    at = np.linspace(0.0, length[-1], ACROSS + 1)
    return np.column_stack([np.interp(at, length, points[:, 0]), np.interp(at, length, points[:, 1])])


def vertices() -> np.ndarray:
    """All vertices, ((AROUND + 1)(ACROSS + 1), 3), mm."""
    out, drop = section().T
    share = out / out.max()
    # the front end leans outwards, the rear end inwards: the trim lines are oblique
    start, end = np.radians(188.0 - 9.0 * share), np.radians(-4.0 - 7.0 * share)
    t = np.linspace(0.0, 1.0, AROUND + 1)[:, None]
    angle = start + t * (end - start)
    crown = CROWN * np.sin(np.pi * np.clip(out / 232.0, 0.0, 1.0)) ** 2
    bead = 3.5 * np.exp(-(((out - 120.0) / 26.0) ** 2)) * np.sin(np.pi * np.clip((t - 0.18) / 0.64, 0.0, 1.0)) ** 2
    radius = RADIUS + REARWARD * 0.5 * (1.0 + np.cos(angle)) - drop + crown + bead
    x, z = radius * np.cos(angle), radius * np.sin(angle)
    y = np.broadcast_to(out, x.shape) - 118.0
    return np.stack([x, y, z], axis=-1).reshape(-1, 3)


def triangles() -> np.ndarray:
    """Triangles (2 AROUND ACROSS, 3), normals away from the wheel, diagonals alternating."""
    i, j = np.meshgrid(np.arange(AROUND), np.arange(ACROSS), indexing="ij")
    a = (i * (ACROSS + 1) + j).ravel()
    b, c, d = a + ACROSS + 1, a + ACROSS + 2, a + 1
    even = ((i + j) % 2 == 0).ravel()[:, None]
    one = np.where(even, np.stack([a, b, c], 1), np.stack([a, b, d], 1))
    two = np.where(even, np.stack([a, c, d], 1), np.stack([b, c, d], 1))
    return np.stack([one, two], axis=1).reshape(-1, 3)


def text() -> str:
    """The file: PLY in ASCII, coordinates to a micrometre."""
    x, faces = vertices(), triangles()
    head = [
        "ply", "format ascii 1.0", "comment wheel-arch cover, invented shape, millimetres",
        f"element vertex {len(x)}", "property double x", "property double y", "property double z",
        f"element face {len(faces)}", "property list uchar int vertex_indices", "end_header",
    ]  # fmt: skip
    rows = ["{:.3f} {:.3f} {:.3f}".format(*(point + 0.0)) for point in np.round(x, 3)]
    return "\n".join(head + rows + ["3 {} {} {}".format(*face) for face in faces]) + "\n"


def main() -> None:
    """Write the file beside this script."""
    FILE.write_text(text(), encoding="ascii", newline="\n")
    x = vertices()
    print(f"{FILE.name}: {len(triangles())} triangles, {' x '.join(f'{s:.0f}' for s in np.ptp(x, axis=0))} mm")


if __name__ == "__main__":
    main()
