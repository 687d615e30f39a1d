"""The change schedule: every store's moves on a night, with a team, in a wave.

What is maximised: over all placed stores, the benefit (labels that find a free channel at any
moment after the change, less before) times the days it lasts: from the night on which the store is
done to `benefit_days` after the first night. So the most benefit goes first, and to place a store
is always better than not to. No constraint is ever traded against benefit.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta

from pipeline.progress import Progress, Silent
from pipeline.schedule.crew import Roster
from pipeline.schedule.explain import unplaced
from pipeline.schedule.options import moves_in
from pipeline.schedule.problem import Problem, build, label_days
from pipeline.schedule.records import (
    Area,
    AreaProof,
    Option,
    Placement,
    Remark,
    Schedule,
    StoreJob,
    Task,
    WaveResult,
)
from pipeline.schedule.solve import Solved, solve
from pipeline.settings import ScheduleRules

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


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
    boards = [one.board for one in solved]
    placed = [place for one in solved for place in _placements(one, problem)]
    return Schedule(
        placed=tuple(sorted(placed, key=lambda one: (one.evening, one.region, one.store))),
        unplaced=unplaced(problem, boards),
        proofs=tuple(_proof(one) for one in solved),
        remarks=tuple(
            Remark(case.job.site.store, remark)
            for case in sorted(problem.cases, key=lambda case: case.job.site.store)
            for remark in case.nights.remarks
        ),
    )


def _proof(solved: Solved) -> AreaProof:
    value = label_days(solved.board.value)
    return AreaProof(
        solved.board.area.name, value, label_days(solved.bound), optimal=solved.optimal
    )


def _placements(solved: Solved, problem: Problem) -> Iterator[Placement]:
    board = solved.board
    area: Area = board.area
    rosters = board.rosters()
    moves = {case.job.site.store: case.job.moves for case in problem.cases}
    for number, option in sorted(board.chosen.items()):
        task = area.tasks[number]
        yield from _nights(number, task, option, rosters[number], moves[task.store], problem)


def _nights(  # noqa: PLR0913, PLR0917 - one place where all of a store's parts meet
    number: int,
    task: Task,
    option: Option,
    rosters: Mapping[int, Roster],
    moves: int,
    problem: Problem,
) -> Iterator[Placement]:
    waves = problem.waves[task.region]
    first_move = 1
    for part in option.parts:
        duty = rosters[part.day][number]
        last_move = first_move + moves_in(part.minutes, problem.rules.work) - 1
        starts_at = _EPOCH + timedelta(minutes=duty.starts)
        yield Placement(
            store=task.store,
            region=task.region,
            evening=problem.first + timedelta(days=part.day),
            starts_at=starts_at,
            ends_at=starts_at + timedelta(minutes=part.minutes),
            team=duty.team,
            wave=problem.rules.waves[task.wave].name,
            provisional=task.wave > waves.open_wave,
            first_move=first_move,
            last_move=min(last_move, moves),
        )
        first_move = last_move + 1
