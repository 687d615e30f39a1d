"""Freezes out of calendar files: what freezes, what does not, and what is refused."""

from datetime import UTC, date, datetime

import pytest

from pipeline.errors import FreezeFileUnreadable
from pipeline.schedule.calendars import calendar_freezes
from pipeline.settings import Freeze, FreezeCalendar

FIRST, LAST = date(2026, 10, 1), date(2026, 12, 31)


def _calendar(*events: str, region: str | None = None) -> FreezeCalendar:
    stamped = [
        f"BEGIN:VEVENT\nUID:{number}\nDTSTAMP:20260101T000000Z\n{event}\nEND:VEVENT"
        for number, event in enumerate(events)
    ]
    text = "\n".join(["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:test", *stamped, "END:VCALENDAR"])
    return FreezeCalendar("f.ics", (text + "\n").replace("\n", "\r\n").encode(), region=region)


def _freezes(*events: str) -> tuple[Freeze, ...]:
    return calendar_freezes([_calendar(*events)], FIRST, LAST)


def test_whole_days_and_floating_times_stay_on_the_stores_clock() -> None:
    """DTEND of whole days is the day after the last; a single day needs none."""
    freezes = _freezes(
        "DTSTART;VALUE=DATE:20261120\nDTEND;VALUE=DATE:20261228\nSUMMARY:peak trade",
        "DTSTART;VALUE=DATE:20261005\nSUMMARY:audit",
        "DTSTART:20261101T220000\nDTEND:20261102T020000\nSUMMARY:stocktake",
    )

    assert freezes == (
        Freeze(date(2026, 10, 5), date(2026, 10, 6), "audit"),
        Freeze(datetime(2026, 11, 1, 22), datetime(2026, 11, 2, 2), "stocktake"),
        Freeze(date(2026, 11, 20), date(2026, 12, 28), "peak trade"),
    )


def test_fixed_times_become_utc() -> None:
    """A zone by name, with a length in place of an end; and UTC as it stands."""
    freezes = _freezes(
        "DTSTART;TZID=Europe/Berlin:20261023T230000\nDURATION:PT6H\nSUMMARY:cut-over",
        "DTSTART:20261030T100000Z\nDTEND:20261030T120000Z\nSUMMARY:network",
    )

    assert freezes == (
        Freeze(
            datetime(2026, 10, 23, 21, tzinfo=UTC),
            datetime(2026, 10, 24, 3, tzinfo=UTC),
            "cut-over",
        ),
        Freeze(
            datetime(2026, 10, 30, 10, tzinfo=UTC),
            datetime(2026, 10, 30, 12, tzinfo=UTC),
            "network",
        ),
    )


@pytest.mark.parametrize(
    ("day", "ends"),
    [
        ("20261024", datetime(2026, 10, 25, 4, tzinfo=UTC)),  # back: 05:00 on the wall is 7 hours
        ("20270327", datetime(2027, 3, 28, 4, tzinfo=UTC)),  # forward: 6 hours are 06:00
    ],
)
def test_hours_over_a_clock_change_freeze_the_longer_reading(day: str, ends: datetime) -> None:
    """RFC 5545, section 3.3.6, has hours exact; the clock on the wall may be meant."""
    event = f"DTSTART;TZID=Europe/Berlin:{day}T230000\nDURATION:PT6H"

    (freeze,) = calendar_freezes([_calendar(event)], FIRST, date(2027, 4, 1))

    assert freeze.ends == ends


def test_recurring_events_are_expanded_within_the_days_asked_for() -> None:
    """Each time is a freeze of its own, but those taken out."""
    freezes = _freezes(
        "DTSTART;VALUE=DATE:20200106\nRRULE:FREQ=WEEKLY;BYDAY=MO\nSUMMARY:deliveries\n"
        "EXDATE;VALUE=DATE:20261012"
    )
    days = [freeze.starts for freeze in freezes]

    assert date(2026, 10, 5) in days
    assert date(2026, 10, 12) not in days
    assert min(days) >= date(2026, 9, 28)
    assert max(days) <= date(2027, 1, 4)


def test_the_rules_file_says_where_a_calendar_holds() -> None:
    """All freezes of a file carry its region."""
    calendar = _calendar("DTSTART;VALUE=DATE:20261005\nSUMMARY:audit", region="North")

    assert [one.region for one in calendar_freezes([calendar], FIRST, LAST)] == ["North"]


@pytest.mark.parametrize("mark", ["STATUS:CANCELLED", "TRANSP:TRANSPARENT"])
def test_events_that_take_no_time_freeze_nothing(mark: str) -> None:
    """RFC 5545, sections 3.8.1.11 and 3.8.2.7."""
    assert _freezes(f"DTSTART;VALUE=DATE:20261005\n{mark}") == ()


def test_an_event_without_a_title_is_named_after_its_file() -> None:
    """A reason is always given."""
    assert [one.reason for one in _freezes("DTSTART;VALUE=DATE:20261005")] == ["f.ics"]


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"store;from;to\r\nS1;1;2\r\n",
        b"\x00\xff\xfe",
        b"BEGIN:VEVENT\r\nDTSTART:20261005T000000Z\r\nEND:VEVENT\r\n",
        _calendar("DTSTART:2026-10-05").content,
        _calendar("DTSTART;VALUE=DATE:20261305").content,
        _calendar("SUMMARY:no start").content,
        _calendar("DTSTART;VALUE=DATE:20261005\nRRULE:FREQ=SOMETIMES").content,
        _calendar("DTSTART;VALUE=DATE:20261005").content[:-20],
        _calendar("DTSTART:20261005T220000Z\nDTEND:20261001T220000Z").content,
    ],
)
def test_a_broken_calendar_is_refused_as_a_whole(content: bytes) -> None:
    """To leave out what cannot be read could let work fall into a freeze."""
    with pytest.raises(FreezeFileUnreadable) as refusal:
        calendar_freezes([FreezeCalendar("f.ics", content)], FIRST, LAST)

    assert "f.ics" in str(refusal.value)


@pytest.mark.parametrize("cut", range(0, 200, 7))
def test_no_cut_off_calendar_ends_in_another_error(cut: int) -> None:
    """A file cut short anywhere is read as far as it is whole, or refused in one sentence."""
    content = _calendar("DTSTART;TZID=Europe/Berlin:20261024T230000\nDURATION:PT6H").content[:cut]
    try:
        freezes = calendar_freezes([FreezeCalendar("f.ics", content)], FIRST, LAST)
    except FreezeFileUnreadable:
        return
    assert len(freezes) <= 1
