"""Settles one part of a network: enumeration, local search, the exact solver, the relaxation."""

import os

from pipeline.plan import solver_small
from pipeline.plan.network import Network, Solve, Verdict
from pipeline.plan.search import greedy, improved
from pipeline.plan.symmetry import without_copies

# Backtracks before the relaxation is worth its start-up.
_FIRST = 1_500


def settle(network: Network, effort: int, solve: Solve) -> tuple[tuple[int, ...], Verdict]:
    """Find a best choice of one part and what is proven about it.

    Small parts are enumerated. Others get a local search, then a short run of the exact solver;
    what that cannot prove goes to branch and bound over a stronger relaxation.
    """
    if solver_small.states(network) <= solver_small.SMALL:
        verdict = solver_small.solve(network)
        return verdict.choice or (), verdict
    start = improved(network, greedy(network), _search_steps(network))
    top = network.cost(start)
    network = without_copies(network, top)
    first = solve(network, top, min(effort, _FIRST))
    best, top = (start, top) if first.choice is None else (first.choice, network.cost(first.choice))
    if first.proven or effort <= _FIRST:
        return best, first
    # The matrices are small, and several threads make them slower and the last digits of sums
    # depend on the machine; the setting counts when numpy is loaded. That takes a moment, and
    # small stores never get here.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from pipeline.plan.branch import Proof  # noqa: PLC0415 - see above

    more = Proof(network, top, effort - first.spent, solve).run()
    bound, spent = max(first.bound, more.bound), first.spent + more.spent
    return more.choice or best, Verdict(more.choice, bound, more.proven, first.solver, spent)


def _search_steps(network: Network) -> int:
    """Local search worth its time: little for a few stations, which are proven at once."""
    return len(network.unary) ** 2 * 4
