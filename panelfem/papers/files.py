"""What papers are made for, and the folder they are written to."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from panelfem.assess.records import Assessment, Configuration
from panelfem.case import Case
from panelfem.errors import InputError
from panelfem.files import put
from panelfem.panel import Panel
from panelfem.repair import Option
from panelfem.report.folder import prepare

if TYPE_CHECKING:
    from panelfem.garage.records import Step

#: Lists the papers of a folder, so that those of an earlier option do not stay.
INDEX = "papers.json"
FORMAT = "panelfem-papers/1"
_OURS = re.compile(r"(work-card|sign-off)\.html|damage-grid(-full)?\.pdf|template-[a-z0-9-]+\.(svg|pdf)")
#: Letters of a name kept in the name of a file.
LONGEST = 60


@dataclass(frozen=True)
class Papers:
    """The option papers are made for, with what is known of it."""

    case: Case
    option: Option
    panel: Panel
    steps: tuple[Step, ...] = ()
    assessment: Assessment | None = None
    by: str = ""

    @property
    def found(self) -> Configuration | None:
        """What was found of the option; None if it was not assessed."""
        if self.assessment is None:
            return None
        return next(c for c in self.assessment.configurations if c.name == self.option.name)


def papers_of(
    case: Case, option: str, steps: Sequence[Step] = (), assessment: Assessment | None = None, by: str = ""
) -> Papers:
    """The papers' inputs, checked.

    Raises InputError for a part that protects people, an option the case does not offer, and an assessment that is not
    of this case or does not hold the option.
    """
    if case.panel is None:
        raise InputError(
            "this part protects people: no repair papers are made",
            where=case.file,
            do="refer to its manufacturer",
        )
    offered = {o.name: o for o in case.options}
    if option not in offered:
        names = ", ".join(offered) or "none: the case offers no option"
        raise InputError(f"no option is called {option!r}", where=case.file, allowed=names, do="name one of these")
    if assessment is not None:
        if assessment.case_hash != case.hash:
            raise InputError("the assessment is not of this case", where=case.file, do="assess it again")
        if option not in (c.name for c in assessment.configurations):
            raise InputError(f"the assessment has no option {option!r}", where=case.file, do="assess it again")
    return Papers(case, offered[option], case.panel, tuple(steps), assessment, by)


def file_names(names: Iterable[str]) -> tuple[str, ...]:
    """What stands for each name in the name of a file: small letters, digits and hyphens, no two the same.

    >>> file_names(["Strip patch", "../../etc/passwd", "Überzug", "漢字", "strip-patch", ""])
    ('strip-patch', 'etc-passwd', 'uberzug', 'patch', 'strip-patch-2', 'patch-2')
    """
    out: list[str] = []
    for name in names:
        plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
        stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:LONGEST].strip("-") or "patch"
        made, number = stem, 1
        while made in out:
            number += 1
            made = f"{stem}-{number}"
        out.append(made)
    return tuple(out)


def _earlier(folder: Path) -> tuple[str, ...] | None:
    """The papers an earlier run left in the folder; None if it left none."""
    try:
        found = json.loads((folder / INDEX).read_text(encoding="utf-8"))
        if found["format"] != FORMAT:
            return None
        return tuple(name for name in found["files"] if isinstance(name, str) and _OURS.fullmatch(name))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def ready(folder: Path) -> Path:
    """The folder, made if need be; raises InputError if it holds files that are not ours or cannot be written."""
    return folder if _earlier(folder) is not None else prepare(folder)


def keep(folder: Path, contents: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write the papers, and take away those of an earlier run that these do not replace; their paths.

    Raises InputError if the folder holds files that are not ours, or one cannot be written.
    """
    before = _earlier(folder) or ()
    index = {"format": FORMAT, "files": sorted(contents)}
    # the index comes first: it is what marks the folder as ours if a later file cannot be written
    put(ready(folder), INDEX, (json.dumps(index | {"files": sorted({*contents, *before})}, indent=1) + "\n").encode())
    paths = tuple(put(folder, name, content) for name, content in contents.items())
    for name in before:
        if name not in contents:
            try:
                (folder / name).unlink(missing_ok=True)
            except OSError as error:
                raise InputError(
                    f"an earlier {name} cannot be removed: {error.strerror or error}",
                    where=str(folder),
                    do="remove it by hand: it does not belong to these papers",
                ) from error
    put(folder, INDEX, (json.dumps(index, indent=1) + "\n").encode())
    return paths


def clear(folder: Path) -> None:
    """Take away the papers of an earlier run, if there are any, and the folder if nothing else is in it.

    Raises InputError if one stays.
    """
    if _earlier(folder) is None:
        return
    keep(folder, {})
    try:
        (folder / INDEX).unlink()
        if not any(folder.iterdir()):
            folder.rmdir()
    except OSError as error:
        raise InputError(
            f"an earlier {INDEX} cannot be removed: {error.strerror or error}",
            where=str(folder),
            do="remove it by hand",
        ) from error
