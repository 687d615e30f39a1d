"""The schedule step: every store's moves on a night, with a team, in a wave, or why not.

What is maximised: over all placed stores, the benefit (labels that find a free channel at any
moment after the change, less before) times the days it lasts: from the night on which the store is
done to `benefit_days` after the first night. So the most benefit goes first, and to place a store
is always better than not to. Where stores are drawn, the weight of their turn stands in for the
benefit, so that nights follow the draw. No constraint is ever traded against either.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from pipeline.database import Database
from pipeline.progress import Progress, Silent
from pipeline.records import grouped
from pipeline.schedule.calendars import Feed, Imprint, NightMove, calendar_freezes, feeds
from pipeline.schedule.draw import DRAWN, Lot, draw, places
from pipeline.schedule.nights import why_closed, zone_of
from pipeline.schedule.problem import EPOCH, JobCase, Problem, build, label_days, moves_in, needed
from pipeline.schedule.records import Schedule, Slot, StoreJob, Task, WaveResult
from pipeline.schedule.search import NEVER, Board
from pipeline.schedule.solve import Solved, solve
from pipeline.settings import Freeze, ScheduleRules, Settings
from pipeline.tables.changes import (
    FreezeKept,
    ScheduleProof,
    ScheduleRemark,
    UnscheduledStore,
    WaveDraw,
    WorkNight,
)
from pipeline.tables.run import ThisRun
from pipeline.wording import Wording

_PAST = timedelta(days=400)  # comparisons leave the days of freezes out


def schedule_stores(
    jobs: Sequence[StoreJob],
    rules: ScheduleRules,
    first: date,
    results: Sequence[WaveResult] = (),
    progress: Progress | None = None,
) -> Schedule:
    """Return a night, a team and a wave for every store that can have them.

    Args:
        jobs: one per store; their order does not matter.
        rules: windows, holidays, freezes, teams, waves and deadlines.
        first: the first evening on which work may be done.
        results: what became of earlier waves; without any, all but the first are provisional.
        progress: shown area by area.

    Raises:
        FreezeFileUnreadable: a calendar of freezes is broken.
        HolidayPartUnknown: the rules file names a part of a country that does not exist.
    """
    problem = build(jobs, rules, first, results)
    tasks = sum(len(area.tasks) for area in problem.areas)
    solved = [
        solve(area, rules.work.effort * len(area.tasks) / max(1, tasks))
        for area in (progress or Silent()).over(problem.areas, "scheduling", len(problem.areas))
    ]
    placed = [night for one in solved for night in _placed(one.board, problem)]
    remarks = [
        ScheduleRemark(c.job.store, text) for c in problem.cases for text in c.nights.remarks
    ]
    unplaced = _unplaced(problem, [one.board for one in solved])
    return Schedule(
        placed=tuple(sorted(placed, key=lambda one: (one.night, one.region, one.store))),
        unplaced=tuple(sorted(unplaced, key=lambda one: one.store)),
        proofs=tuple(_proof(one) for one in solved),
        remarks=tuple(sorted(remarks, key=lambda one: one.store)),
    )


def _proof(solved: Solved) -> ScheduleProof:
    board = solved.board
    worth, bound = label_days(board.value), label_days(solved.bound)
    return ScheduleProof(board.area.name, worth, bound, optimal=solved.optimal)


def _placed(board: Board, problem: Problem) -> Iterator[WorkNight]:
    """Yield every night of work of an area, each store's in order."""
    duties = board.duties()
    jobs = {case.job.store: case.job for case in problem.cases}
    for number, slot in sorted(board.chosen.items()):
        task = board.area.tasks[number]
        job, left = jobs[task.store], list(jobs[task.store].positions)
        for piece in slot.pieces:
            installs = [position in job.fresh for position in left]
            count = moves_in(piece.minutes, installs, problem.rules.work)
            made, left = left[:count], left[count:]
            duty = duties[number][piece.day]
            starts_at = EPOCH + timedelta(minutes=duty.starts)
            ends_at = starts_at + timedelta(minutes=piece.minutes)
            zone = ZoneInfo(str(job.time_zone))
            undecided = sum(position in job.undecided for position in made)
            waits = task.wave > problem.waves[task.region].open_wave
            yield WorkNight(
                store=task.store,
                region=task.region,
                night=problem.first + timedelta(days=piece.day),
                starts_at=starts_at.replace(tzinfo=None),
                ends_at=ends_at.replace(tzinfo=None),
                starts_local=starts_at.astimezone(zone).replace(tzinfo=None),
                ends_local=ends_at.astimezone(zone).replace(tzinfo=None),
                team=duty.team,
                wave=problem.rules.waves[task.wave].name,
                provisional=waits or undecided == len(made),
                moves=len(made),
                first_position=made[0],
                last_position=made[-1],
                undecided=undecided,
            )


