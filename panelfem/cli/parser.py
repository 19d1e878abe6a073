"""The commands and their options."""

from __future__ import annotations

import argparse
import math
from pathlib import Path

from panelfem import __version__

_NOTE = (
    "Advice to a competent person, never a release: the rule book, the supplier's manual and the scrutineers come "
    "first."
)


def build_parser() -> argparse.ArgumentParser:
    """The parser of ``panelfem``; each command stores the name of its module as `command`."""
    parser = argparse.ArgumentParser(
        prog="panelfem",
        description="Can a damaged composite body panel race: as it is or repaired, by what margin, and why.",
        epilog=_NOTE,
    )
    parser.add_argument("--version", action="version", version=f"panelfem {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    _assess(commands)
    _finding(commands)
    _prepare(commands)
    _laminate(commands)
    _materials(commands)
    _papers(commands)
    _smallest(commands)
    _log(commands)
    _ballast(commands)
    _wear(commands)
    _layup(commands)
    _stiffness(commands)
    _experience(commands)
    _verify(commands)
    return parser


def _assess(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "assess",
        help="assess a case file and write the report",
        description="Assess a panel undamaged, as found and with each repair, under every load of a case file.",
        epilog="Exit code 0: assessed or declined; 2: the case, the folder or the disk is at fault. " + _NOTE,
    )
    p.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    p.add_argument(
        "--out", metavar="DIR", type=Path, required=True, help="folder for the report: new, empty, or one of ours"
    )
    p.add_argument("--quiet", action="store_true", help="no progress; the sentence and the table only")
    log_options(p)
    p.set_defaults(command="assess")


#: What is said of one damage, by the key of its question.
OF_DAMAGE = {
    "kind": "--damage",
    "place": "--at",
    "size": "--size",
    "direction": "--direction",
    "tolerance": "--tolerance",
    "ply": "--after-ply",
    "fixing": "--fixing",
}
_SAID_OF_DAMAGE = {
    "kind": ("KIND", "hole, dull area, delamination, fixing gone, edge notch or heat; again for the next"),
    "place": ("PLACE", 'its middle: "210, 95" mm, "60 from F3, 85 from F5", "60 from F3, 25 from edge"'),
    "size": ("SIZE", 'in mm: "40", "60 x 12", "60 x 12 at 30"'),
    "direction": ("WAY", 'of its length: degrees from x, or "towards F3"'),
    "tolerance": ("MM", "of its border, mm"),
    "ply": ("N", "of a delamination: after which ply"),
    "fixing": ("NAME", "which fixing is gone"),
}


class _OfDamage(argparse.Action):
    """Keeps together what is said of one damage, in `damages`: each ``--damage`` begins one."""

    def __call__(
        self, parser: argparse.ArgumentParser, chosen: argparse.Namespace, value: object, option: str | None = None
    ) -> None:
        groups = [dict(group) for group in chosen.damages or ()]
        if not groups or (self.dest == "kind" and "kind" in groups[-1]):
            groups.append({})
        if self.dest in groups[-1]:
            parser.error(f"argument {option}: given twice for one damage; begin each damage with --damage")
        groups[-1][self.dest] = value
        chosen.damages = groups


def _finding(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "finding",
        help="about ten answers: damage on a prepared panel, assessed at once, with the papers",
        description="Ask what was found on a prepared panel, assess it at once, and write report and papers. What a "
        "flag says is not asked.",
        epilog='Example: panelfem finding garage --out out --panel lid --damage hole --at "60 from F3, 85 from F5" '
        "--size 40 --minutes 80. Ctrl-C while it asks leaves nothing behind. " + _NOTE,
    )
    p.add_argument("library", metavar="LIBRARY", type=Path, help="folder with panels, cars, circuits and kits")
    p.add_argument(
        "--out", metavar="DIR", type=Path, required=True, help="folder for all files: new, empty, or one of ours"
    )
    p.add_argument("--from", dest="finding", metavar="FILE", type=Path, help="take up a finding file; nothing is asked")
    for name in ("panel", "car", "circuit", "kit"):
        p.add_argument(f"--{name}", metavar="NAME", help=f"which {name} of the library")
    for dest, (metavar, text) in _SAID_OF_DAMAGE.items():
        option = OF_DAMAGE[dest]
        p.add_argument(option, dest=dest, metavar=metavar, action=_OfDamage, default=argparse.SUPPRESS, help=text)
    p.add_argument("--minutes", metavar="MIN", help='minutes left, or "no clock"')
    p.add_argument("--by", metavar="WHO", help="who found it")
    p.add_argument(
        "--log", metavar="FILE", type=Path, help="also enter finding and assessment in this log (made if need be)"
    )
    p.add_argument(
        "--part", metavar="NAME", help="the part's own name or number in the log (default: the panel's name)"
    )
    p.add_argument("--title", metavar="TEXT", help="one line on the report (default: the panel and its damage)")
    p.add_argument("--yes", action="store_true", help="take the defaults for the rest; place and size have none")
    p.add_argument("--quiet", action="store_true", help="no progress; the sentence and the table only")
    p.set_defaults(command="finding", damages=None)


def _prepare(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "prepare",
        help="check a library of prepared files and assess its panels undamaged",
        description="Check all panels, cars, circuits and kits of a library, and assess each panel undamaged under the "
        "loads of every circuit it may meet. What is up to date is kept.",
        epilog="It writes LIBRARY/prepared/PANEL--CAR--CIRCUIT.json. Exit code 2: a file, the folder or the disk is at "
        "fault. " + _NOTE,
    )
    p.add_argument("library", metavar="LIBRARY", type=Path, help="folder with panels, cars, circuits and kits")
    p.add_argument("--panel", metavar="NAME", help="only this panel")
    p.add_argument("--quiet", action="store_true", help="no progress; the table only")
    p.set_defaults(command="prepare")


def _laminate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "laminate",
        help="stiffness, engineering constants, ply stresses and reserves of stacks; a page that compares them",
        description="A, B, D, shear stiffness, engineering constants; under a load, ply stresses and reserves. With "
        "--lesson, a page of pictures that compares up to four stacks: stiffness by direction, coupling, ply stresses, "
        "envelopes, first to last ply, and what a plate does under a strike.",
        epilog='Example: panelfem laminate "[0/45/-45/90]s" "[0/90]2s" --material carbon-ud --load 200 0 0 0 0 0 '
        "--lesson out/lesson",
    )
    p.add_argument(
        "stacks", metavar="STACK", nargs="+", help='stacking sequence, bottom first, e.g. "[0/45/-45/90]s"; one or more'
    )
    source = p.add_mutually_exclusive_group()
    source.add_argument(
        "--material", metavar="NAME", help="material of plies given by an angle (see: panelfem materials)"
    )
    source.add_argument("--case", metavar="CASE.toml", type=Path, help="take the materials from a case file")
    p.add_argument("--thickness", metavar="MM", type=positive, help="its ply thickness in mm (default: nominal)")
    p.add_argument(
        "--load",
        metavar=("NX", "NY", "NXY", "MX", "MY", "MXY"),
        nargs=6,
        type=finite,
        help="resultants: NX NY NXY in N/mm, MX MY MXY in N (N·mm per mm); positive: tension, and tension on top",
    )
    p.add_argument(
        "--change",
        metavar="K",
        type=finite,
        default=0.0,
        help="temperature minus stress-free temperature in K (default 0): its stress is held, the load scaled",
    )
    p.add_argument(
        "--in-situ",
        action="store_true",
        help="judge plies held between other directions by their strength in the laminate (Camanho et al. 2006)",
    )
    p.add_argument(
        "--lesson",
        metavar="DIR",
        type=Path,
        help="write lesson.html into this folder (new, empty or with an earlier one), without a load under Nx 100 N/mm",
    )
    push = p.add_mutually_exclusive_group()
    push.add_argument(
        "--strike",
        metavar="MM",
        type=positive,
        help="with --lesson: also push a rigid half-round so far into a plate of each stack (some seconds each)",
    )
    push.add_argument("--strike-force", metavar="N", type=positive, help="likewise, pushed with this force")
    p.add_argument("--plate", metavar="MMxMM", default="300x200", help="length and width of that plate (300x200)")
    p.add_argument("--ends", choices=("hinged", "clamped"), default="hinged", help="how its two ends are held (hinged)")
    p.add_argument("--kerb-radius", metavar="MM", type=positive, default=80.0, help="radius of the half-round (80)")
    p.set_defaults(command="laminate")


