"""Settles one part of a network: enumeration, local search, the exact solver, the relaxation."""

import os
from dataclasses import dataclass

from pipeline.plan import solver_small
from pipeline.plan.network import Network, Solve, Verdict
from pipeline.plan.search import greedy, improved
from pipeline.plan.symmetry import without_copies

# Backtracks before the relaxation is worth its start-up.
_FIRST = 1_500
# Different costs, evenly spaced, that are few enough to be asked for one by one.
_LEVELS = 64


def settle(network: Network, effort: int, solve: Solve) -> tuple[tuple[int, ...], Verdict]:
    """Find a best choice of one part and what is proven about it.

    Small parts are enumerated. Others get a local search, then a short run of the exact solver;
    what that cannot prove goes to branch and bound over a stronger relaxation.
    """
    if solver_small.states(network) <= solver_small.SMALL:
        verdict = solver_small.solve(network)
        return verdict.choice or (), verdict
    start = improved(network, greedy(network), _search_steps(network))
    search = _Search(without_copies(network, network.cost(start)), start, network.cost(start))
    search.take(solve(search.network, search.top, min(effort, _FIRST)))
    if not search.proven and effort > _FIRST:
        _raise_by_levels(search, effort, solve)
    if not search.proven and effort > search.spent:
        # The matrices are small: several threads make them slower, and the last digits of sums
        # would depend on the machine; the setting counts when numpy is loaded. That takes a
        # moment, and small stores never get here.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        from pipeline.plan.branch import Proof  # noqa: PLC0415 - see above

        search.take(Proof(search.network, search.top, effort - search.spent, solve).run())
    verdict = Verdict(search.best, search.bound, search.proven, search.solver, search.spent)
    return search.best, verdict


@dataclass
class _Search:
    """What is known about a part so far."""

    network: Network
    best: tuple[int, ...]
    top: int
    bound: int = 0
    spent: int = 0
    solver: str = ""

    @property
    def proven(self) -> bool:
        """Nothing better is left to be found."""
        return self.bound >= self.top

    def take(self, verdict: Verdict) -> None:
        """Take in what a solver found below the best known cost."""
        if verdict.choice is not None:
            self.best, self.top = verdict.choice, self.network.cost(verdict.choice)
        self.bound = min(self.top, max(self.bound, verdict.bound))
        self.spent += verdict.spent
        self.solver = self.solver or verdict.solver


def _raise_by_levels(search: _Search, effort: int, solve: Solve) -> None:
    """Where few different costs are possible, ask for each in turn whether it can be had.

    That nothing costs less than the next level is often quickly shown, as every dearer entry is
    then impossible, where minimising shows nothing.
    """
    grain = search.network.grain()
    if search.top > _LEVELS * grain:
        return
    answered = True
    while answered and not search.proven and search.spent < effort // 2:
        level = (search.bound // grain + 1) * grain
        verdict = solve(search.network, level, effort // 2 - search.spent)
        search.take(verdict)
        answered = verdict.proven


def _search_steps(network: Network) -> int:
    """Local search worth its time: little for a few stations, which are proven at once."""
    return len(network.unary) ** 2 * 4
