"""Write the whole report into a folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from panelfem.assess.records import Assessment, Declined
from panelfem.balance import Ballast
from panelfem.report import json_out
from panelfem.report.folder import clear, prepare, put


def write_early(found: Assessment, out_dir: str | Path, keep: tuple[str, ...] = ()) -> Path:
    """Write page one of a provisional assessment, with its ``result.json``, and return its path; :func:`write` then
    replaces it.  Raises InputError as that.
    """
    from panelfem.report import html, pictures

    folder = prepare(Path(out_dir))
    panel = pictures.panel_picture(found)
    contents = {
        "result.json": json_out.dumps(found).encode(),
        "panel.png": panel,
        "report.html": html.page_one(found, panel).encode(),
    }
    *_, page = (put(folder, name, content) for name, content in contents.items())
    clear(folder, (*contents, *keep))
    return page


def write(
    found: Assessment | Declined,
    out_dir: str | Path,
    keep: tuple[str, ...] = (),
    ballast: Mapping[str, Ballast] | None = None,
) -> tuple[Path, ...]:
    """Write ``result.json``, ``report.html`` and, for an assessment, ``fields.vtu`` and the PNGs; returns their paths.

    The folder is made if need be; an earlier result of this tool in it is replaced, but for the
    files named in `keep`.  `ballast`: the move that restores the car with a configuration on it, by its name; absent:
    no car is known.  Raises InputError if the folder holds anything else or cannot be written.
    """
    from panelfem.report import html

    folder = prepare(Path(out_dir))
    # result.json comes first: it is what marks the folder as ours if a later file cannot be written
    contents = {"result.json": json_out.dumps(found, ballast).encode()}
    if isinstance(found, Declined):
        contents["report.html"] = html.declined_page(found).encode()
    else:
        from panelfem.report import pictures, vtu

        panel, reserves = pictures.panel_picture(found), pictures.reserves_chart(found)
        deflected, repairs = pictures.deflected_picture(found), pictures.repairs_picture(found)
        contents["fields.vtu"] = vtu.content(found)
        contents["panel.png"], contents["reserves.png"] = panel, reserves
        if deflected is not None:
            contents["deflected.png"] = deflected
        if repairs is not None:
            contents["repairs.png"] = repairs
        contents["report.html"] = html.report(found, panel, deflected, repairs, ballast).encode()
    paths = tuple(put(folder, name, content) for name, content in contents.items())
    clear(folder, (*contents, *keep))
    return paths
