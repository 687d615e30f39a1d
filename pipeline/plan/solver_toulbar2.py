"""The exact solver for cost networks, pytoulbar2, behind our own verdict."""

import math

from pipeline.plan.network import Network, Verdict

try:
    import pytoulbar2
except ImportError:  # no wheel for this platform; CP-SAT does the work there
    available = False
else:
    available = True

# Larger whole numbers do not survive the solver's double-precision interface.
_EXACT = 2**53


def solve(network: Network, top: int, effort: int) -> Verdict:
    """Look for a choice cheaper than `top`, at most `effort` backtracks.

    The network's costs add up to less than 2**58 (see `to_grid`), the solver's own limit.
    """
    problem = pytoulbar2.CFN(ubinit=float(_not_below(top)), resolution=0, verbose=-1, seed=1)
    # Options outlive a problem in the solver's process-wide state: set all that matter.
    problem.Option.hbfs = 1
    problem.Option.weightedDegree = 0
    problem.Option.backtrackLimit = effort
    for i, row in enumerate(network.unary):
        problem.AddVariable(f"s{i}", [f"c{a}" for a in range(len(row))])
    for i, row in enumerate(network.unary):
        _post(problem, [i], [min(x, top) for x in row])
    for (i, j), table in network.pairs.items():
        _post(problem, [i, j], [min(x, top) for row in table for x in row])
    solved = problem.Solve()
    proven = not problem.Option.limited
    choice = tuple(solved[0]) if solved else None
    if choice is not None and network.cost(choice) >= top:
        choice = None
    best = top if choice is None else network.cost(choice)
    bound = best if proven else min(best, _not_above(problem.GetDDualBound()))
    return Verdict(choice, bound, proven, "toulbar2", problem.GetNbBacktracks())


def _post(problem: "pytoulbar2.CFN", scope: list[int], costs: list[int]) -> None:
    """Add one table, large numbers in two exact halves that the solver adds up as integers."""
    low = [x % _EXACT for x in costs]
    high = [x - y for x, y in zip(costs, low, strict=True)]
    for half in (low, high):
        if any(half):
            problem.AddFunction(scope, half)


def _not_below(cost: int) -> float:
    value = float(cost)
    return value if value >= cost else math.nextafter(value, math.inf)


def _not_above(value: float) -> int:
    if abs(value) < _EXACT:
        return math.floor(value)
    return int(math.nextafter(value, 0.0))
