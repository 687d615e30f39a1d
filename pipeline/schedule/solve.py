"""Solve one area: a quick schedule, then the exact problem with the quick one as its start.

The exact problem is one of CP-SAT in which a night's teams of one kind are a pool: one yes-or-no
variable per task and slot; the sum of their values is maximised. Per region and night each pool
bounds the number of stores, their minutes, and how many long jobs there can be (two jobs of more
than half a shift never fit one team, and so on). What a pool could do and its teams could not is
learned night by night and cut off, on every night on which the same holds. So the bound is true at
any time, and the answer is exact once its nights can be worked.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ortools.sat.python import cp_model

from pipeline.schedule.crew import Visit, roster
from pipeline.schedule.records import Area, Gate, Piece, Shift, Slot
from pipeline.schedule.search import Board, board_of, fill_exactly, greedy, improve

_LOOKS_PER_TASK = 500
_ROUNDS = 60  # of learning what teams cannot do
_LEAST_EFFORT = 0.01  # deterministic seconds; less is not worth a look
_CLASSES = (1, 2, 3, 4)  # jobs longer than a half, third, quarter and fifth of a shift
Literal = cp_model.IntVar
_Taker = tuple[int, Piece, Literal]  # task, its work in a night, and whether it is done then


@dataclass(frozen=True, slots=True)
class Answer:
    """The result of one search of the pooled problem."""

    chosen: Mapping[int, Slot] | None
    bound: int
    proven: bool  # the choice is the best one of the pooled problem
    effort: float  # deterministic seconds it took


class Master:
    """The pooled problem of one area."""

    def __init__(self, area: Area) -> None:
        self._area = area
        self._model = cp_model.CpModel()
        self._takes = [
            [self._model.new_bool_var(f"{number} {at}") for at in range(len(task.slots))]
            for number, task in enumerate(area.tasks)
        ]
        self._on: dict[tuple[str, int], list[_Taker]] = {}
        self._one_slot_each()
        for (region, day), visits in sorted(self._on.items()):
            self._pool(area.shifts[region, day], visits)
        self._groups()
        for region, gates in sorted(area.gates.items()):
            self._gates(region, gates)
        literals: list[Literal] = []
        values: list[int] = []
        for task, takes in zip(area.tasks, self._takes, strict=True):
            literals.extend(takes)
            values.extend(slot.value for slot in task.slots)
        self._most = sum(max(slot.value for slot in task.slots) for task in area.tasks)
        self._model.maximize(cp_model.LinearExpr.weighted_sum(literals, values))

    def _one_slot_each(self) -> None:
        for number, task in enumerate(self._area.tasks):
            self._model.add_at_most_one(self._takes[number])
            for slot, take in zip(task.slots, self._takes[number], strict=True):
                for piece in slot.pieces:
                    self._on.setdefault((task.region, piece.day), []).append((number, piece, take))

    def _pool(self, shifts: Sequence[Shift], visits: Sequence[_Taker]) -> None:
        """Keep a night's work within its teams; alike ones are one pool, others pools apart."""
        pools: dict[tuple[int, int], list[Shift]] = {}
        for shift in shifts:
            pools.setdefault((shift.jobs, shift.minutes), []).append(shift)
        if len(pools) == 1:
            self._room(shifts, visits)
            return
        goes: dict[tuple[int, int], list[_Taker]] = {pool: [] for pool in pools}
        for number, piece, take in visits:
            own = {pool: self._model.new_bool_var("") for pool in pools if piece.minutes <= pool[1]}
            self._model.add(sum(own.values()) == take)
            for pool, goer in own.items():
                goes[pool].append((number, piece, goer))
        for pool, takers in goes.items():
            self._room(pools[pool], takers)

    def _room(self, shifts: Sequence[Shift], visits: Sequence[_Taker]) -> None:
        if not visits:
            return
        literals = [take for _, _, take in visits]
        minutes = [piece.minutes + self._area.travel for _, piece, _ in visits]
        span = max(piece.closes for _, piece, _ in visits) - min(p.opens for _, p, _ in visits)
        room = min(shifts[0].minutes, span) + self._area.travel
        self._at_most(literals, [1] * len(literals), sum(shift.jobs for shift in shifts))
        self._at_most(literals, minutes, room * len(shifts))
        for most in _CLASSES:
            # At most k jobs longer than a (k+1)th of a shift fit one team; longer ones count more.
            counts = [-(-(most + 1) * need // room) - 1 for need in minutes]
            self._at_most(literals, counts, most * len(shifts))

    def _at_most(self, literals: Sequence[Literal], weights: Sequence[int], most: int) -> None:
        kept = [(lit, weight) for lit, weight in zip(literals, weights, strict=True) if weight > 0]
        if sum(weight for _, weight in kept) > most:
            total = cp_model.LinearExpr.weighted_sum(
                [lit for lit, _ in kept], [weight for _, weight in kept]
            )
            self._model.add(total <= most)

    def _groups(self) -> None:
        held: dict[tuple[str, int], list[tuple[int, Literal]]] = {}
        for visits in self._on.values():
            for number, piece, take in visits:
                for group in self._area.tasks[number].groups:
                    held.setdefault((group, piece.day), []).append((number, take))
        for _, takers in sorted(held.items()):
            if len({number for number, _ in takers}) > 1:
                self._model.add_at_most_one([take for _, take in takers])

    def _gates(self, region: str, gates: Sequence[Gate]) -> None:
        """Let a wave begin on a day only if the waves before it were far enough in time."""
        reached: dict[int, Literal] = {}  # by day: all gates so far are reached by its morning
        for wave, gate in enumerate(gates):
            if gate.need > 0:
                reached = self._gate(region, wave, gate, reached)
            if not reached:
                continue
            for number, task in enumerate(self._area.tasks):
                if task.region == region and task.wave == wave + 1:
                    for slot, take in zip(task.slots, self._takes[number], strict=True):
                        self._model.add_implication(take, reached[slot.first_day])

    def _gate(
        self, region: str, wave: int, gate: Gate, before: Mapping[int, Literal]
    ) -> dict[int, Literal]:
        days = sorted(day for name, day in self._area.shifts if name == region)
        opens = {day: self._model.new_bool_var(f"{region} {wave} {day}") for day in days}
        done = [
            (slot.last_day, take)
            for number, task in enumerate(self._area.tasks)
            if task.region == region and task.wave == wave
            for slot, take in zip(task.slots, self._takes[number], strict=True)
        ]
        for day in days:
            in_time = [take for last, take in done if last + gate.wait_days <= day]
            self._model.add(sum(in_time) >= gate.need * opens[day])
            if day in before:
                self._model.add_implication(opens[day], before[day])
            if day + 1 in opens:
                self._model.add_implication(opens[day], opens[day + 1])
        return opens

    def forbid(self, day: int, visits: Sequence[Visit]) -> None:
        """Rule out visits that no roster exists for, on every night on which none could.

        Args:
            day: the night.
            visits: of one region; no roster exists for them.
        """
        region = self._area.tasks[visits[0].task].region
        shifts = self._area.shifts[region, day]
        for other in sorted(at for name, at in self._area.shifts if name == region):
            if self._area.shifts[region, other] != shifts:
                continue
            literals = self._no_easier(visits, self._on.get((region, other), ()))
            if literals:
                self._model.add(sum(literals) <= len(visits) - 1)

    def _no_easier(self, visits: Sequence[Visit], there: Iterable[_Taker]) -> list[Literal]:
        """Return the literals of a night under which the same visits are no easier."""
        pieces: dict[int, list[tuple[Piece, Literal]]] = {}
        for number, piece, take in there:
            pieces.setdefault(number, []).append((piece, take))
        lowest, highest = -math.inf, math.inf  # by how much the night may be shifted
        literals: list[Literal] = []
        for visit in visits:
            hard = [p for p in pieces.get(visit.task, ()) if p[0].minutes >= visit.piece.minutes]
            if not hard:
                return []
            literals.extend(take for _, take in hard)
            highest = min(highest, *(piece.opens - visit.piece.opens for piece, _ in hard))
            lowest = max(lowest, *(piece.closes - visit.piece.closes for piece, _ in hard))
        return literals if lowest <= highest else []

    def solve(self, hint: Mapping[int, Slot], effort: float) -> Answer:
        """Search for the best choice, starting from `hint`, within a deterministic effort."""
        self._model.clear_hints()  # type: ignore[no-untyped-call]  # ortools leaves it untyped
        for number, task in enumerate(self._area.tasks):
            for slot, take in zip(task.slots, self._takes[number], strict=True):
                self._model.add_hint(take, hint.get(number) == slot)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.linearization_level = 2
        solver.parameters.max_deterministic_time = effort
        # On large areas the presolve would use up the effort before any bound is known.
        solver.parameters.max_presolve_iterations = 1
        solver.parameters.cp_model_probing_level = 0
        solver.parameters.symmetry_level = 0
        solver.parameters.merge_at_most_one_work_limit = 0
        solver.parameters.find_big_linear_overlap = False
        status = solver.solve(self._model)
        return self._answer(solver, status, sum(slot.value for slot in hint.values()))

    def _answer(
        self, solver: cp_model.CpSolver, status: cp_model.CpSolverStatus, known: int
    ) -> Answer:
        spent = float(solver.response_proto.deterministic_time)
        bound = _not_below(solver.best_objective_bound)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            # A bound below what is known to be possible is none: the effort ended before one.
            return Answer(None, bound if bound >= known else self._most, proven=False, effort=spent)
        chosen = {
            number: slot
            for number, task in enumerate(self._area.tasks)
            for slot, take in zip(task.slots, self._takes[number], strict=True)
            if solver.boolean_value(take)
        }
        proven = status == cp_model.OPTIMAL
        value = sum(slot.value for slot in chosen.values())
        return Answer(chosen, value if proven else bound, proven, spent)


def _not_below(value: float) -> int:
    """Read a bound that CP-SAT hands over in double precision."""
    return math.ceil(math.nextafter(value, math.inf))


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
    bound = sum(max(slot.value for slot in task.slots) for task in area.tasks)
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
        found = board_of(area, answer.chosen)
        improve(found, _LOOKS_PER_TASK * len(area.tasks))
        best = found if found.value > best.value else best
        if best.value >= bound or left < _LEAST_EFFORT:
            break
        learned, proven = _learn(area, master, answer.chosen)
        certain = certain and proven
        if not learned:
            break
    return best, bound


def _learn(area: Area, master: Master, chosen: Mapping[int, Slot]) -> tuple[bool, bool]:
    """Cut off the nights chosen that have no roster; say whether any, and if that is certain."""
    learned, certain = False, True
    nights: dict[tuple[str, int], list[Visit]] = {}
    for number, slot in sorted(chosen.items()):
        for piece in slot.pieces:
            nights.setdefault((area.tasks[number].region, piece.day), []).append(
                Visit(number, piece)
            )
    for (region, day), visits in sorted(nights.items()):
        shifts = area.shifts[region, day]
        found = roster(visits, shifts, area.travel)
        if found.roster is None:
            learned = True
            certain = certain and found.proven
            master.forbid(day, _core(visits, shifts, area.travel))
    return learned, certain


def _core(visits: Sequence[Visit], shifts: Sequence[Shift], travel: int) -> list[Visit]:
    """Return a smallest set of the visits that has no roster, so that more is ruled out."""
    core = list(visits)
    for visit in visits:
        fewer = [other for other in core if other != visit]
        found = roster(fewer, shifts, travel)
        if found.roster is None and found.proven:
            core = fewer
    return core
