"""A cost network on an integer grid: what the searches and solvers work on."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

Table = tuple[tuple[int, ...], ...]
"""`table[a][b]`: cost of the first station taking a while the second takes b."""


@dataclass(frozen=True)
class Network:
    """One-station and two-station costs in whole grid steps, keys (i, j) sorted with i < j."""

    unary: tuple[tuple[int, ...], ...]
    pairs: Mapping[tuple[int, int], Table]

    def cost(self, choice: Sequence[int]) -> int:
        """Add up the cost of one complete choice, in grid steps."""
        one = sum(row[a] for row, a in zip(self.unary, choice, strict=True))
        return one + sum(table[choice[i]][choice[j]] for (i, j), table in self.pairs.items())

    def grain(self) -> int:
        """Greatest whole number of steps that all costs are multiples of, 1 where all are 0."""
        own = math.gcd(*(x for row in self.unary for x in row))
        tables = self.pairs.values()
        return math.gcd(own, *(x for table in tables for row in table for x in row)) or 1

    def neighbours(self) -> list[list[tuple[int, Table]]]:
        """List for each station its partners with the table seen from its own side."""
        seen: list[list[tuple[int, Table]]] = [[] for _ in self.unary]
        for (i, j), table in self.pairs.items():
            seen[i].append((j, table))
            seen[j].append((i, tuple(zip(*table, strict=True))))
        return seen


@dataclass(frozen=True)
class Verdict:
    """What a solver found: a choice better than it was told, if any, and what it proved.

    `bound` is a proven lower bound in grid steps for the whole network (never above the
    best known cost); `spent` counts in the solver's own unit (backtracks or states).
    """

    choice: tuple[int, ...] | None
    bound: int
    proven: bool
    solver: str
    spent: int


Solve = Callable[[Network, int, int], Verdict]
"""`solve(network, top, effort)`: look for a choice cheaper than top."""


SMALL = 1_000
"""Complete choices up to which enumeration is the quickest."""


def states(network: Network) -> int:
    """Count the complete choices of a network."""
    count = 1
    for row in network.unary:
        count *= len(row)
    return count


def solve_small(network: Network) -> Verdict:
    """Try every complete choice; of equally cheap ones the first in dictionary order wins."""
    earlier: list[list[tuple[int, Table]]] = [[] for _ in network.unary]
    for (i, j), table in network.pairs.items():
        earlier[j].append((i, tuple(zip(*table, strict=True))))
    best: list[tuple[int, tuple[int, ...]]] = []
    tried = _descend(network, earlier, [], 0, best)
    cost, choice = best[0]
    return Verdict(choice, cost, proven=True, solver="enumeration", spent=tried)


def solve_any(network: Network, top: int, effort: int, solver: Solve) -> Verdict:
    """Enumerate a small network; hand any other to the solver."""
    if states(network) <= SMALL:
        return solve_small(network)
    return solver(network, top, effort)


def _descend(
    network: Network,
    earlier: list[list[tuple[int, Table]]],
    taken: list[int],
    cost: int,
    best: list[tuple[int, tuple[int, ...]]],
) -> int:
    """Extend `taken` by each choice of the next station; return the states looked at."""
    if best and cost >= best[0][0]:
        return 1
    if len(taken) == len(network.unary):
        best[:] = [(cost, tuple(taken))]
        return 1
    looked = 1
    near = earlier[len(taken)]
    for b, own in enumerate(network.unary[len(taken)]):
        rise = own + sum(table[b][taken[i]] for i, table in near)
        looked += _descend(network, earlier, [*taken, b], cost + rise, best)
    return looked
