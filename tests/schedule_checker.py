"""An independent judge of change schedules: it walks the store's clock minute by minute.

It shares nothing with the scheduler but the records: what the clock on the wall shows decides,
not intervals.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from math import ceil
from zoneinfo import ZoneInfo

import holidays

from pipeline.schedule.records import Schedule, StoreJob, WaveResult
from pipeline.settings import Freeze, ScheduleRules, Team, Wave
from pipeline.tables.changes import WorkNight

MINUTE = timedelta(minutes=1)
DAY = timedelta(days=1)
_CALENDARS: dict[tuple[str, str | None], holidays.HolidayBase] = {}


def faults(
    schedule: Schedule,
    jobs: Sequence[StoreJob],
    rules: ScheduleRules,
    first: date,
    results: Sequence[WaveResult],
) -> list[str]:
    """Return every constraint that a schedule breaks, in words."""
    by_store = {job.store: job for job in jobs}
    visits: dict[str, list[WorkNight]] = defaultdict(list)
    for place in schedule.placed:
        visits[place.store].append(place)
    found = list(_accounted(schedule, by_store, visits))
    for store, own in sorted(visits.items()):
        found.extend(_store_faults(by_store[store], own, rules, first))
    found.extend(_team_faults(schedule, rules))
    found.extend(_group_faults(schedule, by_store))
    for region in sorted({job.region for job in jobs}):
        found.extend(_wave_faults(region, schedule, by_store, rules, results))
    found.extend(_benefit_faults(schedule, by_store, visits, rules, first))
    return found


def open_minutes(
    site: StoreJob, evening: date, rules: ScheduleRules, due: date | None
) -> list[int]:
    """Return the minutes of a night, counted from the epoch, in which work may be done."""
    if site.time_zone is None or _closed(site, evening, rules):
        return []
    zone = ZoneInfo(site.time_zone)
    window = rules.windows.of(site.store, site.region, site.store_type)
    starts, ends = window.of_night(evening)
    kept = []
    begun = False
    moment = datetime.combine(evening, time(12), zone).astimezone(UTC) - 2 * MINUTE * 60
    for _ in range(28 * 60):
        wall = moment.astimezone(zone).replace(tzinfo=None)
        begun = begun or (wall >= starts and wall.date() >= evening)
        if wall >= ends:
            break
        late = due is not None and wall.date() > due
        if begun and not late and not _barred(site, wall, moment, rules):
            kept.append(int(moment.timestamp()) // 60)
        moment += MINUTE
    return kept


def _closed(site: StoreJob, evening: date, rules: ScheduleRules) -> bool:
    window = rules.windows.of(site.store, site.region, site.store_type)
    if evening.weekday() not in window.weekdays:
        return True
    asked = rules.holidays
    return (asked.night_of and _rests(site, evening, rules)) or (
        asked.night_before and _rests(site, evening + DAY, rules)
    )


def _rests(site: StoreJob, day: date, rules: ScheduleRules) -> bool:
    if day in rules.holidays.ignored:
        return False
    if day in rules.holidays.also:
        return True
    if site.country is None:
        return False
    part = rules.holidays.subdivision.get(site.store) or rules.holidays.subdivision.get(site.region)
    key = (site.country, part)
    if key not in _CALENDARS:
        _CALENDARS[key] = holidays.country_holidays(site.country, subdiv=part)
    return day in _CALENDARS[key]


def _barred(site: StoreJob, wall: datetime, moment: datetime, rules: ScheduleRules) -> bool:
    trades = site.store not in rules.windows.in_trading_hours and _trades(site, wall.time())
    return trades or any(
        freeze.region in (None, site.region)
        and freeze.store in (None, site.store)
        and _frozen(freeze, wall, moment)
        for freeze in rules.freezes
    )


def _trades(site: StoreJob, clock: time) -> bool:
    if site.opens is None or site.closes is None:
        return False
    if site.opens < site.closes:
        return site.opens <= clock < site.closes
    return clock >= site.opens or clock < site.closes


def _frozen(freeze: Freeze, wall: datetime, moment: datetime) -> bool:
    starts, ends = freeze.starts, freeze.ends
    if isinstance(starts, datetime) and isinstance(ends, datetime):
        at = wall if starts.tzinfo is None else moment
        return starts <= at < ends
    return starts <= wall.date() < ends


def _accounted(
    schedule: Schedule, jobs: Mapping[str, StoreJob], visits: Mapping[str, Sequence[WorkNight]]
) -> Iterator[str]:
    left = [one.store for one in schedule.unplaced]
    if sorted([*left, *visits]) != sorted(jobs):
        yield "a store is neither placed nor unplaced, or both"
    for one in schedule.unplaced:
        if not one.reason.strip():
            yield f"{one.store} is unplaced without a reason"


def _store_faults(
    job: StoreJob, places: Sequence[WorkNight], rules: ScheduleRules, first: date
) -> Iterator[str]:
    dues = [
        deadline.by
        for deadline in rules.deadlines
        if deadline.region in (None, job.region) and deadline.store in (None, job.store)
    ]
    due = min(dues, default=None)
    ordered = sorted(places, key=lambda place: place.night)
    moves = [n for place in ordered for n in range(place.first_position, place.last_position + 1)]
    if moves != list(range(1, job.moves + 1)):
        yield f"{job.store}: its moves are {moves}, not 1 to {job.moves}"
    for one, following in pairwise(ordered):
        if following.night != one.night + DAY:
            yield f"{job.store} is left half changed from {one.night} to {following.night}"
    for place in ordered:
        if not first <= place.night < first + rules.work.nights * DAY:
            yield f"{job.store} is placed on {place.night}, outside the days laid out"
        yield from _night_faults(job, place, rules, due)


def _night_faults(
    job: StoreJob, place: WorkNight, rules: ScheduleRules, due: date | None
) -> Iterator[str]:
    count = place.last_position - place.first_position + 1
    if count != place.moves:
        yield f"{job.store} is said to make {place.moves} moves, not {count}"
    need = count * rules.work.minutes_per_move + rules.work.settle_minutes
    if place.ends_at - place.starts_at != need * MINUTE:
        yield f"{job.store} gets {place.ends_at - place.starts_at}, not {need} minutes"
    begins, ends = place.starts_at.replace(tzinfo=UTC), place.ends_at.replace(tzinfo=UTC)
    shown = [at.astimezone(ZoneInfo(str(job.time_zone))) for at in (begins, ends)]
    if [at.replace(tzinfo=None) for at in shown] != [place.starts_local, place.ends_local]:
        yield f"{job.store} is told other times than its own clock shows"
    minutes = set(range(int(begins.timestamp()) // 60, int(ends.timestamp()) // 60))
    barred = minutes - set(open_minutes(job, place.night, rules, due))
    if barred:
        yield f"{job.store} is worked on in {len(barred)} closed minutes of {place.night}"


def _team_faults(schedule: Schedule, rules: ScheduleRules) -> Iterator[str]:
    by_team: dict[tuple[str, str], list[WorkNight]] = defaultdict(list)
    for place in schedule.placed:
        by_team[place.region, place.team].append(place)
    for (region, name), places in sorted(by_team.items()):
        team = next((team for team in rules.teams.of(region) if team.name == name), None)
        if team is None:
            yield f"{region} has no team {name}"
        else:
            yield from _rounds(team, places, rules.work.travel_minutes * MINUTE)


def _rounds(team: Team, places: Sequence[WorkNight], travel: timedelta) -> Iterator[str]:
    ordered = sorted(places, key=lambda place: place.starts_at)
    for one, following in pairwise(ordered):
        if following.starts_at < one.ends_at + travel:
            yield f"{team.name} is at {one.store} and at {following.store} at one time"
    for evening in sorted({place.night for place in places}):
        own = [place for place in places if place.night == evening]
        spent = sum((place.ends_at - place.starts_at for place in own), timedelta())
        spent += (len(own) - 1) * travel
        if evening.weekday() not in team.weekdays:
            yield f"{team.name} does not work on {evening}"
        if len(own) > team.jobs or spent > team.minutes * MINUTE:
            yield f"{team.name} has {len(own)} stores in {spent} on {evening}"


def _group_faults(schedule: Schedule, jobs: Mapping[str, StoreJob]) -> Iterator[str]:
    held: dict[tuple[str, date], set[str]] = defaultdict(set)
    for place in schedule.placed:
        for group in jobs[place.store].groups:
            held[group, place.night].add(place.store)
    for (group, evening), stores in sorted(held.items()):
        if len(stores) > 1:
            yield f"{group}: {sorted(stores)} on one night, {evening}"


def _wave_faults(
    region: str,
    schedule: Schedule,
    jobs: Mapping[str, StoreJob],
    rules: ScheduleRules,
    results: Sequence[WaveResult],
) -> Iterator[str]:
    stores = {store for store, job in jobs.items() if job.region == region}
    nights: dict[str, dict[str, list[WorkNight]]] = {wave.name: {} for wave in rules.waves}
    for place in schedule.placed:
        if place.store in stores:
            nights[place.wave].setdefault(place.store, []).append(place)
    members = {
        name: own.keys() | {one.store for one in schedule.unplaced if one.wave == name} & stores
        for name, own in nights.items()
    }
    done = {one.wave: (one.stores, one.verified) for one in results if one.region == region}
    yield from _share_faults(region, members, rules.waves, done)
    shut, opens = False, date.min
    for wave in rules.waves:
        for place in (place for own in nights[wave.name].values() for place in own):
            if place.night < opens:
                yield f"{place.store} is worked on {place.night}, its wave opens {opens}"
            if place.provisional != shut:
                yield f"{place.store}: provisional is {place.provisional}"
        turned, verified = done.get(wave.name, (0, 0))
        asked = ceil(wave.verified_share * (turned + len(members[wave.name])) - 1e-9)
        if asked > verified:
            shut = True
            ends = sorted(max(p.night for p in own) for own in nights[wave.name].values())
            reached = ends[asked - verified - 1] if asked - verified <= len(ends) else None
            opens = max(opens, reached + wave.wait_days * DAY) if reached else date.max


def _share_faults(
    region: str,
    members: Mapping[str, set[str]],
    waves: Sequence[Wave],
    done: Mapping[str, tuple[int, int]],
) -> Iterator[str]:
    total = sum(len(own) for own in members.values()) + sum(n for n, _ in done.values())
    turned = 0
    for wave in waves:
        turned += done.get(wave.name, (0, 0))[0] + len(members[wave.name] - set(wave.stores))
        most = max(ceil(wave.up_to * total - 1e-9), sum(n for n, _ in done.values()))
        if turned > most:
            yield f"{region}: {turned} stores up to wave {wave.name}, not {most} at most"


def _benefit_faults(
    schedule: Schedule,
    jobs: Mapping[str, StoreJob],
    visits: Mapping[str, Sequence[WorkNight]],
    rules: ScheduleRules,
    first: date,
) -> Iterator[str]:
    worth = 0
    for store, places in visits.items():
        days = rules.work.benefit_days - (max(p.night for p in places) - first).days
        worth += max(1, round(jobs[store].benefit * 100)) * days
    if worth != round(schedule.benefit * 100):
        yield f"the schedule is worth {worth / 100}, not {schedule.benefit}"
    if schedule.benefit > schedule.bound + 1e-6:
        yield f"the schedule is worth {schedule.benefit}, above its bound {schedule.bound}"
