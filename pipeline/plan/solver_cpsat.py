"""CP-SAT behind our own verdict: for platforms without pytoulbar2, and to check it against."""

import math

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
    terms: list[tuple[cp_model.IntVar, int]] = []
    for row, costs in zip(takes, network.unary, strict=True):
        terms.extend(zip(row, costs, strict=True))
    for (i, j), table in network.pairs.items():
        for a, costs in enumerate(table):
            for b, cost in enumerate(costs):
                if cost:
                    both = model.new_bool_var("")
                    model.add_bool_or(~takes[i][a], ~takes[j][b], both)
                    terms.append((both, cost))
    total = cp_model.LinearExpr.weighted_sum([x for x, _ in terms], [c for _, c in terms])
    model.minimize(total)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = effort * _SECONDS_PER_BACKTRACK
    solver.parameters.linearization_level = 2
    status = solver.solve(model)
    return _verdict(network, top, solver, status, takes)


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
    proven = status == cp_model.OPTIMAL
    bound = best if proven else min(best, max(0, _not_above(solver.best_objective_bound)))
    return Verdict(choice, bound, proven, "cp-sat", solver.num_branches)


def _not_above(value: float) -> int:
    """Read a bound that CP-SAT hands over in double precision."""
    return int(math.nextafter(value, -math.inf)) if math.isfinite(value) else 0
