"""Costs of a store's channel plan: label-weighted -ln(clear air), and a price per move.

Clear air of station i = (1 - busy[i, c]) x product over j of (1 - air[j] x hit[i, j, |c - c_j|]),
so its logarithm is a sum of one-station and two-station terms. Also the chance that moves gain
anything, from what is known of their channels.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import exp, fsum, log1p

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, betaincinv, digamma, ndtr

from pipeline.records import OFF_AIR, Heard, StoreStation

Floats = NDArray[np.float64]

_MOST_BUSY = 0.999  # a channel never found free still has a finite cost
_DIGITS = 9  # costs are rounded so that equal plans are equal to the bit

DRAWS = 1024
"""Equally likely values that stand for a busy share."""

OnChannel = tuple[float, float, float]
"""Where a station stands: a and b of its channel's busy share, and what own stations cost there."""

_BELOW_ONE = 1 - 1e-12

OneStation = list[list[float]]
TwoStation = dict[tuple[int, int], list[list[float]]]


@dataclass(frozen=True, slots=True)
class StoreProblem:
    """One store as the plan sees it, per station and channel.

    `busy` is the share of time outside signals keep a channel busy, 0..1, `cost` E[-ln(1 - busy)];
    None: as of shares that are certain. `lost` is the share of frames that interference too weak to
    make a channel busy spoils at the labels, 0..1: a cost of its own, no part of clear air.
    `own_weight` is what a share of time lost to own neighbours costs, against one lost to outside
    signals: clear air as it is shown counts both alike.
    """

    store: str
    stations: tuple[StoreStation, ...]
    heard: tuple[Heard, ...]
    busy: Mapping[tuple[str, int], float]
    price_per_move: float
    cost: Mapping[tuple[str, int], float] | None = None
    lost: Mapping[tuple[str, int], float] = field(default_factory=dict)
    own_weight: float = 1.0

    def noise(self, station: str, channel: int) -> float:
        """Return the outside noise, 0..1; a channel that does not exist is never free."""
        return min(self.busy.get((station, channel), _MOST_BUSY), _MOST_BUSY)

    def noise_cost(self, station: str, channel: int) -> float:
        """Return the expected cost of the outside noise; of no channel that of a busy one."""
        if self.cost is None:
            return share_cost(self.noise(station, channel))
        return self.cost.get((station, channel), share_cost(_MOST_BUSY))

    def lost_cost(self, station: str, channel: int) -> float:
        """Return -ln of the share of frames that get through weak interference."""
        return share_cost(self.lost.get((station, channel), 0.0))


def one_station_costs(problem: StoreProblem) -> OneStation:
    """Return the cost of each station on each of its choices.

    It is that of outside noise, of frames lost to weak interference, and of the move itself. Off
    the air a station costs nothing, and its first channel has no price.
    """
    return [
        [_own_cost(problem, station, channel) for channel in station.choices]
        for station in problem.stations
    ]


def _own_cost(problem: StoreProblem, station: StoreStation, channel: int) -> float:
    if channel == OFF_AIR:
        return 0.0
    noise = problem.noise_cost(station.station, channel)
    lost = problem.lost_cost(station.station, channel)
    moves = station.channel not in {channel, OFF_AIR}
    return round(
        station.weight * (noise + lost) + (problem.price_per_move if moves else 0.0), _DIGITS
    )


def two_station_costs(problem: StoreProblem) -> TwoStation:
    """Return, for each pair that disturbs one another, the cost of every pair of choices."""
    index = {station.station: i for i, station in enumerate(problem.stations)}
    costs: TwoStation = {}
    for heard in problem.heard:
        here, there = index[heard.station], index[heard.neighbour]
        low, high = sorted((here, there))
        rows, columns = problem.stations[low].choices, problem.stations[high].choices
        table = costs.setdefault((low, high), [[0.0] * len(columns) for _ in rows])
        weight = problem.stations[here].weight * problem.own_weight
        air_share = problem.stations[there].air_share
        apart = [weight * share_cost(air_share * chance) for chance in heard.hit]
        for row, a in zip(table, rows, strict=True):
            for at, b in enumerate(columns):
                # Further apart they do not disturb one another; off the air neither does.
                if abs(a - b) < len(apart) and a != OFF_AIR:
                    row[at] = round(row[at] + apart[abs(a - b)], _DIGITS)
    return {pair: costs[pair] for pair in sorted(costs)}


def beside_costs(problem: StoreProblem) -> dict[tuple[int, int], list[list[float]]]:
    """Return, for each station i that hears j, the cost of the time that j takes, [a][b]."""
    index = {station.station: i for i, station in enumerate(problem.stations)}
    tables = {}
    for heard in problem.heard:
        here, there = index[heard.station], index[heard.neighbour]
        rows, columns = problem.stations[here].choices, problem.stations[there].choices
        air_share = problem.stations[there].air_share
        tables[here, there] = [
            [problem.own_weight * share_cost(air_share * hit(heard, a, b)) for b in columns]
            for a in rows
        ]
    return {pair: tables[pair] for pair in sorted(tables)}


@dataclass(frozen=True, slots=True)
class Priced:
    """A problem with its tables of costs, so that many choices can be priced."""

    problem: StoreProblem
    one: OneStation
    two: TwoStation

    def choice(self, channels: Sequence[int]) -> list[int]:
        """Return the index of each station's channel among its choices."""
        pairs = zip(self.problem.stations, channels, strict=True)
        return [station.choices.index(channel) for station, channel in pairs]

    def total(self, channels: Sequence[int]) -> float:
        """Return the cost of a complete choice of channels."""
        choice = self.choice(channels)
        terms = [row[a] for row, a in zip(self.one, choice, strict=True)]
        terms += [table[choice[i]][choice[j]] for (i, j), table in self.two.items()]
        return fsum(terms)


