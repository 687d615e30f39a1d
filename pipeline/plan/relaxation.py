"""A strong lower bound for many stations, by semidefinite relaxation.

The choices of all stations fall into groups that no pair cost ties together (in a channel plan:
one group per channel, channels beside each other in one). Within a group the 0/1 vector x of
who takes which of its choices is lifted to the matrix Y = (1, x)(1, x)', of which only linear
facts and Y being positive semidefinite are kept; groups meet in "each station takes one choice".
This is the relaxation of Lovasz (IEEE Transactions on Information Theory 25, 1979) and Schrijver
(same, 1979) for stable sets, carried over to costs as Frieze and Jerrum did for cuts
(Algorithmica 18, 1997). It is solved by alternating directions (Wen, Goldfarb and Yin,
Mathematical Programming Computation 2, 2010).

Any positive semidefinite M, however it was found, proves a bound: for the true Y, <M, Y> is at
least 0, so the cost <C, Y> is at least <C - M, Y>, and that falls apart station by station.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pipeline.plan.network import Network

Matrix = npt.NDArray[np.float64]
Label = tuple[int, int]
"""A station and one of its choices."""

# Penalty of the method and its over-relaxation, best of 0.3, 1, 3 and 1, 1.6 on floors of 24
# and 60 stations with costs in units of the mean cost per station.
_PENALTY = 1.0
_OVER = 1.6
# Allowance for rounding in the eigenvalues, in the same units: they are exact to about 1e-13.
_ROUNDING = 1e-10
_EVERY = 25
_ROUNDS = 600
# Rounds times cubed matrix sizes: some seconds on one core.
_WORK = 6e9


@dataclass(frozen=True)
class Floor:
    """A proven bound and what each choice adds to it.

    Attributes:
        bound: no complete choice below the `top` given costs less, in grid steps.
        extra: `[i][a]`, how much more the bound is when station i takes choice a.
        pair_extra: how much more again when two labels, first below second, are both taken.
    """

    bound: float
    extra: list[list[float]]
    pair_extra: dict[tuple[Label, Label], float]


@dataclass
class _Group:
    """Choices that pair costs tie together, and the state of their matrix."""

    labels: list[Label]
    cost: Matrix
    never: npt.NDArray[np.bool_]
    stations: npt.NDArray[np.intp]
    choices: npt.NDArray[np.intp]
    lifted: Matrix = field(init=False)
    multiplier: Matrix = field(init=False)

    def __post_init__(self) -> None:
        """Start with no choice taken."""
        self.lifted = np.zeros_like(self.cost)
        self.lifted[0, 0] = 1.0
        self.multiplier = np.zeros_like(self.cost)

    def wish(self) -> tuple[Matrix, Matrix]:
        """Matrix nearest to the lifted one at current prices, and what its diagonal asks for."""
        matrix = self.lifted - self.multiplier - self.cost / _PENALTY
        taken = (matrix[0, 1:] + matrix[1:, 0] + np.diagonal(matrix)[1:]) / 3
        matrix = np.maximum(matrix, 0.0)
        matrix[self.never] = 0.0
        return matrix, taken

    def meet(self, matrix: Matrix, taken: Matrix) -> None:
        """Bring the wish in line with what the stations agreed on and project it."""
        matrix[0, 0] = 1.0
        matrix[0, 1:] = matrix[1:, 0] = taken
        np.fill_diagonal(matrix[1:, 1:], taken)
        target = _OVER * matrix + (1 - _OVER) * self.lifted + self.multiplier
        values, vectors = np.linalg.eigh(target)
        self.multiplier = (vectors * np.minimum(values, 0.0)) @ vectors.T
        self.lifted = target - self.multiplier

    def remainder(self) -> tuple[float, Matrix, Matrix]:
        """<C - M, Y> as a constant, a price per label and what pairs add, never below 0."""
        left = self.cost + _PENALTY * self.multiplier
        pairs = left[1:, 1:].copy()
        pairs[self.never[1:, 1:]] = 0.0
        np.fill_diagonal(pairs, 0.0)
        # Two labels are both taken at most as often as half the sum of each.
        lacking = np.minimum(pairs, 0.0).sum(axis=1)
        prices = np.diagonal(left)[1:] + 2 * left[0, 1:] + lacking - _ROUNDING
        return float(left[0, 0]) - _ROUNDING, prices, 2 * np.maximum(pairs, 0.0)


def floor(network: Network, top: int) -> Floor | None:
    """Prove a lower bound on all complete choices cheaper than `top`.

    None where the matrices would be too large to be worth it.
    """
    stations = len(network.unary)
    unit = top / stations
    labels = _label_groups(network, 2 * stations + 10)
    rounds = min(_ROUNDS, int(_WORK / sum((len(group) + 1) ** 3 for group in labels)))
    if rounds < 4 * _EVERY:
        return None
    groups = [_group(network, group, top, unit) for group in labels]
    shape = (stations, max(len(row) for row in network.unary))
    best: Floor | None = None
    for now in range(1, rounds + 1):
        _round(groups, shape)
        if now % _EVERY == 0:
            found = _read(groups, network, unit)
            if best is None or found.bound > best.bound:
                best = found
            if best.bound >= top:
                break
    return best


def _round(groups: list[_Group], shape: tuple[int, int]) -> None:
    wishes = [group.wish() for group in groups]
    taken = np.full(shape, -np.inf)
    for group, (_, wish) in zip(groups, wishes, strict=True):
        taken[group.stations, group.choices] = wish
    taken = _one_choice_each(taken)
    for group, (matrix, _) in zip(groups, wishes, strict=True):
        group.meet(matrix, taken[group.stations, group.choices])


def _one_choice_each(wish: Matrix) -> Matrix:
    """Nearest rows of numbers from 0 that add up to 1 (Duchi et al., ICML 2008)."""
    falling = -np.sort(-wish, axis=1)
    falling = np.where(np.isfinite(falling), falling, -1e18)
    over = (np.cumsum(falling, axis=1) - 1) / np.arange(1, wish.shape[1] + 1)
    last = (falling > over).sum(axis=1) - 1
    level: Matrix = over[np.arange(len(wish)), last]
    rows: Matrix = np.maximum(wish - level[:, None], 0.0)
    return rows


def _read(groups: list[_Group], network: Network, unit: float) -> Floor:
    total = 0.0
    prices = [[0.0] * len(row) for row in network.unary]
    pair_extra: dict[tuple[Label, Label], float] = {}
    for group in groups:
        constant, own, pairs = group.remainder()
        total += constant
        for (i, a), price in zip(group.labels, own.tolist(), strict=True):
            prices[i][a] = price * unit
        for p, q in zip(*np.nonzero(np.triu(pairs)), strict=True):
            pair_extra[group.labels[p], group.labels[q]] = float(pairs[p, q]) * unit
    least = [min(row) for row in prices]
    extra = [[x - low for x in row] for row, low in zip(prices, least, strict=True)]
    return Floor(total * unit + sum(least), extra, pair_extra)


def _label_groups(network: Network, cap: int) -> list[list[Label]]:
    """Join choices along pair costs, dearest first, into groups of at most `cap`.

    A pair cost between groups is left out of the relaxation, which only lowers the bound.
    """
    edges = sorted(
        (-cost, (i, a), (j, b))
        for (i, j), table in network.pairs.items()
        for a, row in enumerate(table)
        for b, cost in enumerate(row)
        if cost
    )
    home = {(i, a): [(i, a)] for i, row in enumerate(network.unary) for a in range(len(row))}
    for _, one, other in edges:
        first, second = home[one], home[other]
        if first is not second and len(first) + len(second) <= cap:
            first.extend(second)
            home.update(dict.fromkeys(second, first))
    distinct = {id(group): group for group in home.values()}
    return sorted(sorted(group) for group in distinct.values())


def _group(network: Network, labels: Sequence[Label], top: int, unit: float) -> _Group:
    size = len(labels) + 1
    cost, never = np.zeros((size, size)), np.zeros((size, size), dtype=bool)
    for p, (i, a) in enumerate(labels, start=1):
        cost[p, p] = network.unary[i][a] / unit
        for q, (j, b) in enumerate(labels[p:], start=p + 1):
            table = network.pairs.get((i, j))
            price = top if i == j else table[a][b] if table else 0
            if price >= top:
                never[p, q] = never[q, p] = True
            else:
                cost[p, q] = cost[q, p] = price / unit / 2
    stations, choices = zip(*labels, strict=True)
    return _Group(list(labels), cost, never, np.array(stations), np.array(choices))
