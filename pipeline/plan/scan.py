"""What more scans are worth to a plan, and whether its decision is settled.

Before a visit nobody knows what it will find, but the posterior says how likely each finding is
(preposterior analysis: Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961, from
memory). Findings are drawn; on each, every station is decided anew by the terms of the plan, the
others staying as planned, and what that gains is averaged. What stations in earshot found is told
by what is drawn (`likened`); the plan itself knows each station by its own scans.
"""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from math import ceil

import numpy as np
from numpy.typing import NDArray
from scipy.special import digamma

from pipeline.plan.costs import gamma_chance
from pipeline.plan.decide import Terms
from pipeline.plan.earshot import likened
from pipeline.plan.stakes import Choice, Stakes

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Beta = tuple[float, float]

DRAWS = 200
DOUBT = 2.0
"""What is known counts half where truths are drawn: the tails of posteriors are too light."""

_MORE_DOUBT = 1.5
"""And what is called settled must hold even if it counts less again."""

TRIED = (1, 2, 4, 8)
"""Numbers of visits to a station that are tried."""
SHARES: Floats = np.linspace(0.0, 1.0, 101)
"""Shares found busy, tried in turn for the one at which the plan turns."""

_MUCH_VISITS, _MUCH_READINGS = 10, 200  # "more data": 2,000 readings of every channel
_MOST_READINGS = 200  # of a visit
_NOTABLE = 2.0  # as of decisions: clear air, in prices of a move, that a station must notice
_MATTERS = 0.05  # of a visit's worth: a channel that carries less is not asked for
_LEAST = 1e-9
_BARRED = 1e9  # what a choice that is not allowed costs more


@dataclass(frozen=True, slots=True)
class ScanVisit:
    """A visit: how many readings of each channel, and the correlation of two of one visit."""

    readings: int
    correlation: float

    def worth(self, visits: int) -> float:
        """Return what so many visits count as, in independent readings."""
        return visits * self.readings / (1 + (self.readings - 1) * self.correlation)


def visit_of(correlation: float, least: float) -> ScanVisit:
    """Return a visit with as many readings as are worth taking, in tens, and at least `least`.

    At 4 (1 - r) / r of them a visit without end would be worth a quarter more; 200 at most.
    """
    enough = min(4 * (1 - correlation) / max(correlation, _LEAST), _MOST_READINGS)
    return ScanVisit(max(10 * ceil(enough / 10), ceil(least)), correlation)


@dataclass(frozen=True, slots=True)
class PlanTurn:
    """A finding that turns the plan: the share busy from which on, or up to which, and to what.

    `choice` is what the station then takes; both None where no finding on this channel alone does.
    """

    share: float | None
    choice: int | None


@dataclass(frozen=True, slots=True)
class StationScans:
    """Scans asked of a station.

    Attributes:
        station: its index.
        worth: expected gain of the plan per visit, in units of its cost.
        visits: how many, on days of their own, before the plan is made anew: one, or where one
            alone can change nothing, the number that gives most per visit.
        channels: choices to read, and what less a visit is worth without each.
        turns: for each of these, the finding that turns the plan.
    """

    station: int
    worth: float
    visits: int
    channels: dict[int, float]
    turns: dict[int, PlanTurn]


@dataclass(frozen=True, slots=True)
class Outlook:
    """Whether a decision is settled, and the scans that settle it, the best first.

    `unsettled` is the chance, 0..1, that much more data would change the plan by more than the
    price of a change.
    """

    unsettled: float
    asked: tuple[StationScans, ...]


