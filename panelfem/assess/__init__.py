"""The main job: from a case to an assessment."""

from panelfem.assess.assess import assess
from panelfem.assess.records import Assessment, Configuration, Declined, Mesh, Meshing, Screened

__all__ = ["Assessment", "Configuration", "Declined", "Mesh", "Meshing", "Screened", "assess"]
