"""The demo cases give the outcomes and factors written down in ``cases/expected/outcomes.toml``.

Write them anew with ``python tests/test_cases.py > cases/expected/outcomes.toml``, and those of ``cases/kinds`` with
``python tests/test_cases.py kinds > cases/expected/kinds.toml``; look at what changed.
"""

import sys
import tomllib
from pathlib import Path

import pytest

from panelfem.assess import Declined, assess
from panelfem.assess.smallest import smallest
from panelfem.case import load_case
from panelfem.disposition import Outcome
from panelfem.report import wording

CASES = Path(__file__).parents[1] / "cases"
FILES = sorted(CASES.glob("*.toml"))
#: Cases of which an option is sized by the search, beside those that are stated: option and overlaps (mm).
SEARCHED = {"choice_of_repairs": ("cold-bonded patch", (30.0,))}
#: Words of ten seconds: 150 a minute, and a few for signs (common practice, no source).
MOST_WORDS = 28


def made(path):
    """The assessment of a case, with what the search proposes in it."""
    if path.stem not in SEARCHED:
        return assess(load_case(path))
    option, overlaps = SEARCHED[path.stem]
    return smallest(path, option, overlaps).assessment


def spoken(a):
    """The sentence of the recommended option: short enough to be read aloud in ten seconds, and whole."""
    words, chosen = wording.winner_sentence(a), wording.find(a, a.recommendation)
    if chosen is None:
        assert words == ""
        return
    load = wording.governing_load(chosen)
    result = chosen.result(load)
    margin = wording.margin_text(wording.ruling(result, wording.outcome_of(chosen, load)), result.theory)
    assert len(words.split()) <= MOST_WORDS, words
    for part in (chosen.disposition.outcome.value, f"{load} governs", f"margin {margin}", f"{chosen.minutes:g}"):
        assert part in words, part


def found(a):
    """What is compared: recommendation, and each configuration's outcome, governing load, factor and deflection."""
    if isinstance(a, Declined):
        return {"declined": a.reason}
    rows = {}
    for c in a.configurations:
        d = c.disposition
        worst = c.result(d.governing_load)
        rows[c.name] = {
            "outcome": d.outcome.value,
            "load": d.governing_load,
            "mode": worst.release.mode,
            "factor": worst.release.rank,
            "deflection_mm": 1e3 * worst.deflection.value,
            "mass_g": 1e3 * c.mass,
        }
    return {"recommendation": a.recommendation or "none", "configurations": rows}


def expected(name="outcomes"):
    with (CASES / "expected" / f"{name}.toml").open("rb") as file:
        return tomllib.load(file)


def compare(a, wanted):
    """An assessment with what is written down of it."""
    got = found(a)
    assert got.keys() == wanted.keys()
    if "declined" in wanted:
        assert got == wanted
        return
    spoken(a)
    assert got["recommendation"] == wanted["recommendation"]
    assert got["configurations"].keys() == wanted["configurations"].keys()
    for name, row in wanted["configurations"].items():
        here = got["configurations"][name]
        for key, value in row.items():
            assert here[key] == (value if isinstance(value, str) else pytest.approx(value, rel=0.01)), (name, key)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_demo_case_gives_what_is_written_down(path):
    compare(made(path), expected()[path.stem])


def test_the_demo_covers_the_four_outcomes_and_a_declined_part():
    everything = expected()
    outcomes = {c["outcome"] for e in everything.values() for c in e.get("configurations", {}).values()}
    assert outcomes == {o.value for o in Outcome}
    assert any("declined" in e for e in everything.values())
    assert len(everything) >= 5


def main(folder=""):
    """Print outcomes.toml, or what the cases of a folder give."""
    what = f"cases of {folder}" if folder else "demo cases"
    print(f"# What the {what} give; made by tests/test_cases.py, and compared with by the tests (1 %).")
    for path in sorted((CASES / folder).glob("*.toml")):
        got = found(made(path))
        print(f"\n[{path.stem}]")
        for key in ("declined", "recommendation"):
            if key in got:
                print(f'{key} = "{got[key]}"')
        for name, row in got.get("configurations", {}).items():
            print(f'\n[{path.stem}.configurations."{name}"]')
            for key, value in row.items():
                print(f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value:.5g}")


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
