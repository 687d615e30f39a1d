"""A store's problem drawn anew within the doubt of its evidence, many times and cheaply."""

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from pipeline.plan.costs import OneStation, TwoStation, share_cost
from pipeline.plan.explain import Case
from pipeline.radio.coexistence import Rejection, channel_rejection_db
from pipeline.radio.propagation import exceedance_probability

LEAST_WORTH = 2.0  # what an unscanned channel's figure counts as, in readings
_APART = range(3)  # channels apart at which a neighbour can disturb


@dataclass(frozen=True, slots=True)
class Doubt:
    """What decides how far a level reaches: limits in dBm and dB."""

    cca_threshold_dbm: float
    rejection: Rejection
    residual_spread_db: float


@dataclass(frozen=True, slots=True)
class _Path:
    """Two stations that hear one another: levels in dBm at the first from the second and back."""

    pair: tuple[int, int]
    levels_dbm: tuple[float | None, float | None]
    spread_db: float
    cells: tuple[tuple[tuple[int, int], ...], ...]  # cells of the table by channels apart


class Redraw:
    """Draws tables of costs for `assign`; seeded by the store's name, so always the same ones."""

    def __init__(self, case: Case, doubt: Doubt) -> None:
        self.case = case
        self.doubt = doubt
        self.random = Random(case.problem.store)
        self.losses_db = [channel_rejection_db(apart, doubt.rejection) for apart in _APART]
        self.paths = tuple(_paths(case))

    def tables(self) -> tuple[OneStation, TwoStation]:
        """Return the costs of one draw."""
        return self._one(), {path.pair: self._two(path) for path in self.paths}

    def _one(self) -> OneStation:
        """Draw every busy share from Beta: worth x share + 1/2 and worth x (1 - share) + 1/2."""
        case, beta = self.case, self.random.betavariate
        rows = []
        for station in case.problem.stations:
            row = []
            for channel in station.choices:
                known = case.evidence[station.station, channel]
                worth = max(known.worth, LEAST_WORTH)
                drawn = beta(worth * known.share + 0.5, worth * (1 - known.share) + 0.5)
                price = case.problem.price_per_move if channel != station.channel else 0.0
                row.append(station.weight * share_cost(drawn) + price)
            rows.append(row)
        return rows

    def _two(self, path: _Path) -> list[list[float]]:
        """Draw a path's level, the same both ways, and reckon what the two cost one another."""
        stations = self.case.problem.stations
        low, high = stations[path.pair[0]], stations[path.pair[1]]
        shift_db = self.random.gauss(0.0, 1.0) * path.spread_db
        table = [[0.0] * len(high.choices) for _ in low.choices]
        for apart, cells in enumerate(path.cells):
            if not cells:
                continue
            at_low, at_high = (
                0.0 if level is None else self._chance(level + shift_db - self.losses_db[apart])
                for level in path.levels_dbm
            )
            cost = low.weight * share_cost(high.air_share * at_low)
            cost += high.weight * share_cost(low.air_share * at_high)
            for a, b in cells:
                table[a][b] = cost
        return table

    def _chance(self, level_dbm: float) -> float:
        return exceedance_probability(
            level_dbm, self.doubt.cca_threshold_dbm, self.doubt.residual_spread_db
        )


def _paths(case: Case) -> list[_Path]:
    index = {station.station: i for i, station in enumerate(case.problem.stations)}
    known: dict[tuple[int, int], list[float | None]] = {}
    spread: dict[tuple[int, int], float] = {}
    for heard in case.problem.heard:
        here, there = index[heard.station], index[heard.neighbour]
        pair = (min(here, there), max(here, there))
        level = case.levels[heard.station, heard.neighbour]
        known.setdefault(pair, [None, None])[here != pair[0]] = level.heard_dbm
        spread[pair] = max(spread.get(pair, 0.0), level.spread_db)
    choices = [station.choices for station in case.problem.stations]
    return [
        _Path(
            pair,
            (levels[0], levels[1]),
            spread[pair],
            _cells(choices[pair[0]], choices[pair[1]]),
        )
        for pair, levels in sorted(known.items())
    ]


def _cells(low: Sequence[int], high: Sequence[int]) -> tuple[tuple[tuple[int, int], ...], ...]:
    return tuple(
        tuple(
            (a, b)
            for a, one in enumerate(low)
            for b, two in enumerate(high)
            if abs(one - two) == apart
        )
        for apart in _APART
    )
