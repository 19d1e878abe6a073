"""Settings of all tests: the same examples on every run, so that a result can be told from chance."""

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True)
settings.load_profile("repeatable")
