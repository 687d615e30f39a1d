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

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pipeline.plan.network import Network

Matrix = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Label = tuple[int, int]
"""A station and one of its choices."""

# Penalty of the method and its over-relaxation, best of 0.3, 1, 3 and 1, 1.6 on floors of 24
# and 60 stations, with costs in units of the mean cost per station or per pair.
PENALTY = 1.0
_OVER = 1.6
# Allowance for rounding in the eigenvalues, in the same units: they are exact to about 1e-13.
_ROUNDING = 1e-10
_EVERY = 15
# Steps of the prices on crowds; larger ones swing, smaller ones come too late.
_PRICE_STEP = 15.0
# Stations up to which crowds are priced. Beyond, a choice is taken by so many that the facts say
# next to nothing, and the prices swing (160 stations: as good without, 300: gap 78 % with them).
_CROWDED = 80


@dataclass(frozen=True)
class State:
    """Where the method stands: a lifted matrix, its multiplier and its crowds for each group."""

    lifted: tuple[Matrix, ...]
    multiplier: tuple[Matrix, ...]
    crowds: tuple[tuple[Crowd, ...], ...]


@dataclass(frozen=True)
class Crowd:
    """The price on one fact about whole numbers that the matrices do not know.

    Of the labels in `rows` (one choice, all its stations) a whole number m is taken, so at
    least `size` * m - `size` * (`size` + 1) / 2 pairs of them are, for any whole `size`.
    """

    rows: npt.NDArray[np.intp]
    size: int
    price: float

    def repriced(self, lifted: Matrix) -> Crowd:
        """Raise the price where the matrix has too few pairs, lower it where it has more."""
        block = lifted[np.ix_(self.rows, self.rows)]
        taken = np.trace(block)
        pairs = (block.sum() - taken) / 2
        lacking = self.size * taken - self.size * (self.size + 1) / 2 - pairs
        weight = len(self.rows) * (len(self.rows) / 4 + self.size**2)
        return replace(self, price=max(0.0, self.price + _PRICE_STEP * float(lacking) / weight))


@dataclass(frozen=True)
class Floor:
    """A proven bound, what each choice adds to it, and where the method stands.

    Attributes:
        bound: no complete choice of allowed labels below `top` costs less, in grid steps.
        extra: `[i, a]`, how much more the bound is when station i takes choice a.
        state: to go on from, also with fewer labels allowed.
        rounds: how many were made.
    """

    bound: float
    extra: Matrix
    state: State
    rounds: int


@dataclass(frozen=True)
class _Group:
    """Choices that pair costs tie together: their cost matrix and who can never meet."""

    cost: Matrix
    never: Mask
    stations: npt.NDArray[np.intp]
    choices: npt.NDArray[np.intp]

    def crowds(self, lifted: Matrix, known: Sequence[Crowd]) -> tuple[Crowd, ...]:
        """One crowd per choice, of the size it has in the matrix; prices are kept where it fits."""
        before = {int(self.choices[crowd.rows[0] - 1]): crowd for crowd in known}
        crowds = []
        for choice in np.unique(self.choices).tolist():
            rows = np.flatnonzero(self.choices == choice) + 1
            size = int(np.diagonal(lifted)[rows].sum() + 0.01)
            old = before.get(choice)
            crowds.append(old if old and old.size == size else Crowd(rows, size, 0.0))
        return tuple(crowds)

    def priced(self, crowds: Sequence[Crowd]) -> tuple[Matrix, float]:
        """Cost with the price of the crowds, and the constant that goes with it."""
        cost, constant = self.cost.copy(), 0.0
        for crowd in crowds:
            cost[np.ix_(crowd.rows, crowd.rows)] -= crowd.price / 2
            cost[crowd.rows, crowd.rows] += crowd.price * (crowd.size + 0.5)
            constant -= crowd.price * crowd.size * (crowd.size + 1) / 2
        return cost, constant


