"""The best assignment of choices to stations, with its proof; knows nothing of radio."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.plan.network import (
    Costs,
    Network,
    OneStationCosts,
    Solve,
    TwoStationCosts,
    check_choice,
    check_complete,
    checked,
    checked_ties,
    to_grid,
)
from pipeline.plan.reduce import joined, reduced
from pipeline.plan.search import solve_part
from pipeline.plan.solvers import exact_solver

EFFORT = 200_000
"""Work allowed per part, in backtracks. A part of 160 stations took 10 s of a processor, one of 300
31 s, measured; matrices, tables and the local search beside it grow with the pairs of stations."""

TOLERANCE = 1e-9
"""Largest gap, relative to the cost, at which cost and bound are said to meet."""


@dataclass(frozen=True)
class Assignment:
    """A complete choice and what is known about it.

    Attributes:
        choice: for each station the index of its choice.
        cost: sum of the caller's costs over that choice, in the caller's units.
        bound: no choice costs less than this (proven), in the caller's units; never above cost.
        optimal: cost and bound meet, to `TOLERANCE` relative to the cost.
        parts: stations that no pair that matters ties to the rest, solved part by part.
        solver: what solved the parts: enumeration (stations eliminated one by one, beside all that
            their partners may take), toulbar2, cp-sat, relaxation (of parts so large that the exact
            solver is not asked), or several of them.
        spent: backtracks (toulbar2), branches (cp-sat) or what takes as long as a backtrack, all
            parts.
        proven: the search was complete; without `optimal` only rounding is left between cost
            and bound.
    """

    choice: tuple[int, ...]
    cost: float
    bound: float
    optimal: bool
    parts: tuple[tuple[int, ...], ...]
    solver: str
    spent: int
    proven: bool

    @property
    def gap(self) -> float:
        """Share of the cost that is not proven to be needed, 0 to 1."""
        return (self.cost - self.bound) / self.cost if self.cost else 0.0


@dataclass(frozen=True)
class _Question:
    """What is asked, after the checks."""

    costs: Costs
    ties: tuple[tuple[int, ...], ...] | None
    held: Mapping[int, int]
    effort: int
    solve: Solve


def assign(  # noqa: PLR0913 - two inputs; the rest are options with defaults
    one_station_costs: OneStationCosts,
    two_station_costs: TwoStationCosts,
    *,
    ties: Sequence[Sequence[int]] | None = None,
    fixed: Mapping[int, int] | None = None,
    incumbent: Sequence[int] | None = None,
    effort: int = EFFORT,
    solver: str | None = None,
) -> Assignment:
    """Find the choice per station with the least sum of costs.

    The same costs give the same answer in any order of the mappings and on every run: effort is
    counted, never timed. Costs are compared on an integer grid (see `Grid`): whole costs
    exactly, others to about 12 digits; the reported bound allows for the rounding.

    Args:
        one_station_costs: `[i][a]`, cost of station i taking its a-th choice; rows may differ
            in length. Finite ints or floats of 0 or more.
        two_station_costs: `[(i, j)][a][b]` with i < j, cost of i taking a while j takes b;
            absent pairs cost nothing.
        ties: `[i][a]`, whole numbers whose sum decides between equally cheap choices.
        fixed: stations that must keep a given choice.
        incumbent: a known complete choice; the answer is never worse.
        effort: most backtracks of the exact search per part.
        solver: "toulbar2" or "cp-sat"; by default the first that is installed.

    Raises:
        ValueError: an entry is not as described; the sentence names it.
    """
    costs = checked(one_station_costs, two_station_costs)
    tie_costs = None if ties is None else checked_ties(ties, costs)
    held = dict(sorted((fixed or {}).items()))
    for i, a in held.items():
        check_choice("fixed", i, a, costs)
    if incumbent is not None:
        _check_incumbent(incumbent, held, costs)
    if effort < 1:
        raise ValueError(f"effort is {effort!r}; it must be 1 or more")
    rough = _known(costs, held)
    known = min([rough] if incumbent is None else [rough, tuple(incumbent)], key=costs.total)
    question = _Question(costs, tie_costs, held, effort, exact_solver(solver))
    found = _answer(question, known)
    # The grid is as fine as the known choice was good; where that left a gap, look again.
    while not found.optimal and found.proven and 2 * found.cost < costs.total(known):
        known = found.choice
        found = _answer(question, known)
    if found.optimal or not found.proven or tie_costs is None:
        return found
    return _proved(replace(question, ties=None), found)


def _proved(question: _Question, found: Assignment) -> Assignment:
    """Return an answer with the bound that its costs allow once no ties take room on the grid.

    Its choice stays, and with it what the ties decided, unless another is cheaper after all.
    """
    again = _answer(question, found.choice)
    if again.cost < found.cost:
        return again
    return replace(
        found,
        bound=max(found.bound, again.bound),
        optimal=found.cost - again.bound <= TOLERANCE * found.cost,
        spent=found.spent + again.spent,
    )


def _answer(question: _Question, known: tuple[int, ...]) -> Assignment:
    """Solve on the grid that the known choice allows; the answer is never worse than it."""
    costs = question.costs
    grid = to_grid(costs, question.ties, costs.total(known))
    shrunk = reduced(grid.network, question.held)
    solved = [solve_part(part.network, question.effort, question.solve) for part in shrunk.parts]
    verdicts = [verdict for _, verdict in solved]
    found = joined(shrunk.parts, [choice for choice, _ in solved])
    choice = _best([found, known], costs, grid.network if question.ties else None)
    cost = costs.total(choice)
    bound = min(cost, grid.bound(shrunk.constant + sum(v.bound for v in verdicts)))
    return Assignment(
        choice,
        cost,
        bound,
        cost - bound <= TOLERANCE * cost,
        tuple(part.stations for part in shrunk.parts),
        ", ".join(sorted({v.solver for v in verdicts})) or "enumeration",
        sum(v.spent for v in verdicts),
        all(v.proven for v in verdicts),
    )


def _best(
    candidates: Sequence[tuple[int, ...]], costs: Costs, ties: Network | None
) -> tuple[int, ...]:
    """Cheapest candidate, the earlier of equals; on the grid where ties take part."""
    return min(candidates, key=costs.total if ties is None else ties.cost)


def _known(costs: Costs, held: Mapping[int, int]) -> tuple[int, ...]:
    """Let each station in turn take what is cheapest next to the stations before it."""
    choice: list[int] = []
    earlier: list[list[tuple[int, Sequence[Sequence[float]]]]] = [[] for _ in costs.one]
    for (i, j), table in costs.two.items():
        earlier[j].append((i, table))
    for j, row in enumerate(costs.one):
        prices = [x + sum(t[choice[i]][b] for i, t in earlier[j]) for b, x in enumerate(row)]
        choice.append(held.get(j, prices.index(min(prices))))
    return tuple(choice)


def _check_incumbent(incumbent: Sequence[int], held: Mapping[int, int], costs: Costs) -> None:
    check_complete("incumbent", incumbent, costs)
    for i, a in held.items():
        if incumbent[i] != a:
            raise ValueError(f"incumbent[{i}] is {incumbent[i]}; fixed holds station {i} at {a}")
