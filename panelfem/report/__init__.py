"""The report: a page that puts the decision first, the data behind it, the fields, and still pictures.

Everything is made from one :class:`panelfem.assess.records.Assessment`; nothing is computed here.
"""

from panelfem.report.folder import FORMAT, prepare
from panelfem.report.json_keys import describe
from panelfem.report.write import write, write_early

__all__ = ["FORMAT", "describe", "prepare", "write", "write_early"]
