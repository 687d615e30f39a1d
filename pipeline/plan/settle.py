"""Settles one part of a network: enumeration, local search, the exact solver, the relaxation."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.plan import solver_small
from pipeline.plan.network import Network, Table, Verdict
from pipeline.plan.reduce import joined, reduced
from pipeline.plan.search import greedy, improved

if TYPE_CHECKING:
    from pipeline.plan.relaxation import Floor

Solve = Callable[[Network, int, int], Verdict]
"""`solve(network, top, effort)`: look for a choice cheaper than top."""

_SMALL = 1_000
# Backtracks before the relaxation is worth its start-up.
_FIRST = 1_500


def settle(network: Network, effort: int, solve: Solve) -> tuple[tuple[int, ...], Verdict]:
    """Find a best choice of one part and what is proven about it.

    Small parts are enumerated. Others get a local search, then a short run of the exact solver.
    What that cannot prove gets a bound by relaxation, which also tells choices and pairs of
    choices that no better answer can hold; without those the exact solver runs again.
    """
    if solver_small.states(network) <= _SMALL:
        verdict = solver_small.solve(network)
        return verdict.choice or (), verdict
    start = improved(network, greedy(network), _search_steps(network))
    first = solve(network, network.cost(start), min(effort, _FIRST))
    best = first.choice or start
    while not first.proven and effort > _FIRST:
        again = _tightened(network, best, effort, solve)
        first = replace(
            again,
            bound=max(first.bound, again.bound),
            spent=first.spent + again.spent,
            solver=first.solver,
        )
        if again.choice is None:
            break
        best = again.choice
    return best, first


def _search_steps(network: Network) -> int:
    """Local search worth its time: little for a few stations, which are proven at once."""
    return len(network.unary) ** 2 * 4


def _tightened(network: Network, best: tuple[int, ...], effort: int, solve: Solve) -> Verdict:
    """Look for something cheaper than `best` where the relaxation leaves room for it."""
    # numpy takes a moment to load, and small stores never get here.
    from pipeline.plan import relaxation  # noqa: PLC0415 - see above

    top = network.cost(best)
    floor = relaxation.floor(network, top)
    tight = network if floor is None else _without_hopeless(network, floor, top)
    shrunk = reduced(tight, {})
    found = [_solved(part.network, top - shrunk.constant, effort, solve) for part in shrunk.parts]
    choices = [verdict.choice for verdict in found]
    choice = None
    if all(each is not None for each in choices):
        choice = joined(shrunk.parts, [each or () for each in choices])
        choice = choice if network.cost(choice) < top else None
    cost = top if choice is None else network.cost(choice)
    bound = shrunk.constant + sum(verdict.bound for verdict in found)
    proven_by_floor = 0 if floor is None else math.ceil(floor.bound)
    bound = min(cost, max(bound, proven_by_floor))
    return Verdict(choice, bound, bound == cost, "", sum(verdict.spent for verdict in found))


def _solved(network: Network, top: int, effort: int, solve: Solve) -> Verdict:
    if solver_small.states(network) <= _SMALL:
        return solver_small.solve(network)
    return solve(network, top, effort)


def _without_hopeless(network: Network, floor: Floor, top: int) -> Network:
    """Price choices and pairs of choices out that no answer cheaper than `top` can hold."""
    gap = top - floor.bound
    unary = tuple(
        tuple(top if more >= gap else x for x, more in zip(row, extra, strict=True))
        for row, extra in zip(network.unary, floor.extra, strict=True)
    )
    pairs: dict[tuple[int, int], Table] = {}
    for (i, j), table in network.pairs.items():
        pairs[i, j] = tuple(
            tuple(
                top if one + other + floor.pair_extra.get(((i, a), (j, b)), 0.0) >= gap else x
                for b, (x, other) in enumerate(zip(row, floor.extra[j], strict=True))
            )
            for a, (row, one) in enumerate(zip(table, floor.extra[i], strict=True))
        )
    return Network(unary, pairs)
