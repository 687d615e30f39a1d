"""Local search on a cost network: a good choice quickly, to measure the exact solver against."""

import random
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from operator import add

import numpy as np

from pipeline.plan.branch import Proof, by_parts
from pipeline.plan.network import MANY, THIN, Network, Solve, Verdict
from pipeline.plan.reduce import without_copies
from pipeline.plan.solvers import Steps, root_price, solve_by_elimination

_SEED = 802154
_NEVER = 2**61  # more than any cost on the grid, or difference of two


def greedy(network: Network) -> tuple[int, ...]:
    """Place stations one by one: next the one with most at stake, on its cheapest choice.

    At stake is the difference between a station's cheapest choice and its second cheapest,
    given the stations placed before; the measure of saturation-degree colouring (Brelaz,
    Communications of the ACM 22, 1979) carried over to costs.
    """
    partners = network.neighbours()
    price = [list(row) for row in network.unary]
    choice = [0] * len(price)
    left = {i: (_stake(row), len(partners[i]), -i) for i, row in enumerate(price)}
    while left:
        i = max(left, key=left.__getitem__)
        choice[i] = price[i].index(min(price[i]))
        del left[i]
        for j, table in partners[i]:
            if j in left:
                price[j] = [*map(add, price[j], table[choice[i]])]
                left[j] = _stake(price[j]), *left[j][1:]
    return tuple(choice)


def _stake(prices: Sequence[int]) -> int:
    if len(prices) == 1:
        return 0
    least, second = sorted(prices)[:2]
    return second - least


def improved(network: Network, start: Sequence[int], steps: int) -> tuple[int, ...]:
    """Best choice met by a seeded tabu search of `steps` one-station changes from `start`.

    Each step makes the cheapest change not undone recently (Glover, ORSA Journal on Computing
    1, 1989); after a long time without a better choice some stations are thrown anew.
    """
    return Improving(network).run(start, steps, {})


class Improving:
    """Local searches on one network, whose tables are laid out once."""

    def __init__(self, network: Network) -> None:
        self.network, self.laid_out = network, _reach(network)

    def run(
        self, start: Sequence[int], steps: int, allowed: Mapping[int, Collection[int]]
    ) -> tuple[int, ...]:
        """Search like `improved`; stations in `allowed` take nothing else, in `start` neither."""
        search = _Tabu(self.network, start, self.laid_out)
        for i, some in allowed.items():
            search.price[i, [a for a in range(search.price.shape[1]) if a not in some]] = _NEVER
        return search.run(steps)


