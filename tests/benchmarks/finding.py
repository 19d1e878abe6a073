"""Cost from a finding to page one, in solves of the undamaged panel; run by hand, one core.

    OMP_NUM_THREADS=1 python tests/benchmarks/finding.py [FINDING.toml ...]

The unit is assemble + factor + one solve of the undamaged panel, linear, with the lower of the two orders of elements,
on the mesh of the case.  Counted are the assessment alone and the provisional one before it, and in seconds of the
clock all from reading the finding to the report.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from assessment import unit

from panelfem import report
from panelfem.assess import assess
from panelfem.case import load_case
from panelfem.garage import Library, compose
from panelfem.shell import DEFAULT_ORDER

GARAGE = Path(__file__).parents[2] / "cases" / "garage"


def main(findings):
    for finding in findings:
        with tempfile.TemporaryDirectory() as name:
            clock, folder = time.perf_counter(), Path(name)
            (folder / "out").mkdir()
            case = load_case(compose(Library.open(GARAGE), finding).write(folder))
            one = unit(case.panel, case.order or DEFAULT_ORDER)
            spent, start = [], time.process_time()

            def early(found, start=start, folder=folder, spent=spent):
                report.write_early(found, folder / "page")
                spent.append(time.process_time() - start)

            found = assess(case, early=early)
            spent.append(time.process_time() - start)
            report.write(found, folder / "page")
            clock = time.perf_counter() - clock
        followed = sorted({r.load for c in found.configurations for v in c.variants for r in v.loads if r.linear})
        print(
            f"{finding.stem}: {len(case.panel.mesh.triangles)} elements, unit {one:.3f} s; provisional page one "
            f"{spent[0] / one:.0f} units, all {spent[1] / one:.0f} units; {clock:.0f} s in all; "
            f"followed: {', '.join(followed) or 'nothing'}; screened out: {len(found.screened)}"
        )


if __name__ == "__main__":
    main([Path(a) for a in sys.argv[1:]] or sorted((GARAGE / "findings").glob("*.toml")))
