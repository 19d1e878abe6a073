"""Settings of all tests: the same examples on every run, so that a result can be told from chance; and with several
workers, what is made once for a file of tests is made by one of them.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("repeatable", derandomize=True)
settings.load_profile("repeatable")

#: Files of long tests that share nothing: they start first, and apart.
APART = "test_cases.py"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: item.path.name != APART)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """A file at a time, but of those apart a test."""
    from xdist.scheduler import LoadScopeScheduling

    class ByFile(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.partition("::")[0]
            return nodeid if file.endswith(APART) else file

    return ByFile(config, log)
