"""When: always UTC, always written alike, so that text sorts as time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from panelfem.errors import InputError

#: A time further ahead than this was mistyped; clocks differ by less.
AHEAD = timedelta(minutes=10)
ALLOWED = "a past date and time with its zone, such as 2031-05-04T14:20Z or 2031-05-04T16:20+02:00"


def now() -> str:
    """This moment as stored."""
    return _stored(datetime.now(UTC))


def entered(text: str) -> str:
    """A time that was typed, as stored.  Raises InputError if it is no time, has no zone or lies ahead.

    >>> entered("2020-05-04T16:20+02:00"), entered("2020-05-04 14:20Z")
    ('2020-05-04T14:20:00.000Z', '2020-05-04T14:20:00.000Z')
    """
    try:
        found = datetime.fromisoformat(text)
        if found.tzinfo is not None:
            found = found.astimezone(UTC)
    except (ValueError, OverflowError):
        raise InputError(f"{text!r} is not a date and time", allowed=ALLOWED, do="type it again") from None
    if found.tzinfo is None:
        raise InputError(f"{text!r} has no zone", allowed=ALLOWED, do="add Z for UTC, or the distance from it")
    if found > datetime.now(UTC) + AHEAD:
        raise InputError(f"{text!r} lies ahead", allowed=ALLOWED, do="check the date, the zone and this clock")
    return _stored(found)


def shown(stored: str) -> str:
    """As printed.

    >>> shown("2020-05-04T14:20:31.250Z")
    '2020-05-04 14:20 UTC'
    """
    return f"{stored[:10]} {stored[11:16]} UTC"


def _stored(moment: datetime) -> str:
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
