"""``panelfem finding``: from about ten answers to a report and the papers of the repair."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from panelfem.cli.console import visible
from panelfem.cli.form import NOBODY, Talk, checked, fill
from panelfem.cli.parser import OF_DAMAGE
from panelfem.errors import InputError
from panelfem.report.folder import CASE, FINDING, FINDING_HEAD

if TYPE_CHECKING:
    from panelfem.assess.records import Assessment, Declined
    from panelfem.balance import Ballast
    from panelfem.case import Case
    from panelfem.garage import Composed, Library
    from panelfem.garage.schema_car import Car
    from panelfem.log import Log

_HEAD = ("panel", "car", "circuit", "kit")


def run(chosen: Namespace) -> int:
    """Ask, write the finding and the case, assess, report, and print the table and the sentence."""
    from panelfem.garage import Library, compose

    talk = Talk()
    library = Library.open(chosen.library)
    with _prepared(chosen.out) as folder:
        text = _from_file(chosen) if chosen.finding is not None else _from_form(library, chosen, talk)
        _keep(folder, text, talk)
    try:
        # from where it is, so that the files it names are found beside it
        composed = compose(library, chosen.finding or folder / FINDING)
        file = composed.write(folder)
        return _assess(chosen, library, composed, file, folder, text)
    except BaseException:
        talk.say(f"The finding is kept in {visible(str(folder / FINDING))}; --from takes it up again.")
        raise


@contextmanager
def _prepared(out: Path) -> Iterator[Path]:
    """The folder, found fit before anybody answers; taken away again if nothing comes of it."""
    from panelfem.report.folder import prepare

    made = [path for path in (out, *out.parents) if not path.exists()]
    try:
        yield prepare(out)
    except BaseException:
        for path in made:
            try:
                path.rmdir()
            except OSError:
                break
        raise


def _from_file(chosen: Namespace) -> str:
    """A finding file as it stands; the composition checks it."""
    given = [f"--{key}" for key in (*_HEAD, "minutes", "by", "title") if getattr(chosen, key) is not None]
    given += ["--damage"] if chosen.damages else []
    if given:
        raise InputError(f"{given[0]} contradicts --from", where=given[0],
                         do="change it in the file, or leave --from out")  # fmt: skip
    from panelfem.case.read import read

    read(chosen.finding)
    text: str = chosen.finding.read_bytes().decode("utf-8")
    return text if text.startswith(FINDING_HEAD) else f"{FINDING_HEAD}\n{text}"


def _from_form(library: Library, chosen: Namespace, talk: Talk) -> str:
    """The finding file of the answers."""
    from panelfem.cli.finding_form import Form, damages, summary
    from panelfem.garage.toml import toml_text

    given = _given(chosen)
    values = fill(Form(library, given, named=chosen.log is not None), given, talk, chosen.yes)
    _all_used(given, values)
    talk.say(summary(values))
    _say_undamaged(library, values, talk)
    head: dict[str, Any] = {key: values[key] for key in _HEAD}
    if values["minutes"] is not None:
        head["minutes_left"] = values["minutes"]
    head["who"] = values["who"]
    if chosen.title is not None:
        head["title"] = checked(chosen.title)
    spatial = library.panels[values["panel"]].panel.mesh is not None
    return toml_text({"finding": head, "damage": damages(values, spatial)}, {}, FINDING_HEAD.removeprefix("# "))


def _say_undamaged(library: Library, values: Mapping[str, Any], talk: Talk) -> None:
    """What the panel is worth undamaged, if that was assessed before and no input has changed since."""
    from panelfem.garage.undamaged import cached

    if (known := cached(library, values["panel"], values["car"], values["circuit"])) is not None:
        talk.say(f"Undamaged, as assessed before: {known.outcome}. {known.reason}.")


def _given(chosen: Namespace) -> Mapping[str, str]:
    """The answers that flags give, by the keys of the questions."""
    given = {key: getattr(chosen, key) for key in (*_HEAD, "minutes")}
    given["who"] = chosen.by
    groups = chosen.damages or ()
    for i, group in enumerate(groups):
        given |= {f"{i}.{key}": text for key, text in group.items()}
        given[f"{i}.more"] = "yes" if i + 1 < len(groups) else "no"
    return {key: text for key, text in given.items() if text is not None}


def _all_used(given: Mapping[str, str], values: Mapping[str, Any]) -> None:
    """Raises InputError for a flag that answers no question: it was meant for something."""
    for key in given:
        if key not in values:
            i, _, what = key.partition(".")
            flag = OF_DAMAGE[what]
            kind = values[f"{i}.kind"]
            raise InputError(
                f"{flag} says nothing about damage {int(i) + 1}, {kind}",
                where=flag,
                do="leave it out, or mend --damage",
            )


def _keep(folder: Path, text: str, talk: Talk) -> None:
    """Write the finding; what cannot be written is shown, so that no answer is lost."""
    from panelfem.report.folder import put

    try:
        put(folder, FINDING, text.encode("utf-8"))
    except InputError:
        talk.say(f"The finding could not be written. Here it is:\n{text}")
        raise


def _assess(chosen: Namespace, library: Library, composed: Composed, file: Path, folder: Path, text: str) -> int:
    """Assess, report, write the papers, enter in the log, and print the table and the sentence."""
    from panelfem.cli.assess import PAPERS, assessed, show_found, show_path
    from panelfem.cli.console import stages

    with _opened(chosen, composed.who) as log:
        with stages(chosen.quiet) as tell:
            balance = partial(_ballast, car=library.cars[composed.car], panel=composed.panel)
            case, found, paths = assessed(file, folder, tell, (FINDING, CASE), balance)
        show_found(found, balance(found))
        show_path("Report:", paths[-1])
        if log is not None:
            from panelfem.log import Finding

            known = Finding(case.title, document=text)
            entry = log.record(found, who=composed.who, panel=chosen.part, finding=known)
            show_path(f"Log: entry {entry} in", chosen.log)
        if _papers(case, found, composed, folder / PAPERS):
            show_path("Papers, to print at 100 %:", folder / PAPERS)
    return 0


def _ballast(found: Assessment | Declined, car: Car, panel: str) -> dict[str, Ballast]:
    """The ballast move that makes up for each configuration, against the panel whole, by its name."""
    from panelfem.assess.records import Declined
    from panelfem.garage.rebalance import rebalanced

    if isinstance(found, Declined):
        return {}
    whole, *_ = (c for c in found.configurations if c.kind == "undamaged")
    moves = ((c.name, rebalanced(car, panel, whole, c)) for c in found.configurations)
    return {name: move for name, move in moves if move is not None}


def _papers(case: Case, found: Assessment | Declined, composed: Composed, folder: Path) -> tuple[Path, ...]:
    """The papers of the recommended option; none if nothing is to be done."""
    from panelfem import papers
    from panelfem.assess.records import Declined

    option = None if isinstance(found, Declined) else found.recommendation
    if isinstance(found, Declined) or option is None or option not in [o.name for o in case.options]:
        return ()
    return papers.write(case, option, folder, steps=composed.steps[option], assessment=found, by=composed.who)


def _opened(chosen: Namespace, who: str) -> AbstractContextManager[Log | None]:
    """The log that was asked for, found fit to be written before minutes are spent."""
    from panelfem.cli.entered import opened

    chosen.by = None if chosen.log is None or who == NOBODY else who
    return opened(chosen)
