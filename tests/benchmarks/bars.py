"""The constants of the error bars, on problems that are none of those the bars are tried on.

Run: OMP_NUM_THREADS=1 python tests/benchmarks/bars.py [--pairs]

Plates, cantilevers, discs, curved panels and holes of other ratios, laminates, loads and meshes than those of
`panelfem.verify.coverage`, against series, Ritz and closed forms, by orders 2 and 3 and by orders 3 and 4.  Prints for
each choice of constants how often the bars hold, and bar over true error where that exceeds 0.05 %; `--pairs` lists
every pair with the constants in force.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from panelfem.accuracy import bars
from panelfem.mesh import TwoRadii
from panelfem.reference import navier
from panelfem.reference.circular import CircularPlate
from panelfem.reference.hole import OpenHole
from panelfem.reference.navier import Navier
from panelfem.reference.ritz import COMPONENTS, flat
from panelfem.reference.stiffness import isotropic, laminate
from panelfem.verify import trials_holes, trials_plates, trials_shells
from panelfem.verify.grids import ALL, Grid
from panelfem.verify.plates import HELD
from panelfem.verify.trial import (
    Exact,
    Quantity,
    Trial,
    deflection,
    fibre,
    greatest,
    pressed,
    pressure,
    reserve,
    resultant,
    series,
    trial,
)
from panelfem.verify.trials_plates import clamped, even, free, shaken, stack, supported

MIDDLE, Q = (0.5, 0.5), 1e3
SHARES, SPREADS, LAYERS = (0.7, 1.0, 1.3), (0.0, 0.4, 0.7, 1.0), (0.0, 0.7, 1.0, 1.5)


@dataclass(frozen=True)
class Pair:
    """One quantity by two orders, and what is known of it."""

    name: str
    coarse: float
    fine: float
    spread: float
    layer: float
    exact: float
    slack: float


def plate_on_supports() -> Iterator[Trial]:
    """Against Navier's series."""
    for h, sides, lay, kind in (
        (6e-4, (0.5, 0.3), shaken(4, 4, 0.5, 0.3, 101), "5:3, thin, shaken"),
        (15e-3, (0.3, 0.3), shaken(4, 4, 0.3, 0.3, 102), "square, h/a = 0.05, shaken"),
        (30e-3, (0.4, 0.2), even(4, 4, 0.4, 0.2), "2:1, h/b = 0.15, regular"),
    ):
        C = isotropic(200e9, 0.28, h)
        yield supported(
            f"supported {kind}", lay, C, sides, navier.uniform(Q), pressure(Q), 2,
            {
                "deflection": deflection(), "e11 face": fibre(MIDDLE, h / 2), "M22": resultant(C, 4, MIDDLE),
                "M12 off the middle": resultant(C, 5, (0.25, 0.25)), "quarter": deflection((0.25, 0.25)),
            },
        )  # fmt: skip
    C = laminate(15e9, 1e9, 0.3, 0.5e9, 0.5e9, 0.4e9, [(0, 2e-3), (90, 2e-3), (0, 2e-3)])
    yield supported(
        "supported [0/90/0] 3:2, regular", even(4, 4, 0.3, 0.2), C, (0.3, 0.2), navier.uniform(Q), pressure(Q), 2,
        {"deflection": deflection(), "e11 face": fibre(MIDDLE, 3e-3), "e22 face": fibre(MIDDLE, 3e-3, 90)},
    )  # fmt: skip
    C = laminate(25e9, 1e9, 0.25, 0.6e9, 0.6e9, 0.5e9, [(30, 3e-3), (-30, 3e-3)])
    yield supported(
        "supported [30/-30] 2:1, shaken", shaken(6, 4, 0.4, 0.2, 103), C, (0.4, 0.2), navier.uniform(Q), pressure(Q), 2,
        {"deflection": deflection(), "fibre": fibre(MIDDLE, -3e-3, 30), "greatest": greatest()}, "angle-ply",
    )  # fmt: skip
    lam = stack("[0/90/foam-pvc-80:6mm/90/0]")
    quantities = {"deflection": deflection(), "fibre": fibre(MIDDLE, 3.3e-3),
                  "reserve": reserve(lam, -1, MIDDLE, "maximum stress")}  # fmt: skip
    yield supported(
        "supported sandwich, shaken", shaken(4, 4, 0.4, 0.4, 104), lam, (0.4, 0.4), navier.uniform(Q), pressure(Q), 2,
        quantities,
    )  # fmt: skip
    lam = stack("[0/90/90/0]")
    line = np.array([0, 0.25, 0.5, 0.75, 1])
    place = (0.5, 0.25)
    yield supported(
        "supported [0/90/90/0], pressure on a patch", trials_plates.lines(line, line, 0.5, 0.3), lam, (0.5, 0.3),
        navier.patch(Q, (0.25, 0.075), (0.25, 0.15), 0.5, 0.3), pressed(Q, (0.25, 0.75), (0.0, 0.5)), 2,
        {"deflection": deflection(place), "fibre": fibre(place, 3e-4), "reserve": reserve(lam, -1, place)},
    )  # fmt: skip