def _unplaced(problem: Problem, boards: Sequence[Board]) -> Iterator[UnscheduledStore]:
    """Yield every store without a place, and the constraint that stops it as one sentence."""
    for case in problem.cases:
        if not case.slots:
            yield UnscheduledStore(case.job.store, None, _why_no_slot(case, problem))
    for board in boards:
        for number, task in enumerate(board.area.tasks):
            if number not in board.chosen:
                wave = problem.rules.waves[task.wave].name
                reason = _why_unplaced(number, task, board, problem)
                yield UnscheduledStore(task.store, wave, reason)


def _why_no_slot(case: JobCase, problem: Problem) -> str:
    """Return why a store has no night at all for its moves, whatever other stores do."""
    job, work = case.job, problem.rules.work
    if zone_of(job.time_zone) is None:
        given = f"its time zone '{job.time_zone}' is not in the tz database"
        return f"{given if job.time_zone else 'no export names its time zone'}; mend it there"
    nights = case.nights.nights
    if all(night.stopped_by is not None for night in nights):
        causes = ", ".join(f"{cause} ({count})" for cause, count in why_closed(nights).items())
        return f"none of the {len(nights)} nights to {nights[-1].evening} is open to it: {causes}"
    if not problem.rules.teams.of(job.region):
        return f"no team works in region {job.region}"
    if not case.pieces:
        return _late_or_alone(case)
    longest = max(piece.minutes for piece in case.pieces.values())
    fitting, need = moves_in(longest, job.installs, work), needed(job.installs, work)
    room = (
        f"its longest night has {longest} minutes for one team, enough for {fitting} moves at most"
    )
    due = f" up to its deadline {case.deadline.by}" if case.deadline else ""
    return (
        f"its {job.moves} moves need {need} minutes, {room}, and there are not enough open nights "
        f"one directly after the other{due}"
    )


def _late_or_alone(case: JobCase) -> str:
    opened = next(night.evening for night in case.nights.nights if night.stopped_by is None)
    deadline = case.deadline
    if deadline is not None:
        return (
            f"its deadline {deadline.by} ({deadline.reason}) leaves no time in an open night with "
            f"a team; its first open night is {opened}"
        )
    return f"no team of region {case.job.region} works on any night that is open to it"


def _why_unplaced(number: int, task: Task, board: Board, problem: Problem) -> str:
    """Return what stops a store that has nights of its own but no place in the schedule."""
    opening = board.opening(task.region, task.wave)
    wave = problem.rules.waves[task.wave].name
    last = max(slot.first_day for slot in task.slots)
    if opening > last:
        return _wave_shut(task, opening, wave, problem)
    causes = Counter(_stops(number, task, slot, board, problem) for slot in task.slots)
    ranked = sorted(causes.items(), key=lambda cause: (-cause[1], cause[0]))
    listed = ", ".join(f"{cause} ({count})" for cause, count in ranked)
    return f"each of its {len(task.slots)} possible first nights is stopped: {listed}"


def _wave_shut(task: Task, opening: int, wave: str, problem: Problem) -> str:
    work, waves = problem.rules.work, problem.waves[task.region]
    if opening < NEVER:
        day = problem.first + timedelta(days=opening)
        return f"its wave '{wave}' opens on {day} at the earliest, after its last open night"
    for earlier in range(task.wave):
        size, verified, asked = waves.standing[earlier]
        to_do = sum(own == earlier for own in waves.wave_of.values())
        if asked - verified > to_do:
            name = problem.rules.waves[earlier].name
            return (
                f"its wave '{wave}' does not open: of the {size} stores of wave '{name}' "
                f"{verified} are verified, {asked} must be, and {to_do} are still to be done"
            )
    return (
        f"its wave '{wave}' does not open within {work.nights} nights: too few stores of the "
        "waves before it can be done in time"
    )


def _stops(number: int, task: Task, slot: Slot, board: Board, problem: Problem) -> str:
    opening = board.opening(task.region, task.wave)
    if slot.first_day < opening:
        return f"before wave '{problem.rules.waves[task.wave].name}' opens"
    shared = sorted(board.in_the_way(number, slot))
    if shared:
        group, other = shared[0]
        return f"{group}: store {board.area.tasks[other].store} is worked on"
    return f"the teams of {task.region} are full"