class Prospects:
    """Draws of what scans of each station would find, and what the plan makes of it.

    Arrays are (stations, choices) or (draws, stations, choices); narrower stations are filled up
    with choices that are barred. `known` is the Beta of each busy share before the visit, where the
    plan reckons with another than `stakes.beta`. Truths are drawn from it with a and b divided by
    `doubt`, and as `likened` says; findings are added to it as it is, as the estimator does.
    `channels` number the choices of each station, where they are not the same of all.
    """

    def __init__(  # noqa: PLR0913 - three inputs and a way of scanning; the rest are options
        self,
        stakes: Stakes,
        choice: Choice,
        terms: Terms,
        scan: ScanVisit,
        *,
        seed: str,
        known: Sequence[Sequence[Beta]] | None = None,
        channels: Sequence[Sequence[int]] | None = None,
        doubt: float = DOUBT,
    ) -> None:
        self.terms, self.price, self.scan = terms, stakes.price, scan
        self._random = np.random.default_rng(int(sha256(seed.encode()).hexdigest()[:16], 16))
        count, widest = len(stakes.one), max(map(len, stakes.one))
        self._base = np.full((count, widest), _BARRED)
        self._own = np.zeros((count, widest))
        for i in range(count):
            costs, allowed = stakes.costs(i, choice), [*stakes.allowed[i]]
            self._base[i, allowed] = [costs[at] for at in allowed]
            self._own[i, : len(costs)] = [
                sum(table[at][choice[j]] for j, table in stakes.heard[i])
                for at in range(len(costs))
            ]
        self._weight = np.array(stakes.weight)[:, None]
        self._present, self.planned = np.array(stakes.present), np.array(choice)
        self._free = np.array(stakes.free)[:, None]
        self._stays = np.arange(widest) == self._present[:, None]
        self._reckoned = _mean_cost(*_filled(stakes.beta, count, widest))
        self._a, self._b = _filled(stakes.beta if known is None else known, count, widest)
        number = np.full((count, widest), -1)
        for i, row in enumerate(channels or [range(len(row)) for row in stakes.one]):
            number[i, : len(row)] = row
        near = np.zeros((count, count), dtype=bool)
        for i, heard in enumerate(stakes.heard):
            near[i, [j for j, _ in heard]] = True
        self._likened, self._doubt = likened(self._a, self._b, number, near), doubt
        self._given = self._held()

    def of(self, stations: Sequence[int] | Ints) -> "Prospects":
        """Return the prospects of some stations alone, findings as drawn for all."""
        part, at = copy(self), list(stations)
        vars(part).update(
            {name: own[at] for name, own in vars(self).items() if isinstance(own, np.ndarray)},
            _given=tuple(each[at] for each in self._given),
            _tried=[found[:, at] for found in self._tried],
        )
        return part

    def _drawn(self, doubt: float) -> Floats:
        """Draw the true shares: by a chance as at another station, else as known at its own."""
        chance, other_a, other_b = self._likened
        other = self._random.random((DRAWS, *self._a.shape)) < chance
        a = np.where(other, other_a, self._a / doubt)
        drawn = self._random.beta(a, np.where(other, other_b, self._b / doubt))
        result: Floats = np.clip(drawn, _LEAST, 1 - _LEAST)
        return result

    @cached_property
    def _tried(self) -> list[Floats]:
        """What so many visits to each station find: the shares busy of each draw, by `TRIED`."""
        true = self._drawn(self._doubt)
        return [self._found(true, self.scan, visits) for visits in TRIED]

    def _found(self, true: Floats, scan: ScanVisit, visits: int) -> Floats:
        """Draw the share of readings found busy in so many visits, of shares truly busy.

        Visits stray from the long run as Beta does with the correlation of two readings of one.
        """
        spread = max(visits / max(scan.correlation, 1e-6) - 1, 1e-6)
        visited = self._random.beta(true * spread, (1 - true) * spread)
        taken = visits * scan.readings
        result: Floats = self._random.binomial(taken, np.clip(visited, 0.0, 1.0)) / taken
        return result

    def much(self) -> Floats:
        """Return what each station gains by 2,000 more readings, (draws, stations)."""
        scan = ScanVisit(_MUCH_READINGS, self.scan.correlation)
        true = self._drawn(self._doubt * _MORE_DOUBT)
        found = self._found(true, scan, _MUCH_VISITS)
        return self._gain(*self._after(found, scan.worth(_MUCH_VISITS)))

    def worth_of(self, visits: int) -> Floats:
        """Return per station the expected gain of each of so many visits, one of `TRIED`."""
        found = self._tried[TRIED.index(visits)]
        result: Floats = self._gain(*self._after(found, self.scan.worth(visits))).mean(axis=0)
        return result / visits

    def worth(self) -> tuple[Floats, Ints]:
        """Return per station the expected gain of a visit, and which of `TRIED` is asked for.

        One visit where it gives anything, for the plan is made anew after it; else the number that
        gives most, and where none gives anything the most visits.
        """
        worth = self.worth_of(TRIED[0])
        best = np.zeros(worth.size, dtype=np.int64)
        if (rest := np.flatnonzero(worth <= _LEAST)).size:
            part = self.of(rest)
            gains = np.array([worth[rest], *(part.worth_of(visits) for visits in TRIED[1:])])
            most = gains.max(axis=0)
            best[rest] = np.where(most > _LEAST, gains.argmax(axis=0), len(TRIED) - 1)
            worth[rest] = np.where(most > _LEAST, most, gains[-1])
        return worth, best

    def without_each(self, best: Ints) -> Floats:
        """Return the expected gain of a visit with one choice left unread, (choices, stations)."""
        visits = np.array(TRIED)[best]
        worth = np.array([self.scan.worth(v) for v in TRIED])[best][:, None]
        found = np.stack(self._tried)[best, :, np.arange(best.size)].transpose(1, 0, 2)
        full = self._after(found, worth)
        before = self._after(np.zeros_like(found[:1]), 0.0)
        result = []
        for left_out in range(found.shape[2]):
            at = np.arange(found.shape[2]) == left_out
            part = [np.where(at, old, new) for old, new in zip(before, full, strict=True)]
            result.append(self._gain(*part).mean(axis=0) / visits)
        return np.array(result)

    def choices_at(self, at: int, best: Ints) -> Ints:
        """Return what each station takes for every one of `SHARES` found on choice `at` alone."""
        worth = np.array([self.scan.worth(v) for v in TRIED])[best][:, None]
        shape = (SHARES.size, *self._a.shape)
        read = np.arange(shape[2]) == at
        found = np.broadcast_to(SHARES[:, None, None], shape)
        return self._decided(*self._after(found, worth * read))

    def _after(self, found: Floats, worth: Floats | float) -> tuple[Floats, Floats]:
        """Return the expected cost of each choice after a finding, and its variance.

        Variance of -ln(1 - p) to first order: p / ((1 - p) (a + b + 1)).
        """
        a, b = self._a + worth * found, self._b + worth * (1 - found)
        cost, unread = _mean_cost(a, b), np.broadcast_to(worth == 0, a.shape)
        return np.where(unread, self._reckoned, cost), a / b / (a + b + 1)

    def _gain(self, cost: Floats, variance: Floats) -> Floats:
        """Return what deciding each station anew gains over the plan as it is."""
        after = self._base + self._weight * (cost - self._reckoned)
        new = self._decided(cost, variance)
        return _at(after, self.planned) - _at(after, new)

    def _decided(self, cost: Floats, variance: Floats) -> Ints:
        """Return the choice of each station by the terms, the others as planned."""
        after = self._base + self._weight * (cost - self._reckoned)
        extra, chance, over = self._judged(after, cost, variance)
        sooner, surer, dearer = self._given
        barred = (chance < self.terms.least_chance - surer) | (over < -dearer)
        moved = np.where(self._stays | ~self._free, 0.0, extra + _BARRED * barred)
        result: Ints = np.argmin(after + moved - sooner, axis=-1)
        return result

    def _judged(self, after: Floats, cost: Floats, variance: Floats) -> tuple[Floats, ...]:
        """Return what each move costs more by the terms, its chance of a gain, and what is over.

        As in `decide`, of one station alone.
        """
        terms, price, notable = self.terms, self.price, _NOTABLE * self.price
        here, there = (self._here(cost), self._here(variance)), (cost, variance)
        spared = self._here(self._own) - self._own
        better = here[0] - cost + spared
        extra = price * terms.for_others * (better < notable)
        harm = 1 - gamma_chance(here, there, spared + notable)
        extra = extra + price * terms.against * harm**2
        gain = self._here(after) + price - after
        beside = gain / np.maximum(self._weight, _LEAST) - (here[0] - cost)
        return extra, gamma_chance(here, there, beside), gain - price - extra

    def _here(self, values: Floats) -> Floats:
        return _at(values, self._present)[..., None]

    def _held(self) -> tuple[Floats, Floats, Floats]:
        """Return what the planned choices are given beside the terms, so that they stand today.

        Those of a group stand together, not each alone: in cost, in chance, in what is over.
        """
        cost, variance = self._reckoned, self._a / self._b / (self._a + self._b + 1)
        extra, chance, over = self._judged(self._base, cost, variance)
        planned = np.arange(cost.shape[1]) == self.planned[:, None]
        surer = planned * np.maximum(0.0, self.terms.least_chance - chance)
        dearer = planned * np.maximum(0.0, -over)
        barred = ((chance < self.terms.least_chance) | (over < 0)) & ~planned
        moved = np.where(self._stays | ~self._free, 0.0, extra + _BARRED * barred)
        total = self._base + moved
        ahead = _at(total, self.planned)[:, None] - total.min(axis=1, keepdims=True)
        return planned * (ahead + _LEAST * self.price), surer, dearer