def plate_held() -> Iterator[Trial]:
    """Clamped and free edges, against Ritz."""
    for h, kind in ((4e-3, "h/b = 0.02"), (30e-3, "h/b = 0.15")):
        C = isotropic(200e9, 0.28, h)
        yield clamped(
            f"clamped 2:1, {kind}, unstructured", free(0.4, 0.2, 0.09), C, flat(0.4, 0.2), 2,
            {
                "deflection": deflection(), "edge moment": resultant(C, 4, (0.5, 0)),
                "e22 face": fibre(MIDDLE, h / 2, 90), "M12": resultant(C, 5, (0.25, 0.25)),
            }, degree=26, reference_error=1e-4,
        )  # fmt: skip
    lam = stack("[45/-45]s")
    yield clamped(
        "clamped [45/-45]s, shaken", shaken(4, 4, 0.25, 0.35, 105), lam, flat(0.25, 0.35), 2,
        {"deflection": deflection(), "fibre": fibre(MIDDLE, 3e-4, 45),
         "edge moment": resultant(lam.stiffness, 3, (0, 0.5)), "reserve": reserve(lam, -1, MIDDLE)},
        degree=26, reference_error=3e-4,
    )  # fmt: skip
    lam = stack("[0/90/foam-pvc-80:15mm/90/0]")
    yield clamped(
        "clamped thick sandwich, regular", even(4, 4, 0.35, 0.3), lam, flat(0.35, 0.3), 2,
        {"deflection": deflection(), "fibre": fibre(MIDDLE, 7.8e-3),
         "reserve": reserve(lam, -1, MIDDLE, "maximum stress")},
        degree=24, reference_error=1e-4,
    )  # fmt: skip
    for text, sides, cells, seed, degree in (
        ("[45/0]s", (0.15, 0.15), (4, 4), 106, 30),
        ("[45]4", (0.25, 0.1), (6, 2), 107, 30),
        ("[0/60/-60]s", (0.3, 0.1), (6, 2), 108, 30),
        ("[30/foam-pvc-80:5mm/30]", (0.3, 0.15), (6, 4), 109, 26),
        ("[15]48", (0.2, 0.1), (4, 2), 110, 26),
    ):
        lam = stack(text)
        yield clamped(
            f"cantilever {text}", shaken(*cells, *sides, seed), lam, flat(*sides), 2,
            {"tip corner": deflection((1, 1)), "other corner": deflection((1, 0)), "middle": deflection(),
             "e11 face": fibre(MIDDLE, lam.thickness / 2), "M12": resultant(lam.stiffness, 5, MIDDLE)},
            q=50.0, degree=degree, held={"s0": ALL}, ritz_held={"xi0": COMPONENTS}, reference_error=5e-4,
        )  # fmt: skip
    lam = stack("[0/30/-30]s")
    hinged = {"s0": ALL, "s1": ("uz",)}
    yield clamped(
        "[0/30/-30]s clamped and softly hinged, two edges free", shaken(4, 4, 0.3, 0.25, 111), lam, flat(0.3, 0.25), 2,
        {"deflection": deflection(), "free side": deflection((0.5, 1)), "M11": resultant(lam.stiffness, 3, MIDDLE)},
        degree=28, held=hinged, ritz_held={"xi0": COMPONENTS, "xi1": ("z",)}, reference_error=5e-4,
    )  # fmt: skip
    C = isotropic(70e9, 0.3, 2e-3)
    soft = dict.fromkeys(HELD, ("uz",))
    yield clamped(
        "softly hinged square, h/a = 0.005, regular", even(4, 4, 0.4, 0.4), C, flat(0.4, 0.4), 2,
        {"deflection": deflection(), "e11 face": fibre(MIDDLE, 1e-3), "quarter": deflection((0.25, 0.5))},
        degree=28, held=soft, ritz_held=dict.fromkeys(("xi0", "xi1", "eta0", "eta1"), ("z",)), reference_error=5e-4,
    )  # fmt: skip


