"""Can a damaged composite body panel race: as it is or repaired, by what margin, and why."""

__version__ = "0.1.0"
