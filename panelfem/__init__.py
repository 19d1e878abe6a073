"""Can a damaged composite body panel race: as it is or repaired, by what margin, and why.

The public face; each name is imported when it is first asked for, so that ``import panelfem`` costs nothing.

>>> import panelfem
>>> stack = panelfem.parse_stack("[0/90]s", panelfem.library(), "T300-5208")
>>> round(panelfem.Laminate(stack).thickness * 1e3, 3)
0.5
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from panelfem.assess import Assessment, Declined
    from panelfem.assess.assess import assess as assess_case
    from panelfem.case import Case, load_case
    from panelfem.disposition import Outcome
    from panelfem.errors import PanelfemError
    from panelfem.laminate import Laminate, parse_stack
    from panelfem.material import library
    from panelfem.report.write import write as write_report

__version__ = "0.1.0"

_HOME = {
    "Assessment": "assess",
    "Case": "case",
    "Declined": "assess",
    "Laminate": "laminate",
    "Outcome": "disposition",
    "PanelfemError": "errors",
    "assess_case": "assess",
    "library": "material",
    "load_case": "case",
    "parse_stack": "laminate",
    "write_report": "report",
}

__all__ = [
    "Assessment",
    "Case",
    "Declined",
    "Laminate",
    "Outcome",
    "PanelfemError",
    "__version__",
    "assess_case",
    "library",
    "load_case",
    "parse_stack",
    "write_report",
]


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module 'panelfem' has no attribute {name!r}")
    module = import_module(f"panelfem.{_HOME[name]}")
    return getattr(module, {"assess_case": "assess", "write_report": "write"}.get(name, name))
