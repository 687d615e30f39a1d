"""When work may be done at a store: its change window, less all that keeps work out of it.

A night runs from noon to noon on the store's own clock and is named after its evening. A window is
wall-clock times (`pipeline.schedule.clock`), so in a night with a daylight saving change it is an
hour shorter or longer than in others. Out of it are taken
the time the store trades and every freeze. Work is not interrupted: of what is left, the longest
stretch is the night's window, the earliest of equal ones. Trading hours hold on every day of the
week, since exports say no more.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from pipeline.schedule.clock import instant
from pipeline.schedule.records import Night, Site
from pipeline.settings import Freeze, Holidays, Window

Stretch = tuple[datetime, datetime]  # [starts, ends), UTC
_DAY = timedelta(days=1)
_MIDNIGHT = time()


@dataclass(frozen=True, slots=True)
class SiteRules:
    """What decides about the nights of one store."""

    site: Site
    zone: ZoneInfo
    window: Window
    in_trading_hours: bool  # may be changed while it trades
    freezes: Sequence[Freeze]  # of this store
    holidays: frozenset[date]
    holiday_rules: Holidays


def night_of(rules: SiteRules, evening: date) -> Night:
    """Return the night that begins on an evening, with the stretch in which work may be done."""
    starts, ends = _window(rules, evening)
    stopped = _stopped_by_day(rules, evening)
    if stopped is not None:
        return Night(evening, starts, ends, stopped)
    left = [(starts, ends)] if ends > starts else []
    if not left:
        return Night(evening, starts, ends, "the change window is gone in the clock change")
    if not rules.in_trading_hours:
        left = list(_without(left, _trading(rules, evening)))
        if not left:
            return Night(evening, starts, ends, "the store trades")
    for freeze in rules.freezes:
        left = list(_without(left, [_frozen(freeze, rules.zone)]))
        if not left:
            return Night(evening, starts, ends, f"the freeze '{freeze.reason}'")
    longest = max(left, key=lambda stretch: (stretch[1] - stretch[0], -stretch[0].timestamp()))
    return Night(evening, *longest, None)


def _window(rules: SiteRules, evening: date) -> Stretch:
    starts, ends = rules.window.of_night(evening)
    return instant(starts, rules.zone), instant(ends, rules.zone)


def _stopped_by_day(rules: SiteRules, evening: date) -> str | None:
    if evening.weekday() not in rules.window.weekdays:
        return "no change window on that weekday"
    if rules.holiday_rules.night_of and evening in rules.holidays:
        return "a public holiday"
    if rules.holiday_rules.night_before and evening + _DAY in rules.holidays:
        return "the night before a public holiday"
    return None


def _trading(rules: SiteRules, evening: date) -> Iterator[Stretch]:
    """Yield when the store trades around a night; of a close that comes twice, the later."""
    opens, closes = rules.site.opens, rules.site.closes
    if opens is None or closes is None:
        return
    for day in (evening - _DAY, evening, evening + _DAY):
        shut = day if closes > opens else day + _DAY
        until = instant(datetime.combine(shut, closes), rules.zone, later=True)
        yield instant(datetime.combine(day, opens), rules.zone), _whole_minute(until)


def _whole_minute(moment: datetime) -> datetime:
    """Round up: a store that closes at 23:59:59 closes at midnight."""
    whole = moment.replace(second=0, microsecond=0)
    return whole if whole == moment else whole + timedelta(minutes=1)


def _frozen(freeze: Freeze, zone: ZoneInfo) -> Stretch:
    return _moment(freeze.starts, zone, later=False), _moment(freeze.ends, zone, later=True)


def _moment(day: date, zone: ZoneInfo, *, later: bool) -> datetime:
    if not isinstance(day, datetime):
        return instant(datetime.combine(day, _MIDNIGHT), zone, later=later)
    if day.tzinfo is None:
        return instant(day, zone, later=later)
    return day.astimezone(UTC)


def _without(stretches: Iterable[Stretch], taken: Iterable[Stretch]) -> Iterator[Stretch]:
    """Yield what is left of stretches in time order."""
    closed = list(taken)
    for starts, ends in stretches:
        at = starts
        for shut, opens in sorted(closed):
            if shut < ends and opens > at and opens > shut:
                if shut > at:
                    yield at, shut
                at = opens
        if at < ends:
            yield at, ends
