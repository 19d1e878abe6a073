"""The damage map: a plan of the panel with a grid every 50 mm, fixings, and lines to write findings on."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.panel import Panel
from panelfem.papers.drawing import Drawing, Line, Words, line, paragraph, ring, scale_bar
from panelfem.papers.skin import borders
from panelfem.papers.tiles import EDGE, FOOT, LONG, SHORT, letters

#: From one grid line to the next, on the panel, mm.
PITCH = 50.0
#: Scales a plan may have, 1:k.
SCALES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 75.0, 100.0)
#: Space for the words round the plan, left and below, mm; least number of lines to write on, and the height of one.
SIDE, ROWS, ROW = 9.0, 7, 7.5
COLUMNS = (("No.", 10.0), ("Cell", 14.0), ("Finding", 70.0), ("Size (mm)", 30.0), ("Date", 24.0), ("By whom", 0.0))


@dataclass(frozen=True, eq=False)
class Plan:
    """A panel seen along an axis of its frame, mm: borders (m, 2) each, fixings by name, and how it is seen."""

    borders: tuple[FloatArray, ...]
    fixings: dict[str, tuple[FloatArray, float]]
    axes: tuple[str, str]
    seen: str

    @property
    def cells(self) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest grid lines round the panel, (2,) each, in pitches."""
        points = np.concatenate([*self.borders, *(place[None] for place, _ in self.fixings.values())])
        return np.floor(points.min(axis=0) / PITCH + 1e-9), np.ceil(points.max(axis=0) / PITCH - 1e-9)


def plan(panel: Panel) -> Plan:
    """The panel along that axis of its frame its faces look most along, from the positive side of the axis."""
    mean = panel.mesh.areas @ panel.mesh.normals
    axis = int(np.argmax(np.abs(mean)))
    first, second = (axis + 1) % 3, (axis + 2) % 3
    edges = tuple(1e3 * border[:, [first, second]] for border in borders(panel.mesh))
    fixings = {f.name: (1e3 * f.place[[first, second]], 1e3 * f.washer_radius) for f in panel.fasteners}
    face = "last" if mean[axis] > 0 else "first"
    names = "xyz"
    return Plan(edges, fixings, (names[first], names[second]), f"from +{names[axis]}, on the {face} ply face")


def damage_grid(panel: Panel, full: bool = False) -> Drawing:
    """The blank map: on one sheet of A4 at the greatest scale that fits, or 1:1 if `full`."""
    seen = plan(panel)
    low, high = seen.cells
    size = PITCH * (high - low)
    head = 24.0
    if full:
        return _drawn(panel, seen, 1.0, float(size[0]) + SIDE + 12.0, float(size[1]) + head + SIDE + 6.0, 0)
    table = (ROWS + 1) * ROW
    best: tuple[float, float, float] | None = None
    for wide, tall in ((SHORT - 2 * EDGE, LONG - EDGE - FOOT), (LONG - 2 * EDGE, SHORT - EDGE - FOOT)):
        room = np.array([wide - SIDE - 10.0, tall - head - SIDE - table - 8.0])
        scale = next((k for k in SCALES if (size / k <= room).all()), float(math.ceil((size / room).max())))
        if best is None or scale < best[0]:
            best = (scale, wide, tall)
    assert best is not None
    return _drawn(panel, seen, *best, ROWS)


