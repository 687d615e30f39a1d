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
