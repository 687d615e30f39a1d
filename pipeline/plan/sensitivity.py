"""How sure a plan is: what it loses when the evidence is drawn anew within its doubt.

A draw is won when no change of one station, nor of two that hear one another at once, betters the
plan. That is nearly always, but not proven to be, the draw's best plan; it takes a hundredth of the
time of a proof, and what is asked here is how firm the evidence is.
"""

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import fsum
from operator import add, sub
from random import Random

from pipeline.plan.costs import OneStation, Priced, StoreProblem, TwoStation, share_cost
from pipeline.plan.explain import Case
from pipeline.radio.coexistence import Rejection, channel_rejection_db
from pipeline.radio.propagation import exceedance_probability
from pipeline.records import OFF_AIR
from pipeline.tables.plan import PlanSensitivity

_WELL_SCANNED = 100.0  # readings from which another scan would settle little
_GAIN = 1e-9  # costs closer than this are equal
_NEAR = 0.005  # clear air, label-weighted, within which a plan is as good as the best

Table = list[list[float]]
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
        self.stations = _stations(case)
        self.paths = tuple(_paths(case))

    def tables(self) -> tuple[OneStation, TwoStation]:
        """Return the costs of one draw."""
        return self._one(), {path.pair: self._two(path) for path in self.paths}

    def _one(self) -> OneStation:
        """Draw every busy share from its posterior."""
        drawn = self.random.betavariate
        return [
            [weight * (share_cost(drawn(a, b)) + lost) + price for a, b, lost, price in choices]
            for weight, choices in self.stations
        ]

    def _two(self, path: _Path) -> list[list[float]]:
        """Draw a path's level, the same both ways, and reckon what the two cost one another."""
        stations, own = self.case.problem.stations, self.case.problem.own_weight
        low, high = stations[path.pair[0]], stations[path.pair[1]]
        shift_db = self.random.gauss(0.0, 1.0) * path.spread_db
        at_low, at_high = path.levels_dbm
        table = [[0.0] * len(high.choices) for _ in low.choices]
        for loss_db, cells in zip(self.losses_db, path.cells, strict=True):
            if cells:
                cost = low.weight * share_cost(
                    high.air_share * self._chance(at_low, shift_db, loss_db)
                )
                cost += high.weight * share_cost(
                    low.air_share * self._chance(at_high, shift_db, loss_db)
                )
                for a, b in cells:
                    table[a][b] = own * cost
        return table

    def _chance(self, level_dbm: float | None, shift_db: float, loss_db: float) -> float:
        if level_dbm is None:
            return 0.0
        doubt = self.doubt
        reached_dbm = level_dbm + shift_db - loss_db
        return exceedance_probability(
            reached_dbm, doubt.cca_threshold_dbm, doubt.residual_spread_db
        )


def _stations(case: Case) -> list[tuple[float, list[tuple[float, float, float, float]]]]:
    """Return each station's weight, and per choice a and b of its busy share, lost and price.

    What is lost to weak interference is a cost, -ln of the share of frames that get through.
    """
    return [
        (
            station.weight,
            [
                (
                    known.a,
                    known.b,
                    case.problem.lost_cost(station.station, channel),
                    case.problem.price_per_move * (station.channel not in {channel, OFF_AIR}),
                )
                for channel in station.choices
                for known in [case.evidence[station.station, channel]]
            ],
        )
        for station in case.problem.stations
    ]


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


def sensitivity(
    case: Case, after: Sequence[int], doubt: Doubt, draws: int
) -> tuple[PlanSensitivity, tuple[float | None, ...]]:
    """Return how the plan `after` (channels by station) does over `draws` draws.

    The second is, station by station, the share of draws, 0..1, in which its channel is that of
    the draw's best plan; None without draws.
    """
    problem = case.problem
    ours = [s.choices.index(c) for s, c in zip(problem.stations, after, strict=True)]
    redraw = Redraw(case, doubt)
    regrets: list[float] = []
    rivals: Counter[tuple[int, int]] = Counter()
    kept = [0] * len(ours)
    for _ in range(draws):
        rival = _Rival(*redraw.tables(), ours)
        if rival.bettered():
            rivals.update(_changes(problem, ours, rival.now))
        regrets.append(rival.gained)
        kept = [count + (a == b) for count, a, b in zip(kept, ours, rival.now, strict=True)]
    wins = sum(regret == 0 for regret in regrets)
    allowed = _NEAR * fsum(station.weight for station in problem.stations)
    ask = _ask(case, after, rivals)
    found = PlanSensitivity(
        store=problem.store,
        draws=draws,
        wins=wins,
        regret=fsum(regrets) / max(1, draws),
        ask=ask,
        near=sum(regret <= allowed for regret in regrets),
        worst=max(regrets, default=0.0),
        unsettled=None,  # until scans are weighed
    )
    return found, tuple(count / draws if draws else None for count in kept)