def _drawn(panel: Panel, seen: Plan, scale: float, wide: float, tall: float, rows: int) -> Drawing:
    title = f"Damage map: {panel.name}"
    marks: list[Line | Words] = []
    words, at = paragraph(title, 2.0, tall - 5.0, wide - 4.0, 5.0, bold=True)
    said, at = paragraph(
        f"Scale 1:{scale:g}, seen {seen.seen}; {seen.axes[0]} to the right, {seen.axes[1]} upwards, in mm of the "
        f"panel's frame. Squares are {PITCH:g} mm in this view: faces that slope away are longer on the panel. Rings: "
        "fixings.",
        2.0, at + 1.0, wide - 4.0, 3.2,
    )  # fmt: skip
    marks += [*words, *said]
    low, high = seen.cells
    origin = np.array([SIDE + 2.0, at - PITCH * float(high[1] - low[1]) / scale - 4.0])

    def put(points: FloatArray) -> FloatArray:
        return np.asarray(origin + (points - PITCH * low) / scale)

    marks += _grid(low, high, put, scale)
    marks += [Line(put(border), closed=True, width=0.5, name="edge") for border in seen.borders]
    for name, (place, radius) in seen.fixings.items():
        spot = put(place[None])[0]
        marks.append(ring(spot, max(radius / scale, 0.8), width=0.4, name=f"fixing {name}"))
        marks.append(Words(float(spot[0]) + max(radius / scale, 0.8) + 0.5, float(spot[1]) + 0.8, name, 2.6, bold=True))
    if rows:
        free = int((float(origin[1]) - SIDE - 4.0) / ROW) - 1
        marks += _rows(wide, max(rows, free))
    else:
        marks += scale_bar(SIDE + 2.0, 1.0)
    return Drawing(title, wide, tall, tuple(marks))


def _grid(
    low: FloatArray, high: FloatArray, put: Callable[[FloatArray], FloatArray], scale: float
) -> Iterator[Line | Words]:
    """Lines every 50 mm with their place in mm, letters for columns, numbers for rows."""
    small = min(2.8, 0.3 * PITCH / scale)
    step = max(1, math.ceil(9.0 * scale / PITCH))
    for i in range(int(low[0]), int(high[0]) + 1):
        ends = put(PITCH * np.array([[i, low[1]], [i, high[1]]]))
        yield Line(ends, width=0.12, name=f"grid {i * PITCH:g}")
        if (i - int(low[0])) % step == 0:
            yield Words(float(ends[0, 0]), float(ends[0, 1]) - 6.4, f"{i * PITCH:g}", 2.4, "middle")
        if i < high[0]:
            middle = put(PITCH * np.array([[i + 0.5, low[1]]]))[0]
            yield Words(float(middle[0]), float(middle[1]) - 3.2, letters(i - int(low[0])), small, "middle", bold=True)
    for j in range(int(low[1]), int(high[1]) + 1):
        ends = put(PITCH * np.array([[low[0], j], [high[0], j]]))
        yield Line(ends, width=0.12)
        if (j - int(low[1])) % step == 0:
            yield Words(float(ends[1, 0]) + 1.0, float(ends[1, 1]) - 0.9, f"{j * PITCH:g}", 2.4)
        for i in range(int(low[0]), int(high[0])) if scale <= 1.0 and j < high[1] else ():
            corner = put(PITCH * np.array([[i, j]]))[0]
            name = f"{letters(i - int(low[0]))}{j - int(low[1]) + 1}"
            yield Words(float(corner[0]) + 1.0, float(corner[1]) + 1.0, name, 2.6)
        if j < high[1]:
            middle = put(PITCH * np.array([[low[0], j + 0.5]]))[0]
            yield Words(
                float(middle[0]) - 1.5, float(middle[1]) - 1.0, str(j - int(low[1]) + 1), small, "end", bold=True
            )


def _rows(wide: float, rows: int) -> Iterator[Line | Words]:
    """The table to write findings in, at the foot."""
    top = (rows + 1) * ROW
    for i in range(rows + 2):
        yield line((2.0, top - i * ROW), (wide - 2.0, top - i * ROW), width=0.4 if i < 2 else 0.2, name="write")
    x = 2.0
    for name, width in COLUMNS:
        yield Words(x + 1.0, top - ROW + 2.0, name, 3.2, bold=True)
        yield line((x, top), (x, top - (rows + 1) * ROW), width=0.2)
        x += width
    yield line((wide - 2.0, top), (wide - 2.0, top - (rows + 1) * ROW), width=0.2)
