"""Calendar files (RFC 5545): freezes out of the user's, and one per store and team of the schedule.

Every event of the user's that takes up time is a freeze. In ours, times are UTC, so they are the
same instants wherever the file is opened. Within one plan an event keeps its UID when a store is
given another night, so that a calendar which took the file before moves it; the time stamp is the
day of the run, so that the same schedule gives the same bytes.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby
from uuid import UUID, uuid5

import recurring_ical_events
from icalendar import Calendar, Component, Event
from icalendar.error import BrokenCalendarProperty

from pipeline.errors import FreezeFileUnreadable
from pipeline.settings import Freeze, FreezeCalendar
from pipeline.tables.changes import WorkNight
from pipeline.wording import Wording, wording

_BAD = (ValueError, KeyError, TypeError, AttributeError, IndexError, BrokenCalendarProperty)
_BEGIN = b"BEGIN:VCALENDAR"
_MARGIN = timedelta(days=3)  # time zones and nights reach beyond the days asked for
_OURS = UUID("5f0e7a52-9d43-4b8e-8f6a-3c1d7b2e9a64")
_PRODUCT = "-//quietaisle//change schedule"


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
class NightMove:
    """A move of a night as its entry lists it; `waits` while nobody has approved it."""

    store: str
    position: int
    station: str
    name: str | None
    from_channel: int | None
    to_channel: int
    parking: bool
    waits: bool


@dataclass(frozen=True, slots=True)
class Imprint:
    """What every calendar file of a run carries."""

    as_of: date  # the day of the run
    plans: Mapping[str, str]  # by store, the plan whose moves are made, where it has a name
    moves: Mapping[str, Sequence[NightMove]]  # by store, in order
    countries: Mapping[str, str]  # by region: of most of its stores, where it is known
    cautions: Callable[[Wording], Sequence[str]]  # for every job, such as those about ladders

    def words(self, region: str) -> Wording:
        """Return the wording of a region."""
        return wording(self.countries.get(region))


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
    made = []
    for (region, store), own in groupby(by_store, key=lambda one: (one.region, one.store)):
        words = imprint.words(region)
        title = words("calendar.of_store", store=store)
        made.append(Feed(region, store, None, _calendar(title, words, [events[n] for n in own])))
    for (region, team), own in groupby(by_team, key=lambda one: (one.region, one.team)):
        words = imprint.words(region)
        title = words("calendar.of_team", team=team)
        made.append(Feed(region, None, team, _calendar(title, words, [events[n] for n in own])))
    return tuple(made)


def _events(placed: Sequence[WorkNight], imprint: Imprint) -> dict[WorkNight, Event]:
    """Return the event of every night, given store by store and in order."""
    events = {}
    for _, own in groupby(placed, key=lambda one: one.store):
        nights = list(own)
        for number, one in enumerate(nights, start=1):
            events[one] = _event(one, number, len(nights), imprint)
    return events


def _calendar(title: str, words: Wording, events: Iterable[Event]) -> bytes:
    calendar = Calendar()
    calendar.add("prodid", f"{_PRODUCT}//{words.language.upper()}")
    calendar.add("version", "2.0")
    calendar.add("name", title)  # RFC 7986
    for event in events:
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _event(one: WorkNight, number: int, nights: int, imprint: Imprint) -> Event:
    words, plan = imprint.words(one.region), imprint.plans.get(one.store, "")
    summary = words("calendar.summary", store=one.store)
    if nights > 1:
        summary = words("calendar.night_of", summary=summary, number=number, nights=nights)
    if one.provisional:
        summary = words("calendar.provisional", summary=summary)
    event = Event()
    event.add("uid", str(uuid5(_OURS, "\n".join((one.store, plan, str(number))))))
    event.add("dtstamp", datetime.combine(imprint.as_of, time(), UTC))
    event.add("dtstart", one.starts_at.replace(tzinfo=UTC))
    event.add("dtend", one.ends_at.replace(tzinfo=UTC))
    event.add("summary", summary)
    event.add("location", words("calendar.place", store=one.store, region=one.region))
    event.add("status", "TENTATIVE" if one.provisional else "CONFIRMED")
    lines = (*_lines(one, imprint.moves.get(one.store, ()), words), *imprint.cautions(words))
    event.add("description", "\n".join(lines))
    return event


def _lines(one: WorkNight, moves: Sequence[NightMove], words: Wording) -> Iterator[str]:
    """Yield what is to be done in a night, in order, and by whom."""
    yield words.counted("calendar.moves", one.moves)
    for move in moves:
        if one.first_position <= move.position <= one.last_position:
            yield _move_line(move, words)
    yield words("calendar.crew", team=one.team, wave=one.wave)
    if one.undecided == one.moves:
        yield words("calendar.not_approved")
    elif one.provisional:
        yield words("calendar.wave_waits")


def _move_line(move: NightMove, words: Wording) -> str:
    named = move.name and move.name != move.station
    line = words(
        "calendar.first" if move.from_channel is None else "calendar.move", position=move.position,
        station=f"{move.station} ({move.name})" if named else move.station,
        before=words.channel(move.from_channel), after=words.channel(move.to_channel),
    )  # fmt: skip
    remarks = [words("moves.parking")] * move.parking + [words("calendar.undecided")] * move.waits
    return f"{line}, {', '.join(remarks)}" if remarks else line
