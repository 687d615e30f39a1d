"""Unclear local times against Python's own reading of the tz database.

Source: zoneinfo with the `fold` of PEP 495. A time that does not exist comes back as another one
from UTC; one that occurs twice has another offset from UTC with fold=1.
"""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

import polars as pl
from empty import new_database

from pipeline.sql_file import statement

# Turns at 01:00 UTC, at 02:00 local, at midnight, by half an hour, in either half of the year.
ZONES = (
    "Europe/London", "Europe/Berlin", "Europe/Warsaw", "America/New_York", "America/St_Johns",
    "America/Santiago", "America/Havana", "Australia/Sydney", "Australia/Lord_Howe",
    "Pacific/Auckland", "Asia/Kolkata", "UTC",
)  # fmt: skip
FIRST, LAST = date(2025, 1, 1), date(2025, 12, 31)


def meaning(at: datetime, zone: str) -> str | None:
    """Return what is unclear about a local time, by PEP 495."""
    first, second = (at.replace(tzinfo=ZoneInfo(zone), fold=fold) for fold in (0, 1))
    back = first.astimezone(UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    if back != at:
        return "does not exist"
    return "occurs twice" if first.utcoffset() != second.utcoffset() else None


def turning_days(zone: str) -> list[date]:
    """Return the days of the year before and on which the zone's offset from UTC changes."""
    every = [FIRST + timedelta(days=n) for n in range((LAST - FIRST).days + 1)]

    def offset(day: date) -> timedelta | None:
        return datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(zone)).utcoffset()

    return [
        near for a, b in pairwise(every) if offset(a) != offset(b)
        for near in (a - timedelta(days=1), a, b, b + timedelta(days=1))
    ]  # fmt: skip


def times(zone: str, random: Random) -> list[datetime]:
    """Return every quarter of an hour of the turning days, the seconds around it, and others."""
    days = turning_days(zone) + [FIRST + timedelta(days=random.randrange(360)) for _ in range(4)]
    return sorted(
        {
            datetime(day.year, day.month, day.day) + timedelta(minutes=15 * quarter, seconds=step)
            for day in days
            for quarter in range(96)
            for step in (-1, 0, random.randrange(900))
        }
    )


def test_unclear_times_are_those_of_the_tz_database(tmp_path: Path) -> None:
    """The rule names exactly the scans whose time PEP 495 calls a gap or a fold, and which."""
    random = Random(8)
    moments = {zone: times(zone, random) for zone in ZONES}
    scans = [(zone, f"{at}", at) for zone in ZONES for at in moments[zone]]
    with new_database(tmp_path / "times.duckdb") as database:
        columns = zip(*scans, strict=True)
        frame = pl.DataFrame(dict(zip(("store", "station", "at"), columns, strict=True)))
        connection = database.connection
        connection.execute("insert into this_run values ('this', $day)", {"day": LAST})
        connection.execute("insert into setting values ('survey_stale_days', 400)")
        connection.register("scan", _Stream(frame))
        connection.execute(
            "insert into store_seen by name select distinct store, date '2025-01-01' as seen_on,"
            " store as time_zone from scan"
        )
        connection.execute(
            "insert into station_seen by name select store, station, date '2025-01-01' as seen_on"
            " from scan"
        )
        connection.execute(
            'insert into ed_reading by name select store, station, "at" as scanned_at,'
            " 'store' as clock, 11 as channel, -90 as level_dbm, 'single' as statistic,"
            " 1 as readings from scan"
        )
        found = connection.execute(statement("rules", "time-unclear")).fetchall()

    named = {True: "occurs twice", False: "does not exist"}
    told = {
        (store, station): [(named[one["twice"]], one["zone"]) for one in unclear]
        for store, station, unclear in found
    }
    expected = {(zone, station): what for zone, station, at in scans if (what := meaning(at, zone))}
    assert len(expected) > 100
    assert set(told) == set(expected)
    assert all(told[key] == [(what, key[0])] for key, what in expected.items())


class _Stream:
    """A frame offered as a bare Arrow stream."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self._frame = frame

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        return self._frame.__arrow_c_stream__(requested_schema)