def _materials(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "materials",
        help="the built-in materials, with basis and source of every number",
        description="The built-in materials, with unit, basis and source of every number.",
    )
    p.add_argument("name", metavar="NAME", nargs="?", help="one material in full (default: all, in short)")
    p.set_defaults(command="materials")


def log_options(p: argparse.ArgumentParser) -> None:
    """Options of a command that assesses, read by :func:`panelfem.cli.entered.opened`."""
    p.add_argument("--log", metavar="FILE", type=Path, help="also enter the assessment in this log (made if need be)")
    p.add_argument("--by", metavar="WHO", help="who assesses, for the log; needed with --log")
    p.add_argument(
        "--part", metavar="NAME", help="the part's own name or number in the log (default: the panel's name)"
    )


def _log(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "log",
        help="what happened to each panel, and who decided what",
        description="The panels in a log; with PANEL, its life; with --add, one more entry. Entries are never changed.",
        epilog='Example: panelfem log --log team.log "floor corner" --add strike --by "A. N." --words "exit kerb"',
    )
    p.add_argument("--log", metavar="FILE", type=Path, required=True, help="the log; --add makes it if need be")
    p.add_argument("panel", metavar="PANEL", nargs="?", help="show the life of this panel (default: list all)")
    p.add_argument(
        "--add", choices=("strike", "repair", "mass", "decision", "note"), help="enter this; needs PANEL and --by"
    )
    p.add_argument("--by", metavar="WHO", help="who enters, or decided")
    p.add_argument("--words", metavar="TEXT", help="what happened, where, on which lap; what was decided")
    p.add_argument("--at", metavar="TIME", help="when, with its zone, such as 2031-05-04T14:20Z (default: now)")
    p.add_argument("--about", metavar="ENTRY", type=int, help="number of the entry this one is about")
    p.add_argument("--grams", metavar="G", type=finite, help="mass: what the panel weighs; repair: what it added")
    p.add_argument("--survived", choices=("yes", "no"), help="strike: whether the panel was found undamaged after it")
    p.add_argument("--new", action="store_true", help="begin a panel that the log does not know")
    p.set_defaults(command="log")


