"""What bonded joints are warned on: scarf ratio, step length, overlap; each rule with where it is from."""

from __future__ import annotations

import math

from panelfem.units import number

#: A scarf is 1:20 at the steepest, and seldom flatter than 1:50.
SCARF = (20.0, 50.0)
SCARF_SOURCE = "scarf ratios of 1:20 to 1:50 in composite repair: CMH-17 vol. 3, chapter on supportability (recalled)"
#: A step is at least so long, m.
STEP = 12.7e-3
STEP_SOURCE = "half an inch (12.7 mm) a ply in stepped repairs: common practice of repair manuals, no source"
#: An overlap is at least so many decay lengths 1/λ of the shear, end to end.
DECAYS = 6.0
OVERLAP_SOURCE = (
    "an elastic trough of 6/λ, so that the middle of the bond rests: Hart-Smith 1973, NASA CR-112235 (recalled)"
)


def scarf_advice(slope: float) -> tuple[str, ...]:
    """Warnings on a scarf of 1:`slope`; none where it is as usual.

    >>> scarf_advice(30.0)
    ()
    >>> scarf_advice(12.0)[0].split(":")[0]
    'a scarf of 1'
    """
    if slope < SCARF[0]:
        return (f"a scarf of 1:{number(slope)} is steeper than 1:{SCARF[0]:g} ({SCARF_SOURCE})",)
    if slope > SCARF[1]:
        return (
            f"a scarf of 1:{number(slope)} is flatter than 1:{SCARF[1]:g}: it takes off more sound material than is "
            f"usual ({SCARF_SOURCE})",
        )
    return ()


def step_advice(step: float) -> tuple[str, ...]:
    """Warnings on steps `step` m long.

    >>> step_advice(0.006)[0].split(" (")[0]
    'steps of 6 mm are shorter than 12.7 mm a ply'
    """
    if step < STEP:
        return (f"steps of {number(1e3 * step)} mm are shorter than {1e3 * STEP:g} mm a ply ({STEP_SOURCE})",)
    return ()


def shear_decay(first: float, second: float, shear_modulus: float, bond_thickness: float) -> float:
    """λ, 1/m, of the shear in a lap of axial stiffnesses `first`, `second` N/m (Volkersen).

    >>> round(shear_decay(1e8, 1e8, 1e9, 2e-4), 1)
    316.2
    """
    return math.sqrt(shear_modulus / bond_thickness * (1 / first + 1 / second))


def overlap_advice(overlap: float, decay: float) -> tuple[str, ...]:
    """Warnings on an overlap (m) in which the shear decays as exp(−`decay` s).

    >>> overlap_advice(0.010, 316.2)[0].split(" (")[0]
    'an overlap of 10 mm is shorter than 19 mm'
    """
    least = DECAYS / decay
    if overlap < least:
        return (
            f"an overlap of {number(1e3 * overlap)} mm is shorter than {number(1e3 * least, 2)} mm ({OVERLAP_SOURCE})",
        )
    return ()