def discs() -> Iterator[Trial]:
    """Against closed forms."""
    for edge, h, loaded, size in (("clamped", 0.015, 0.3, 0.14), ("supported", 6e-3, 0.12, 0.12)):
        C = isotropic(70e9, 0.3, h)
        plate = CircularPlate(0.3, C[3, 3], 0.3, C[6, 6], "clamped" if edge == "clamped" else "supported", 1e4, loaded)
        yield trials_plates.disc(
            f"{edge} disc, h = {h}", C,
            lambda p=plate: (lambda x, y: p.deflection(float(np.hypot(x, y))), p.strains), "closed form", 2,
            {
                "deflection": deflection(), "e11 face": fibre(MIDDLE, h / 2), "half radius": fibre((0.5, 0.75), h / 2),
                "edge moment": resultant(C, 4, (1, 0.5)) if edge == "supported" else resultant(C, 3, (1, 0.5)),
            }, size=size, edge=edge, q=1e4, radius=0.3, loaded=None if loaded == 0.3 else loaded,
        )  # fmt: skip


def curved() -> Iterator[Trial]:
    """Curved panels against Ritz on the same surface, and a cylinder against its series."""
    for text, lift, sides, size in (
        ("[0/90/foam-pvc-80:5mm/90/0]", TwoRadii(0.8, 2.0, (0.2, 0.2)), (0.4, 0.4), 0.08),
        ("[0/90]s", TwoRadii(np.inf, 0.3, (0.15, 0.1)), (0.3, 0.2), 0.06),
        ("[30/-30]s", TwoRadii(0.7, -1.2, (0.15, 0.15)), (0.3, 0.3), 0.06),
    ):
        lam = stack(text)
        yield trials_shells.fixed(
            f"clamped curved {text}", trials_shells.meshed(lift, *sides, size), lam,
            trials_shells.lifted(lift, *sides), 2,
            {"deflection": deflection(), "e11 face": fibre(MIDDLE, lam.thickness / 2),
             "e22 middle": fibre(MIDDLE, 0.0, 90), "edge moment": resultant(lam.stiffness, 4, (0.5, 0)),
             "reserve": reserve(lam, -1, MIDDLE, "maximum stress")}, degree=28, reference_error=5e-4,
        )  # fmt: skip
    lam, shelf = stack("[45/-45]s"), TwoRadii(0.3, np.inf, (0.0, 0.1))
    yield trials_shells.fixed(
        "curved cantilever [45/-45]s", lambda k: Grid.shaken(4, 4, k, trials_shells.lifted(shelf, 0.15, 0.2), 0.3, 112),
        lam, trials_shells.lifted(shelf, 0.15, 0.2), 2,
        {"tip": deflection((1, 1)), "e11 face": fibre(MIDDLE, 3e-4)}, q=50.0, degree=26, held={"s0": ALL},
        ritz_held={"xi0": COMPONENTS}, reference_error=5e-4,
    )  # fmt: skip
    yield from cylinders()


def cylinders() -> Iterator[Trial]:
    """Quarter cylinders on diaphragms."""
    held = {"s0": ("uy", "uz", "rx"), "s1": ("uy", "uz", "rx"), "t0": ("ux", "uz", "ry"), "t1": ("ux", "uy", "rz")}
    out = np.array([0, np.sqrt(0.5), np.sqrt(0.5)])
    for R, a, h, angles, cells in ((0.3, 0.4, 3e-3, (0, 90, 0), (4, 6)), (0.4, 0.3, 12e-3, (90, 0), (4, 4))):
        C = laminate(20e9, 1e9, 0.3, 0.5e9, 0.5e9, 0.3e9, [(angle, h / len(angles)) for angle in angles])
        sides = (a, R * np.pi / 2)

        def exact(C=C, sides=sides, R=R) -> Exact:
            return series(Navier(C, *sides, navier.uniform(1e4, 200), curvature=(0.0, 1 / R)), sides)

        surface = trials_shells.cylindrical(a, R, np.pi / 2)
        yield trial(
            f"quarter cylinder, R/h = {R / h:g}", "", lambda k, c=cells, s=surface: Grid.shaken(*c, k, s, 0.25, 113), C,
            held, pressure(1e4), exact, "series", 2,
            {"deflection": deflection(), "hoop face": fibre(MIDDLE, h / 2, 90), "axial face": fibre(MIDDLE, h / 2),
             "hoop middle": fibre(MIDDLE, 0.0, 90), "M22": resultant(C, 4, MIDDLE)}, way=out, reference_error=1e-4,
        )  # fmt: skip


