"""Freezes out of iCalendar files (RFC 5545): every event that takes up time is one."""

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime, timedelta

import recurring_ical_events
from icalendar import Calendar, Component, Event
from icalendar.error import BrokenCalendarProperty

from pipeline.errors import FreezeFileUnreadable
from pipeline.settings import Freeze, FreezeCalendar

_BAD = (ValueError, KeyError, TypeError, AttributeError, IndexError, BrokenCalendarProperty)
_BEGIN = b"BEGIN:VCALENDAR"
_MARGIN = timedelta(days=3)  # time zones and nights reach beyond the days asked for


def calendar_freezes(
    calendars: Iterable[FreezeCalendar], first: date, last: date
) -> tuple[Freeze, ...]:
    """Return the freezes of calendar files that touch the days from `first` to `last`.

    Recurring events are expanded with their exceptions; whole days and floating times stay on the
    store's own clock, all other times become UTC. Cancelled events and those that take up no time
    (TRANSP:TRANSPARENT) freeze nothing.

    Raises:
        FreezeFileUnreadable: a file is no iCalendar file, or an event of it is broken: to leave
            it out could let work fall into the freeze.
    """
    freezes = [freeze for file in calendars for freeze in _of_file(file, first, last)]
    return tuple(sorted(freezes, key=_order))


def _of_file(file: FreezeCalendar, first: date, last: date) -> Iterator[Freeze]:
    try:
        calendars = Calendar.from_ical(file.content, multiple=True)
        if len(calendars) != file.content.upper().count(_BEGIN) or not calendars:
            raise FreezeFileUnreadable(file.file, "it holds no whole VCALENDAR, or is cut short")
        for calendar in calendars:
            _refuse_broken(file, calendar)
            query = recurring_ical_events.of(calendar)
            for event in query.between(first - _MARGIN, last + _MARGIN):
                if _counts(event):
                    yield _freeze(file, event)
    except _BAD as error:
        raise FreezeFileUnreadable(file.file, str(error).splitlines()[0]) from error


def _refuse_broken(file: FreezeCalendar, calendar: Component) -> None:
    for part in calendar.walk():
        for name, why in part.errors:
            raise FreezeFileUnreadable(file.file, f"{part.name} has a broken {name} ({why})")
        if isinstance(part, Event):
            title = str(part.get("SUMMARY", "without a title"))
            if "DTSTART" not in part:
                raise FreezeFileUnreadable(file.file, f"the event '{title}' has no start")
            if part.end < part.start:
                raise FreezeFileUnreadable(file.file, f"the event '{title}' ends before it starts")


def _counts(event: Event) -> bool:
    cancelled = str(event.get("STATUS", "")).upper() == "CANCELLED"
    return not cancelled and str(event.get("TRANSP", "")).upper() != "TRANSPARENT"


def _freeze(file: FreezeCalendar, event: Event) -> Freeze:
    reason = str(event.get("SUMMARY", "")).strip() or file.file
    ends = _end(event.start, event.end)
    return Freeze(_plain(event.start), ends, reason, file.region, file.store)


def _end(start: date, end: date) -> date:
    """Return an event's end, over a clock change the later of its two readings.

    A length in hours is exact time (RFC 5545, section 3.3.6), which not every program keeps to:
    some add it to the clock on the wall. The longer freeze is the safe one.
    """
    if not (isinstance(start, datetime) and isinstance(end, datetime)):
        return end
    if start.tzinfo is None or start.tzinfo != end.tzinfo:
        return _plain(end)
    shown = end.replace(tzinfo=None) - start.replace(tzinfo=None)
    return max(_utc(end), _utc(start) + shown)


def _plain(moment: date) -> date:
    if isinstance(moment, datetime) and moment.tzinfo is not None:
        return _utc(moment)
    return moment


def _utc(moment: datetime) -> datetime:
    return datetime.fromtimestamp(moment.timestamp(), UTC)


def _order(freeze: Freeze) -> tuple[str, str, str, str, str]:
    starts, ends = freeze.starts.isoformat(), freeze.ends.isoformat()
    return starts, ends, freeze.reason, freeze.region or "", freeze.store or ""