def _filled(beta: Sequence[Sequence[Beta]], count: int, widest: int) -> tuple[Floats, Floats]:
    filled = np.ones((2, count, widest))
    for i, row in enumerate(beta):
        filled[:, i, : len(row)] = np.array(row).T
    return filled[0], filled[1]


def _mean_cost(a: Floats, b: Floats) -> Floats:
    """Return E[-ln(1 - p)] for p of Beta(a, b)."""
    result: Floats = digamma(a + b) - digamma(b)
    return result


def _at(values: Floats, index: Ints) -> Floats:
    index = np.broadcast_to(index, values.shape[:-1])
    return np.take_along_axis(values, index[..., None], axis=-1)[..., 0]


def outlooks(
    prospects: Prospects, stations: Sequence[Sequence[int]], least_chance: float
) -> list[Outlook]:
    """Return the outlook of each store planned together, from the indexes of its own stations.

    A store is settled, and nothing is asked, where the chance of a change is below `least_chance`;
    else scans are asked until the rest of its stations would be settled.
    """
    much, price = prospects.much(), prospects.terms.per_visit
    chances = [_above(much[:, list(own)].sum(axis=1), price) for own in stations]
    if all(chance < least_chance for chance in chances):
        return [Outlook(chance, ()) for chance in chances]
    worth, best = prospects.worth()
    listed = [_listed(own, much, worth, price, least_chance) for own in stations]
    asked = _asked(prospects, sorted(i for some in listed for i in some), worth, best)
    return [
        Outlook(chance, tuple(asked[i] for i in some))
        for chance, some in zip(chances, listed, strict=True)
    ]


