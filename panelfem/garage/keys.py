"""The key reference of prepared files, from the schema: ``python -m panelfem.garage.keys > cases/PREPARED.md``."""

from __future__ import annotations

import sys
from inspect import cleandoc
from typing import get_origin

from panelfem.case.fields import Section
from panelfem.case.keys import tables_markdown
from panelfem.case.schema import CaseFile
from panelfem.case.walk import keys, sections_in
from panelfem.garage.schema_car import Car
from panelfem.garage.schema_circuit import Circuit
from panelfem.garage.schema_finding import Finding
from panelfem.garage.schema_kit import Kit
from panelfem.garage.schema_panel import PreparedPanel

_HEAD = """# Keys of prepared files and of a finding

Generated from the schema by `python -m panelfem.garage.keys > cases/PREPARED.md`; do not edit.

A library is a folder with `panels/`, `cars/`, `circuits/` and `kits/`; the name of a panel, car, circuit or kit is that
of its file without `.toml`. A finding names one of each and says what was found; together they make a case (its keys:
[KEYS.md](KEYS.md)). Numbers, units, uncertain numbers and messages are as in a case. `panelfem prepare LIBRARY` checks
all files as one and assesses every panel undamaged.

- Every kerb and wall of the circuit becomes a load at every exposure of the panel to it. Clearance at an exposure: the
  line through the ride heights at the axles, plus the height of the exposure. Interference: height + suspension travel
  − clearance; what never reaches the panel is left out, and said. Bands are carried along, all at their ends together.
  The travel of the axle that is down more counts everywhere; roll is left out.
- Stiffness of the car under an exposure: 1 / (a²/kf + b²/kr), a and b the shares of a force there on front and rear
  axle.
- A compression acts on every panel; one exposed to the road meets it at clearance − travel.
- Credit for a cure comes from the kit's table only: interpolated inside it, none outside.
- Minutes of an option are the sum of its steps. It is permitted as far as rule book and supplier both permit it.
"""

_FILES: tuple[tuple[str, type[Section]], ...] = (
    ("`panels/NAME.toml`", PreparedPanel),
    ("`cars/NAME.toml`", Car),
    ("`circuits/NAME.toml`", Circuit),
    ("`kits/NAME.toml`", Kit),
    ("A finding", Finding),
)


def prepared_markdown() -> str:
    """The whole reference, as Markdown.

    >>> "### `[[exposure]]`" in prepared_markdown()
    True
    """
    lines = [_HEAD]
    for title, root in _FILES:
        lines += [f"## {title}", "", _as_in_a_case(root), ""]
        lines += tables_markdown(root, CaseFile)
    return "\n".join(lines)


def _as_in_a_case(root: type[Section]) -> str:
    """Which sections of a file are those of a case, in a sentence."""
    if root is Finding:
        return cleandoc(root.__doc__ or "").split("\n\n")[1].replace("\n", " ")
    theirs = {key.owner for key in keys(CaseFile)}
    same = [
        f"`[[{name}]]`" if get_origin(info.annotation) is list else f"`[{name}]`"
        for name, info in root.model_fields.items()
        if set(sections_in(info.annotation)) <= theirs
    ]
    listed = ", ".join(same).replace("`[[limit]]`", "`[[limit]]` (as `limits` of a load)")
    return f"As in a case: {listed}." if same else "All its sections:"


if __name__ == "__main__":
    sys.stdout.write(prepared_markdown())
