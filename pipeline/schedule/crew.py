"""One night of a region: which team goes to which store, and when it begins there.

A team is at one store at a time, travels between stores, and works no longer than its shift: the
minutes at stores and between them, waiting not counted.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from ortools.sat.python import cp_model

from pipeline.schedule.records import Piece, Shift

_EFFORT = 0.5  # deterministic seconds for one night


@dataclass(frozen=True, slots=True)
class Visit:
    """One store's work in the night."""

    task: int
    piece: Piece


@dataclass(frozen=True, slots=True)
class Duty:
    """Which team makes a visit, and when."""

    team: str
    starts: int  # minutes since the epoch, UTC


Roster = Mapping[int, Duty]  # by task


@dataclass(frozen=True, slots=True)
class NightSearch:
    """A roster, or none; `proven` is False if the effort ended before that was certain."""

    roster: Roster | None
    proven: bool


def quick_roster(visits: Sequence[Visit], shifts: Sequence[Shift], travel: int) -> Roster | None:
    """Return a roster if one of three simple ways finds one; None proves nothing."""
    if len(visits) > sum(shift.jobs for shift in shifts):
        return None
    urgent = sorted(visits, key=_urgency)
    long = sorted(visits, key=lambda visit: (-visit.piece.minutes, *_urgency(visit)))
    return (
        _deal(urgent, shifts, travel, _shortest)
        or _deal(urgent, shifts, travel, _first)
        or _deal(long, shifts, travel, _first)
    )


def roster(visits: Sequence[Visit], shifts: Sequence[Shift], travel: int) -> NightSearch:
    """Return a roster if there is one; the search is exact within a fixed effort."""
    quick = quick_roster(visits, shifts, travel)
    if quick is not None or not visits:
        return NightSearch(quick if quick is not None else {}, proven=True)
    if not _may_fit(visits, shifts, travel):
        return NightSearch(None, proven=True)
    return _exact(visits, shifts, travel)


def _urgency(visit: Visit) -> tuple[int, int, int]:
    return visit.piece.closes, visit.piece.opens, visit.task


def _may_fit(visits: Sequence[Visit], shifts: Sequence[Shift], travel: int) -> bool:
    minutes = sum(visit.piece.minutes + travel for visit in visits)
    return len(visits) <= sum(shift.jobs for shift in shifts) and minutes <= sum(
        shift.minutes + travel for shift in shifts
    )


Choose = Callable[[Sequence[tuple[int, list[Visit]]]], int]


def _shortest(open_to: Sequence[tuple[int, list[Visit]]]) -> int:
    return min(open_to, key=lambda team: (sum(v.piece.minutes for v in team[1]), team[0]))[0]


def _first(open_to: Sequence[tuple[int, list[Visit]]]) -> int:
    return open_to[0][0]


def _deal(
    visits: Sequence[Visit], shifts: Sequence[Shift], travel: int, choose: Choose
) -> Roster | None:
    rounds: list[list[Visit]] = [[] for _ in shifts]
    for visit in visits:
        open_to = [
            (number, own)
            for number, own in enumerate(rounds)
            if _starts([*own, visit], shifts[number], travel) is not None
        ]
        if not open_to:
            return None
        rounds[choose(open_to)].append(visit)
    dealt: dict[int, Duty] = {}
    for shift, own in zip(shifts, rounds, strict=True):
        for task, starts in (_starts(own, shift, travel) or {}).items():
            dealt[task] = Duty(shift.team, starts)
    return dealt


def _starts(visits: Sequence[Visit], shift: Shift, travel: int) -> Mapping[int, int] | None:
    """Return when one team begins each visit, the most urgent first; None if it cannot."""
    minutes = sum(visit.piece.minutes for visit in visits) + travel * (len(visits) - 1)
    if len(visits) > shift.jobs or minutes > shift.minutes:
        return None
    starts: dict[int, int] = {}
    free: int | None = None
    for visit in sorted(visits, key=_urgency):
        piece = visit.piece
        begins = piece.opens if free is None else max(piece.opens, free + travel)
        free = begins + piece.minutes
        if free > piece.closes:
            return None
        starts[visit.task] = begins
    return starts


def _exact(visits: Sequence[Visit], shifts: Sequence[Shift], travel: int) -> NightSearch:
    model = cp_model.CpModel()
    begins = [
        model.new_int_var(visit.piece.opens, visit.piece.closes - visit.piece.minutes, "")
        for visit in visits
    ]
    goes = [[model.new_bool_var("") for _ in shifts] for _ in visits]
    for row in goes:
        model.add_exactly_one(row)
    for number, shift in enumerate(shifts):
        own = [row[number] for row in goes]
        sizes = [visit.piece.minutes + travel for visit in visits]
        model.add_no_overlap(
            [
                model.new_optional_fixed_size_interval_var(start, size, goer, "")
                for start, size, goer in zip(begins, sizes, own, strict=True)
            ]
        )
        model.add(sum(own) <= shift.jobs)
        model.add(cp_model.LinearExpr.weighted_sum(own, sizes) <= shift.minutes + travel)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = _EFFORT
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return NightSearch(None, proven=status == cp_model.INFEASIBLE)
    found = {
        visit.task: Duty(
            next(s.team for s, goer in zip(shifts, row, strict=True) if solver.boolean_value(goer)),
            int(solver.value(start)),
        )
        for visit, row, start in zip(visits, goes, begins, strict=True)
    }
    return NightSearch(found, proven=True)
