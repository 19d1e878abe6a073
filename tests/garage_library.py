"""A small prepared library for tests: a flat tray that is assessed in seconds, and a part that is declined."""

from __future__ import annotations

from pathlib import Path

PANEL = """
[prepared]
invented = true
consequence = "cosmetic"

[safety]
protects_people = "{protects}"
fastened_to_such_a_part = false
covers_high_voltage = false

[rule_book]
repair = true
tape = true
refit = true
source = "rules (invented)"
edition = "1"

[supplier]
repair = true
tape = true
refit = true
source = "manual (invented)"
edition = "A"

[panel]
name = "{name}"
zero_direction = [1, 0, 0]
stack = "[0/45/foam-pvc-80:8mm]s"
material = "carbon-twill"

[panel.outline]
corners_mm = [[0, 0], [240, 0], [240, 160], [0, 160]]

[[panel.edges]]
name = "bonded edge"
hold = "clamped"
area = {{ shape = "polygon", corners_mm = [[-5, -5], [2, -5], [2, 165], [-5, 165]] }}

[[panel.fasteners]]
name = "F1"
place_mm = [225, 15]
washer_radius_mm = 8
hold = "pinned"
rating_pull_N = 900

[[panel.fasteners]]
name = "F2"
place_mm = [225, 145]
washer_radius_mm = 8
hold = "pinned"
rating_pull_N = 900

[[panel.fasteners]]
name = "F3"
place_mm = [120, 145]
washer_radius_mm = 8
hold = "pinned"
rating_pull_N = 900

[[load]]
kind = "air load"
name = "suction"
pressure_kPa = -4
limits = [{{ name = "duct behind", limit_mm = 0.5 }}]

[settings]
accuracy = 0.2
large_displacements = false
lose_each_fastener = false
vibrations = false
"""
CAR = """
[car]
invented = true
rear_axle_mm = 3000
ride_height_front_mm = 40
ride_height_rear_mm = 60
stiffness_front_N_per_mm = 180
stiffness_rear_N_per_mm = 150
travel_front_mm = 28
travel_rear_mm = 45
mass_kg = 700
front_share_percent = 46

[[station]]
name = "nose"
place_mm = [-400, 0, 60]
mass_kg = 5
most_kg = 10

[[station]]
name = "left"
place_mm = [1500, -500, 30]
mass_kg = 5
most_kg = 10

[[station]]
name = "gearbox"
place_mm = [3200, 100, 200]
mass_kg = 5
most_kg = 10

[[carries]]
panel = "tray"
origin_mm = [2000, 400, 100]

[[carries]]
panel = "shell"
origin_mm = [1000, 0, 300]
"""
CIRCUIT = """
[circuit]
invented = true
"""
DEEP = """
[circuit]
invented = true

[[compression]]
name = "pit"
acceleration_gee = 2
suspension_travel_mm = 80
dynamic_factor = 1.1
"""
KIT = """
[kit]
invented = true
fixings = 2

[minutes]
access_min = 5
cut_min = 4
dry_min = 5
abrade_min = 4
clean_min = 2
bond_min = 6
cool_min = 5
tap_min = 3
tape_min = 2
fixing_min = 2
spare_min = 12
refit_min = 6
scrutineer_min = 5
"""


def write(folder: Path) -> Path:
    """The library in a new folder: panels tray and shell, one car, two circuits, one kit."""
    for name, text in {
        "panels/tray": PANEL.format(name="tray, left", protects="no"),
        "panels/shell": PANEL.format(name="nose shell", protects="is one"),
        "cars/seven": CAR,
        "circuits/hill": CIRCUIT,
        "circuits/plain": CIRCUIT,
        "kits/box": KIT,
    }.items():
        path = folder / f"{name}.toml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder
