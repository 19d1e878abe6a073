"""The log: nothing acknowledged is lost, nothing is changed, and what cannot be used is refused clearly."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import pytest
import synthetic

import panelfem
from panelfem.cli import main
from panelfem.errors import InputError
from panelfem.log import Finding, Log, schema
from panelfem.log.moment import entered

#: Forks writers, kills each at a random instant of its life, and looks at what it left.  Prints one line of JSON.
KILLER = """
import json, os, random, signal, sys, time
from pathlib import Path
from panelfem.log import Log

def writer(path, out):
    with Log.open(path) as log:
        for n in range(10**6):
            words = f"{os.getpid()} {n} " + "x" * (n % 7 * 20_000)     # up to thirty pages
            number = log.add("p", "note", who="w", words=words, new="p" not in log.panels())
            os.write(out, f"{number} {len(words)}\\n".encode())

folder, instants, seed = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
chance, acknowledged, killed, interrupted = random.Random(seed), {}, 0, 0
for i in range(instants):
    path = folder / f"{i // 10}.log"                                # every tenth is killed while the log is being made
    told = acknowledged.setdefault(path.name, {})
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        writer(path, write)
    os.close(write)
    with os.fdopen(read) as stream:
        lines = [stream.readline() for _ in range(chance.randrange(3))]
        time.sleep(chance.uniform(0.0, 0.005))
        os.kill(child, signal.SIGKILL)
        killed += os.WIFSIGNALED(os.waitpid(child, 0)[1])
        lines += stream.read().splitlines(keepends=True)
    told.update({int(number): int(length) for number, length in (line.split() for line in lines if line[-1:] == "\\n")})
    interrupted += path.with_name(path.name + "-journal").exists()
    with Log.open(path) as log:                                     # opens, checks itself, undoes what was half written
        held = {e.number: len(e.words) for e in log.life("p").entries} if log.panels() else {}
    lost = [n for n, length in told.items() if held.get(n) != length]
    assert not lost and len(held) - len(told) <= 1 + i % 10, (i, lost, len(held), len(told))
print(json.dumps({"killed": killed, "told": sum(map(len, acknowledged.values())), "interrupted": interrupted}))
"""

#: Adds so many entries to a log.
WRITER = """
import sys
from panelfem.log import Log
with Log.open(sys.argv[1]) as log:
    for n in range(int(sys.argv[3])):
        log.add("p", "note", who=sys.argv[2], words=str(n))
