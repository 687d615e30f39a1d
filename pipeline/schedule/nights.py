"""The nights of a store: the stretch of each in which work may be done, or what closes it.

A night runs from noon to noon on the store's own clock and is named after its evening. Windows are
wall-clock times, so a window over a daylight saving change is longer or shorter than on other
nights. Trading hours and freezes are cut out of it; of what is left, the longest stretch is the
night's window (the earliest of equal ones), since work is not interrupted. Trading hours hold on
every day of the week: exports say no more.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from holidays import country_holidays, list_supported_countries

from pipeline.errors import HolidayPartUnknown
from pipeline.schedule.records import Night, StoreJob
from pipeline.settings import Freeze, Holidays, ScheduleRules, Window

Stretch = tuple[datetime, datetime]  # [starts, ends), UTC
_DAY = timedelta(days=1)
_SECOND = timedelta(seconds=1)
_MIDNIGHT = time()


@dataclass(frozen=True, slots=True)
class SiteNights:
    """All nights of a store, closed ones too, and what could not be taken into account."""

    nights: tuple[Night, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SiteRules:
    """What decides about the nights of one store."""

    job: StoreJob
    zone: ZoneInfo
    window: Window
    in_trading_hours: bool  # may be changed while it trades
    freezes: Sequence[Freeze]  # of this store
    resting: frozenset[date]  # public holidays
    holidays: Holidays


def site_nights(
    job: StoreJob, rules: ScheduleRules, freezes: Sequence[Freeze], first: date
) -> SiteNights:
    """Return the nights of a store from the evening `first` on.

    Args:
        job: a store without a known time zone has no nights.
        rules: windows, holidays and how many days ahead to look.
        freezes: of all stores, those out of calendar files included.
        first: the first evening.

    Raises:
        HolidayPartUnknown: the rules file names a part of a country that does not exist.
    """
    zone = zone_of(job.time_zone)
    if zone is None:
        return SiteNights((), ())
    days = [first + timedelta(days=day) for day in range(rules.work.nights)]
    years = range(days[0].year, (days[-1] + _DAY).year + 1)
    site = SiteRules(
        job=job,
        zone=zone,
        window=rules.windows.of(job.store, job.region, job.store_type),
        in_trading_hours=job.store in rules.windows.in_trading_hours,
        freezes=[freeze for freeze in freezes if _concerns(freeze, job)],
        resting=holiday_days(job, rules.holidays, years),
        holidays=rules.holidays,
    )
    return SiteNights(tuple(_night(site, evening) for evening in days), tuple(_remarks(site)))


def _concerns(freeze: Freeze, job: StoreJob) -> bool:
    return freeze.region in (None, job.region) and freeze.store in (None, job.store)


def why_closed(nights: Sequence[Night]) -> Mapping[str, int]:
    """Return how many nights each cause closes, the most frequent first."""
    causes = Counter(night.stopped_by for night in nights if night.stopped_by is not None)
    return dict(sorted(causes.items(), key=lambda cause: (-cause[1], cause[0])))


def _remarks(site: SiteRules) -> Iterator[str]:
    job = site.job
    if not site.in_trading_hours and (job.opens is None or job.closes is None):
        yield "no export names its trading hours: only the change window was kept"
    if (site.holidays.night_before or site.holidays.night_of) and not has_calendar(job.country):
        country = f"of {job.country}" if job.country else "(no export names its country)"
        yield f"no calendar of public holidays {country}: none were kept"


def _night(site: SiteRules, evening: date) -> Night:
    starts, ends = (instant(wall, site.zone) for wall in site.window.of_night(evening))
    stopped = _stopped_by_day(site, evening)
    if stopped is not None:
        return Night(evening, starts, ends, stopped)
    left = [(starts, ends)] if ends > starts else []
    if not left:
        return Night(evening, starts, ends, "the change window is gone in the clock change")
    if not site.in_trading_hours:
        left = list(_without(left, _trading(site, evening)))
        if not left:
            return Night(evening, starts, ends, "the store trades")
    for freeze in site.freezes:
        left = list(_without(left, [_frozen(freeze, site.zone)]))
        if not left:
            return Night(evening, starts, ends, f"the freeze '{freeze.reason}'")
    longest = max(left, key=lambda stretch: (stretch[1] - stretch[0], -stretch[0].timestamp()))
    return Night(evening, *longest, None)


def _stopped_by_day(site: SiteRules, evening: date) -> str | None:
    if evening.weekday() not in site.window.weekdays:
        return "no change window on that weekday"
    if site.holidays.night_of and evening in site.resting:
        return "a public holiday"
    if site.holidays.night_before and evening + _DAY in site.resting:
        return "the night before a public holiday"
    return None


def _trading(site: SiteRules, evening: date) -> Iterator[Stretch]:
    """Yield when the store trades around a night; a closing time that comes twice is the later."""
    opens, closes = site.job.opens, site.job.closes
    if opens is None or closes is None:
        return
    for day in (evening - _DAY, evening, evening + _DAY):
        shut = day if closes > opens else day + _DAY
        until = instant(datetime.combine(shut, closes), site.zone, later=True)
        yield instant(datetime.combine(day, opens), site.zone), _whole_minute(until)


def _whole_minute(moment: datetime) -> datetime:
    """Round up: a store that closes at 23:59:59 closes at midnight."""
    whole = moment.replace(second=0, microsecond=0)
    return whole if whole == moment else whole + timedelta(minutes=1)


def _frozen(freeze: Freeze, zone: ZoneInfo) -> Stretch:
    return _moment(freeze.starts, zone, later=False), _moment(freeze.ends, zone, later=True)


def _moment(day: date, zone: ZoneInfo, *, later: bool) -> datetime:
    if not isinstance(day, datetime):
        day = datetime.combine(day, _MIDNIGHT)
    return instant(day, zone, later=later) if day.tzinfo is None else day.astimezone(UTC)


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


def holiday_days(job: StoreJob, rules: Holidays, years: Iterable[int]) -> frozenset[date]:
    """Return the public holidays that count at a store in these years.

    They come from a kept library, with the rules file's corrections.

    Raises:
        HolidayPartUnknown: the rules file names a part of the country that does not exist.
    """
    days: frozenset[date] = frozenset()
    if job.country is not None and has_calendar(job.country):
        part = rules.subdivision.get(job.store, rules.subdivision.get(job.region))
        days = _country_days(job.country, part, tuple(years))
    return (days | frozenset(rules.also)) - frozenset(rules.ignored)


def has_calendar(country: str | None) -> bool:
    """Say whether the public holidays of a country are known."""
    return country in _countries()


@cache
def _countries() -> Mapping[str, Sequence[str]]:
    return list_supported_countries()


@cache
def _country_days(country: str, part: str | None, years: tuple[int, ...]) -> frozenset[date]:
    if part is not None and part not in _countries()[country]:
        raise HolidayPartUnknown(country, part, sorted(_countries()[country]))
    return frozenset(country_holidays(country, subdiv=part, years=years))


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
    """Return the instant, in UTC, at which the clock on the wall shows a time.

    A time that does not exist (the clock is put forward over it) stands for the instant at which
    the clock is put forward.

    Args:
        wall: naive; what the clock on the wall shows.
        zone: the clock's zone.
        later: of a time that comes twice (the clock is put back), take the second.
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
