"""Cost of an assessment, in solves of the undamaged panel; run by hand, one core.

    OMP_NUM_THREADS=1 python tests/benchmarks/assessment.py [CASE.toml]

The unit is assemble + factor + one solve of the undamaged panel, linear, with the lower of the two orders of elements,
on the case's mesh.  Four states of the panel
(undamaged, as found, refitted, patched) are put under six load cases, three of them with contact; what each fixing lost
and the swept assumptions cost is printed apart.  Imports, meshing and drawing are not counted.
"""

from __future__ import annotations

import gc
import resource
import sys
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

DEFAULT = Path(__file__).parents[2] / "cases" / "floor_corner_torn.toml"


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


def six(loads):
    """Six load cases: those of the case, and its contacts again at another severity."""
    more = [
        replace(
            load, name=f"{load.name}, {share:g} times", scaled=replace(load.scaled, amount=share * load.scaled.amount)
        )
        for share in (0.8, 0.6)
        for load in loads
        if hasattr(load.scaled, "amount")
    ]
    return tuple([*loads, *more][:6])


def main(path):
    case = load_case(path)
    order = case.order or DEFAULT_ORDER
    one = unit(case.panel, order)
    inputs = Inputs(case.panel, case.damage, case.options, six(case.loads))
    settings = Settings(case.criteria, case.modeless_criteria_govern, case.required_factor)
    words = Places(case.places, {f.name: f.washer_radius for f in case.panel.fasteners})
    to_do = states(plans(inputs))
    print(f"{path.name}: {len(case.panel.mesh.triangles)} elements of order {order}, unit {one:.2f} s, "
          f"{len(to_do)} states × {len(inputs.loads)} load cases")  # fmt: skip
    spent = {}
    runs = (("load cases", (), False), ("and each fixing lost", (), True), ("and sweeps", case.assumed, True))
    for label, assumed, lose in runs:
        shells, start = (None, None), time.process_time()
        for state in to_do.values():
            _, shells = evaluate(state, inputs, settings, order, words, assumed, lose, shells)
            gc.collect()
        spent[label] = (time.process_time() - start) / one
        print(f"  {label:22s} {spent[label]:6.1f} units")
    print(f"  fixings lost and sweeps alone: {spent['and sweeps'] - spent['load cases']:.1f} units")
    print(f"  memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB at most")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else DEFAULT)
