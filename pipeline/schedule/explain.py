"""Which constraint stops a store that could not be placed, as one sentence."""

from collections.abc import Sequence
from datetime import timedelta

from pipeline.schedule.board import NEVER, Board
from pipeline.schedule.clock import zone_of
from pipeline.schedule.nights import why_closed
from pipeline.schedule.options import moves_in
from pipeline.schedule.problem import Case, Problem
from pipeline.schedule.records import Option, Task, Unscheduled


def why_no_option(case: Case, problem: Problem) -> str:
    """Return why a store has no night at all for its moves, whatever other stores do."""
    site, work = case.job.site, problem.rules.work
    if zone_of(site.time_zone) is None:
        given = f"its time zone '{site.time_zone}' is not in the tz database"
        return f"{given if site.time_zone else 'no export names its time zone'}; mend it there"
    nights = case.nights.nights
    if all(night.stopped_by is not None for night in nights):
        causes = ", ".join(f"{cause} ({count})" for cause, count in why_closed(nights).items())
        return f"none of the {len(nights)} nights to {nights[-1].evening} is open to it: {causes}"
    if not problem.rules.teams.of(site.region):
        return f"no team works in region {site.region}"
    if not case.parts:
        return _late_or_alone(case)
    moves = case.job.moves
    longest = max(part.minutes for part in case.parts.values())
    fitting = moves_in(longest, work)
    need = moves * work.minutes_per_move + work.settle_minutes
    room = (
        f"its longest night has {longest} minutes for one team, enough for {fitting} moves at most"
    )
    due = f" up to its deadline {case.due.deadline.by}" if case.due else ""
    return (
        f"its {moves} moves need {need} minutes, {room}, and there are not enough open nights "
        f"one directly after the other{due}"
    )


def _late_or_alone(case: Case) -> str:
    opened = next(night.evening for night in case.nights.nights if night.stopped_by is None)
    if case.due is not None:
        deadline = case.due.deadline
        return (
            f"its deadline {deadline.by} ({deadline.reason}) leaves no time in an open night with "
            f"a team; its first open night is {opened}"
        )
    region = case.job.site.region
    return f"no team of region {region} works on any night that is open to it"


def why_unplaced(number: int, task: Task, board: Board, problem: Problem) -> str:
    """Return what stops a store that has nights of its own but no place in the schedule."""
    opening = board.opening(task.region, task.wave)
    wave = problem.rules.waves[task.wave].name
    last = max(option.first_day for option in task.options)
    if opening > last:
        return _wave_shut(task, opening, wave, problem)
    causes: dict[str, int] = {}
    for option in task.options:
        cause = _stops(number, task, option, board, problem)
        causes[cause] = causes.get(cause, 0) + 1
    ranked = sorted(causes.items(), key=lambda cause: (-cause[1], cause[0]))
    listed = ", ".join(f"{cause} ({count})" for cause, count in ranked)
    return f"each of its {len(task.options)} possible first nights is stopped: {listed}"


def _wave_shut(task: Task, opening: int, wave: str, problem: Problem) -> str:
    work, waves = problem.rules.work, problem.waves[task.region]
    if opening < NEVER:
        day = problem.first + timedelta(days=opening)
        return f"its wave '{wave}' opens on {day} at the earliest, after its last open night"
    before = waves.wave_of  # stores of earlier waves decide
    for earlier in range(task.wave):
        size, verified, asked = waves.standing[earlier]
        to_do = sum(own == earlier for own in before.values())
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


def _stops(number: int, task: Task, option: Option, board: Board, problem: Problem) -> str:
    opening = board.opening(task.region, task.wave)
    if option.first_day < opening:
        return f"before wave '{problem.rules.waves[task.wave].name}' opens"
    shared = sorted(board.in_the_way(number, option))
    if shared:
        group, other = shared[0]
        return f"{group}: store {board.area.tasks[other].store} is worked on"
    return f"the teams of {task.region} are full"


def unplaced(problem: Problem, boards: Sequence[Board]) -> tuple[Unscheduled, ...]:
    """Return every store without a place, by store."""
    names = [wave.name for wave in problem.rules.waves]
    alone = [
        Unscheduled(case.job.site.store, None, why_no_option(case, problem))
        for case in problem.cases
        if not case.options
    ]
    crowded = [
        Unscheduled(task.store, names[task.wave], why_unplaced(number, task, board, problem))
        for board in boards
        for number, task in enumerate(board.area.tasks)
        if number not in board.chosen
    ]
    return tuple(sorted([*alone, *crowded], key=lambda one: one.store))