def _papers(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "papers",
        help="work card, 1:1 templates, damage map and sign-off sheet of one option",
        description="Write what one repair option of a case needs on paper: work card, 1:1 templates of its patches, a "
        "blank damage map and a sign-off sheet. Nothing is assessed.",
        epilog="Print at 100 % and measure the 100 mm bar before cutting. " + _NOTE,
    )
    p.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    p.add_argument("--option", metavar="NAME", required=True, help="an option of the case, by its name")
    p.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder: new, empty, or one of ours")
    p.add_argument("--by", metavar="WHO", default="", help="who prepares the papers")
    p.add_argument("--full-grid", action="store_true", help="also the damage map at 1:1, over sheets of A4")
    p.add_argument("--quiet", action="store_true", help="no progress")
    p.set_defaults(command="papers")


def _smallest(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "smallest",
        help="the lightest and the quickest bonded repair that meets the factor, in place of an option's",
        description="Search over plies, their angles and the size (overlap, scarf ratio or step) for the lightest and "
        "the quickest repair that meets the factor asked for in all loads, then assess it in full beside the options "
        "of the case.",
        epilog="It writes the report, smallest.json and trade.png. Exit code 0: searched, whatever was found; 2: the "
        "case, the folder or the disk is at fault. " + _NOTE,
    )
    p.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    p.add_argument(
        "--option", metavar="NAME", required=True,
        help="an option with one patch, two-sided patch, doubler, scarf or stepped patch over a damage",
    )  # fmt: skip
    p.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder: new, empty, or one of ours")
    for flag, unit, what in (
        ("--overlaps", "MM", "overlaps a patch or doubler is cut to (default: 20 30 40 60)"),
        ("--scarf-ratios", "N", "n of the scarfs of 1:n that are ground (default: 15 20 30 40 50)"),
        ("--steps", "MM", "lengths of the steps that are cut (default: 6 10 15 20)"),
    ):
        p.add_argument(flag, metavar=unit, type=positive, nargs="+", help=what)
    p.add_argument(
        "--most-plies", metavar="N", type=int, choices=range(1, 41),
        help="up to 40 (default: 8; of plies let in, two more than they replace)",
    )  # fmt: skip
    p.add_argument(
        "--ply-minutes", metavar="MIN", type=positive, default=3.0,
        help="minutes one more ply takes on each face, none of a doubler (default: 3, common practice, no source)",
    )  # fmt: skip
    p.add_argument(
        "--taper-minutes", metavar="MIN", type=positive, default=4.0,
        help="minutes 10 mm more of a scarf or of steps take (default: 4, common practice, no source)",
    )  # fmt: skip
    p.add_argument("--quiet", action="store_true", help="no progress; the result only")
    p.set_defaults(command="smallest")


