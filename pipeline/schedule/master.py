"""The schedule of an area as one CP-SAT problem, with a night's teams of one kind seen as a pool.

One yes-or-no variable per task and option; the sum of their values is maximised. Per region and
night each pool bounds the number of stores, their minutes, and how many long jobs there can be (two
jobs of more than half a shift never fit one team, and so on). What a pool could do and its teams
could not is learned night by night: `forbid` cuts it off, on every night on which the same holds.
So the bound is true at any time, and the answer is exact once its nights can be worked.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ortools.sat.python import cp_model

from pipeline.schedule.crew import Visit
from pipeline.schedule.records import Area, Gate, Option, Part, Shift

_CLASSES = (1, 2, 3, 4)  # jobs longer than a half, third, quarter and fifth of a shift
Literal = cp_model.IntVar
_Taker = tuple[int, Part, Literal]  # task, its work in a night, and whether it is done then


@dataclass(frozen=True, slots=True)
class Answer:
    """What a look at the pooled problem gave."""

    chosen: Mapping[int, Option] | None
    bound: int
    proven: bool  # the choice is the best one of the pooled problem
    effort: float  # deterministic seconds it took


class Master:
    """The pooled problem of one area."""

    def __init__(self, area: Area) -> None:
        self._area = area
        self._model = cp_model.CpModel()
        self._takes = [
            [self._model.new_bool_var(f"{number} {at}") for at in range(len(task.options))]
            for number, task in enumerate(area.tasks)
        ]
        self._on: dict[tuple[str, int], list[_Taker]] = {}
        self._hinted: dict[int, Option] = {}
        self._one_option_each()
        for (region, day), visits in sorted(self._on.items()):
            self._pool(area.shifts[region, day], visits)
        self._groups()
        for region, gates in sorted(area.gates.items()):
            self._gates(region, gates)
        literals: list[Literal] = []
        values: list[int] = []
        for task, takes in zip(area.tasks, self._takes, strict=True):
            literals.extend(takes)
            values.extend(option.value for option in task.options)
        self._most = sum(max(option.value for option in task.options) for task in area.tasks)
        self._model.maximize(cp_model.LinearExpr.weighted_sum(literals, values))

    def _one_option_each(self) -> None:
        for number, task in enumerate(self._area.tasks):
            self._model.add_at_most_one(self._takes[number])
            for option, take in zip(task.options, self._takes[number], strict=True):
                for part in option.parts:
                    self._on.setdefault((task.region, part.day), []).append((number, part, take))

    def _pool(self, shifts: Sequence[Shift], visits: Sequence[_Taker]) -> None:
        """Keep a night's work within its teams; alike ones are one pool, others pools apart."""
        pools: dict[tuple[int, int], list[Shift]] = {}
        for shift in shifts:
            pools.setdefault((shift.jobs, shift.minutes), []).append(shift)
        if len(pools) == 1:
            self._room(shifts, visits)
            return
        goes: dict[tuple[int, int], list[_Taker]] = {pool: [] for pool in pools}
        for number, part, take in visits:
            own = {pool: self._model.new_bool_var("") for pool in pools if part.minutes <= pool[1]}
            self._model.add(sum(own.values()) == take)
            for pool, goer in own.items():
                goes[pool].append((number, part, goer))
        for pool, takers in goes.items():
            self._room(pools[pool], takers)

    def _room(self, shifts: Sequence[Shift], visits: Sequence[_Taker]) -> None:
        if not visits:
            return
        literals = [take for _, _, take in visits]
        minutes = [part.minutes + self._area.travel for _, part, _ in visits]
        span = max(part.closes for _, part, _ in visits) - min(p.opens for _, p, _ in visits)
        room = min(shifts[0].minutes, span) + self._area.travel
        self._at_most(literals, [1] * len(literals), sum(shift.jobs for shift in shifts))
        self._at_most(literals, minutes, room * len(shifts))
        for parts in _CLASSES:
            # More than k parts of a shift out of k+1: such jobs together count k at most.
            counts = [-(-(parts + 1) * need // room) - 1 for need in minutes]
            self._at_most(literals, counts, parts * len(shifts))

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
            for number, part, take in visits:
                for group in self._area.tasks[number].groups:
                    held.setdefault((group, part.day), []).append((number, take))
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
                    for option, take in zip(task.options, self._takes[number], strict=True):
                        self._model.add_implication(take, reached[option.first_day])

    def _gate(
        self, region: str, wave: int, gate: Gate, before: Mapping[int, Literal]
    ) -> dict[int, Literal]:
        days = sorted(day for name, day in self._area.shifts if name == region)
        opens = {day: self._model.new_bool_var(f"{region} {wave} {day}") for day in days}
        done = [
            (option.last_day, take)
            for number, task in enumerate(self._area.tasks)
            if task.region == region and task.wave == wave
            for option, take in zip(task.options, self._takes[number], strict=True)
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
        """Cut off visits that the teams of a night cannot do together, whenever they could not.

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
        parts: dict[int, list[tuple[Part, Literal]]] = {}
        for number, part, take in there:
            parts.setdefault(number, []).append((part, take))
        lowest, highest = -math.inf, math.inf  # by how much the night may be shifted
        literals: list[Literal] = []
        for visit in visits:
            hard = [p for p in parts.get(visit.task, ()) if p[0].minutes >= visit.part.minutes]
            if not hard:
                return []
            literals.extend(take for _, take in hard)
            highest = min(highest, *(part.opens - visit.part.opens for part, _ in hard))
            lowest = max(lowest, *(part.closes - visit.part.closes for part, _ in hard))
        return literals if lowest <= highest else []

    def solve(self, hint: Mapping[int, Option], effort: float) -> Answer:
        """Look for the best choice, from a known one, within a deterministic amount of work."""
        self._model.clear_hints()  # type: ignore[no-untyped-call]  # ortools leaves it untyped
        for number, task in enumerate(self._area.tasks):
            for option, take in zip(task.options, self._takes[number], strict=True):
                self._model.add_hint(take, hint.get(number) == option)
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
        return self._answer(solver, status, sum(option.value for option in hint.values()))

    def _answer(
        self, solver: cp_model.CpSolver, status: cp_model.CpSolverStatus, known: int
    ) -> Answer:
        spent = float(solver.response_proto.deterministic_time)
        bound = _not_below(solver.best_objective_bound)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            # A bound below what is known to be possible is none: the effort ended before one.
            return Answer(None, bound if bound >= known else self._most, proven=False, effort=spent)
        chosen = {
            number: option
            for number, task in enumerate(self._area.tasks)
            for option, take in zip(task.options, self._takes[number], strict=True)
            if solver.boolean_value(take)
        }
        proven = status == cp_model.OPTIMAL
        value = sum(option.value for option in chosen.values())
        return Answer(chosen, value if proven else bound, proven, spent)


def _not_below(value: float) -> int:
    """Read a bound that CP-SAT hands over in double precision."""
    return math.ceil(math.nextafter(value, math.inf))
