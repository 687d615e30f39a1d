"""Calendars against RFC 5545, published laws on time and holidays, and an independent library."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

import ics
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from schedule_portfolios import wild

from pipeline.schedule.calendars import Imprint, calendar_freezes, feeds
from pipeline.schedule.nights import has_calendar, holiday_days, instant
from pipeline.schedule.records import StoreJob
from pipeline.schedule.stores import schedule_stores
from pipeline.settings import FreezeCalendar, load_settings
from pipeline.tables.changes import WorkNight

CAUTIONS = ("Ladders; work at height, always.", "Local codes, the regulator: first.")

# RFC 5545, section 3.8.5.3, "Every other week on Monday, Wednesday, and Friday until December 24,
# 1997, starting on Monday, September 1, 1997": as listed there, at 9:00 a.m. EDT, then EST.
RULE = """BEGIN:VEVENT
UID:rfc
DTSTAMP:19970901T000000Z
DTSTART;TZID=America/New_York:19970901T090000
DURATION:PT1H
RRULE:FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR
END:VEVENT"""
EDT = (
    *((9, day) for day in (1, 3, 5, 15, 17, 19, 29)),
    *((10, day) for day in (1, 3, 13, 15, 17)),
)
EST = (
    *((10, day) for day in (27, 29, 31)),
    *((11, day) for day in (10, 12, 14, 24, 26, 28)),
    *((12, day) for day in (8, 10, 12, 22)),
)
# RFC 5545, section 3.6.5: the definition of New York's time "that uses RRULE" for 1987 to 2006.
ZONE = """BEGIN:VTIMEZONE
TZID:Our own/New York
BEGIN:DAYLIGHT
DTSTART:19870405T020000
RRULE:FREQ=YEARLY;BYMONTH=4;BYDAY=1SU;UNTIL=20060402T070000Z
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
END:DAYLIGHT
BEGIN:STANDARD
DTSTART:19671029T020000
RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU;UNTIL=20061029T060000Z
TZOFFSETFROM:-0400
TZOFFSETTO:-0500
TZNAME:EST
END:STANDARD
END:VTIMEZONE"""


def _file(*parts: str) -> FreezeCalendar:
    text = "\n".join(["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:x", *parts, "END:VCALENDAR", ""])
    return FreezeCalendar("rfc.ics", text.replace("\n", "\r\n").encode())


@pytest.mark.parametrize(
    "file", [_file(RULE), _file(ZONE, RULE.replace("America/New_York", "Our own/New York"))]
)
def test_the_recurrence_of_the_standard_is_expanded_as_listed_there(file: FreezeCalendar) -> None:
    """RFC 5545, section 3.8.5.3: over the end of summer time, in a named zone and in its own."""
    freezes = calendar_freezes([file], date(1997, 8, 1), date(1998, 1, 31))

    expected = [datetime(1997, month, day, 13, tzinfo=UTC) for month, day in EDT]
    expected += [datetime(1997, month, day, 14, tzinfo=UTC) for month, day in EST]
    assert [freeze.starts for freeze in freezes] == expected
    assert {freeze.ends - freeze.starts for freeze in freezes} == {timedelta(hours=1)}


def _last_sunday(year: int, month: int) -> date:
    last = date(year, month, 31)
    return last - timedelta(days=(last.weekday() + 1) % 7)


@pytest.mark.parametrize("year", range(2002, 2037))
@pytest.mark.parametrize("zone", ["Europe/London", "Europe/Berlin", "Europe/Warsaw"])
def test_summer_time_in_europe_is_that_of_the_directive(year: int, zone: str) -> None:
    """Directive 2000/84/EC, articles 2 and 3: 01:00 GMT on the last Sundays of March and October.

    The United Kingdom keeps the same days (Summer Time Order 2002).
    """
    standard = {"Europe/London": 0}.get(zone, 1)
    jump = datetime.combine(_last_sunday(year, 3), time(1 + standard, 30))
    back = datetime.combine(_last_sunday(year, 10), time(1 + standard, 30))

    assert instant(jump, ZoneInfo(zone)) == datetime.combine(jump.date(), time(1), UTC)
    assert instant(back, ZoneInfo(zone)).time() == time(0, 30)
    assert instant(back, ZoneInfo(zone), later=True).time() == time(1, 30)


@pytest.mark.parametrize(
    ("country", "part", "expected", "working"),
    [
        # Unification Treaty of 31 August 1990, article 2(2); Bavarian law on Sundays and holidays
        # (FTG), article 1: 3 October, and in Bavaria Epiphany and All Saints' Day.
        ("DE", "BY", ("2026-10-03", "2026-01-06", "2026-11-01"), ("2026-10-31",)),
        ("DE", "BB", ("2026-10-03", "2026-10-31"), ("2026-01-06",)),
        # Banking and Financial Dealings Act 1971, schedule 1: Easter Monday and the last Mondays of
        # May and August in England; 2 January and the first Monday of August in Scotland.
        ("GB", "ENG", ("2026-04-06", "2026-05-25", "2026-08-31"), ("2026-01-02", "2026-08-03")),
        ("GB", "SCT", ("2026-01-02", "2026-08-03", "2026-11-30"), ("2026-04-06", "2026-08-31")),
        # Polish law of 18 January 1951 on non-working days, article 1.
        ("PL", None, ("2026-11-11", "2026-05-03", "2026-08-15"), ("2026-05-02",)),
    ],
)
def test_public_holidays_are_those_of_the_law(
    country: str, part: str | None, expected: tuple[str, ...], working: tuple[str, ...]
) -> None:
    """The kept library gives the days that each country's law names."""
    site = StoreJob("S1", "N", None, country, "Europe/Berlin", None, None)
    rules = load_settings().schedule.holidays
    rules = replace(rules, subdivision=MappingProxyType({"N": part} if part else {}))

    found = holiday_days(site, rules, (2026,))

    assert has_calendar(country)
    assert {date.fromisoformat(day) for day in expected} <= found
    assert not {date.fromisoformat(day) for day in working} & found