def schedule(database: Database, settings: Settings, progress: Progress) -> None:
    """Fill the tables of the schedule, and wave_taken, wave_draw, freeze_kept, verdict_rule.

    The first night is as many days as the rules say after the day of this run, or of the last
    decision or report where that is later. Nights of moves nobody has approved are
    provisional.

    Raises:
        FreezeFileUnreadable: a calendar of freezes is broken.
        HolidayPartUnknown: the rules file names a part of a country that does not exist.
    """
    rules = settings.schedule
    hearing = database.mapping("schedule", "wifi_neighbours") if rules.wifi_neighbours else {}
    joined = database.mapping("schedule", "joined")
    groups = _groups(rules.staff, hearing, joined)
    rows = database.frame("schedule", "jobs").iter_rows(named=True)
    jobs = [StoreJob(**row, groups=groups[row["store"]]) for row in rows]
    (run,) = database.records(ThisRun, "run", "this_run")
    database.run("schedule", "forget_draws")
    draws = draw(jobs, rules, Lot(run.run, run.as_of, database.every(WaveDraw)))
    place = places(draws, [job.store for job in jobs if job.wave is None])
    tickets = {one.store: one for one in draws if rules.work.order == DRAWN}
    jobs = [
        replace(job, place=place.get(job.store, 0.0), ticket=tickets.get(job.store)) for job in jobs
    ]
    results = database.records(WaveResult, "schedule", "wave_results")
    day = database.value("schedule", "nights_after")
    first = day + timedelta(days=rules.work.first_night_after_days)
    last = first + timedelta(days=rules.work.nights)
    freezes = (*rules.freezes, *calendar_freezes(rules.calendars, first - _PAST, last))
    made = schedule_stores(jobs, rules, first, results, progress)
    with database.transaction():
        database.clear(WorkNight, ScheduleProof, ScheduleRemark, UnscheduledStore)
        database.put(WorkNight, sorted(made.placed, key=lambda one: (one.store, one.night)))
        database.put(ScheduleProof, sorted(made.proofs, key=lambda one: one.region))
        database.put(ScheduleRemark, sorted(made.remarks, key=lambda one: (one.store, one.remark)))
        database.put(UnscheduledStore, made.unplaced)
        database.run("schedule", "forget_waves")
        database.run("schedule", "keep_waves")
        database.run("schedule", "give_nights")
        database.clear(WaveDraw, FreezeKept)
        database.put(WaveDraw, draws)
        database.run("schedule", "give_tickets")
        database.put(FreezeKept, sorted({_kept(freeze) for freeze in freezes}, key=repr))
        database.run("schedule", "keep_verdict_rule")


def _kept(freeze: Freeze) -> FreezeKept:
    """Return a freeze by its days; its end is the first moment after it."""
    whole = not isinstance(freeze.ends, datetime)
    last = freeze.ends - (timedelta(days=1) if whole else timedelta(microseconds=1))
    first, last = (date(end.year, end.month, end.day) for end in (freeze.starts, last))
    return FreezeKept(freeze.region, freeze.store, first, last, freeze.reason)


def _groups(
    staff: Sequence[Sequence[str]],
    hearing: Mapping[str, Sequence[str]],
    joined: Mapping[str, Sequence[str]],
) -> Mapping[str, list[str]]:
    """Return, by store, what it shares with others: staff, Wi-Fi transmitters it hears, a wall."""
    groups: defaultdict[str, list[str]] = defaultdict(list)
    for stores in staff:
        for store in stores:
            groups[store].append(f"shared staff ({', '.join(stores)})")
    for network, stores in hearing.items():
        for store in stores:
            groups[store].append(f"the Wi-Fi neighbour {network}")
    for joint, stores in joined.items():
        for store in stores:
            groups[store].append(f"the plan together ({joint})")
    return groups


def calendars(database: Database, cautions: Callable[[Wording], Sequence[str]]) -> tuple[Feed, ...]:
    """Return the calendar file of every store and team in the current schedule.

    Each is in the language of its region, that of most of its stores.

    Args:
        database: with the schedule made.
        cautions: returns the sentences that stand on every job, in a language.
    """
    imprint = Imprint(
        database.value("schedule", "this_day"),
        database.mapping("schedule", "plans_in_force"),
        grouped(database.records(NightMove, "schedule", "night_moves"), "store"),
        database.mapping("schedule", "region_countries"),
        cautions,
    )
    return feeds(database.records(WorkNight, "schedule", "nights"), imprint)


def write_calendars(
    database: Database, cautions: Callable[[Wording], Sequence[str]], place: Callable[[Feed], Path]
) -> tuple[Path, ...]:
    """Write the calendar files where `place` says, each complete or not at all.

    Raises:
        OSError: a file cannot be written.
    """
    return tuple(_written(feed, place(feed)) for feed in calendars(database, cautions))


def _written(feed: Feed, path: Path) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.part")
    part.write_bytes(feed.content)
    part.replace(path)
    return path
