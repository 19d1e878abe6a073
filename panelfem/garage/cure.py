"""What a cure gives, from the data of the kit and from nothing else."""

from __future__ import annotations

from bisect import bisect_right

from panelfem.garage.schema_kit import CureTable, Patch


def cured_share(table: CureTable, temperature: float, minutes: float) -> float | None:
    """Share of the book strength after so many minutes at a temperature in °C; None outside the table.

    Linear in temperature and in time between the entries.

    >>> table = CureTable(material="paste", temperatures_C=[20.0, 40.0], times_min=[30.0, 60.0],
    ...     shares=[[0.2, 0.4], [0.6, 0.8]], scatter_percent=10.0, basis="assumed", source="example")
    >>> round(cured_share(table, 30.0, 45.0), 6), cured_share(table, 45.0, 45.0)
    (0.5, None)
    """
    row, column = _between(table.temperatures_C, temperature), _between(table.times_min, minutes)
    if row is None or column is None:
        return None
    (i, u), (j, v) = row, column
    near, far = table.shares[i], table.shares[i + 1]
    return (1 - u) * ((1 - v) * near[j] + v * near[j + 1]) + u * ((1 - v) * far[j] + v * far[j + 1])


def _between(axis: list[float], value: float) -> tuple[int, float] | None:
    """The interval of a rising axis that holds a value, and how far along it; None outside."""
    if not axis[0] <= value <= axis[-1]:
        return None
    i = min(bisect_right(axis, value), len(axis) - 1) - 1
    return i, (value - axis[i]) / (axis[i + 1] - axis[i])


def no_credit(table: CureTable, patch: Patch, service: float | None) -> str:
    """Why a patch gets no credit, in words; empty if it does.  `service` is the temperature of the panel in use, °C."""
    cure = f"cured at {patch.cure_temperature_C:g} °C for {patch.cure_min.value:g} min"
    if cured_share(table, patch.cure_temperature_C, patch.cure_min.value) is None:
        temperatures, times = table.temperatures_C, table.times_min
        return (
            f"{cure} there is no credit for {table.material}: the data end at {temperatures[0]:g} to "
            f"{temperatures[-1]:g} °C and {times[0]:g} to {times[-1]:g} min, and are not extrapolated"
        )
    if table.serves_to_C is not None and service is not None and service > table.serves_to_C:
        return (
            f"there is no credit for {table.material} on a panel at {service:g} °C in use: it serves to "
            f"{table.serves_to_C:g} °C"
        )
    return ""
