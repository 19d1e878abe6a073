"""The public face is pinned: a name that comes or goes is a change somebody decides."""

import subprocess
import sys

import panelfem


def test_public_names():
    assert panelfem.__all__ == sorted(panelfem.__all__)
    assert set(panelfem.__all__) == {
        "Assessment", "Case", "Declined", "Laminate", "Outcome", "PanelfemError", "__version__", "assess_case",
        "library", "load_case", "parse_stack", "write_report",
    }  # fmt: skip


def test_every_public_name_is_there_and_documented():
    for name in panelfem.__all__:
        thing = getattr(panelfem, name)
        assert name == "__version__" or thing.__doc__


def test_importing_it_brings_nothing_heavy():
    code = "import sys, panelfem; print(sorted(m for m in ('numpy', 'scipy', 'pydantic', 'rich') if m in sys.modules))"
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"
    )
