"""The schedule's problem, area by area: what each store could do on which nights, and the rules.

All moves of a store are made in one night where one is long enough. Where none is, they are made in
the fewest nights that do, one directly after the other, so that a store is never left half changed
for longer than a day; every night but the last is filled. A move that a rule wants alone has
a night of its own.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

from pipeline.schedule.calendars import calendar_freezes
from pipeline.schedule.draw import Candidate, RegionWaves, region_waves, strictest, weights
from pipeline.schedule.nights import SiteNights, instant, site_nights, zone_of
from pipeline.schedule.records import Area, Night, Piece, Shift, Slot, StoreJob, Task, WaveResult
from pipeline.settings import Deadline, Freeze, ScheduleRules, Team, Work
from pipeline.tables.changes import WaveDraw

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MINUTE = timedelta(minutes=1)
_DAY = timedelta(days=1)
_HUNDREDTHS = 100


@dataclass(frozen=True, slots=True)
class JobCase:
    """A store's work with all that decides when it can be done."""

    job: StoreJob
    nights: SiteNights
    deadline: Deadline | None  # the strictest one
    pieces: Mapping[int, Piece]  # the time for work, by days from the first night
    slots: tuple[Slot, ...] = ()

    @property
    def units(self) -> int:
        """The benefit in hundredths of a label, at least one: every move is worth making."""
        return max(1, round(self.job.benefit * _HUNDREDTHS))


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything the solver and the explanations need."""

    first: date
    rules: ScheduleRules
    cases: tuple[JobCase, ...]  # by region, then by store
    waves: Mapping[str, RegionWaves]  # by region
    areas: tuple[Area, ...]


def build(
    jobs: Sequence[StoreJob], rules: ScheduleRules, first: date, results: Sequence[WaveResult]
) -> Problem:
    """Return the problem of scheduling `jobs` on the nights from `first` on.

    Raises:
        FreezeFileUnreadable: a calendar of freezes is broken.
        HolidayPartUnknown: the rules file names a part of a country that does not exist.
    """
    last = first + rules.work.nights * _DAY
    freezes = (*rules.freezes, *calendar_freezes(rules.calendars, first, last))
    cases: list[JobCase] = []
    shifts: dict[tuple[str, int], tuple[Shift, ...]] = {}
    waves: dict[str, RegionWaves] = {}
    for region in sorted({job.region for job in jobs}):
        teams = _shifts(rules.teams.of(region), first, rules.work.nights)
        shifts |= {(region, day): own for day, own in teams.items()}
        mine = sorted((job for job in jobs if job.region == region), key=lambda job: job.store)
        own = _with_slots([_case(job, rules, freezes, first, teams) for job in mine], rules.work)
        cases += own
        candidates = [_candidate(case, last) for case in own if case.slots]
        so_far = [result for result in results if result.region == region]
        waves[region] = region_waves(candidates, rules.waves, so_far)
    areas = tuple(_area(regions, cases, shifts, waves, rules) for regions in _tied_regions(cases))
    return Problem(first, rules, tuple(cases), waves, areas)


def label_days(value: int) -> float:
    """Return benefit units times days in label-days."""
    return value / _HUNDREDTHS


def moves_in(minutes: int, installs: Sequence[bool], work: Work) -> int:
    """Return how many of some moves one night's minutes are enough for, in their order.

    `installs` says of each whether its station is installed first.
    """
    left, stations = minutes - work.settle_minutes, work.installs_per_night
    for done, install in enumerate(installs):
        left -= work.minutes_per_install if install else work.minutes_per_move
        stations -= install
        if left < 0 or stations < 0:
            return done
    return len(installs)


def needed(installs: Sequence[bool], work: Work) -> int:
    """Return the minutes that some moves take in one night, until the labels are back."""
    count = sum(installs)
    moves = (len(installs) - count) * work.minutes_per_move
    return moves + count * work.minutes_per_install + work.settle_minutes


def _shifts(teams: Sequence[Team], first: date, days: int) -> dict[int, tuple[Shift, ...]]:
    """Return which teams work on which night, by days from the first."""
    return {
        day: tuple(
            Shift(team.name, team.jobs, team.minutes)
            for team in teams
            if (first + day * _DAY).weekday() in team.weekdays
        )
        for day in range(days)
    }


def _case(
    job: StoreJob,
    rules: ScheduleRules,
    freezes: Sequence[Freeze],
    first: date,
    teams: Mapping[int, Sequence[Shift]],
) -> JobCase:
    nights = site_nights(job, rules, freezes, first)
    due = strictest(job, rules.deadlines)
    zone = zone_of(job.time_zone)
    if zone is None or due is None:
        return JobCase(job, nights, None, _usable(nights.nights, teams, None))
    # It passes at the end of its day on the store's own clock.
    passes = instant(datetime.combine(due.by + _DAY, time()), zone)
    return JobCase(job, nights, due, _usable(nights.nights, teams, passes))


def _usable(
    nights: Sequence[Night], teams: Mapping[int, Sequence[Shift]], due: datetime | None
) -> Mapping[int, Piece]:
    """Return the time a store's nights leave for work, by days from the first night.

    A piece's minutes are the most that one team can work in it.
    """
    pieces = {}
    for day, night in enumerate(nights):
        if night.stopped_by is not None or not teams[day]:
            continue
        opens = -((EPOCH - night.opens) // _MINUTE)  # a started minute is no whole one
        closes = ((night.closes if due is None else min(night.closes, due)) - EPOCH) // _MINUTE
        minutes = min(closes - opens, max(shift.minutes for shift in teams[day]))
        if minutes > 0:
            pieces[day] = Piece(day, minutes, opens, closes)
    return pieces


def _with_slots(cases: Sequence[JobCase], work: Work) -> list[JobCase]:
    """Return the cases of one region with every way to do each."""
    limits = _night_ends(cases, work)
    made = []
    for case in cases:
        pieces = {day: _cut(piece, limits[day]) for day, piece in case.pieces.items()}
        pieces = {day: piece for day, piece in pieces.items() if piece.minutes > 0}
        slots = _slots(case.job, case.units, pieces, work)
        made.append(replace(case, pieces=pieces, slots=slots))
    return made


def _night_ends(cases: Sequence[JobCase], work: Work) -> Mapping[int, int | None]:
    """Return by when teams must be free for the next night: it matters across time zones."""
    opens: dict[int, int] = {}
    for case in cases:
        for day, piece in case.pieces.items():
            opens[day] = min(piece.opens, opens.get(day, piece.opens))
    ends: dict[int, int | None] = {}
    following: int | None = None
    for day in sorted(opens, reverse=True):
        ends[day] = following
        begins = opens[day] - work.travel_minutes
        following = begins if following is None else min(following, begins)
    return ends


def _cut(piece: Piece, end: int | None) -> Piece:
    closes = piece.closes if end is None else min(piece.closes, end)
    return replace(piece, closes=closes, minutes=min(piece.minutes, closes - piece.opens))


def _slots(job: StoreJob, units: int, pieces: Mapping[int, Piece], work: Work) -> tuple[Slot, ...]:
    """Return every way to make a store's moves, by first night.

    Args:
        job: its moves, and those that have a night of their own.
        units: the benefit of having made them, per day.
        pieces: the time for work, by days from the first night.
        work: minutes per move, settling, and for how many days the benefit counts.
    """
    runs = [run for day in pieces if (run := _run(job, day, pieces, work))]
    fewest = min((len(run) for run in runs), default=0)
    return tuple(
        Slot(run, units * max(1, work.benefit_days - run[-1].day))
        for run in runs
        if len(run) == fewest
    )


def _run(job: StoreJob, day: int, pieces: Mapping[int, Piece], work: Work) -> tuple[Piece, ...]:
    run: list[Piece] = []
    done, installs = 0, job.installs
    while done < job.moves:
        piece = pieces.get(day)
        most = 0 if piece is None else moves_in(piece.minutes, installs[done:], work)
        some = job.together(done, most)
        if piece is None or some == 0:
            return ()
        run.append(replace(piece, minutes=needed(installs[done : done + some], work)))
        done += some
        day += 1
    return tuple(run)


def _candidate(case: JobCase, last: date) -> Candidate:
    due = case.deadline.by if case.deadline and case.deadline.by < last else None
    job = case.job
    return Candidate(job.store, case.units, due, job.wave, urgent=job.urgent, place=job.place)


def _area(
    regions: Sequence[str],
    cases: Sequence[JobCase],
    shifts: Mapping[tuple[str, int], tuple[Shift, ...]],
    waves: Mapping[str, RegionWaves],
    rules: ScheduleRules,
) -> Area:
    own = [case for case in cases if case.job.region in regions and case.slots]
    worth = _worth(own, waves, len(rules.waves))
    tasks = tuple(
        Task(
            store=case.job.store,
            region=case.job.region,
            wave=waves[case.job.region].wave_of[case.job.store],
            units=worth[case.job.store],
            groups=tuple(sorted(set(case.job.groups))),
            slots=tuple(
                replace(slot, value=slot.value // case.units * worth[case.job.store])
                for slot in case.slots
            ),
        )
        for case in sorted(own, key=lambda case: case.job.store)
    )
    return Area(
        name=" + ".join(regions),
        tasks=tasks,
        shifts={key: teams for key, teams in shifts.items() if key[0] in regions},
        gates={region: waves[region].gates[:-1] for region in regions},
        travel=rules.work.travel_minutes,
    )


def _worth(
    cases: Sequence[JobCase], waves: Mapping[str, RegionWaves], count: int
) -> dict[str, int]:
    """Return what a day sooner is worth for each store: its benefit, or the weight of its turn.

    Urgent stores are first in their wave, whatever was drawn.
    """
    found = {case.job.store: case.units for case in cases}
    drawn: dict[tuple[str, int], list[WaveDraw]] = defaultdict(list)
    for case in cases:
        if case.job.ticket is not None:
            wave = waves[case.job.region].wave_of[case.job.store]
            drawn[case.job.region, wave].append(case.job.ticket)
    urgent = {case.job.store for case in cases if case.job.urgent}
    for (_, wave), tickets in drawn.items():
        turns = weights(tickets, count - 1 - wave)
        most = max(turns.values())
        found |= {store: most if store in urgent else own for store, own in turns.items()}
    return found


def _tied_regions(cases: Sequence[JobCase]) -> list[tuple[str, ...]]:
    """Return the regions, those with a group in common together."""
    clusters: list[tuple[set[str], set[str]]] = []
    for case in cases:
        regions, groups = {case.job.region}, set(case.job.groups)
        apart = []
        for cluster in clusters:
            if cluster[0] & regions or cluster[1] & groups:
                regions |= cluster[0]
                groups |= cluster[1]
            else:
                apart.append(cluster)
        clusters = [*apart, (regions, groups)]
    return sorted(tuple(sorted(regions)) for regions, _ in clusters)