class Relaxation:
    """The relaxation of one network, for answers cheaper than `top`.

    Attributes:
        labels: True where a station has such a choice.
        work: squared matrix sizes, to which the cost of one round keeps.
    """

    def __init__(self, network: Network, top: int) -> None:
        stations = len(network.unary)
        self.unit = max(top / stations, _mean_pair(network, top))
        self.crowded = stations <= _CROWDED
        self.labels = np.zeros((stations, max(len(row) for row in network.unary)), dtype=bool)
        for i, row in enumerate(network.unary):
            self.labels[i, : len(row)] = True
        grouped = _label_groups(network, 2 * stations + 10)
        self.groups = [_group(network, labels, top, self.unit) for labels in grouped]
        self.work = sum(len(group.cost) ** 2 for group in self.groups)

    def start(self) -> State:
        """Start with no choice taken."""
        lifted = [np.zeros_like(group.cost) for group in self.groups]
        for matrix in lifted:
            matrix[0, 0] = 1.0
        zeros = tuple(np.zeros_like(group.cost) for group in self.groups)
        return State(tuple(lifted), zeros, ((),) * len(self.groups))

    def floor(self, state: State, allowed: Mask, goal: int, rounds: int) -> Floor:
        """Raise the bound for the allowed labels; stop early once it exceeds `goal`."""
        masks = [self._never(group, allowed) for group in self.groups]
        best: Floor | None = None
        for now in range(_EVERY, rounds + _EVERY, _EVERY):
            state = self._repriced(state)
            priced = [g.priced(crowds) for g, crowds in zip(self.groups, state.crowds, strict=True)]
            costs = [cost for cost, _ in priced]
            for _ in range(_EVERY):
                state = self._round(state, allowed, masks, costs)
            bound, extra = self._read(state, allowed, masks, priced)
            if best is None or bound > best.bound:
                best = Floor(bound, extra, state, now)
            if bound > goal:
                break
        assert best is not None, "at least one round is asked for"  # noqa: S101 - for mypy
        return best

    def _repriced(self, state: State) -> State:
        if not self.crowded:
            return state
        crowds = [
            tuple(crowd.repriced(lifted) for crowd in group.crowds(lifted, known))
            for group, lifted, known in zip(self.groups, state.lifted, state.crowds, strict=True)
        ]
        return replace(state, crowds=tuple(crowds))

    def _round(self, state: State, allowed: Mask, masks: list[Mask], costs: list[Matrix]) -> State:
        wishes, taken = [], np.full(self.labels.shape, -np.inf)
        for k, group in enumerate(self.groups):
            matrix = state.lifted[k] - state.multiplier[k] - costs[k] / PENALTY
            diagonal = np.diagonal(matrix)[1:]
            taken[group.stations, group.choices] = (2 * matrix[0, 1:] + diagonal) / 3
            matrix = np.maximum(matrix, 0.0)
            matrix[masks[k]] = 0.0
            wishes.append(matrix)
        taken[~allowed] = -np.inf
        taken = _one_choice_each(taken)
        lifted, multiplier = [], []
        for k, (group, matrix) in enumerate(zip(self.groups, wishes, strict=True)):
            _border(matrix, taken[group.stations, group.choices])
            target = _OVER * matrix + (1 - _OVER) * state.lifted[k] + state.multiplier[k]
            values, vectors = np.linalg.eigh(target)
            below = (vectors * np.minimum(values, 0.0)) @ vectors.T
            lifted.append(target - below)
            multiplier.append(below)
        return State(tuple(lifted), tuple(multiplier), state.crowds)

    def _read(
        self,
        state: State,
        allowed: Mask,
        masks: list[Mask],
        priced: list[tuple[Matrix, float]],
    ) -> tuple[float, Matrix]:
        """<C - M, Y> at its least: a constant, and one price per station."""
        constant, prices = 0.0, np.full(self.labels.shape, np.inf)
        for k, group in enumerate(self.groups):
            cost, apart = priced[k]
            left = cost + PENALTY * state.multiplier[k]
            # Two labels are both taken at most as often as half the sum of each.
            lacking = np.minimum(_pairs(left, masks[k]), 0.0).sum(axis=1)
            price = np.diagonal(left)[1:] + 2 * left[0, 1:] + lacking - _ROUNDING
            prices[group.stations, group.choices] = price
            constant += left[0, 0] + apart - _ROUNDING
        prices[~allowed] = np.inf
        least = prices.min(axis=1)
        bound = float(constant + least.sum()) * self.unit
        return bound, (prices - least[:, None]) * self.unit

    def hopeless_pairs(self, floor: Floor, allowed: Mask, goal: int) -> set[tuple[Label, Label]]:
        """Name the pairs of allowed labels that no answer up to `goal` can hold."""
        found: set[tuple[Label, Label]] = set()
        for k, group in enumerate(self.groups):
            cost, _ = group.priced(floor.state.crowds[k])
            left = cost + PENALTY * floor.state.multiplier[k]
            more = 2 * np.maximum(_pairs(left, self._never(group, allowed)), 0.0) * self.unit
            alone = floor.extra[group.stations, group.choices]
            reach = floor.bound + alone[:, None] + alone[None, :] + more
            for p, q in np.argwhere(np.triu(np.isfinite(reach) & (reach > goal), 1)).tolist():
                one = int(group.stations[p]), int(group.choices[p])
                found.add((one, (int(group.stations[q]), int(group.choices[q]))))
        return found

    def _never(self, group: _Group, allowed: Mask) -> Mask:
        out = ~allowed[group.stations, group.choices]
        mask = group.never.copy()
        mask[1:, 1:] |= out[:, None] | out[None, :]
        return mask


def _mean_pair(network: Network, top: int) -> float:
    """Mean of the pair costs that are neither nothing nor forbidding."""
    tables = network.pairs.values()
    costs = [x for table in tables for row in table for x in row if 0 < x < top]
    return sum(costs) / len(costs) if costs else 0.0


def _border(matrix: Matrix, taken: Matrix) -> None:
    """Let first row, first column and diagonal say how far each label is taken."""
    matrix[0, 0] = 1.0
    matrix[0, 1:] = matrix[1:, 0] = taken
    np.fill_diagonal(matrix[1:, 1:], taken)


def _pairs(matrix: Matrix, never: Mask) -> Matrix:
    pairs = matrix[1:, 1:].copy()
    pairs[never[1:, 1:]] = 0.0
    np.fill_diagonal(pairs, 0.0)
    return pairs


def _one_choice_each(wish: Matrix) -> Matrix:
    """Nearest rows of numbers from 0 that add up to 1 (Duchi et al., ICML 2008)."""
    falling = -np.sort(-wish, axis=1)
    falling = np.where(np.isfinite(falling), falling, -1e18)
    over = (np.cumsum(falling, axis=1) - 1) / np.arange(1, wish.shape[1] + 1)
    last = (falling > over).sum(axis=1) - 1
    level: Matrix = over[np.arange(len(wish)), last]
    rows: Matrix = np.maximum(wish - level[:, None], 0.0)
    return rows


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
    return _Group(cost, never, np.array(stations), np.array(choices))
