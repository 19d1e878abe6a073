"""Files written in whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from panelfem.errors import InputError


def put(folder: Path, name: str, content: bytes) -> Path:
    """Write one file beside its place under another name and move it there; returns its path.

    A full disk leaves no half file, and a link in the folder is replaced, never followed.  Raises InputError if it
    cannot be written (a full disk, a lost permission).
    """
    part = folder / f".{name}.part"
    try:
        part.unlink(missing_ok=True)
        with open(part, "xb") as stream:
            stream.write(content)
        os.replace(part, folder / name)
    except OSError as error:
        try:
            part.unlink(missing_ok=True)
        except OSError as second:
            error.add_note(f"{part} was left behind: {second}")
        raise InputError(
            f"cannot write {name}: {error.strerror or error}",
            where=str(folder),
            allowed="a disk with room (about 20 MB) that you may write to",
            do="make room or give another folder, and run again",
        ) from error
    return folder / name
