"""A store's own clock: from wall-clock times to instants, over daylight saving changes.

A wall-clock time that does not exist (the clock is put forward over it) stands for the instant at
which the clock is put forward. One that comes twice (the clock is put back) is the first of the
two, unless the later one is asked for.
"""

from datetime import UTC, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

_SECOND = timedelta(seconds=1)


@cache
def zone_of(name: str | None) -> ZoneInfo | None:
    """Return the zone of that name in the tz database; None where there is no such name."""
    if not name:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def instant(wall: datetime, zone: ZoneInfo, *, later: bool = False) -> datetime:
    """Return the instant, in UTC, of a naive wall-clock time in a zone.

    Args:
        wall: naive; what the clock on the wall shows.
        zone: the clock's zone.
        later: of a time that comes twice, take the second.
    """
    first = wall.replace(tzinfo=zone, fold=0).astimezone(UTC)
    if first.astimezone(zone).replace(tzinfo=None) != wall:
        return _jump(wall, zone)
    return wall.replace(tzinfo=zone, fold=1).astimezone(UTC) if later else first


def _jump(wall: datetime, zone: ZoneInfo) -> datetime:
    """Return the instant at which the clock is put forward over `wall`."""
    # Read with the offset after the jump it lies before it, and the other way round (PEP 495).
    before = wall.replace(tzinfo=zone, fold=1).astimezone(UTC)
    after = wall.replace(tzinfo=zone, fold=0).astimezone(UTC)
    offset = before.astimezone(zone).utcoffset()
    while after - before > _SECOND:
        middle = before + ((after - before) // 2 // _SECOND) * _SECOND
        if middle.astimezone(zone).utcoffset() == offset:
            before = middle
        else:
            after = middle
    return after