"""


def python(code: str, *arguments: str, **more: Any) -> subprocess.Popen[str]:
    """A fresh interpreter that knows this panelfem."""
    environment = {**os.environ, "PYTHONPATH": str(Path(panelfem.__file__).parents[1])}
    return subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
        **more,
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "team.log"


def begun(path: Path) -> Path:
    """A log with one panel and one entry."""
    with Log.open(path) as log:
        log.add("lid", "strike", who="A", words="exit kerb", new=True)
    return path


# ---- nothing is lost


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the killer forks")
def test_a_writer_killed_at_200_instants_loses_nothing_it_acknowledged(tmp_path: Path) -> None:
    said, error = python(KILLER, str(tmp_path), "200", "20").communicate(timeout=120)
    assert said, error
    found = json.loads(said)
    assert found["killed"] == 200
    assert found["told"] > 100, "the writers were killed before they wrote anything"
    assert found["interrupted"] > 0, "no writer was killed in the middle of a transaction"


def test_two_writers_at_once_lose_nothing(path: Path) -> None:
    begun(path)
    with Log.open(path) as log:
        log.add("p", "note", who="first", words="begin", new=True)
    writers = [python(WRITER, str(path), who, "60") for who in ("one", "two")]
    for writer in writers:
        _, error = writer.communicate(timeout=60)
        assert writer.returncode == 0, error
    with Log.open(path, only_read=True) as log:
        entries = log.life("p").entries
    for who in ("one", "two"):
        assert [e.words for e in entries if e.who == who] == [str(n) for n in range(60)]


def test_two_that_make_the_log_at_once_make_one(path: Path) -> None:
    code = "import sys\nfrom panelfem.log import Log\n"
    code += "Log.open(sys.argv[1]).add(sys.argv[2], 'note', who='w', words='x', new=True)"
    writers = [python(code, str(path), name) for name in "abcd"]
    for writer in writers:
        _, error = writer.communicate(timeout=60)
        assert writer.returncode == 0, error
    with Log.open(path) as log:
        assert sorted(log.panels()) == list("abcd")


def test_a_writer_that_keeps_the_log_to_itself_is_named(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begun(path)
    monkeypatch.setattr("panelfem.log.store.PATIENCE", 0.05)
    other = sqlite3.connect(path, isolation_level=None)
    with Log.open(path) as log:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(InputError, match=r"another program has kept the log to itself.*this one was not written"):
            log.add("lid", "note", who="A", words="late")
        other.execute("ROLLBACK")
        log.add("lid", "note", who="A", words="later")
        assert [e.words for e in log.life("lid").entries] == ["exit kerb", "later"]
    other.close()


def test_a_commit_is_on_the_disk_before_it_is_acknowledged(path: Path) -> None:
    with Log.open(path) as log:
        ask = log._connection.execute
        assert ask("PRAGMA synchronous").fetchone() == (3,)
        assert ask("PRAGMA journal_mode").fetchone() == ("delete",)
    assert sorted(p.name for p in path.parent.iterdir()) == [path.name], "one file, and none beside it"


def test_a_full_disk_is_said_and_keeps_what_was_there(path: Path) -> None:
    with Log.open(begun(path)) as log:
        pages = log._connection.execute("PRAGMA page_count").fetchone()[0]
        log._connection.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(InputError, match=r"disk is full; every entry acknowledged before is safe"):
            log.add("lid", "note", who="A", words="x" * 50_000)
        log.add("lid", "note", who="A", words="short")
    with Log.open(path) as log:
        assert [e.words for e in log.life("lid").entries] == ["exit kerb", "short"]


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on the size of a file there")
def test_a_disk_that_refuses_is_said_by_the_command(path: Path) -> None:
    begun(path)
    code = (
        "import resource, sys, os\n"
        "size = os.path.getsize(sys.argv[1])\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))\n"
        "from panelfem.cli import main\n"
        "sys.exit(main(['log', '--log', sys.argv[1], 'lid', '--add', 'note', '--by', 'A', '--words', 'x' * 100000]))"
    )
    process = python(code, str(path))
    _, error = process.communicate(timeout=60)
    assert process.returncode == 2, error
    assert "this one was not written" in error
    assert "Traceback" not in error
    with Log.open(path) as log:
        assert len(log.life("lid").entries) == 1


# ---- nothing is changed


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE {t} SET rowid = rowid + 1",
        "DELETE FROM {t}",
        "INSERT OR REPLACE INTO {t} SELECT * FROM {t}",
        "REPLACE INTO {t} SELECT * FROM {t}",
    ],
)
@pytest.mark.parametrize("table", ["panel", "entry", "assessment", "verdict", "reserve"])
def test_no_entry_is_changed_or_removed(path: Path, table: str, statement: str) -> None:
    with Log.open(path) as log:
        log.record(synthetic.assessment(resolution=(6, 4)), who="A", finding=Finding("torn"))
        before = list(log._connection.execute(f"SELECT * FROM {table}"))
        assert before
    other = sqlite3.connect(path, isolation_level=None)
    with pytest.raises(sqlite3.IntegrityError, match="never changed or removed"):
        other.execute(statement.format(t=table))
    assert list(other.execute(f"SELECT * FROM {table}")) == before
    other.close()


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ("DROP TRIGGER entry_kept", "changed its tables"),
        ("CREATE TABLE more (x)", "changed its tables"),
        ("DROP TRIGGER entry_kept; DELETE FROM entry; {entry_kept}", "taken entries out"),
        ("PRAGMA user_version = 2", "newer panelfem"),
        ("PRAGMA user_version = 0", "cannot be relied on"),
        ("PRAGMA application_id = 1", "not a log of this tool"),
    ],
)
def test_a_file_that_another_program_changed_is_refused_and_left(path: Path, change: str, what: str) -> None:
    begun(path)
    triggers = {s.split()[2]: s for s in schema.statements() if s.startswith("CREATE TRIGGER")}
    other = sqlite3.connect(path, isolation_level=None)
    other.executescript(change.format(**triggers))
    other.close()
    before = path.read_bytes()
    for only_read in (False, True):
        with pytest.raises(InputError, match=what):
            Log.open(path, only_read=only_read)
    assert path.read_bytes() == before


def test_a_damaged_file_is_refused(path: Path) -> None:
    content = bytearray(begun(path).read_bytes())
    content[4096:8192] = os.urandom(1) * 4096
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"damaged|cannot be relied on"):
        Log.open(path)


# ---- what cannot be used


def _foreign(path: Path) -> None:
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE song (name TEXT)")
    other.close()


@pytest.mark.parametrize(
    ("make", "what"),
    [
        (lambda p: p.mkdir(), "is a folder"),
        (lambda p: p.write_text("notes of the weekend\n"), "not a log of this tool"),
        (lambda p: p.write_bytes(b"SQLite format 3\0" + b"rubbish" * 500), r"damaged|not a log"),
        (_foreign, "not a log of this tool"),
        (lambda p: os.mkfifo(p), "not a plain file"),
    ],
    ids=["folder", "text", "rubbish", "foreign", "pipe"],
)
def test_what_is_no_log_is_refused_and_left(
    path: Path, make: Any, what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    if what == "not a plain file" and not hasattr(os, "mkfifo"):
        pytest.skip("no pipes with a name there")
    make(path)
    before = path.read_bytes() if path.is_file() else None
    for more in ([], ["lid", "--add", "note", "--by", "A", "--words", "x", "--new"]):
        assert main(["log", "--log", str(path), *more]) == 2
        said = capsys.readouterr().err
        assert said.count("\n") == 1, said
        assert "Traceback" not in said
    with pytest.raises(InputError, match=what):
        Log.open(path)
    assert before is None or path.read_bytes() == before
    assert [p.name for p in path.parent.iterdir()] == [path.name]


def test_a_missing_log_or_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such log"):
        Log.open(tmp_path / "none.log", only_read=True)
    with pytest.raises(InputError, match="there is no folder"):
        Log.open(tmp_path / "nowhere" / "a.log")
    for name in ("a\0b", "x" * 5000):
        with pytest.raises(InputError, match="log"):
            Log.open(tmp_path / name)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", [":memory:", "file:a?mode=memory", "a#b%20c?d", "with 'quotes' ; DROP", "ä ö\n"])
def test_no_file_name_is_special(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    begun(Path(name))
    assert [p.name for p in tmp_path.iterdir()] == [name]
    with Log.open(name, only_read=True) as log:
        assert log.panels() == ("lid",)


@pytest.mark.skipif(sys.platform == "win32", reason="permissions of another kind")
def test_a_log_that_may_only_be_read_is_read_and_not_written() -> None:
    code = (
        "import os, sys\n"
        "from panelfem.errors import InputError\n"
        "from panelfem.log import Log\n"
        "if os.geteuid() == 0: os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"  # root may write everything
        "print(Log.open(sys.argv[1], only_read=True).panels())\n"
        "try: Log.open(sys.argv[1])\n"
        "except InputError as error: print(error)\n"
    )
    with tempfile.TemporaryDirectory() as folder:
        path = begun(Path(folder) / "team.log")
        path.chmod(0o444)
        path.parent.chmod(0o555)
        process = python(code, str(path))
        said, error = process.communicate(timeout=60)
        path.parent.chmod(0o755)
    assert process.returncode == 0, error
    assert said.splitlines()[0] == "('lid',)"
    assert "the log, or its folder, cannot be opened or written" in said.splitlines()[1]


# ---- what is entered


HOSTILE = [
    "'; DROP TABLE entry; --",
    '" OR 1=1',
    "lid\x1b[2J\x07",
    "two\nlines\ttabs\r",
    "nul\x00inside",
    "x" * 100_000,
    "‮dil",
    "%s {} \\N{BELL}",
]


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_names_are_kept_to_the_letter_and_printed_harmlessly(
    path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with Log.open(path) as log:
        log.add(name, "strike", who=name, words=name, new=True)
        log.add("lid", "note", who="A", words="well", new=True)
        assert log.panels() == (name, "lid")
        (entry,) = log.life(name).entries
        assert (entry.who, entry.words) == (name, name)
        assert main(["log", "--log", str(path)]) == 0
        if "\0" not in name:
            assert main(["log", "--log", str(path), name]) == 0
    said = capsys.readouterr().out
    assert not [c for c in said if c != "\n" and (ord(c) < 32 or c == "‮")]
    with pytest.raises(InputError) as refused, Log.open(path) as log:
        log.life(name + "?")
    assert len(str(refused.value)) < 1000
    assert "\x1b" not in str(refused.value)


def test_text_that_no_encoding_can_write_is_refused(path: Path) -> None:
    with Log.open(begun(path)) as log:
        with pytest.raises(InputError, match="is not text"):
            log.add("lid", "note", who="A", words="\udcff")
        with pytest.raises(InputError, match="is not text"):
            log.life("\udcff")
        assert len(log.life("lid").entries) == 1


@pytest.mark.parametrize(
    ("more", "what"),
    [
        ({"kind": "assessment"}, "no entry of kind 'assessment'"),
        ({"who": " "}, "nobody is named"),
        ({"words": " "}, "a note needs words"),
        ({"kind": "mass"}, "needs the mass"),
        ({"kind": "mass", "mass": float("nan")}, "needs the mass"),
        ({"kind": "repair", "mass": float("inf")}, "out of range"),
        ({"mass": 1.0}, "a note has no mass"),
        ({"survived": True}, "a note is not survived"),
        ({"about": 7}, "has no entry 7"),
        ({"about": 2}, "has no entry 2"),
        ({"about": 10**23}, "has no entry 1000"),
        ({"panel": "ild"}, r"does not know the panel.*write 'lid'"),
        ({"panel": " ", "new": True}, "has no name"),
        ({"new": True}, "is in the log already"),
        ({"at": "yesterday"}, "is not a date and time"),
        ({"at": "2024-05-04T14:20"}, "has no zone"),
        ({"at": "9024-05-04T14:20Z"}, "lies ahead"),
        ({"at": "0001-01-01T00:00+23:00"}, "is not a date and time"),
    ],
)
def test_an_entry_that_is_wrong_is_refused_whole(path: Path, more: dict[str, Any], what: str) -> None:
    with Log.open(begun(path)) as log:
        log.add("door", "note", who="A", words="another panel", new=True)
        with pytest.raises(InputError, match=what):
            log.add(**{"panel": "lid", "kind": "note", "who": "A", "words": "well", **more})
        assert log.panels() == ("lid", "door")
        assert len(log.life("lid").entries) == 1


def test_entries_stand_in_the_order_they_happened(path: Path) -> None:
    with Log.open(begun(path)) as log:
        log.add("lid", "note", who="A", words="second", at="2020-05-04T16:20+02:00")
        log.add("lid", "note", who="A", words="first", at="2020-05-04T14:19:59Z")
        life = log.life("lid")
    assert [e.words for e in life.entries] == ["first", "second", "exit kerb"]
    assert life.entries[1].at == entered("2020-05-04T14:20Z")
    assert life.entries[0].written >= life.entries[1].written, "written later"


def test_what_was_assessed_comes_back_with_every_number(path: Path) -> None:
    made = synthetic.barred(synthetic.assessment(resolution=(6, 4)))
    with Log.open(path) as log:
        number = log.record(made, who="A. N.", finding=Finding("torn at F3", "[finding]\n", "2020-05-04T14:20Z"))
        life = log.life(made.panel)
    finding, entry = life.entries
    assert (finding.kind, finding.document, finding.at) == ("finding", "[finding]\n", "2020-05-04T14:20:00.000Z")
    assert (entry.number, entry.about, entry.who) == (number, finding.number, "A. N.")
    judged = life.assessments[number]
    assert (judged.inputs, judged.version, judged.required) == (made.case_hash, made.version, made.required)
    assert (judged.recommendation, judged.conditions, judged.invented) == (made.recommendation, made.conditions, True)
    assert len(judged.verdicts) == len(made.configurations)
    for verdict, conf in zip(judged.verdicts, made.configurations, strict=True):
        disposition = conf.disposition
        assert (verdict.configuration, verdict.outcome) == (conf.name, disposition.outcome.value)
        assert (verdict.mass, verdict.minutes, verdict.reason) == (conf.mass, conf.minutes, disposition.reason)
        assert [r.load for r in verdict.reserves] == [o.load for o in disposition.loads]
        for reserve, outcome in zip(verdict.reserves, disposition.loads, strict=True):
            assert (reserve.required, reserve.factor) == (outcome.required, pytest.approx(outcome.factor, rel=1e-15))
            assert reserve.bar == pytest.approx(0.01 * reserve.factor)
            assert reserve.mode in ("fibre compression", "skin wrinkling")
        total = disposition.uncertainty
        assert total is None or verdict.low == pytest.approx(total.low * total.factor)
        assert verdict.governing is not None


def test_a_declined_part_is_logged_under_its_name(path: Path) -> None:
    from dataclasses import replace

    refused = replace(synthetic.declined(), panel="crash box", case_hash="ab12", invented=True)
    with Log.open(path) as log:
        number = log.record(refused, who="A")
        judged = log.life("crash box").assessments[number]
        with pytest.raises(InputError, match="has no name"):
            log.record(replace(refused, panel=""), who="A")
    assert judged.inputs == "ab12"
    assert judged.recommendation is None
    assert judged.reason.startswith("declined: ")


# ---- the commands


def add(path: Path, panel: str, kind: str, *more: str) -> int:
    return main(["log", "--log", str(path), panel, "--add", kind, "--by", "A. N.", *more])


def test_the_life_of_a_panel_is_told(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = synthetic.assessment(resolution=(6, 4))
    panel = made.panel
    assert add(path, panel, "strike", "--words", "exit kerb, lap 12", "--survived", "yes", "--new") == 0
    assert add(path, panel, "strike", "--words", "wall, lap 30", "--survived", "no") == 0
    assert add(path, panel, "mass", "--grams", "1204.5") == 0
    with Log.open(path) as log:
        log.record(made, who="B. O.", finding=Finding("hole H1, 44 mm"))
    assert add(path, panel, "repair", "--words", "wet patch", "--grams", "41") == 0
    assert add(path, panel, "repair", "--words", "tape") == 0
    capsys.readouterr()
    assert main(["log", "--log", str(path), panel]) == 0
    said = capsys.readouterr().out
    words = " ".join(said.split())
    assert (
        "Strikes: 2 entered, 1 survived without damage found, 1 that left damage, 0 of which neither is said." in words
    )
    assert (
        "Mass now: 1245.5 g; weighed 1204.5 g, repairs since 41 g; 1 repair since of unknown mass: weigh it again"
        in words
    )
    assert "recommended: wet patch, two plies, meets it with conditions" in words
    assert "invented scenario" in words
    assert "nobody has signed" in words
    assert "inputs sha256 0f3a9c" in words
    assert add(path, panel, "decision", "--words", "released for the race", "--about", "5") == 0
    assert main(["log", "--log", str(path), panel]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "nobody has signed" not in words
    assert "released for the race; about entry 5" in words
    assert main(["log", "--log", str(path)]) == 0
    listed = capsys.readouterr().out
    assert panel in listed
    assert "decision, A. N." in listed


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (["--add", "note", "--by", "A", "--words", "x"], "no panel is named"),
        (["lid", "--by", "A"], "goes with an entry"),
        (["lid", "--add", "note", "--words", "x"], "say who with --by"),
        (["lid", "--add", "mass", "--by", "A", "--grams", "-4"], "needs the mass"),
    ],
)
def test_wrong_uses_of_the_command(
    path: Path, arguments: list[str], what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    begun(path)
    assert main(["log", "--log", str(path), *arguments]) == 2
    assert what in capsys.readouterr().err


def test_a_mistyped_log_is_not_made(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert add(path, "lid", "note", "--words", "x") == 2
    assert "there is no such log" in capsys.readouterr().err
    assert not path.exists()


@pytest.fixture
def engine(monkeypatch: pytest.MonkeyPatch) -> None:
    """The command with a made-up assessment in place of the solver."""
    monkeypatch.setattr("panelfem.case.load_case", lambda path: None, raising=False)
    found = synthetic.assessment(resolution=(12, 8))
    monkeypatch.setattr("panelfem.assess.assess", lambda case, progress, early: found, raising=False)


@pytest.mark.usefixtures("engine")
def test_assess_enters_what_it_found(path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ["assess", "case.toml", "--out", str(tmp_path / "out"), "--quiet", "--log", str(path)]
    assert main([*run, "--by", "A. N.", "--part", "side panel 03"]) == 0
    assert f"Log: entry 1 in {path}" in capsys.readouterr().out.replace("\n", "")
    with Log.open(path, only_read=True) as log:
        assert log.panels() == ("side panel 03",)
        assert log.life("side panel 03").assessments[1].recommendation == "wet patch, two plies"


@pytest.mark.usefixtures("engine")
@pytest.mark.parametrize(
    ("more", "what"),
    [
        (["--log", "team.log"], "say who with --by"),
        (["--by", "A"], "name the log with --log"),
        (["--log", ".", "--by", "A"], "is a folder"),
        (["--log", "team.log", "--by", "A", "--part", " "], "the part has no name"),
    ],
)
def test_a_log_that_cannot_be_used_stops_an_assessment_before_it_starts(
    tmp_path: Path, more: list[str], what: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("panelfem.assess.assess", lambda case, progress, early: pytest.fail("assessed all the same"))
    assert main(["assess", "case.toml", "--out", "out", *more]) == 2
    assert what in capsys.readouterr().err