def _asked(
    prospects: Prospects, stations: Sequence[int], worth: Floats, best: Ints
) -> dict[int, StationScans]:
    """Return what is asked of each of some stations, worth so much a visit."""
    some, worth, best = prospects.of(stations), worth[list(stations)], best[list(stations)]
    carried = worth - np.maximum(0.0, some.without_each(best))  # nobody need go at a loss
    turned = np.stack([some.choices_at(at, best) for at in range(carried.shape[0])])
    found = {}
    for k, i in enumerate(stations):
        planned, least = int(some.planned[k]), max(_MATTERS * worth[k], _LEAST)
        channels = {at: float(part) for at, part in enumerate(carried[:, k]) if part >= least}
        channels = channels or {planned: 0.0}
        turns = {at: _turn(turned[at, :, k], at, planned) for at in channels}
        found[i] = StationScans(i, max(0.0, float(worth[k])), TRIED[best[k]], channels, turns)
    return found


def _above(gains: Floats, price: float) -> float:
    return float((gains > price).mean())


def _listed(
    own: Sequence[int], much: Floats, worth: Floats, price: float, least_chance: float
) -> list[int]:
    """Return the stations to scan until the chance of a change is small, the best first."""
    later = much.mean(axis=0)
    some = [i for i in own if max(worth[i], later[i]) > _LEAST]
    rest = much[:, list(own)].sum(axis=1)
    listed: list[int] = []
    for i in sorted(some, key=lambda i: (-worth[i], -later[i], i)):
        if _above(rest, price) < least_chance:
            break
        listed.append(i)
        rest = rest - much[:, i]
    return listed


def _turn(choices: Ints, at: int, planned: int) -> PlanTurn:
    """Return where findings on one choice turn the plan: away from it, or towards it."""
    other = np.flatnonzero(choices != planned)
    if not other.size:
        return PlanTurn(None, None)
    turns = int(other[0] if at == planned else other[-1])
    return PlanTurn(float(SHARES[turns]), int(choices[turns]))
