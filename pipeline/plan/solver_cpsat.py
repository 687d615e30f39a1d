"""CP-SAT behind our own verdict: for platforms without pytoulbar2, and to check it against."""

import math
from collections.abc import Iterator

from ortools.sat.python import cp_model

from pipeline.plan.network import Network, Verdict

# Deterministic seconds allowed per backtrack of effort, so that both solvers get about the
# same work from the same effort.
_SECONDS_PER_BACKTRACK = 1e-4


def solve(network: Network, top: int, effort: int) -> Verdict:
    """Look for a choice cheaper than `top` within a deterministic amount of work."""
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
    return _verdict(network, top, solver, status, takes)


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


def _verdict(
    network: Network,
    top: int,
    solver: cp_model.CpSolver,
    status: cp_model.CpSolverStatus,
    takes: list[list[cp_model.IntVar]],
) -> Verdict:
    choice = None
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        choice = tuple(
            next(a for a, taken in enumerate(row) if solver.boolean_value(taken)) for row in takes
        )
        if network.cost(choice) >= top:
            choice = None
    best = top if choice is None else network.cost(choice)
    proven = status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
    bound = best if proven else min(best, max(0, _not_above(solver.best_objective_bound)))
    return Verdict(choice, bound, proven, "cp-sat", solver.num_branches)


def _not_above(value: float) -> int:
    """Read a bound that CP-SAT hands over in double precision."""
    return int(math.nextafter(value, -math.inf)) if math.isfinite(value) else 0
