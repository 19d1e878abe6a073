"""From a panel to the mass of its shell: the skin, what hangs on it, and tape and the like."""

from __future__ import annotations

from panelfem.loads.vectors import region_elements
from panelfem.panel import Panel
from panelfem.shell.mass import Mass, spread_mass
from panelfem.shell.shell import Shell


def panel_mass(panel: Panel, shell: Shell) -> Mass:
    """The mass of a panel whose `shell` has the same elements; the same kilograms as an `Inertia` load acts on.

    Hung masses are spread over their regions, tape over the whole skin, both on the reference surface.  A slack area
    keeps its mass and next to no stiffness, so motions of its own come among the lowest modes.  Raises InputError for
    a region that is not there.
    """
    moments = panel.mass_moments()
    for mass in panel.masses:
        moments = moments + spread_mass(shell, mass.mass, region_elements(panel, mass.region, f"mass '{mass.name}'"))
    if panel.extra_mass:
        moments = moments + spread_mass(shell, panel.extra_mass, ~panel.removed)
    return Mass(shell, moments)
