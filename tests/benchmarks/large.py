"""Cost of a load case followed with large displacements, in solves of the undamaged panel; run by hand, one core.

    OMP_NUM_THREADS=1 python tests/benchmarks/large.py [element size in mm]

The unit is assemble + factor + one solve of the undamaged panel, linear, with the lower of the two orders of elements,
on the case's mesh.  A thin doubly curved lid on a clamped edge and four fixings is under suction; counted are both
orders, linear and followed, all reserves with their search along the path, and the bars.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from panelfem.assess.evaluate import evaluate
from panelfem.assess.plan import Inputs, plans, states
from panelfem.case import load_case
from panelfem.loads.fixings import hold
from panelfem.reserve.analyse import Settings
from panelfem.reserve.places import Places
from panelfem.shell import DEFAULT_ORDER, Shell

LID = Path(__file__).parents[2] / "cases" / "engine_lid_thin.toml"


def lid(size):
    """The demo lid with no damage, meshed at one size."""
    text = LID.read_text(encoding="utf-8")
    text = text[: text.index("[[damage]]")] + text[text.index("[held]") :]
    text = text[: text.index("[settings]")] + f"[settings]\nelement_size_mm = {size}\n"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "lid.toml"
        path.write_text(text, encoding="utf-8")
        return load_case(path)


def unit(panel, order):
    """CPU seconds of assemble + factor + one solve, best of three."""
    curved, best = panel.mesh.curved(order), np.inf
    for _ in range(3):
        start = time.process_time()
        shell = Shell(curved, panel.stiffness(), panel.axis)
        system = hold(panel, shell).system
        system.solve(shell.traction(np.array([0.0, 0.0, 1.0])))
        best = min(best, time.process_time() - start)
    return best


def main(size):
    case = lid(size)
    order = case.order or DEFAULT_ORDER
    inputs = Inputs(case.panel, (), (), case.loads)
    state = next(iter(states(plans(inputs)).values()))
    words = Places(case.places, {})
    one = unit(case.panel, order)
    print(f"{len(case.panel.mesh.triangles)} elements, unit {one:.3f} s")
    settings = Settings(case.criteria, case.modeless_criteria_govern, case.required_factor)
    for load in case.loads:
        for followed in (False, True):
            start = time.process_time()
            found, _ = evaluate(
                state,
                replace(inputs, loads=(load,)),
                replace(settings, followed=followed),
                order,
                words,
                (),
                False,
                (None, None),
            )
            spent = time.process_time() - start
            result = found.results[0]
            print(
                f"{load.name}, {'followed' if result.linear else 'linear'}: {spent / one:.1f} units; "
                f"deflection {1e3 * result.deflection.value:.3f} mm, {result.release.mode} {result.release.factor:.3f}"
            )


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 16.0)
