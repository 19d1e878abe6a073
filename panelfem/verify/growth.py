"""Energy release rates at a delamination: the specimens toughness is measured with, and a film on a deep base."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from panelfem.laminate.front import CrackTip, Section
from panelfem.verify.row import LAMINATE, Row, Topic

TOPIC: Topic = "delamination growth"


def _sheet(E: float, h: float) -> Section:
    return Section(np.diag([E * h, E * h**3 / 12.0]), h)


def rows() -> Iterator[Row]:
    """All rows of growth."""
    E, h, b, a, P = 120e9, 1.5e-3, 0.02, 0.06, 50.0
    arm = _sheet(E, h)
    even = CrackTip(arm, arm)
    load = P * a / b
    opening, _ = even.modes(*even.pair(np.array([0.0, -load]), np.array([0.0, load])))
    yield Row(
        TOPIC, "double cantilever beam, G I", "G b E I/(P²a²)", "G = P²a²/(b E I), textbook (recalled)", 1.0, 1.0,
        "C = 2a³/(3EI), G = P²/(2b) dC/da", float(opening) * b * E * b * h**3 / 12 / (P * a) ** 2, "-", LAMINATE,
    )  # fmt: skip
    half = np.array([0.0, load / 4.0])
    _, sliding = even.modes(*even.pair(half, half))
    yield Row(
        TOPIC, "end-notched flexure, G II", "16 G b²E h³/(9 P²a²)",
        "G = 9P²a²/(16 b²E h³), Russell & Street (recalled)", 1.0, 1.0, "C = (2L³ + 3a³)/(8 b E h³), G = P²/(2b) dC/da",
        float(sliding) * 16 * b**2 * E * h**3 / (9 * P**2 * a**2), "-", LAMINATE,
    )  # fmt: skip
    G, thin = E / 2.6, 0.4 * h
    split = CrackTip(Section(arm.stiffness, h, G * h), Section(arm.stiffness, thin, G * thin))
    yield Row(
        TOPIC, "split strip sheared along its front, G III", "2 G_III G h/s²", "antiplane shear, own derivation",
        None, 3.5, "δ = s a (1/(G h) + 1/(G H)) at H = 0.4 h, G_III = S²/(2b) dC/da",
        float(split.tearing(np.array(load))) * 2 * G * h / load**2, "-", LAMINATE,
    )  # fmt: skip
    film = CrackTip(_sheet(E, 1e4 * h), arm)
    for name, pair, angle in (("force", (-1.0, 0.0), 52.1), ("moment", (0.0, -1.0), -37.9)):
        open_part, slid = film.modes(*film.of_difference(np.array(pair)))
        yield Row(
            TOPIC, f"thin film on a deep base, {name} in the film", "phase of K, °",
            "Suo & Hutchinson 1990, ω = 52.1° (recalled)", abs(angle), abs(angle),
            "their integral equation, as printed; the moment at ω − 90°",
            math.degrees(math.atan(math.sqrt(float(slid / open_part)))), "°", LAMINATE,
        )  # fmt: skip