def _imprint(day: date) -> Imprint:
    nothing: MappingProxyType[str, Any] = MappingProxyType({})
    return Imprint(day, nothing, nothing, nothing, lambda _: CAUTIONS)


def _instants(content: bytes) -> list[tuple[datetime, datetime, str]]:
    events = ics.Calendar(content.decode()).events
    return sorted(
        (event.begin.datetime.astimezone(UTC), event.end.datetime.astimezone(UTC), event.uid)
        for event in events
    )


@pytest.mark.parametrize("seed", range(10))
def test_calendar_files_give_an_independent_reader_the_same_instants(seed: int) -> None:
    """Every night of a store and of a team comes back, over both clock changes."""
    portfolio = wild(seed)
    made = schedule_stores(portfolio.jobs, portfolio.rules, portfolio.first, portfolio.results)
    files = feeds(made.placed, _imprint(portfolio.first))

    for file in files:
        own = [
            (one.starts_at.replace(tzinfo=UTC), one.ends_at.replace(tzinfo=UTC))
            for one in made.placed
            if one.region == file.region
            and file.store in (None, one.store)
            and file.team in (None, one.team)
        ]
        assert sorted(own) == [(begin, end) for begin, end, _ in _instants(file.content)]
        uids = [uid for _, _, uid in _instants(file.content)]
        assert len(set(uids)) == len(uids)
    assert len(files) == len({(one.region, one.store) for one in made.placed}) + len(
        {(one.region, one.team) for one in made.placed}
    )


NAMES = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1)


@settings(max_examples=30)
@given(NAMES, NAMES, NAMES, st.booleans())
def test_any_name_survives_and_lines_keep_to_the_standard(
    store: str, region: str, team: str, provisional: bool
) -> None:
    """RFC 5545, section 3.1: lines end in CRLF and have 75 octets at most; text is escaped."""
    starts = datetime(2026, 10, 25, 0, 30)
    one = WorkNight(
        store=store,
        region=region,
        night=date(2026, 10, 24),
        starts_at=starts,
        ends_at=starts + timedelta(minutes=75),
        starts_local=starts,
        ends_local=starts + timedelta(minutes=75),
        team=team,
        wave="pilot",
        provisional=provisional,
        moves=3,
        first_position=1,
        last_position=3,
        undecided=0,
    )

    of_store, of_team = feeds([one], _imprint(date(2026, 10, 1)))

    for file in (of_store, of_team):
        lines = file.content.split(b"\r\n")
        assert lines[-1] == b""
        assert all(len(line) <= 75 and b"\n" not in line for line in lines)
        assert b"DTSTAMP:20261001T000000Z" in lines
        assert (b"STATUS:TENTATIVE" in lines) == provisional
        (event,) = ics.Calendar(file.content.decode()).events
        assert event.begin.datetime == starts.replace(tzinfo=UTC)
        assert f"at store {store}" in event.name
        assert event.description.endswith("\n".join(CAUTIONS))
