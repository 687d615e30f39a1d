"""Local search on a cost network: a good choice quickly, to measure the exact solver against."""

import random
from collections.abc import Sequence

from pipeline.plan.network import Network, Table

_SEED = 802154


def greedy(network: Network) -> tuple[int, ...]:
    """Settle stations one by one: next is the one with most at stake, on its cheapest choice.

    At stake is the difference between a station's cheapest choice and its second cheapest,
    given the stations settled before; the measure of saturation-degree colouring (Brelaz,
    Communications of the ACM 22, 1979) carried over to costs.
    """
    partners = network.neighbours()
    price = [list(row) for row in network.unary]
    choice = [0] * len(price)
    left = set(range(len(price)))
    while left:
        i = max(left, key=lambda k: (_stake(price[k]), len(partners[k]), -k))
        choice[i] = price[i].index(min(price[i]))
        left.remove(i)
        for j, table in partners[i]:
            price[j] = [x + y for x, y in zip(price[j], table[choice[i]], strict=True)]
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
    return _Tabu(network, start).run(steps)


class _Tabu:
    """State of one search: the current choice and what each single change would cost."""

    def __init__(self, network: Network, start: Sequence[int]) -> None:
        self.network = network
        self.partners: list[list[tuple[int, Table]]] = network.neighbours()
        self.choice = list(start)
        self.cost = network.cost(start)
        self.price = [list(row) for row in network.unary]
        for i, near in enumerate(self.partners):
            for j, table in near:
                for a, row in enumerate(table):
                    self.price[i][a] += row[self.choice[j]]
        self.open_from = [[0] * len(row) for row in network.unary]
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
        found, least = None, 0
        wanted = self.best_cost - self.cost
        for i, prices in enumerate(self.price):
            current = self.choice[i]
            base, gates = prices[current], self.open_from[i]
            for a, price in enumerate(prices):
                if a == current:
                    continue
                rise = price - base
                if (found is None or rise < least) and (gates[a] <= now or rise < wanted):
                    found, least = (i, a), rise
        return found

    def _take(self, i: int, a: int, closed_until: int) -> None:
        old = self.choice[i]
        self.cost += self.price[i][a] - self.price[i][old]
        self.choice[i] = a
        self.open_from[i][old] = closed_until
        for j, table in self.partners[i]:
            gone, new = table[old], table[a]
            if gone != new:
                self.price[j] = [
                    x + n - g for x, n, g in zip(self.price[j], new, gone, strict=True)
                ]

    def _shake(self, now: int) -> None:
        """Return to the best choice and throw about a sixth of the stations anew."""
        for i, a in enumerate(self.best):
            if self.choice[i] != a:
                self._take(i, a, now)
        free = [i for i, row in enumerate(self.network.unary) if len(row) > 1]
        for i in self.random.sample(free, max(1, len(free) // 6)):
            self._take(i, self.random.randrange(len(self.price[i])), now)
