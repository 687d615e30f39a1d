"""Solve one area: a quick schedule, then the exact problem with the quick one as its start."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.schedule.board import Board
from pipeline.schedule.crew import Visit, roster
from pipeline.schedule.master import Answer, Master
from pipeline.schedule.records import Area, Shift
from pipeline.schedule.search import board_of, fill_exactly, greedy, improve

_LOOKS_PER_TASK = 500
_ROUNDS = 60  # of learning what teams cannot do
_LEAST_EFFORT = 0.01  # deterministic seconds; less is not worth a look


@dataclass(frozen=True, slots=True)
class Solved:
    """The best schedule found for an area, and what none can exceed."""

    board: Board
    bound: int  # benefit units times days

    @property
    def optimal(self) -> bool:
        """Whether the schedule is proven best."""
        return self.board.value >= self.bound


def solve(area: Area, effort: float) -> Solved:
    """Return the best schedule of an area that a bounded amount of work finds.

    The same area and effort give the same schedule, whatever the machine.

    Args:
        area: the problem.
        effort: deterministic seconds of CP-SAT.
    """
    best = greedy(area)
    improve(best, _LOOKS_PER_TASK * len(area.tasks))
    bound = sum(max(option.value for option in task.options) for task in area.tasks)
    if best.value < bound and effort >= _LEAST_EFFORT:
        best, bound = _exact(area, best, bound, effort)
    fill_exactly(best)
    return Solved(best, bound)


def _exact(area: Area, best: Board, bound: int, effort: float) -> tuple[Board, int]:
    master = Master(area)
    certain = True  # every night cut off so far is proven unworkable
    left = effort
    for _ in range(_ROUNDS):
        answer = master.solve(best.chosen, left)
        left -= answer.effort
        if certain:
            bound = min(bound, answer.bound)
        if answer.chosen is None:
            break
        best = _better_of(area, best, answer)
        if best.value >= bound or left < _LEAST_EFFORT:
            break
        learned, proven = _learn(area, master, answer)
        certain = certain and proven
        if not learned:
            break
    return best, bound


def _better_of(area: Area, best: Board, answer: Answer) -> Board:
    if answer.chosen is None:
        return best
    found = board_of(area, answer.chosen)
    improve(found, _LOOKS_PER_TASK * len(area.tasks))
    return found if found.value > best.value else best


def _learn(area: Area, master: Master, answer: Answer) -> tuple[bool, bool]:
    """Cut off the answer's nights that no roster exists for; tell whether any, and if for sure."""
    learned, certain = False, True
    nights: dict[tuple[str, int], list[Visit]] = {}
    for number, option in sorted((answer.chosen or {}).items()):
        for part in option.parts:
            nights.setdefault((area.tasks[number].region, part.day), []).append(Visit(number, part))
    for (region, day), visits in sorted(nights.items()):
        shifts = area.shifts[region, day]
        verdict = roster(visits, shifts, area.travel)
        if verdict.roster is None:
            learned = True
            certain = certain and verdict.proven
            master.forbid(day, _core(visits, shifts, area.travel))
    return learned, certain


def _core(visits: Sequence[Visit], shifts: Sequence[Shift], travel: int) -> list[Visit]:
    """Return a smallest part of the visits that has no roster either, so that more is learned."""
    core = list(visits)
    for visit in visits:
        fewer = [other for other in core if other != visit]
        verdict = roster(fewer, shifts, travel)
        if verdict.roster is None and verdict.proven:
            core = fewer
    return core