def bettered(tables: Priced, channels: Sequence[int]) -> list[int]:
    """Return channels changed by one or two stations at a time as long as that costs less."""
    rival = _Rival(tables.one, tables.two, tables.choice(channels))
    rival.bettered()
    return [s.choices[a] for s, a in zip(tables.problem.stations, rival.now, strict=True)]


class _Rival:
    """A plan that starts as ours and is bettered by changing one or two stations at a time."""

    def __init__(self, one: OneStation, two: TwoStation, ours: Sequence[int]) -> None:
        self.one, self.two, self.now = one, two, list(ours)
        self.gained = 0.0
        self.near: list[list[tuple[int, Table]]] = [[] for _ in one]
        for (i, j), table in two.items():
            self.near[i].append((j, [list(column) for column in zip(*table, strict=True)]))
            self.near[j].append((i, table))

    def bettered(self) -> bool:
        """Change stations until neither one nor two that hear one another gain; tell if any did."""
        while self._one_by_one() or self._two_by_two():
            pass
        return self.gained > 0

    def _costs(self, i: int) -> list[float]:
        """Return what each choice of a station costs, the others as they are now."""
        costs = self.one[i]
        for j, table in self.near[i]:
            costs = list(map(add, costs, table[self.now[j]]))
        return costs

    def _one_by_one(self) -> bool:
        changed = False
        for i in range(len(self.one)):
            costs = self._costs(i)
            least = min(costs)
            gain = costs[self.now[i]] - least
            if gain > _GAIN:
                self.now[i], self.gained, changed = costs.index(least), self.gained + gain, True
        return changed

    def _two_by_two(self) -> bool:
        """Make the first change of two stations at once that gains."""
        costs = [self._costs(i) for i in range(len(self.one))]
        for (i, j), table in self.two.items():
            here, there = self.now[i], self.now[j]
            kept = costs[i][here] + costs[j][there] - table[here][there]
            alone = list(map(sub, costs[j], table[here]))
            least = min(alone)
            for a, line in enumerate(table):
                base = costs[i][a] - line[there] - kept
                if base + least >= -_GAIN:  # whatever the two cost one another
                    continue
                both = list(map(add, alone, line))
                b = both.index(min(both))
                if base + alone[b] + line[b] < -_GAIN:
                    self.gained -= base + alone[b] + line[b]
                    self.now[i], self.now[j] = a, b
                    return True
        return False


def _changes(
    problem: StoreProblem, ours: Sequence[int], rival: Sequence[int]
) -> Iterator[tuple[int, int]]:
    """Yield station and channel of every choice that the rival makes otherwise."""
    for at, (mine, theirs) in enumerate(zip(ours, rival, strict=True)):
        if mine != theirs:
            yield at, problem.stations[at].choices[theirs]


def _ask(case: Case, after: Sequence[int], rivals: Counter[tuple[int, int]]) -> str:
    """Return the level to measure where draws are lost though their channels are well scanned.

    As JSON, of the station that is in question most; what to scan is weighed apart (`scan`).
    """
    doubt: dict[tuple[int, int], float] = {}
    for (at, rival), times in rivals.items():
        for channel in (after[at], rival):
            worth = case.evidence[case.problem.stations[at].station, channel].worth
            gain = doubt.get((at, channel), 0.0) + times / max(worth, 1.0)
            doubt[at, channel] = gain
    if not doubt:
        return ""
    at, channel = min(doubt, key=lambda key: (-doubt[key], key))
    station = case.problem.stations[at].station
    guessed = sorted(
        (-level.heard_dbm, neighbour)
        for (listener, neighbour), level in case.levels.items()
        if listener == station and level.source != "measured"
    )
    if case.evidence[station, channel].worth < _WELL_SCANNED or not guessed:
        return ""
    facts = {"ask": "level", "station": station, "neighbour": guessed[0][1]}
    return json.dumps(facts, ensure_ascii=False)
