"""Rigid shapes as height fields over the plane across the direction they push along.

The height is measured along `direction` from the reference place; it varies along `travel` only.  A point of
the panel at x is met when the shape has advanced by its clearance, (x − place)·direction − height, so the
shape touches first where the clearance is least.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import InputError
from panelfem.loads.records import Contact, Flat, HalfRound, Ramp, Shape, Step
from panelfem.shell.shell import Shell
from panelfem.shell.touch import TouchRows, sample_places, surface_points, touch_rows

STEEP = math.radians(30.0)
"""Slope of the shape against the line of travel beyond which its fixed normal is doubtful (assumed)."""

FINEST = 4
"""Most parts into which an element side is split to follow a round shape."""

MANY = 200
"""Elements beyond which a flat face or a step that lies against all of them gets no finer lattice."""


def height(shape: Shape, xi: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Height (n,) m along the direction of pushing and its slope (n,), at xi (n,) m along the line of travel.

    The reference place is at xi = 0 and height 0; height −inf where there is no shape.  Flat: 0 everywhere.
    Half-round: its crest at 0, nothing beyond its radius.  Step: top at 0 for xi ≥ 0, before it an edge
    rounded over `edge_radius` and nothing further; the reference place is where the rounding meets the top.
    Ramp: rising to a flat top at 0.

    >>> h, slope = height(HalfRound(0.05), np.array([0.0, 0.03, 0.06]))
    >>> h.round(6).tolist(), slope.round(6).tolist()
    ([0.0, -0.01, -inf], [-0.0, -0.75, 0.0])
    """
    xi = np.asarray(xi, float)
    match shape:
        case Flat():
            return np.zeros_like(xi), np.zeros_like(xi)
        case HalfRound(radius=radius):
            return _arc(radius, xi, np.ones(xi.shape, bool))
        case Step(edge_radius=radius):
            return _arc(radius, xi, xi < 0)
        case Ramp(angle=angle):
            rise = math.tan(angle)
            return np.minimum(rise * xi, 0.0), np.where(xi < 0, rise, 0.0)


def _arc(radius: float, xi: FloatArray, rounded: BoolArray) -> tuple[FloatArray, FloatArray]:
    """A circle of `radius` with its crest at 0 where `rounded`, flat elsewhere."""
    there = np.abs(xi) < radius
    root = np.sqrt(np.where(there, radius**2 - xi**2, radius**2))
    h = np.where(rounded, np.where(there, root - radius, -np.inf), 0.0)
    return h, np.where(rounded & there, -xi / root, 0.0)


@dataclass(frozen=True)
class Obstacle:
    """A contact's shape, placed: what it says about any point of the panel.

    `direction`, `travel` (3,) unit and across each other; `first` m: the advance of the shape, from where its
    reference place is at `place`, at which it just touches the panel with no load on it.
    """

    contact: Contact
    direction: FloatArray
    travel: FloatArray
    first: float

    @property
    def ridge(self) -> FloatArray:
        """Unit direction (3,) along which the height of the shape does not change."""
        return np.cross(self.direction, self.travel)

    def clearance(self, x: FloatArray) -> FloatArray:
        """Way (...,) m until the shape meets points x (..., 3), from `gap` before the first touch; inf: never."""
        arm = x - self.contact.place
        h, _ = height(self.contact.shape, arm @ self.travel)
        return arm @ self.direction - h - self.first + self.contact.gap

    def normal(self, x: FloatArray) -> FloatArray:
        """Outward unit normal (..., 3) of the shape under points x (..., 3)."""
        _, slope = height(self.contact.shape, (x - self.contact.place) @ self.travel)
        n = self.direction - slope[..., None] * self.travel
        return np.asarray(n / np.linalg.norm(n, axis=-1, keepdims=True))

    def steep(self, x: FloatArray) -> float:
        """Greatest slope angle (rad) of the shape under points x (n, 3)."""
        _, slope = height(self.contact.shape, (x - self.contact.place) @ self.travel)
        return float(np.arctan(np.abs(slope)).max(initial=0.0))