def priced(problem: StoreProblem) -> Priced:
    """Return the problem with its tables of costs."""
    return Priced(problem, one_station_costs(problem), two_station_costs(problem))


def tie_costs(stations: Sequence[StoreStation]) -> list[list[int]]:
    """Return the costs that break ties: fewer moves first, then lower channels."""
    move = 1 + sum(max(s.choices) - min(s.choices) for s in stations)
    return [
        [(move if c != s.channel else 0) + c - min(s.choices) for c in s.choices] for s in stations
    ]


def clear_air(problem: StoreProblem, channels: Sequence[int]) -> list[float]:
    """Return each station's clear air, 0..1, when station i uses `channels[i]`.

    That of one off the air is nobody's to find: as good as none.
    """
    on = {s.station: c for s, c in zip(problem.stations, channels, strict=True)}
    air = {s.station: s.air_share for s in problem.stations}
    own: dict[str, list[float]] = {s.station: [] for s in problem.stations}
    for heard in problem.heard:
        chance = hit(heard, on[heard.station], on[heard.neighbour])
        own[heard.station].append(share_cost(air[heard.neighbour] * chance))
    return [
        exp(-share_cost(problem.noise(station, channel)) - fsum(own[station]))
        for station, channel in on.items()
    ]


def hit(heard: Heard, channel: int, other: int) -> float:
    """Return the chance that the neighbour on `other` disturbs the station on `channel`."""
    apart = abs(channel - other)
    return heard.hit[apart] if apart < len(heard.hit) and channel != OFF_AIR else 0.0


def share_cost(share: float) -> float:
    """Return -ln(1 - share), finite even for a channel that is never free."""
    return -log1p(-min(share, _MOST_BUSY))


@dataclass(frozen=True, slots=True)
class Swap:
    """One station's change of channel: its weight, and a and b of the busy share on either."""

    weight: float
    here: tuple[float, float]
    there: tuple[float, float]


def expected_cost(a: float, b: float) -> float:
    """Return E[-ln(1 - p)] for p of Beta(a, b): digamma(a + b) - digamma(b)."""
    return float(digamma(a + b) - digamma(b))


def chance_of_loss(here: OnChannel, there: OnChannel, loss: float) -> float:
    """Return the chance that a station's clear air is lower there than here by more than `loss`.

    The two busy shares are independent; clear air is (1 - p) exp(-own).
    """
    least = np.exp(-_drawn(here[:2], 0) - here[2]) - loss
    busy = np.clip(1 - least * np.exp(there[2]), 0.0, 1.0)
    return 1 - float(betainc(*there[:2], busy).mean())


def chance_together(swaps: Sequence[Swap], spared: float) -> float:
    """Return the chance that changes of channel made together gain anything.

    The gain is the sum of weight x (-ln(1 - p) here - -ln(1 - p) there), and what own stations are
    `spared` (weights in it). The busy shares are independent. All but the last stand as 1,024
    equally likely values each, in orders that have nothing to do with one another but are always
    the same; the last, of the heaviest station, counts with its distribution function. Within 0.015
    for groups of up to eight, and within 0.001 for one station.
    """
    *others, last = sorted(swaps, key=lambda swap: swap.weight)
    if last.weight == 0:
        return float(spared > 0)
    gain: Floats = np.full(DRAWS, float(spared))
    for at, swap in enumerate(others):
        gain += swap.weight * (_drawn(swap.here, 2 * at + 1) - _drawn(swap.there, 2 * at + 2))
    gain += last.weight * _drawn(last.here, 0)
    even = -np.expm1(-gain / last.weight)
    return float(betainc(*last.there, np.clip(even, 0.0, 1.0)).mean())


def gamma_chance(
    here: tuple[Floats, Floats], there: tuple[Floats, Floats], spared: Floats
) -> Floats:
    """Return the chance that a cost here and what is spared exceed one there.

    Costs are given as mean and variance and taken as gamma, whose cube root is nearly normal
    (Wilson and Hilferty 1931, from memory): what needs a chance of 0.9 is judged as by
    `chance_together` in 99 of 100 cases.
    """
    root, spread = _cube_root(here[0] + np.maximum(spared, 0.0), here[1])
    other, wide = _cube_root(there[0] + np.maximum(-spared, 0.0), there[1])
    result: Floats = ndtr((root - other) / np.sqrt(spread + wide))
    return result


def _cube_root(mean: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """Return mean and variance of the cube root of a gamma variable."""
    root, part = np.cbrt(mean), variance / (9 * mean**2)
    return root * (1 - part), root**2 * part


def _drawn(beta: tuple[float, float], at: int) -> Floats:
    """Return equally likely values of -ln(1 - p), in an order of their own for each `at`."""
    return _even(beta)[_order(at)]


@lru_cache(maxsize=4096)
def _even(beta: tuple[float, float]) -> Floats:
    """Return equally likely values of -ln(1 - p), the least first."""
    parts = (np.arange(DRAWS) + 0.5) / DRAWS
    cost: Floats = -np.log1p(-np.minimum(betaincinv(*beta, parts), _BELOW_ONE))
    return cost


@lru_cache(maxsize=4096)
def _order(at: int) -> NDArray[np.int64]:
    return np.random.default_rng(at).permutation(DRAWS)
