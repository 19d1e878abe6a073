"""The made-up assessment with loads that were followed with large displacements, buckling, and vibrations.

Air load: stiffer than linear theory says, in every configuration.  Wall contact as found: snaps through.  Ram test with
tape: the path ends and it is not known why.  Compression: looked at for buckling only.  Kerb strike: linear.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import synthetic

from panelfem.assess.records import Assessment, Configuration, Tone, Variant, Vibration
from panelfem.disposition import Consequence, Findings, judge
from panelfem.mesh import PanelMesh
from panelfem.reserve.records import Buckling, CurvePoint, LinearAnswer, LoadResult, ModeReserve, TheoryCheck
from panelfem.reserve.search import STABILITY

DEBRIS = Consequence("debris", 1.5, "common practice, no source")
REASONS = ("deflection 4.6 times the thickness, limit 0.3", "membrane strain changes by 1.2 of the greatest strain")
#: Frequencies (Hz) of the undamaged panel, and of the others as shares of it: a tone that tells, and some that do not.
TONES = (118.4, 171.2, 212.3, 260.9)
SHARES = (0.997, 0.96, 0.934, 0.999)


def shape(made: PanelMesh, m: int, n: int) -> np.ndarray:
    """Half waves along and across, (nv, 3), greatest motion one."""
    x, y = made.vertices[:, 0] / synthetic.LENGTH, made.vertices[:, 1] / synthetic.WIDTH
    wave = np.sin(m * np.pi * x) * np.sin(n * np.pi * y)
    return wave[:, None] * made.vertex_normals


def stiffer(result: LoadResult, strength: float) -> LoadResult:
    """Air load: linear theory says 5.6 mm and 1.1 times the strength, the panel moves 2.3 mm and takes 2.4 times."""
    first, release = result.first_ply, result.modes[2]
    linear = LinearAnswer(
        5.6e-3 / strength,
        replace(release, factor=1.1 * strength, mode="fibre tension"),
        replace(first, factor=0.9 * strength),
        REASONS,
    )
    release = replace(release, mode="fibre tension", factor=2.4 * strength, status="found")
    first = replace(first, factor=2.0 * strength)
    moved = 2.3e-3 / strength
    curve = tuple(CurvePoint(p, moved * p**0.6) for p in (0.0, 0.25, 0.6, 1.0, 1.8, 2.4))
    return replace(
        result,
        deflection=replace(result.deflection, value=moved),
        release=release,
        first_ply=first,
        modes=(release, first),
        theory=TheoryCheck(2.1, 0.06, 0.9, (), large=True),
        linear=linear,
        curve=curve,
    )


def ended(result: LoadResult, factor: float, snaps: bool) -> LoadResult:
    """A path that ends at a factor: the modes are bounds, and the end is one of them."""
    linear = LinearAnswer(result.deflection.value, result.release, result.first_ply, REASONS[:1])
    end = ModeReserve("snap-through" if snaps else "no equilibrium found", STABILITY, "release", factor)
    modes = tuple(replace(m, factor=factor, status="beyond search") for m in result.modes)
    reasons = () if snaps else (f"no equilibrium found beyond {factor} times the expected severity (small steps)",)
    moved = 1.4 * result.deflection.value
    return replace(
        result,
        deflection=replace(result.deflection, value=moved),
        release=end,
        first_ply=modes[1],
        modes=(*modes, end),
        theory=TheoryCheck(3.0, 0.1, 0.5, reasons, large=True),
        linear=linear,
        curve=tuple(CurvePoint(p * factor, moved * p**1.4) for p in (0.0, 0.5, 0.8, 1.0)),
    )


def _result(made: PanelMesh, conf: Configuration, result: LoadResult) -> LoadResult:
    strength = next(c[2] for c in synthetic.CONFIGURATIONS if c[0] == conf.name)
    if result.load == "air load":
        buckling = Buckling((0.82, 1.9), "47 mm from the centre", shape(made, 2, 1), 1e-4, (0.01, 0.04))
        return replace(stiffer(result, strength), buckling=buckling)
    if result.load == "wall contact":
        result = replace(result, theory=replace(result.theory, reasons=()))
        return ended(result, 0.62, True) if conf.kind == "as found" else result
    if result.load == "ram test" and conf.name == "tape":
        return ended(result, 0.83, False)
    if result.load == "compression":
        return replace(result, buckling=Buckling((4.1,), "12 mm from F2", shape(made, 1, 1)))
    return result


def followed(made: Assessment) -> Assessment:
    """The assessment with these loads, judged again."""
    return replace(made, configurations=tuple(_followed(made.mesh, c) for c in made.configurations))


def _followed(mesh: PanelMesh, conf: Configuration) -> Configuration:
    variants = tuple(replace(v, loads=tuple(_result(mesh, conf, r) for r in v.loads)) for v in conf.variants)
    made = replace(conf, variants=variants)
    found = judge(Findings(conf.name, tuple(made.result(load) for load in made.governing)), DEBRIS)
    return replace(made, disposition=found)


def vibration(made: PanelMesh, shares: tuple[float, ...], bar: float = 0.8, whole: bool = False) -> Vibration:
    """Tones at shares of the undamaged panel's; the last one of a damaged panel is like none of them."""
    tones = []
    for i, (frequency, share) in enumerate(zip(TONES, shares, strict=True), 1):
        other = not whole and i == len(TONES)
        tones.append(
            Tone(
                share * frequency,
                bar,
                np.array([0.01, 0.0, 0.42 / i]),
                "47 mm from the centre" if i % 2 else "at the edge of hole H1",
                shape(made, 1 + i % 3, 1 + i // 2),
                None if other else i,
                0.3 if other else 0.97,
            )
        )
    return Vibration(tuple(tones), 1.19, ("what hangs on the fixings moves with them",) if whole else ())


def ringing(made: Assessment, shares: tuple[float, ...] = SHARES, bar: float = 0.8) -> Assessment:
    """The assessment with vibrations of the undamaged panel, as found in both its states, and with the tape."""

    def state(conf: Configuration, variant: Variant, number: int) -> Variant:
        if conf.kind == "undamaged":
            return replace(variant, vibration=vibration(made.mesh, (1.0,) * len(TONES), bar, True))
        lower = tuple(1.0 - (1.0 - s) * (1.0 if number == 0 else 0.8) for s in shares)
        return replace(variant, vibration=vibration(made.mesh, lower, bar))

    configurations = tuple(
        replace(c, variants=tuple(state(c, v, i) for i, v in enumerate(c.variants)))
        if c.name in ("undamaged", "as found", "tape")
        else c
        for c in made.configurations
    )
    return replace(made, configurations=configurations)


def assessment(*, resolution: tuple[int, int] = (36, 24)) -> Assessment:
    """All of it."""
    return ringing(followed(synthetic.assessment(resolution=resolution)))
