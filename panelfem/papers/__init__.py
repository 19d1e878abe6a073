"""Papers of a repair: work card, 1:1 templates, damage map, sign-off sheet."""

from panelfem.papers.develop import Development, develop
from panelfem.papers.gores import gores
from panelfem.papers.skin import Skin, skins
from panelfem.papers.template import Template, patch_template, scarf_template, stepped
from panelfem.papers.write import write

__all__ = [
    "Development",
    "Skin",
    "Template",
    "develop",
    "gores",
    "patch_template",
    "scarf_template",
    "skins",
    "stepped",
    "write",
]
