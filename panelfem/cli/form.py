"""Questions asked line by line: a default, a check, help with ``?``, the way back with ``<``.

Plain lines on stderr and from stdin, so that a terminal, a pipe and a screen reader get the same.  What was given by a
flag is not asked.  Nothing is written here.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, TextIO

from panelfem.errors import InputError

BACK, HELP = "<", "?"
HOW = "One answer a line. Enter takes the [default], ? explains, < goes back, Ctrl-C leaves and writes nothing."
#: Longest answer taken, in characters (a choice).
LONGEST = 500

#: Stands for a name that was not given.
NOBODY = "not stated"

Values = dict[str, Any]


@dataclass(frozen=True)
class Question:
    """One question.  `key` names the answer, `flag` gives it on the command line.

    `read` turns a line into the value and raises InputError; `default` is a line too, None if there is none, and only
    `seen`: taken where somebody sees it, never by ``--yes``.  `told` says how the answer was understood.
    """

    key: str
    flag: str
    ask: str
    help: str
    read: Callable[[str], Any]
    default: str | None = None
    seen: bool = False
    choices: tuple[str, ...] = ()
    told: Callable[[Any], str] | None = None


#: The next question given the answers so far, None when there is none.
Next = Callable[[Values], Question | None]


class Talk:
    """Says and hears lines.  `live`: somebody can answer again after a mistake; a script cannot."""

    def __init__(self, heard: TextIO | None = None, said: TextIO | None = None, live: bool | None = None) -> None:
        self._heard, self._said = heard or sys.stdin, said or sys.stderr
        self.live = self._heard.isatty() if live is None else live
        self.answers = 0

    def say(self, text: str, end: str = "\n") -> None:
        """Print at once; characters that the terminal cannot show are replaced."""
        encoding = getattr(self._said, "encoding", None) or "utf-8"
        self._said.write(text.encode(encoding, "replace").decode(encoding) + end)
        self._said.flush()

    def line(self) -> str | None:
        """The next line without its end, None at the end of input; InputError if it is no plain text."""
        try:
            line = self._heard.readline(LONGEST + 2)
        except UnicodeDecodeError as error:
            raise InputError("an answer is not text", where="stdin", allowed="UTF-8") from error
        if not line:
            return None
        text = line.strip()
        if len(line) > LONGEST + 1:
            while line and not line.endswith("\n"):
                line = self._heard.readline(LONGEST)
            raise InputError("an answer is too long", where="stdin", allowed=f"up to {LONGEST} characters")
        checked(text)
        if not self.live:
            self.say(text)
        return text


def checked(text: str) -> str:
    """The text; InputError if it has characters that are not printed."""
    odd = next((c for c in text if not c.isprintable()), None)
    if odd is not None:
        raise InputError(f"the answer holds the character {odd!a}", allowed="letters, figures and signs",
                         do="type it again")  # fmt: skip
    return text


def fill(following: Next, given: Mapping[str, str], talk: Talk, yes: bool = False) -> Values:
    """The values of all questions, in the order asked.

    Raises InputError for a flag that cannot be read, a missing answer at the end of input, and, where nobody can
    answer again, a wrong answer.
    """
    values: Values = {}
    asked: list[str] = []
    before: dict[str, str] = {}
    while (question := following(values)) is not None:
        if (text := given.get(question.key)) is not None:
            values[question.key] = _flagged(question, text)
        elif yes:
            values[question.key] = _default(question)
            talk.say(f"{question.ask}: {question.default} (default)")
        else:
            if not talk.answers:
                talk.say(HOW)
            text = _asked(question, before.get(question.key), talk, len(asked) + 1)
            if text == BACK:
                _back(values, asked, talk)
                continue
            values[question.key] = question.read(text)
            before[question.key] = text
            asked.append(question.key)
        if question.told is not None and (told := question.told(values[question.key])):
            talk.say(f"   {told}")
    return values


def _flagged(question: Question, text: str) -> Any:
    try:
        return question.read(checked(text.strip()))
    except InputError as error:
        where = f"{question.flag} {text!r}" if text.isprintable() else question.flag
        raise InputError(error.what, where=where, allowed=error.allowed, do=error.do) from error


def _default(question: Question) -> Any:
    if question.default is None or question.seen:
        raise InputError(
            f"there is no answer to '{question.ask.lower()}', and no default that --yes may take unseen",
            where=question.flag, allowed=", ".join(question.choices), do=f"give {question.flag}",
        )  # fmt: skip
    return question.read(question.default)


def _back(values: Values, asked: list[str], talk: Talk) -> None:
    """Forget the last answer that was asked for, and all that came after it."""
    if not asked:
        talk.say("This is the first question.")
        return
    last = asked.pop()
    keys = list(values)
    for key in keys[keys.index(last) :]:
        del values[key]


def _asked(question: Question, before: str | None, talk: Talk, number: int) -> str:
    """The line that answers a question: one that can be read, or `BACK`.  An answer given before is the default."""
    default = question.default
    if before is not None and _fault(question, before) is None:
        default = before
    for i, choice in enumerate(question.choices, 1):
        talk.say(f"   {i}  {choice}")
    while True:
        talk.say(f"{number}. {question.ask}{f' [{default}]' if default is not None else ''}: ", end="")
        try:
            line = talk.line()
        except InputError as error:
            if not talk.live:
                raise
            talk.say(f"   {error}")
            continue
        if line is None:
            talk.say("")
            raise InputError(
                f"the answers end at '{question.ask.lower()}'; nothing was written", where=question.flag,
                do=f"give {question.flag}, or answer on; --yes takes defaults",
            )  # fmt: skip
        talk.answers += 1
        if line == HELP:
            talk.say(f"   {question.help}")
        elif line == BACK:
            return BACK
        else:
            text = line or default
            if text is None:
                fault = InputError("there is no default here", allowed=", ".join(question.choices), do="answer it")
            elif (found := _fault(question, text)) is None:
                return text
            else:
                fault = found
            if not talk.live:
                raise InputError(
                    f"{fault.what}; nothing was written", where=f"answer to '{question.ask.lower()}', {question.flag}",
                    allowed=fault.allowed, do=fault.do,
                ) from fault  # fmt: skip
            talk.say(f"   {fault}")


def _fault(question: Question, text: str) -> InputError | None:
    try:
        question.read(text)
    except InputError as error:
        return error
    return None


def one_of(options: Sequence[str]) -> Callable[[str], str]:
    """Reads one of some names: the name, the start of one only, or its number.

    >>> read = one_of(["harbour", "hill", "plain"])
    >>> read("Plain"), read("hi"), read("1")
    ('plain', 'hill', 'harbour')
    """

    def read(text: str) -> str:
        if text in options:
            return text
        low = text.casefold()
        for alike in (
            [o for o in options if o.casefold() == low],
            [o for o in options if o.casefold().startswith(low)],
        ):
            if len(alike) == 1 and low:
                return alike[0]
        if text.isascii() and text.isdigit() and 1 <= int(text) <= len(options):
            return options[int(text) - 1]
        close = get_close_matches(text, options, 1)
        raise InputError(f"{text!r} is none of these", allowed=", ".join(options),
                         do=f"did you mean {close[0]!r}" if close else "take one of these")  # fmt: skip

    return read


def yes_or_no(text: str) -> bool:
    """Reads yes or no.

    >>> yes_or_no("Y"), yes_or_no("no")
    (True, False)
    """
    word = text.casefold()
    if word in ("y", "yes"):
        return True
    if word in ("n", "no"):
        return False
    raise InputError(f"{text!r} is neither", allowed="yes, no", do="write y or n")


def number_of(unit: str, low: float, high: float) -> Callable[[str], float]:
    """Reads a number with or without its unit, in a range.

    >>> number_of("mm", 0, 50)("2.5 mm")
    2.5
    """
    import math

    def read(text: str) -> float:
        bare = text.removesuffix(unit).strip() if unit else text
        try:
            value = float(bare.replace("−", "-"))
        except ValueError:
            value = math.nan
        if not (math.isfinite(value) and low <= value <= high) or "_" in bare:
            allowed = f"{low:g} to {high:g} {unit}, with a point for the decimals".replace(" ,", ",")
            what = (
                f"{text!r} is out of range" if math.isfinite(value) and "_" not in bare else f"{text!r} is not a number"
            )
            raise InputError(what, allowed=allowed, do="type it again")
        return value + 0.0

    return read
