"""Calendar files (RFC 5545): freezes out of the user's, and one per store and team of the schedule.

Every event of the user's that takes up time is a freeze. In ours, times are UTC, so they are the
same instants wherever the file is opened. Within one plan an event keeps its UID when a store is
given another night, so that a calendar which took the file before moves it; the time stamp is the
day of the run, so that the same schedule gives the same bytes.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby
from uuid import UUID, uuid5

import recurring_ical_events
from icalendar import Calendar, Component, Event
from icalendar.error import BrokenCalendarProperty

from pipeline.errors import FreezeFileUnreadable
from pipeline.settings import Freeze, FreezeCalendar
from pipeline.tables.schedule import WorkNight

_BAD = (ValueError, KeyError, TypeError, AttributeError, IndexError, BrokenCalendarProperty)
_BEGIN = b"BEGIN:VCALENDAR"
_MARGIN = timedelta(days=3)  # time zones and nights reach beyond the days asked for
_OURS = UUID("5f0e7a52-9d43-4b8e-8f6a-3c1d7b2e9a64")
_PRODUCT = "-//quietaisle//change schedule//EN"


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
    for component in calendar.walk():
        for name, why in component.errors:
            reason = f"{component.name} has a broken {name} ({why})"
            raise FreezeFileUnreadable(file.file, reason)
        if isinstance(component, Event):
            title = str(component.get("SUMMARY", "without a title"))
            if "DTSTART" not in component:
                raise FreezeFileUnreadable(file.file, f"the event '{title}' has no start")
            if component.end < component.start:
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


@dataclass(frozen=True, slots=True)
class Imprint:
    """What every calendar file of a run carries."""

    as_of: date  # the day of the run
    plans: Mapping[str, str]  # by store, the plan whose moves are made, where it has a name
    cautions: Sequence[str]  # sentences on every job, such as those about ladders


@dataclass(frozen=True, slots=True)
class Feed:
    """A calendar file: of a store where `store` is set, else of a team."""

    region: str
    store: str | None
    team: str | None
    content: bytes


def feeds(placed: Iterable[WorkNight], imprint: Imprint) -> tuple[Feed, ...]:
    """Return the calendar file of every store, then of every team, in the schedule."""
    by_store = sorted(placed, key=lambda one: (one.region, one.store, one.night))
    by_team = sorted(by_store, key=lambda one: (one.region, one.team, one.starts_at))
    events = _events(by_store, imprint)
    made = [
        Feed(region, store, None, _calendar(f"Changes at store {store}", own, events))
        for (region, store), own in groupby(by_store, key=lambda one: (one.region, one.store))
    ]
    made += [
        Feed(region, None, team, _calendar(f"Changes by {team}", own, events))
        for (region, team), own in groupby(by_team, key=lambda one: (one.region, one.team))
    ]
    return tuple(made)


def _events(placed: Sequence[WorkNight], imprint: Imprint) -> dict[WorkNight, Event]:
    """Return the event of every night, given store by store and in order."""
    events = {}
    for _, own in groupby(placed, key=lambda one: one.store):
        nights = list(own)
        for number, one in enumerate(nights, start=1):
            events[one] = _event(one, number, len(nights), imprint)
    return events


def _calendar(title: str, placed: Iterable[WorkNight], events: Mapping[WorkNight, Event]) -> bytes:
    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("name", title)  # RFC 7986
    for one in placed:
        calendar.add_component(events[one])
    return bytes(calendar.to_ical())


def _event(one: WorkNight, number: int, nights: int, imprint: Imprint) -> Event:
    which = f", night {number} of {nights}" if nights > 1 else ""
    provisional = " (provisional)" if one.provisional else ""
    plan = imprint.plans.get(one.store, "")
    event = Event()
    event.add("uid", str(uuid5(_OURS, "\n".join((one.store, plan, str(number))))))
    event.add("dtstamp", datetime.combine(imprint.as_of, time(), UTC))
    event.add("dtstart", one.starts_at.replace(tzinfo=UTC))
    event.add("dtend", one.ends_at.replace(tzinfo=UTC))
    event.add("summary", f"Channel changes at store {one.store}{which}{provisional}")
    event.add("location", f"Store {one.store}, {one.region}")
    event.add("status", "TENTATIVE" if one.provisional else "CONFIRMED")
    event.add("description", "\n".join([*_lines(one), *imprint.cautions]))
    return event


def _lines(one: WorkNight) -> Iterator[str]:
    first, last = one.first_position, one.last_position
    moves = f"Move {first}" if first == last else f"Moves {first} to {last}"
    yield f"{moves} in the order of the change plan."
    yield f"Team: {one.team}. Wave: {one.wave}."
    if one.provisional:
        yield "Provisional: an earlier wave must be verified first."
