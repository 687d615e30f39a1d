"""The exact solvers for cost networks: elimination, pytoulbar2 and CP-SAT, with one verdict."""

from __future__ import annotations

import ctypes
import math
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import reduce
from itertools import accumulate, chain, pairwise
from operator import add
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from pipeline.plan.network import MANY, THIN, Network, Solve, Verdict

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

try:
    import pytoulbar2
except ImportError:  # no wheel for this platform; CP-SAT does the work there
    _TOULBAR2 = False
else:
    _TOULBAR2 = True

_STDOUT = 1  # the descriptor
_SOLVERS = ("toulbar2", "cp-sat")
# Larger whole numbers do not survive the solver's double-precision interface.
_EXACT = 2**53
# Deterministic seconds allowed per backtrack of effort, so that both solvers get about the
# same work from the same effort.
_SECONDS_PER_BACKTRACK = 1e-4
_TRWS = 1e-5  # relative gain below which sequential message passing ends
# Pairs times stations that the solver's first bound takes as long for as a backtrack of a floor
# of 40, and up to which a backtrack counts once (measured on 40, 80, 160 and 300 stations).
_ROOT, _BACKTRACK = 100, 100_000
# Complete choices up to which stations are taken out from the last to the first, so that of equally
# cheap choices the first in dictionary order is found.
_SMALL = 1_000
# Entries of tables a station, up to which elimination is the quickest: on thin floors of 28 to 107
# stations it took a third to a 280th of pytoulbar2's time, with 36,000 (eight stations in one
# earshot) as long, with 100,000 three times as long.
_ENTRIES = 30_000
_PER_BACKTRACK = 50_000  # entries that take as long as a backtrack
_ROOM = 2.0**62  # what all costs together stay below, so that no sum of them overflows

Steps = npt.NDArray[np.int64]
"""Costs in whole grid steps."""

_Waiting = tuple[tuple[int, ...], Steps]
"""A table of a station, its first axis, and of others."""

_ALL = slice(None)


@dataclass(frozen=True, slots=True)
class Eliminated:
    """A station taken out of a sum of costs, with the size of the table that takes.

    `beside` are the stations it is tied to by then, the next to be taken out first.
    """

    station: int
    beside: tuple[int, ...]
    entries: int


def elimination(
    sizes: Sequence[int], pairs: Iterable[tuple[int, int]], most: int
) -> list[Eliminated] | None:
    """Return an order in which stations can be taken out, always the one with the least table.

    None where a table would have more entries than `most`.
    """
    beside: list[set[int]] = [set() for _ in sizes]
    for i, j in pairs:
        beside[i].add(j)
        beside[j].add(i)
    size_of = sizes.__getitem__
    entries = {i: sizes[i] * math.prod(map(size_of, near)) for i, near in enumerate(beside)}
    backwards = math.prod(sizes) <= _SMALL
    order: list[tuple[int, set[int], int]] = []
    while entries:
        gone = max(entries) if backwards else min(entries, key=entries.__getitem__)
        if entries[gone] > most:
            return None
        near = beside[gone]
        order.append((gone, near, entries.pop(gone)))
        for i in near:
            beside[i] |= near
            beside[i] -= {i, gone}
            entries[i] = sizes[i] * math.prod(map(size_of, beside[i]))
    place = {gone: at for at, (gone, _, _) in enumerate(order)}.__getitem__
    return [Eliminated(gone, tuple(sorted(near, key=place)), size) for gone, near, size in order]


