"""Write all papers of an option into a folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from panelfem.assess.records import Assessment
from panelfem.case import Case
from panelfem.damage import AreaDamage
from panelfem.papers.files import Papers, file_names, keep, papers_of, ready
from panelfem.papers.template import Template, patch_template, scarf_template
from panelfem.repair import Bonded, ScarfRepair

if TYPE_CHECKING:
    from panelfem.garage.records import Step


def write(
    case: Case,
    option: str,
    folder: Path,
    *,
    steps: Sequence[Step] = (),
    assessment: Assessment | None = None,
    by: str = "",
    full_grid: bool = False,
) -> tuple[Path, ...]:
    """Write work card, templates, damage map and sign-off sheet of an option; returns their paths.

    `full_grid`: also the damage map at 1:1, tiled.  The folder is made if need be; the papers of an earlier run in it
    are replaced.  Raises InputError as :func:`panelfem.papers.files.papers_of`, and if the folder holds files that are
    not ours or cannot be written.
    """
    from panelfem.papers.card import work_card
    from panelfem.papers.grid import damage_grid
    from panelfem.papers.pdf import pdf
    from panelfem.papers.signoff import sign_off
    from panelfem.papers.svg import svg

    papers = papers_of(case, option, steps, assessment, by)
    ready(folder)
    made = templates(papers)
    contents = {"work-card.html": work_card(papers, made)}
    for stem, template in made.items():
        contents[f"{stem}.svg"], contents[f"{stem}.pdf"] = svg(template.drawing), pdf(template.drawing)
    contents["damage-grid.pdf"] = pdf(damage_grid(papers.panel))
    if full_grid:
        contents["damage-grid-full.pdf"] = pdf(damage_grid(papers.panel, full=True))
    contents["sign-off.html"] = sign_off(papers)
    return keep(folder, contents)


def templates(papers: Papers) -> dict[str, Template]:
    """The template of each patch of the option, by the stem of its files."""
    patches = [action for action in papers.option.actions if isinstance(action, Bonded)]
    out: dict[str, Template] = {}
    for patch, name in zip(patches, file_names(p.name for p in patches), strict=True):
        about = [f"{papers.case.title}. Option: {papers.option.name}."]
        if papers.case.invented:
            about.append("Invented scenario: made up for demonstration.")
        if isinstance(patch, ScarfRepair):
            out[f"template-{name}"] = scarf_template(
                papers.panel, patch.region, patch.laminate, patch.side, patch.slope,
                f"Template 1:1, patch {patch.name!r}", about, step=patch.step,
            )  # fmt: skip
            continue
        damage = [
            (found.region, f"cut out {found.name}" if found.region == patch.cut_out else f"damage {found.name}")
            for found in papers.case.damage
            if isinstance(found, AreaDamage)
        ]
        out[f"template-{name}"] = patch_template(
            papers.panel, patch.region, patch.laminate, patch.side, f"Template 1:1, patch {patch.name!r}", about, damage
        )
    return out
