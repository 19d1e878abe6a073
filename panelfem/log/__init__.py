"""The log: one SQLite file of what happened to each panel and who decided what.  Entries are added, never changed.

Light to import: the standard library only, until an assessment is recorded.
"""

from panelfem.log.life import Entry, Finding, Judged, Life, Mass, Reserve, Verdict
from panelfem.log.log import Log

__all__ = ["Entry", "Finding", "Judged", "Life", "Log", "Mass", "Reserve", "Verdict"]
