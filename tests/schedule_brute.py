"""The best schedule of a small portfolio, by trying every one there is."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import permutations, product
from math import ceil

from schedule_checker import open_minutes
from schedule_portfolios import Portfolio

from pipeline.schedule.records import StoreJob
from pipeline.settings import Team

Work = tuple[int, int, int]  # minutes needed, first open minute, end of the open stretch


@dataclass(frozen=True, slots=True)
class Way:
    """One way to do a store: on the nights from `day` on, one piece of work each."""

    day: int
    works: tuple[Work, ...]

    @property
    def last(self) -> int:
        """The night on which the store is done."""
        return self.day + len(self.works) - 1


def best(portfolio: Portfolio) -> int:
    """Return what the best schedule of one region is worth, in hundredths of a label-day."""
    jobs = portfolio.jobs
    ways = {job.store: _ways(job, portfolio) for job in jobs}
    able = [job for job in jobs if ways[job.store]]
    waves = _waves(able, portfolio)
    memory: dict[tuple[int, tuple[Work, ...]], bool] = {}
    top = 0
    for choice in product(*([None, *ways[job.store]] for job in able)):
        taken = {job: way for job, way in zip(able, choice, strict=True) if way is not None}
        worth = sum(_worth(job, way, portfolio) for job, way in taken.items())
        if (
            worth > top
            and _groups_hold(taken)
            and _waves_hold(taken, waves, able, portfolio)
            and _teams_hold(taken, portfolio, memory)
        ):
            top = worth
    return top


def _worth(job: StoreJob, way: Way, portfolio: Portfolio) -> int:
    return max(1, round(job.benefit * 100)) * (portfolio.rules.work.benefit_days - way.last)


def _ways(job: StoreJob, portfolio: Portfolio) -> list[Way]:
    work = portfolio.rules.work
    stretches = [_stretch(job, portfolio, day) for day in range(work.nights)]
    found = []
    for start in range(work.nights):
        left, works, day = job.moves, [], start
        while left > 0 and day < work.nights:
            length, opens, closes = stretches[day]
            fits = min(left, max(0, length - work.settle_minutes) // work.minutes_per_move)
            if fits == 0:
                break
            works.append((fits * work.minutes_per_move + work.settle_minutes, opens, closes))
            left -= fits
            day += 1
        if left == 0:
            found.append(Way(start, tuple(works)))
    fewest = min((len(way.works) for way in found), default=0)
    return [way for way in found if len(way.works) == fewest]


def _stretch(job: StoreJob, portfolio: Portfolio, day: int) -> Work:
    evening = portfolio.first + timedelta(days=day)
    dues = [
        deadline.by
        for deadline in portfolio.rules.deadlines
        if deadline.region in (None, job.region) and deadline.store in (None, job.store)
    ]
    minutes = open_minutes(job, evening, portfolio.rules, min(dues, default=None))
    longest = max((team.minutes for team in _teams(portfolio, day)), default=0)
    # The longest run of the night before its deadline is cut off, as the scheduler has it.
    runs = _runs(open_minutes(job, evening, portfolio.rules, None))
    if not runs:
        return 0, 0, 0
    opens, closes = max(runs, key=lambda run: (run[1] - run[0], -run[0]))
    closes = min(closes, max(minutes, default=opens - 1) + 1)
    return min(closes - opens, longest), opens, closes


def _runs(minutes: Sequence[int]) -> list[tuple[int, int]]:
    runs: list[tuple[int, int]] = []
    for minute in minutes:
        if runs and runs[-1][1] == minute:
            runs[-1] = (runs[-1][0], minute + 1)
        else:
            runs.append((minute, minute + 1))
    return runs


def _teams(portfolio: Portfolio, day: int) -> list[Team]:
    weekday = (portfolio.first + timedelta(days=day)).weekday()
    return [team for team in portfolio.rules.teams.of("R0") if weekday in team.weekdays]


def _groups_hold(taken: Mapping[StoreJob, Way]) -> bool:
    held: set[tuple[str, int]] = set()
    for job, way in taken.items():
        for group, day in product(set(job.groups), range(way.day, way.last + 1)):
            if (group, day) in held:
                return False
            held.add((group, day))
    return True


def _waves(able: Sequence[StoreJob], portfolio: Portfolio) -> Mapping[str, int]:
    """Say it as the rules file does: named stores, then near deadlines, then most benefit."""
    rules = portfolio.rules
    last = portfolio.first + timedelta(days=rules.work.nights)
    done = {one.wave: one.stores for one in portfolio.results if one.region == "R0"}
    total = len(able) + sum(done.values())

    def due(job: StoreJob) -> int:
        dues = [
            deadline.by
            for deadline in rules.deadlines
            if deadline.region in (None, "R0") and deadline.store in (None, job.store)
        ]
        soonest = min(dues, default=last)
        return min(soonest, last).toordinal()

    found = {
        job.store: number
        for job in able
        for number, wave in enumerate(rules.waves)
        if job.store in wave.stores
    }
    queue = sorted(
        (job for job in able if job.store not in found),
        key=lambda job: (due(job), -max(1, round(job.benefit * 100)), job.store),
    )
    for number, wave in enumerate(rules.waves):
        before = sum(done.get(other.name, 0) for other in rules.waves[: number + 1])
        before += sum(own <= number for own in found.values())
        while queue and (before < ceil(wave.up_to * total - 1e-9) or wave is rules.waves[-1]):
            found[queue.pop(0).store] = number
            before += 1
    return found


def _waves_hold(
    taken: Mapping[StoreJob, Way],
    waves: Mapping[str, int],
    able: Sequence[StoreJob],
    portfolio: Portfolio,
) -> bool:
    results = {one.wave: one for one in portfolio.results if one.region == "R0"}
    opens = 0
    for number, wave in enumerate(portfolio.rules.waves):
        own = [way for job, way in taken.items() if waves[job.store] == number]
        if any(way.day < opens for way in own):
            return False
        result = results.get(wave.name)
        size = sum(waves[job.store] == number for job in able)
        size += result.stores if result else 0
        need = ceil(wave.verified_share * size - 1e-9) - (result.verified if result else 0)
        if need > 0:
            ends = sorted(way.last for way in own)
            opens = max(opens, ends[need - 1] + wave.wait_days if need <= len(ends) else 10**6)
    return True


def _teams_hold(
    taken: Mapping[StoreJob, Way],
    portfolio: Portfolio,
    memory: dict[tuple[int, tuple[Work, ...]], bool],
) -> bool:
    nights: dict[int, list[Work]] = {}
    for way in taken.values():
        for offset, work in enumerate(way.works):
            nights.setdefault(way.day + offset, []).append(work)
    for day, works in nights.items():
        key = (day, tuple(sorted(works)))
        if key not in memory:
            memory[key] = _night_holds(works, _teams(portfolio, day), portfolio)
        if not memory[key]:
            return False
    return True


def _night_holds(works: Sequence[Work], teams: Sequence[Team], portfolio: Portfolio) -> bool:
    travel = portfolio.rules.work.travel_minutes
    return any(
        all(
            any(_in_order(order, team, travel) for order in permutations(own))
            for team, own in zip(teams, split, strict=True)
        )
        for split in _splits(works, len(teams))
    )


def _splits(works: Sequence[Work], teams: int) -> Iterator[list[list[Work]]]:
    for choice in product(range(teams), repeat=len(works)):
        yield [
            [work for work, at in zip(works, choice, strict=True) if at == team]
            for team in range(teams)
        ]


def _in_order(works: Sequence[Work], team: Team, travel: int) -> bool:
    if not works:
        return True
    spent = sum(work[0] for work in works) + travel * (len(works) - 1)
    free = -(10**9)
    for need, opens, closes in works:
        free = max(opens, free + travel) + need
        if free > closes:
            return False
    return len(works) <= team.jobs and spent <= team.minutes
