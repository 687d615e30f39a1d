"""The schedule's problem, area by area: what each store could do on which nights, and the rules."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from pipeline.schedule.freezes import calendar_freezes
from pipeline.schedule.nights import SiteNights, site_nights
from pipeline.schedule.options import Due, due_of, options_of, shifts_of, usable
from pipeline.schedule.records import Area, Option, Part, Shift, StoreJob, Task, WaveResult
from pipeline.schedule.waves import Candidate, RegionWaves, region_waves
from pipeline.settings import ScheduleRules

_HUNDREDTHS = 100


@dataclass(frozen=True, slots=True)
class Case:
    """A store's job with all that decides when it can be done."""

    job: StoreJob
    nights: SiteNights
    due: Due | None
    parts: Mapping[int, Part]  # the time for work, by days from the first night
    options: tuple[Option, ...]


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything the solver and the explanations need."""

    first: date
    rules: ScheduleRules
    cases: tuple[Case, ...]  # by store
    shifts: Mapping[str, Mapping[int, tuple[Shift, ...]]]  # by region and day
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
    last = first + timedelta(days=rules.work.nights)
    freezes = (*rules.freezes, *calendar_freezes(rules.calendars, first, last))
    regions = sorted({job.site.region for job in jobs})
    shifts = {
        region: shifts_of(rules.teams.of(region), first, rules.work.nights) for region in regions
    }
    cases: list[Case] = []
    for job in sorted(jobs, key=lambda job: job.site.store):
        nights = site_nights(job.site, rules, freezes, first)
        due = due_of(job, rules.deadlines)
        parts = usable(nights.nights, shifts[job.site.region], due)
        cases.append(Case(job, nights, due, parts, ()))
    complete = tuple(_with_options(cases, rules))
    waves = {region: _waves(region, complete, rules, first, results) for region in regions}
    areas = tuple(_areas(complete, shifts, waves, rules))
    return Problem(first, rules, complete, shifts, waves, areas)


def units_of(benefit: float) -> int:
    """Return a benefit in hundredths of a label, at least one: every move is worth making."""
    return max(1, round(benefit * _HUNDREDTHS))


def label_days(value: int) -> float:
    """Return benefit units times days in label-days."""
    return value / _HUNDREDTHS


def _with_options(cases: Sequence[Case], rules: ScheduleRules) -> Iterator[Case]:
    for region in sorted({case.job.site.region for case in cases}):
        own = [case for case in cases if case.job.site.region == region]
        limits = _night_ends(own, rules)
        for case in own:
            parts = {day: _cut(part, limits[day]) for day, part in case.parts.items()}
            parts = {day: part for day, part in parts.items() if part.minutes > 0}
            units = units_of(case.job.benefit)
            options = options_of(case.job.moves, units, parts, rules.work)
            yield replace(case, parts=parts, options=options)


def _night_ends(cases: Sequence[Case], rules: ScheduleRules) -> Mapping[int, int | None]:
    """Return by when teams must be free for the next night: it matters across time zones."""
    opens: dict[int, int] = {}
    for case in cases:
        for day, part in case.parts.items():
            opens[day] = min(part.opens, opens.get(day, part.opens))
    ends: dict[int, int | None] = {}
    following: int | None = None
    for day in sorted(opens, reverse=True):
        ends[day] = following
        begins = opens[day] - rules.work.travel_minutes
        following = begins if following is None else min(following, begins)
    return ends


def _cut(part: Part, end: int | None) -> Part:
    closes = part.closes if end is None else min(part.closes, end)
    return replace(part, closes=closes, minutes=min(part.minutes, closes - part.opens))


def _waves(
    region: str,
    cases: Sequence[Case],
    rules: ScheduleRules,
    first: date,
    results: Sequence[WaveResult],
) -> RegionWaves:
    last = first + timedelta(days=rules.work.nights)
    candidates = [
        Candidate(
            case.job.site.store,
            units_of(case.job.benefit),
            case.due.deadline.by if case.due and case.due.deadline.by < last else None,
            case.job.wave,
        )
        for case in cases
        if case.job.site.region == region and case.options
    ]
    own = [result for result in results if result.region == region]
    return region_waves(candidates, rules.waves, own)


def _areas(
    cases: Sequence[Case],
    shifts: Mapping[str, Mapping[int, tuple[Shift, ...]]],
    waves: Mapping[str, RegionWaves],
    rules: ScheduleRules,
) -> Iterator[Area]:
    for regions in _tied_regions(cases):
        tasks = tuple(
            Task(
                store=case.job.site.store,
                region=case.job.site.region,
                wave=waves[case.job.site.region].wave_of[case.job.site.store],
                units=units_of(case.job.benefit),
                groups=tuple(sorted(set(case.job.groups))),
                options=case.options,
            )
            for case in sorted(cases, key=lambda case: case.job.site.store)
            if case.job.site.region in regions and case.options
        )
        yield Area(
            name=" + ".join(regions),
            tasks=tasks,
            shifts={
                (region, day): own for region in regions for day, own in shifts[region].items()
            },
            gates={region: waves[region].gates[:-1] for region in regions},
            travel=rules.work.travel_minutes,
        )


def _tied_regions(cases: Sequence[Case]) -> list[tuple[str, ...]]:
    """Return the regions, those with a group in common together."""
    clusters: list[tuple[set[str], set[str]]] = []
    for case in cases:
        regions, groups = {case.job.site.region}, set(case.job.groups)
        apart = []
        for cluster in clusters:
            if cluster[0] & regions or cluster[1] & groups:
                regions |= cluster[0]
                groups |= cluster[1]
            else:
                apart.append(cluster)
        clusters = [*apart, (regions, groups)]
    return sorted(tuple(sorted(regions)) for regions, _ in clusters)