def solve_by_elimination(network: Network) -> Verdict | None:
    """Take stations out of the sum one by one, each at its cheapest beside what its partners take.

    None where the tables on the way take longer than a solver would (Bertele and Brioschi,
    Nonserial Dynamic Programming, 1972; from memory).
    """
    most = _ENTRIES * len(network.unary)
    order = elimination([*map(len, network.unary)], network.pairs, most)
    if order is None or (entries := sum(taken.entries for taken in order)) > most:
        return None
    waiting = _laid_out(network, {taken.station: at for at, taken in enumerate(order)})
    if waiting is None:
        return None
    choice, made = [0] * len(order), []
    for taken in order:
        near = taken.beside
        views = [
            table[(_ALL, *(_ALL if j in others else None for j in near))]
            for others, table in waiting[taken.station]
        ]
        joint = reduce(add, views)
        made.append(joint)
        if near:
            waiting[near[0]].append((near[1:], joint.min(axis=0)))
    for taken, joint in zip(reversed(order), reversed(made), strict=True):
        at: list[slice | int] = [_ALL, *(choice[j] for j in taken.beside)]
        choice[taken.station] = int(joint[tuple(at)].argmin())
    cost = network.cost(choice)
    return Verdict(tuple(choice), cost, True, "enumeration", 1 + entries // _PER_BACKTRACK)


def _laid_out(network: Network, place: Mapping[int, int]) -> list[list[_Waiting]] | None:
    """Return for each station the tables that end when it is taken out, seen from its side.

    None where sums of them might not fit into 64 bits.
    """
    tables = network.pairs.values()
    rows = chain(network.unary, chain.from_iterable(tables))
    flat = np.fromiter(chain.from_iterable(rows), dtype=np.int64)
    ends = [*map(len, network.unary), *(len(table) * len(table[0]) for table in tables)]
    starts = [0, *accumulate(ends)]
    if np.maximum.reduceat(flat, starts[:-1]).sum(dtype=np.float64) >= _ROOM:
        return None
    some = [flat[start:end] for start, end in pairwise(starts)]
    waiting: list[list[_Waiting]] = [[((), row)] for row in some[: len(place)]]
    for (i, j), cells in zip(network.pairs, some[len(place) :], strict=True):
        table = cells.reshape(len(network.unary[i]), -1)
        if place[i] < place[j]:
            waiting[i].append(((j,), table))
        else:
            waiting[j].append(((i,), table.T))
    return waiting


def exact_solver(name: str | None) -> Solve:
    """Return the solver of a name; of None, pytoulbar2 where it is installed, else CP-SAT.

    CP-SAT is loaded when it first solves: that takes a noticeable moment, and most installations
    have no need of it.

    Raises:
        ValueError: there is no such solver.
    """
    if name not in (None, *_SOLVERS):
        raise ValueError(f"solver is {name!r}; it must be one of {', '.join(_SOLVERS)}")
    return solve_toulbar2 if name == "toulbar2" or (name is None and _TOULBAR2) else solve_cp_sat


def solve_toulbar2(network: Network, top: int, effort: int) -> Verdict:
    """Look for a choice cheaper than `top`, at most `effort` backtracks.

    A backtrack counts once for every hundred thousand pairs times stations, or part of them.
    The network's costs add up to less than 2**58 (see `to_grid`), the solver's own limit.
    """
    # What a network without an answer leaves behind in the library's own state weakens the bounds
    # of all that follow; a new problem alone does not clear it.
    pytoulbar2.pytb2.init()
    problem = pytoulbar2.CFN(ubinit=float(_not_below(top)), resolution=0, verbose=-1, seed=1)
    # Options outlive a problem in the solver's process-wide state: set all that matter.
    # Depth first and weighing what failed takes half as many backtracks as best first, since the
    # local search has nearly always found the best by then (floors of 28 to 40 stations).
    # Best first raises the bound on the way, where the end is too far to be reached: tables at
    # random of 24 stations leave 29 % after 2,000 backtracks and 24 % after 20,000, depth first 39.
    problem.Option.hbfs = int(_full(network))
    # Weighing takes half as many again where all are in earshot of all (16 stations).
    problem.Option.weightedDegree = 0 if _all_pairs(network) else 1_000
    # A better reparametrisation at the root: a third fewer backtracks on floors of 28 stations,
    # and most of the time where few pairs leave little to do, or where choices are many.
    problem.Option.trwsAccuracy = -1 if _thin_or_wide(network) else _TRWS
    weight = 1 + _breadth(network) // _BACKTRACK
    problem.Option.backtrackLimit = max(1, effort // weight)
    for i, row in enumerate(network.unary):
        problem.AddVariable(f"s{i}", [f"c{a}" for a in range(len(row))])
    for i, row in enumerate(network.unary):
        _post(problem, [i], [*row], top)
    for (i, j), table in network.pairs.items():
        _post(problem, [i, j], [*chain.from_iterable(table)], top)
    with silent():
        solved = problem.Solve()
    proven = not problem.Option.limited
    choice = tuple(solved[0]) if solved else None
    told = _toulbar2_bound(problem.GetDDualBound())
    return _verdict(
        network, top, choice, (proven, told), ("toulbar2", weight * problem.GetNbBacktracks())
    )


def root_price(network: Network) -> int:
    """Return what the solver's first bound takes, in backtracks of effort; it is not in `spent`."""
    return _breadth(network) // _ROOT


def _all_pairs(network: Network) -> bool:
    return len(network.pairs) == math.comb(len(network.unary), 2)


def _thin_or_wide(network: Network) -> bool:
    size = len(network.unary)
    return len(network.pairs) <= THIN * size or sum(map(len, network.unary)) > MANY * size


def _full(network: Network) -> bool:
    """Say whether all tables cost something nearly everywhere: at most once a row they do not."""
    tables = network.pairs.values()
    return all(sum(row.count(0) for row in table) <= len(table) for table in tables)


def _breadth(network: Network) -> int:
    return len(network.pairs) * len(network.unary)


@contextmanager
def silent() -> Iterator[None]:
    """Let nothing that a library in C writes reach standard output: that belongs to the caller.

    For single calls that keep Python's lock, so that no other thread writes meanwhile.
    """
    libc = ctypes.CDLL(None)
    libc.fflush(None)  # what waited before is the caller's
    try:
        kept = os.dup(_STDOUT)
    except OSError:  # there is no standard output
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, _STDOUT)
    try:
        yield
    finally:
        libc.fflush(None)  # what C still holds back would come out later
        os.dup2(kept, _STDOUT)
        os.close(kept)
        os.close(nowhere)


def _post(problem: pytoulbar2.CFN, scope: list[int], costs: list[int], top: int) -> None:
    """Add one table, large numbers in two exact halves that the solver adds up as integers."""
    most = max(costs)
    if most > top:
        costs = [min(x, top) for x in costs]
    if min(most, top) < _EXACT:
        problem.AddFunction(scope, costs)
        return
    low = [x % _EXACT for x in costs]
    problem.AddFunction(scope, low)
    problem.AddFunction(scope, [x - y for x, y in zip(costs, low, strict=True)])


def _not_below(cost: int) -> float:
    value = float(cost)
    return value if value >= cost else math.nextafter(value, math.inf)


def _toulbar2_bound(value: float) -> int:
    if abs(value) < _EXACT:
        return math.floor(value)
    return int(math.nextafter(value, 0.0))


def solve_cp_sat(network: Network, top: int, effort: int) -> Verdict:
    """Look for a choice cheaper than `top` within a deterministic amount of work."""
    from ortools.sat.python import cp_model  # noqa: PLC0415 - see `exact_solver`

    model = cp_model.CpModel()
    takes = [[model.new_bool_var("") for _ in row] for row in network.unary]
    for row in takes:
        model.add_exactly_one(row)
    paid = [
        (_charge(model, cost, top, [takes[i][a] for i, a in taken]), cost)
        for cost, taken in _prices(network)
    ]
    terms = [(variable, cost) for variable, cost in paid if variable is not None]
    model.minimize(cp_model.LinearExpr.weighted_sum(*zip(*terms, strict=True)) if terms else 0)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = effort * _SECONDS_PER_BACKTRACK
    solver.parameters.linearization_level = 2
    status = solver.solve(model)
    proven = status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
    choice = None
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        choice = tuple(
            next(a for a, taken in enumerate(row) if solver.boolean_value(taken)) for row in takes
        )
    return _verdict(
        network,
        top,
        choice,
        (proven, _cp_sat_bound(solver.best_objective_bound)),
        ("cp-sat", solver.num_branches),
    )


def _prices(network: Network) -> Iterator[tuple[int, list[tuple[int, int]]]]:
    """Walk through all costs with the one or two (station, choice) that incur them."""
    for i, row in enumerate(network.unary):
        yield from ((cost, [(i, a)]) for a, cost in enumerate(row) if cost)
    for (i, j), table in network.pairs.items():
        for a, costs in enumerate(table):
            yield from ((cost, [(i, a), (j, b)]) for b, cost in enumerate(costs) if cost)


def _charge(
    model: cp_model.CpModel, cost: int, top: int, taken: list[cp_model.IntVar]
) -> cp_model.IntVar | None:
    """Return what is 1 when all of `taken` are; forbid that where it costs `top` or more."""
    if cost >= top:
        model.add_bool_or([~x for x in taken])
        return None
    if len(taken) == 1:
        return taken[0]
    both = model.new_bool_var("")
    model.add_bool_or(*(~x for x in taken), both)
    return both


def _cp_sat_bound(value: float) -> int:
    """Read a bound that CP-SAT hands over in double precision."""
    return int(math.nextafter(value, -math.inf)) if math.isfinite(value) else 0


def _verdict(
    network: Network,
    top: int,
    choice: tuple[int, ...] | None,
    proof: tuple[bool, int],
    work: tuple[str, int],
) -> Verdict:
    """Return what a solver found, if cheaper than `top`.

    `proof` is whether it looked everywhere, and its own lower bound; `work` its name and effort.
    """
    if choice is not None and network.cost(choice) >= top:
        choice = None
    best = top if choice is None else network.cost(choice)
    proven, told = proof
    bound = best if proven else min(best, max(0, told))
    return Verdict(choice, bound, proven, *work)
