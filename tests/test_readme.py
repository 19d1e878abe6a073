"""The README stays true: its commands are the ones that work, its pictures belong to its case, its links lead
somewhere.
"""

import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import pictures

from panelfem.case import load_case
from panelfem.cli import build_parser

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()


def test_it_opens_with_one_paragraph_stating_the_job():
    first = README.split("\n\n")[1]
    assert not first.startswith(("#", "!", "`", "-"))
    assert "race" in first


@pytest.mark.parametrize("link", sorted(set(re.findall(r"\]\(([^)#]+)\)", README))))
def test_every_link_leads_to_a_file(link):
    assert (ROOT / link).exists()


@pytest.mark.parametrize("line", sorted(set(re.findall(r"^(?:\.venv/bin/)?panelfem (.+)$", README, re.M))))
def test_every_command_shown_is_understood(line):
    import shlex

    words = shlex.split(line.split(" #")[0])
    build_parser().parse_args(words)
    if words[0] == "assess":
        assert (ROOT / words[1]).exists()


def test_there_are_two_commands():
    block = README.split("<!-- commands -->")[1].split("<!-- end commands -->")[0]
    commands = [line for line in block.splitlines() if line and not line.startswith("```")]
    assert len(commands) == 2
    assert "panelfem assess cases/" in commands[0]
    assert "pytest" in commands[1]


def test_the_pictures_belong_to_their_case(tmp_path):
    for case, names in (
        (load_case(pictures.CASE), pictures.NAMES),
        (pictures.composed(tmp_path)[0], pictures.OF_FINDING),
    ):
        for name in names:
            assert pictures.made_from(pictures.PICTURES / name) == case.hash, "run python tests/pictures.py"