def holes() -> Iterator[Trial]:
    """Against complex potentials."""
    on = trials_holes.on
    for text, far, near, order in (
        ("[0/45/-45/0]s", (1e5, 0.0, 0.0), (1.4, 0.3), 2),
        ("[0/0/90]s", (1e5, 5e4, 0.0), (1.3, 0.2), 2),
        ("[45/-45/0]s", (0.0, 1e5, 5e4), (1.5, 0.35), 3),
    ):
        A = stack(text).A
        hole = OpenHole(A, 1.0, 1.0, far)

        def quantities(C: np.ndarray) -> Mapping[str, Quantity]:
            return {
                "side": fibre(on(0, 1), 0.0), "pole": fibre(on(1, 0), 0.0, 90),
                "45": fibre(on(0.7071, 0.7071), 0.0, -45),
                "ahead": resultant(C, 0, on(0, 1.5)), "far": resultant(C, 1, on(2.0, 1.0)),
            }  # fmt: skip

        yield trials_holes.perforated(
            f"hole {text}", A, hole.resultants, "complex potentials", order, quantities, size=1.3, near=near
        )


def problems() -> Iterator[Trial]:
    """All of them, those of order 2 once more at order 3."""
    for make in (plate_on_supports, plate_held, discs, curved, holes):
        for one in make():
            yield one
            if one.order == 2:
                yield replace(one, name=f"{one.name}, one order higher", order=3)


def pairs() -> Iterator[Pair]:
    """Every quantity of every problem."""
    for one in problems():
        low, high, exact = one.solve(one.order), one.solve(one.order + 1), one.reference()
        for what, value in exact.items():
            yield Pair(
                f"{one.name}: {what}", low.numbers[what], high.numbers[what], high.spread[what], high.layer, value,
                one.reference_error * abs(value),
            )  # fmt: skip


def judged(every: list[Pair]) -> tuple[float, float, float]:
    """Share of the bars that hold, median and 90th percentile of bar over true error, with the constants in force."""
    held, ratios = [], []
    for pair in every:
        bar = bars.measured(pair.coarse, pair.fine, spread=pair.spread, layer=pair.layer).bar
        error = abs(pair.fine - pair.exact)
        held.append(error <= bar + pair.slack)
        if error > 5e-4 * abs(pair.exact):
            ratios.append(bar / error)
    return float(np.mean(held)), float(np.median(ratios)), float(np.percentile(ratios, 90))


def main() -> None:
    """Print what the choices of constants give."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pairs", action="store_true", help="list every pair with the constants in force")
    every = list(pairs())
    if parser.parse_args().pairs:
        for p in every:
            made = bars.measured(p.coarse, p.fine, spread=p.spread, layer=p.layer)
            step, error = (100 * (p.fine - other) / abs(p.exact) for other in (p.coarse, p.exact))
            print(
                f"{p.name:70s} error {error:+8.3f} %  step {step:+8.3f} %  spread {100 * p.spread / abs(p.fine):7.3f} %"
                f"  layer {100 * p.layer:6.3f} %  {'' if abs(p.fine - p.exact) <= made.bar + p.slack else 'NO'}"
            )
    print(f"{len(every)} pairs; share of step, of spread, of layer: held, median, 90th percentile of bar over error")
    kept = bars.SHARE, bars.SPREAD, bars.LAYER
    for bars.SHARE, bars.SPREAD, bars.LAYER in [*product(SHARES, SPREADS, LAYERS), kept]:
        share, median, ninety = judged(every)
        print(f"{bars.SHARE:4g} {bars.SPREAD:4g} {bars.LAYER:4g}: {100 * share:5.1f} %  {median:5.2f}  {ninety:5.1f}")


if __name__ == "__main__":
    main()
