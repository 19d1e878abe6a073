"""The output folder: made if it is not there, taken only if it is empty or holds a result of ours.

Every file is written beside its place under another name and then moved there, so a full disk leaves no half file,
and a link in the folder is replaced, never followed.
"""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path

from panelfem.errors import InputError
from panelfem.files import put as put_whole

#: What every version of the format begins with: a folder of an earlier one is ours too.
_NAME = "panelfem-result/"
FORMAT = f"{_NAME}3"
#: What a finding leaves in the folder before it is assessed, and how its file begins.
FINDING, CASE = "finding.toml", "case.toml"
FINDING_HEAD = "# Finding for panelfem"
#: Everything a report may leave in its folder.
NAMES = (
    "result.json",
    "fields.vtu",
    "panel.png",
    "repairs.png",
    "reserves.png",
    "deflected.png",
    "report.html",
    "smallest.json",
    "trade.png",
)


def is_ours(folder: Path) -> bool:
    """True if the folder holds a ``result.json`` of this format, of whatever version, or a finding of ours."""
    try:
        if (folder / FINDING).is_file() and (folder / FINDING).read_bytes().startswith(FINDING_HEAD.encode()):
            return True
        found = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(found, dict) and str(found.get("format")).startswith(_NAME)


def prepare(folder: Path, option: str = "--out") -> Path:
    """The folder, made if need be; `option` is what named it.

    Raises InputError if it is a file, cannot be written, or holds files that are not a result of ours.
    """
    where = str(folder)
    if folder.exists() and not folder.is_dir():
        raise InputError(
            "the output folder is a file", where=where, allowed="a folder", do=f"give another name to {option}"
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        entries = os.listdir(folder)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise InputError(
            f"cannot write to the output folder: {error.strerror or error}",
            where=where,
            allowed="a folder you may write to, on a disk with room",
            do=f"give another folder to {option}",
        ) from error
    if entries and not is_ours(folder):
        raise InputError(
            "the output folder holds files that are not a result of this tool",
            where=where,
            allowed="an empty or new folder, or one with an earlier result.json or finding.toml of this tool",
            do=f"give another folder to {option}",
        )
    return folder


def put(folder: Path, name: str, content: bytes) -> Path:
    """Write one file of the report in whole, or not at all.

    Raises InputError if it cannot be written (a full disk, a lost permission).
    """
    if name not in (*NAMES, FINDING, CASE):
        raise ValueError(f"{name} is not a file of the report")
    return put_whole(folder, name, content)


def clear(folder: Path, keep: tuple[str, ...]) -> None:
    """Take away the files of an earlier result that this one does not have.  Raises InputError if one stays."""
    for name in (*NAMES, FINDING, CASE):
        if name not in keep:
            try:
                (folder / name).unlink(missing_ok=True)
            except OSError as error:
                raise InputError(
                    f"an earlier {name} cannot be removed: {error.strerror or error}",
                    where=str(folder),
                    do="remove it by hand: it does not belong to this result",
                ) from error