class _Tabu:
    """State of one search: the current choice and what each single change would cost."""

    def __init__(
        self, network: Network, start: Sequence[int], laid_out: tuple[list[list[int]], list[Steps]]
    ) -> None:
        self.network = network
        self.choice = list(start)
        self.cost = network.cost(start)
        self.near, self.reach = laid_out
        shape = len(network.unary), max(len(row) for row in network.unary)
        self.price = np.full(shape, _NEVER, dtype=np.int64)
        for i, row in enumerate(network.unary):
            self.price[i, : len(row)] = row
        for i, a in enumerate(start):
            self.price[self.near[i]] += self.reach[i][a]
        self.open_from = np.zeros(shape, dtype=np.int64)
        self.taken = np.array(start) + shape[1] * np.arange(shape[0])
        self.best, self.best_cost = tuple(self.choice), self.cost
        self.random = random.Random(_SEED)

    def run(self, steps: int) -> tuple[int, ...]:
        """Search for a number of steps and return the best choice met."""
        size = sum(len(row) > 1 for row in self.network.unary)
        patience, quiet = 20 * size, 0
        for now in range(1, steps + 1):
            change = self._cheapest(now)
            if change is None or quiet > patience:
                self._shake(now)
                quiet = 0
                continue
            self._take(*change, now + 2 + self.random.randrange(2 + size // 4))
            quiet += 1
            if self.cost < self.best_cost:
                self.best, self.best_cost, quiet = tuple(self.choice), self.cost, 0
        return self.best

    def _cheapest(self, now: int) -> tuple[int, int] | None:
        """Find the best change allowed now; a tabu one is allowed if it beats the best known."""
        rise = self.price - self.price.take(self.taken)[:, None]
        rise[(self.open_from > now) & (rise >= self.best_cost - self.cost)] = _NEVER
        rise.put(self.taken, _NEVER)
        at = int(rise.argmin())
        if rise.item(at) >= _NEVER // 2:
            return None
        return at // rise.shape[1], at % rise.shape[1]

    def _take(self, i: int, a: int, closed_until: int) -> None:
        old = self.choice[i]
        self.cost += int(self.price[i, a] - self.price[i, old])
        self.choice[i] = a
        self.taken[i] += a - old
        self.open_from[i, old] = closed_until
        self.price[self.near[i]] += self.reach[i][a] - self.reach[i][old]

    def _shake(self, now: int) -> None:
        """Return to the best choice and throw about a sixth of the stations anew."""
        for i, a in enumerate(self.best):
            if self.choice[i] != a:
                self._take(i, a, now)
        free = [i for i, row in enumerate(self.network.unary) if len(row) > 1]
        for i in self.random.sample(free, max(1, len(free) // 6)):
            self._take(i, self.random.randrange(len(self.network.unary[i])), now)


def _reach(network: Network) -> tuple[list[list[int]], list[Steps]]:
    """Return each station's partners, and `[own choice, partner, its choice]`, what they cost."""
    most = max(len(row) for row in network.unary)
    near, reach = [], []
    for row, partners in zip(network.unary, network.neighbours(), strict=True):
        costs = np.zeros((len(row), len(partners), most), dtype=np.int64)
        for at, (j, table) in enumerate(partners):
            costs[:, at, : len(network.unary[j])] = table
        near.append([j for j, _ in partners])
        reach.append(costs)
    return near, reach


# What the exact solver is given before the relaxation is worth its start-up, in backtracks times
# pairs of stations, which is what a backtrack's time goes by; least and most backtracks of it.
# Where only a share of all pairs matters the relaxation is weak and has to wait longer.
_FIRST, _FEWEST, _MOST = 260_000, 800, 20_000
# Steps of the local search a station: before the exact solver, which most stores need no more
# than, and after its first try.
_QUICK, _THOROUGH, _LONG = 5, 50, 400
# The exact solver's first bound, in backtracks, from which it is not tried first, and the local
# search is long: its bound is weak on so many stations, and takes longer than the relaxation's.
_DEAR = 4_000
_STARTS = 4  # of a search's whole effort that the first bound may take: short searches go without
# Where the solver is left alone, tables are full: a backtrack takes three times as long as one of
# 16 stations in one earshot (0.19 against 0.06 ms).
_ALONE = 3
# Different costs, evenly spaced, that are few enough to be asked for one by one.
_LEVELS = 64


def _thin(network: Network) -> bool:
    return len(network.pairs) <= THIN * len(network.unary)


def solve_part(network: Network, effort: int, solve: Solve) -> tuple[tuple[int, ...], Verdict]:
    """Find a best choice of one part and what is proven about it.

    Small and thin parts are solved by elimination. Others get a local search, then a short run of
    the exact solver; what that cannot prove goes to branch and bound over a stronger relaxation.
    """
    if (verdict := solve_by_elimination(network)) and verdict.choice:
        return verdict.choice, verdict
    size = len(network.unary)
    start = greedy(network)
    if not _thin(network):
        start = improved(network, start, _QUICK * size)
    search = _Search(without_copies(network, network.cost(start)), start, network.cost(start))
    first = _first_try(network)
    dear = root_price(network) > min(_DEAR, _STARTS * effort)
    if not dear:
        search.take(solve(search.network, search.top, min(effort, first)))
    if not search.proven:
        steps = _long(effort) if dear else _THOROUGH
        search.better(network, improved(network, search.best, steps * size))
    if not search.proven and effort > first:
        _raise_by_levels(search, effort, solve)
    if not search.proven and effort > search.spent:
        _by_proof(search, effort, solve)
    if not search.proven and not search.bound and effort > search.spent:
        search.take(by_parts(search.network, search.top, effort - search.spent))
    verdict = Verdict(search.best, search.bound, search.proven, search.solver, search.spent)
    return search.best, verdict


def _long(effort: int) -> int:
    """Return the steps a station of a long local search: fewer where the effort is small."""
    return max(_QUICK, min(_LONG, effort // _LONG))


def _first_try(network: Network) -> int:
    """Return the backtracks after which the relaxation takes over."""
    size, pairs = len(network.unary), max(1, len(network.pairs))
    if sum(map(len, network.unary)) > MANY * size:
        return _MOST  # the matrices are so large that they wait longest
    full = size * (size - 1) / 2
    return min(_MOST, max(_FEWEST, int(_FIRST / pairs * (full / pairs) ** 2)))


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

    def better(self, network: Network, choice: tuple[int, ...]) -> None:
        """Take in what a local search found."""
        if (cost := network.cost(choice)) < self.top:
            self.best, self.top = choice, cost

    def take(self, verdict: Verdict) -> None:
        """Take in what a solver found below the best known cost."""
        if verdict.choice is not None:
            self.best, self.top = verdict.choice, self.network.cost(verdict.choice)
        self.bound = min(self.top, max(self.bound, verdict.bound))
        self.spent += verdict.spent
        self.solver = self.solver or verdict.solver


def _by_proof(search: _Search, effort: int, solve: Solve) -> None:
    """Branch over the relaxation, or leave the rest to the exact solver where that bounds better.

    So it is where every cost of a pair counts, and not only those of choices near each other.
    """
    proof = Proof(search.network, search.top, effort - search.spent, solve)
    search.take(verdict := proof.run(search.bound))
    if verdict.spent and verdict.bound < search.bound and proof.left >= _ALONE:
        search.take(solve(search.network, search.top, proof.left // _ALONE))


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
