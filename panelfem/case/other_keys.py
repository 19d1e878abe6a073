"""The key reference of the files that are no cases: ``python -m panelfem.case.other_keys > cases/OTHER_FILES.md``."""

from __future__ import annotations

import sys

from panelfem.case.fields import Section
from panelfem.case.keys import tables_markdown
from panelfem.case.schema import CaseFile
from panelfem.case.schema_layup import LayupFile
from panelfem.case.schema_stiffness import ReadingsFile
from panelfem.case.schema_wear import WearFile

_HEAD = """# Keys of readings, layup and wear files

Generated from the schema by `python -m panelfem.case.other_keys > cases/OTHER_FILES.md`; do not edit.

Numbers, units and messages are as in a case (its keys: [KEYS.md](KEYS.md)). Unknown keys are refused.
"""
#: Command, what is given to it, an example in the folder of the page, and the file's schema.
_FILES: tuple[tuple[str, str, str, type[Section]], ...] = (
    ("`panelfem wear WEAR.toml`", "Skid block and movable bodywork", "wear/skid_block.toml", WearFile),
    ("`panelfem layup LAYUP.toml`", "A panel without papers", "knowledge/lid_layup.toml", LayupFile),
    (
        "`panelfem stiffness CASE.toml READINGS.toml`",
        "Dial gauges under weights",
        "knowledge/plate_readings.toml",
        ReadingsFile,
    ),
)


def other_markdown() -> str:
    """The whole reference, as Markdown.

    >>> "### `[rules]`" in other_markdown()
    True
    """
    lines = [_HEAD]
    for command, title, example, root in _FILES:
        lines += [f"## {title}", "", f"For {command}; an example: [{example}]({example}).", ""]
        lines += tables_markdown(root, CaseFile)
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(other_markdown())