def place_obstacle(contact: Contact, shell: Shell) -> Obstacle:
    """The shape brought up to the unloaded panel.

    Raises InputError where direction and travel do not span the plane of the shape, where a length is not
    positive, or where the shape, pushed that way, never meets the panel.
    """
    where = "contact"
    d, t = np.asarray(contact.direction, float), np.asarray(contact.travel, float)
    size = float(np.linalg.norm(d))
    if not size > 0:
        raise InputError("the direction of a contact has no length", where=where, do="give three numbers, not all zero")
    d = d / size
    t = t - (t @ d) * d
    if not np.linalg.norm(t) > 1e-6 * max(float(np.linalg.norm(contact.travel)), 1e-300):
        if not isinstance(contact.shape, Flat):
            raise InputError(
                "the line of travel is along the direction of pushing",
                where=where,
                allowed="a line across it",
                do="turn one of them",
            )
        t = np.eye(3)[int(np.abs(d).argmin())]
        t = t - (t @ d) * d
    t /= np.linalg.norm(t)
    match contact.shape:
        case HalfRound(radius=radius) | Step(edge_radius=radius) if not 0 < radius < math.inf:
            raise InputError(f"the radius of the shape is {radius:g} m", where=where, allowed="above zero")
        case Ramp(angle=angle) if not 0 < angle < math.pi / 2:
            raise InputError(f"the ramp's angle is {math.degrees(angle):g}°", where=where, allowed="above 0, below 90°")
        case _:
            pass
    placed = Obstacle(contact, d, t, 0.0)
    first = float(placed.clearance(sample_places(shell, 8)).min(initial=math.inf)) - contact.gap
    if not math.isfinite(first):
        raise InputError(
            "the shape misses the panel",
            where=f"{where} at ({', '.join(f'{1e3 * c:.0f}' for c in contact.place)}) mm",
            allowed="a place that meets the panel when pushed along the direction",
            do="check place, direction and line of travel",
        )
    return Obstacle(contact, d, t, first)


def split_for(obstacle: Obstacle, shell: Shell, finer: bool = False) -> int:
    """Parts into which element sides are split for the places of contact, so that they follow the shape.

    For a round shape of radius R about √(R · amount)/3 apart, as it is met over a width of that order, up to
    `FINEST` parts; two for a step, whose edge is rounded over less than an element; one for flat faces.
    `finer`: for the better of two solutions whose difference is to show this error too, two parts more for round
    shapes and twice as many for steps and flat faces, unless these lie against more than `MANY` elements: there every
    place costs a column, and the lattice matters little.
    (Measured in force on panels of 20 and 30 mm elements against 12 mm ones of order 3: radii of 15 mm and more
    within 3 % and, finer, 1.3 %; steps 2.4 % and 1.2 %; flat faces 2 % and 0.7 %, lying flat 0.2 % and 0.05 %.)
    """
    v = shell.mesh.x[shell.mesh.triangles[shell.active]]
    clear = obstacle.clearance(v.mean(axis=1))
    contact = obstacle.contact
    amount = max(abs(contact.amount) if contact.control == "interference" else 0.0025, 1e-4)
    match contact.shape:
        case HalfRound(radius=radius):
            near = v[np.argsort(clear, kind="stable")[: max(8, len(v) // 50)]]
            doubled = np.cross(near[:, 1] - near[:, 0], near[:, 2] - near[:, 0])
            side = float(np.sqrt(np.linalg.norm(doubled, axis=1).mean()))
            return int(np.clip(math.ceil(3 * side / math.sqrt(radius * amount)), 1, FINEST)) + 2 * finer
        case flat:
            least = 2 if isinstance(flat, Step) else 1
            return 2 * least if finer and (clear < contact.gap + amount).sum() <= MANY else least


def obstacle_rows(obstacle: Obstacle, shell: Shell, division: int | None = None, finer: bool = False) -> TouchRows:
    """The places where the obstacle may press on the shell; `division` None: as `split_for` says."""
    points = surface_points(shell, split_for(obstacle, shell, finer) if division is None else division)
    x = points.place
    return touch_rows(shell, points, obstacle.clearance(x), obstacle.normal(x), obstacle.direction)


def contact_notes(obstacle: Obstacle, touched: FloatArray) -> tuple[str, ...]:
    """Warnings about the places (n, 3) that touch."""
    angle = obstacle.steep(touched)
    if angle > STEEP:
        return (
            f"the panel touches the shape where it slopes by {math.degrees(angle):.0f}° (more than 30°): "
            "its normal is kept as before the panel moves, so force and drag there are approximate",
        )
    return ()