def _ballast(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "ballast",
        help="the ballast move that restores the car's mass and balance after something was added",
        description="Find the least ballast to move at the car's stations so that mass, front share and side are as "
        "before; where their limits do not allow that, the nearest to it, the rest and what stops it.",
        epilog="Example: panelfem ballast car.toml --added 120 --at 2500 600 50. Exit code 0: found, or told why not; "
        "2: the file or the options are at fault.",
    )
    p.add_argument("car", metavar="CAR.toml", type=Path, help="the car file of a prepared library")
    p.add_argument(
        "--added", metavar="GRAMS", type=finite, action="append", required=True,
        help="mass added, below 0 for what was cut out; may be given again, each with its --at",
    )  # fmt: skip
    p.add_argument(
        "--at", metavar=("X", "Y", "Z"), nargs=3, type=finite, action="append", required=True,
        help="where, in mm: x rearward, y to the right, z up, in the axes of the car",
    )  # fmt: skip
    p.add_argument("--panel", metavar="NAME", help="--at is in the frame of this panel, which the car carries")
    p.set_defaults(command="ballast")


def _wear(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "wear",
        help="the skid block at the finish and movable bodywork, against the limits of your rule book",
        description="Forecast the thickness of the skid block at the finish; judge the position of movable bodywork.",
        epilog="Example: panelfem wear cases/wear/skid_block.toml. Exit code 0: judged, whatever the outcome; 2: the "
        "file is at fault. " + _NOTE,
    )
    p.add_argument("file", metavar="FILE.toml", type=Path, help="readings, gauge and limits")
    p.set_defaults(command="wear")


def _layup(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "layup",
        help="which layups fit what was weighed, measured and bent of a panel nobody has papers for",
        description="Weigh every stack of candidate plies, angles and cores by how well it fits mass, area, thickness, "
        "weave, cut edge and deflection under a known weight; print the set that fits and the spread it leaves.",
        epilog="Exit code 0: told, also if nothing fits; 2: the file is at fault. " + _NOTE,
    )
    p.add_argument("file", metavar="FILE.toml", type=Path, help="what was measured, and the candidates")
    p.add_argument("--quiet", action="store_true", help="no progress; the result only")
    p.set_defaults(command="layup")


def _stiffness(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "stiffness",
        help="dial-gauge readings under weights against the panel undamaged, as found and repaired",
        description="Find from dial-gauge readings under weights how large the damage is and how stiff skin and "
        "fixings are, which state of the panel they fit, and what they cannot tell.",
        epilog="Exit code 0: told, whatever it is; 2: a file is at fault. " + _NOTE,
    )
    p.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    p.add_argument(
        "readings", metavar="READINGS.toml", type=Path, help="gauges, weights, readings, what is known before"
    )
    p.add_argument("--quiet", action="store_true", help="no progress; the result only")
    p.set_defaults(command="stiffness")


def _experience(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "experience",
        help="strikes of one kind survived before, as evidence on the next",
        description="Update a reserve factor that is not known well by strikes of the same kind that the same panel "
        "survived undamaged, none lost.",
        epilog="Example: panelfem experience --reserve 1.2 --uncertainty 25 --scatter 15 --survived 6. " + _NOTE,
    )
    p.add_argument("--reserve", metavar="RF", type=positive, required=True, help="reserve factor as computed")
    p.add_argument(
        "--uncertainty", metavar="PERCENT", type=positive, required=True,
        help="standard deviation of what it is really (strength, model), the same in every strike",
    )  # fmt: skip
    p.add_argument(
        "--scatter", metavar="PERCENT", type=positive, required=True,
        help="standard deviation of how hard strikes of this kind are",
    )  # fmt: skip
    p.add_argument(
        "--survived", metavar="N", type=int, required=True, help="strikes survived, found undamaged after each"
    )
    p.set_defaults(command="experience")


def _verify(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    p = commands.add_parser(
        "verify",
        help="run every check against published values and independent solutions",
        description="Print every check: source, printed value, reference, ours with its error bar, true error.",
        epilog="Exit code 1 if a check fails, or if the bars hold too seldom or are too wide. " + _NOTE,
    )
    p.add_argument("--topic", metavar="TOPIC", action="append", help="only this group of checks (may be given again)")
    p.add_argument("--full", action="store_true", help="every problem of the test of the error bars, a third otherwise")
    p.add_argument("--page", metavar="FILE.md", type=Path, help="also write the checks as a page: this file, no other")
    p.set_defaults(command="verify")


def finite(text: str) -> float:
    """A finite number.

    >>> finite("1e3")
    1000.0
    """
    try:
        value = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a number") from None
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"'{text}' is not a finite number")
    return value


def positive(text: str) -> float:
    """A finite number above 0."""
    value = finite(text)
    if value <= 0:
        raise argparse.ArgumentTypeError(f"{text} is not above 0")
    return value
