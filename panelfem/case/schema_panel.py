"""``[panel]``: shape, laminates, what holds it, what hangs on it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from panelfem.case.fields import (
    Quantity,
    Section,
    choice,
    direction,
    items,
    number,
    point,
    points,
    quantity,
    section,
    text,
)
from panelfem.case.schema_area import AreaTable

_DIAL = "push on the fixing with a known weight and read a dial gauge"


class Arc(Section):
    """A side of the outline that is an arc of a circle."""

    after_corner: int = number("The side from this corner (counted from 1) to the next is an arc.", 1, 500)
    through_mm: list[float] = point("A point on the arc between the two corners.", lengths=(2,))


class CutOut(Section):
    """An opening that belongs to the design (not damage): a disc or a polygon."""

    name: str = text("What the opening is called.")
    centre_mm: list[float] | None = point(
        "Centre of a round one.", default=None, lengths=(2,), needed="for a round one"
    )
    diameter_mm: float | None = number("Diameter of a round one.", 2.0, 2000.0, default=None, needed="for a round one")
    corners_mm: list[list[float]] | None = points(
        "Corners of a straight-sided one.", default=None, needed="for a straight-sided one"
    )


class Outline(Section):
    """The panel in plan, measured with a tape."""

    corners_mm: list[list[float]] = points("Corners `[[x, y], …]` in order round the panel.")
    arcs: list[Arc] = items("Sides that are arcs.")
    cut_outs: list[CutOut] = items("Openings of the design.")


class FlatLift(Section):
    """A flat panel."""

    kind: Literal["flat"] = choice("Flat, at z = 0.")


class RadiiLift(Section):
    """A panel curved with two radii, its lowest or highest point above `apex_mm`."""

    kind: Literal["two radii"] = choice("Curved along x and along y, each with its radius.")
    radius_x_mm: float | None = number(
        "Radius of the section along x; positive: the middle stands up towards +z, negative: it is dished."
        " Absent: straight.",
        -1e6,
        1e6,
        default=None,
        needed="one of the two",
    )
    radius_y_mm: float | None = number("The same along y.", -1e6, 1e6, default=None, needed="one of the two")
    apex_mm: list[float] = point("Place in plan where the panel is level.", default=[0.0, 0.0], lengths=(2,))


class FormulaLift(Section):
    """A panel given by a formula."""

    kind: Literal["formula"] = choice("Height from a formula.")
    z_mm: str = text("Height in mm from `x` and `y` in mm: numbers, pi, + - * / **, brackets, sqrt, sin, cos, exp.")


LiftTable = Annotated[FlatLift | RadiiLift | FormulaLift, Field(discriminator="kind")]


class MeshFile(Section):
    """A surface mesh from a scan or a drawing."""

    file: str = text("Path, relative to the case file (VTU, VTK, Gmsh, STL, OBJ, PLY).")
    unit: Literal["mm", "cm", "m", "inch"] = choice("Unit of the coordinates in the file.")
    normals_towards: list[float] = direction(
        "The skin is turned so that its normals point, on the whole, this way: towards the face of the last ply.",
        default=[0.0, 0.0, 1.0],
    )


class Zone(Section):
    """A part of the panel with its own stack; a later zone replaces an earlier one where they overlap."""

    name: str = text("What the zone is called.")
    stack: str = text("Its whole stack, first ply first.")
    material: str | None = text("Material of plies the stack does not name; absent: that of the panel.", default=None)
    area: AreaTable | None = section("Where it is: an area,", default=None, needed="one way of saying where")
    near_edge_mm: float | None = number(
        "or within this distance of the edge,", 1.0, 500.0, default=None, needed="one way of saying where"
    )
    near_fasteners_mm: float | None = number(
        "or within this distance of fasteners,", 2.0, 500.0, default=None, needed="one way of saying where"
    )
    fasteners: list[str] | None = items("(which ones; absent: all)", default=None, min_length=1)
    mesh_tag: int | None = number(
        "or the triangles with this tag in the mesh file.",
        0,
        1e9,
        default=None,
        needed="one way of saying where",
    )


class Fastener(Section):
    """A quarter-turn, bolt or pin."""

    name: str = text("What it is called.")
    place_mm: list[float] = point(
        "`[x, y]` in plan, or `[x, y, z]` (needed with a mesh file); it is put on the surface."
    )
    washer_radius_mm: float = number("Radius over which it holds the skin.", 2.0, 60.0)
    hold: Literal["rigid", "pinned", "springs"] = choice(
        "rigid: neither moves nor turns; pinned: does not move, turns freely; springs: as stiff as stated below."
    )
    in_plane_N_per_mm: Quantity | None = quantity(
        "Stiffness along the skin.",
        0.0,
        1e6,
        default=None,
        needed='with hold = "springs"',
        sweep="fastener stiffness",
        measure=_DIAL,
    )
    out_of_plane_N_per_mm: Quantity | None = quantity(
        "Stiffness along the normal.",
        0.0,
        1e6,
        default=None,
        needed='with hold = "springs"',
        sweep="fastener stiffness",
        measure=_DIAL,
    )
    tilt_Nm_per_rad: Quantity | None = quantity(
        "Stiffness against tilting; absent: none.",
        0.0,
        1e6,
        default=None,
        sweep="fastener stiffness",
        measure=_DIAL,
    )
    twist_Nm_per_rad: Quantity | None = quantity(
        "Stiffness against turning about the normal; absent: none.",
        0.0,
        1e6,
        default=None,
        sweep="fastener stiffness",
        measure=_DIAL,
    )
    rating_shear_N: float | None = number("What the catalogue allows along the skin.", 1.0, 1e6, default=None)
    rating_pull_N: float | None = number("What the catalogue allows along the normal.", 1.0, 1e6, default=None)
    hole_diameter_mm: float | None = number(
        "Diameter of its hole in the skin: with the bearing strength, the laminate round it is checked.",
        1.0,
        50.0,
        default=None,
        needed="with bearing_strength_MPa",
    )
    bearing_strength_MPa: Quantity | None = quantity(
        "Bearing strength of the skin: force over diameter times thickness of its plies.",
        1.0,
        3000.0,
        default=None,
        needed="with hole_diameter_mm",
        measure="a bearing coupon of the same laminate, pulled by a pin of that diameter",
    )


class Edge(Section):
    """A held stretch of the edge."""

    name: str = text("What it is called.")
    hold: Literal["clamped", "hinged", "supported", "elastic"] = choice(
        "clamped: neither moves nor turns; hinged: does not move; supported: does not move along the normal; "
        "elastic: as stiff as stated below."
    )
    area: AreaTable | None = section(
        "The stretch of the edge inside this area, to the nearest element; absent: the whole edge.", default=None
    )
    translation_N_per_mm2: float = number(
        "Stiffness per length of edge against moving.", 0.0, 1e6, default=0.0, needed='with hold = "elastic"'
    )
    rotation_Nm_per_rad_per_m: float = number(
        "Stiffness per length of edge against turning about it.", 0.0, 1e8, default=0.0
    )


class HeldArea(Section):
    """An area that neither moves nor turns: a bonded bracket."""

    name: str = text("What it is called.")
    area: AreaTable = section("Where it is.")


class AttachedMass(Section):
    """Something that hangs on the panel."""

    name: str = text("What it is.")
    area: AreaTable = section("The area it is spread over.")
    mass_g: float = number("Its mass.", 0.1, 50000.0)


class Panel(Section):
    """The panel as designed, undamaged."""

    name: str = text("What the panel is called.")
    outline: Outline | None = section("The panel measured with a tape.", default=None, needed="this or mesh")
    lift: LiftTable | None = section("How the outline is curved; absent: flat.", default=None)
    mesh: MeshFile | None = section("The panel as a surface mesh.", default=None, needed="this or outline")
    zero_direction: list[float] = direction("The 0° direction of all stacks; it is laid on the surface.")
    down: list[float] = direction("Which way gravity pulls.", default=[0.0, 0.0, -1.0])
    stack: str = text(
        "Stacking sequence, first ply first: `[0/45/-45/90]s`, `[0_2/90]2s`, "
        "`[0/45:carbon-twill/foam-pvc-80:8mm]s`. The first "
        "ply is on the face the normal enters (below, for an outline), the last on the face it leaves "
        "(above). A core "
        "innermost in a symmetric list stands once."
    )
    material: str = text("Material of plies the stack does not name.")
    zones: list[Zone] = items("Parts with another stack.")
    fasteners: list[Fastener] = items("Point fixings.")
    edges: list[Edge] = items("Held edges.")
    held_areas: list[HeldArea] = items("Bonded brackets.")
    masses: list[AttachedMass] = items("What hangs on it.")
    stress_free_temperature_C: Quantity | None = quantity(
        "Temperature at which the laminate carries no cure stress.",
        -50.0,
        300.0,
        default=None,
        needed="where a load holds cure = true",
        measure="the cure sheet; the change of shape of an unsymmetric strip with heat",
    )
    fitting_temperature_C: Quantity | None = quantity(
        "Temperature of the panel when it was fitted: from there on its fixings hold its expansion.",
        -60.0,
        150.0,
        default=None,
        needed="where a load holds cure = true",
        measure="a thermometer in the garage",
    )
    service_temperature_C: Quantity | None = quantity(
        "Temperature of the panel in use.",
        -60.0,
        250.0,
        default=None,
        needed="where a load holds cure = true",
        measure="a thermocouple or a temperature label",
    )
    moisture_percent: Quantity = quantity(
        "Moisture taken up, share of mass.",
        0.0,
        10.0,
        default=Quantity(value=0.0),
        measure="weigh a traveller coupon",
    )
