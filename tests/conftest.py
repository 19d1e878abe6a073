"""Settings of all tests: the same examples on every run, so that a result can be told from chance; and what is made
once for a file of tests is made by one worker.
"""

from __future__ import annotations

import pytest
from hypothesis import settings

settings.register_profile("repeatable", derandomize=True)
settings.load_profile("repeatable")

#: Files of long tests that share nothing: they start first, and apart.
APART = ("test_cases.py",)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Group tests by file for `--dist loadgroup`."""
    for item in items:
        if item.path.name not in APART:
            item.add_marker(pytest.mark.xdist_group(str(item.path)))
    items.sort(key=lambda item: item.path.name not in APART)
