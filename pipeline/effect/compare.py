"""What is estimated of a rollout: its effect, run charts, and what goes with updates that fail.

The effect is a difference in differences of stores drawn to change first. A store is one
observation: how its outcome changed from the days before a wave to those after, so that nothing is
assumed of days and labels within it (Bertrand, Duflo & Mullainathan 2004). Stores are compared
within blocks: those of one stratum of the draw, over the days of one wave. The estimate is that of
least squares with an effect for every block.

The interval is of randomisation inference (Fisher 1935; Rosenbaum 2002, section 2.4): every effect
at which, were it taken off the changed stores, the draw that was made would not stand out among
draws made anew. It needs no large number of stores; a bootstrap of stores fails where two are
changed (MacKinnon & Webb 2017), and the draw is our own, so it is known.

Updates that are not acknowledged: binomial regression with store effects. The log-odds that an
update is acknowledged are linear in what a station suffers, with an effect for every store, so that
stations are compared with others of their store. Standard errors respect stores as clusters, by the
jackknife over stores, which few or uneven ones do not make too small (MacKinnon, Nielsen & Webb
2023); so counts may vary more than binomial ones. Intervals are Student's with one degree less than
stores.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf

import numpy as np
from scipy.special import expit, stdtrit

_DRAWS = 1999
_DOUBT = 0.05  # of the interval: it holds 95 % of the time
_SEED = 16
_SAME = 1e-9  # a draw that differs by less is the one that was made, or its mirror


@dataclass(frozen=True, slots=True)
class Peers:
    """Stores that may be compared: their changes of a share, 0..1, and which had their turn."""

    changes: tuple[float, ...]
    turned: tuple[bool, ...]

    @property
    def weight(self) -> float:
        """What the block counts: the inverse variance of its difference, up to a factor."""
        here = sum(self.turned)
        return here * (len(self.turned) - here) / len(self.turned)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A mean effect in the changed stores, as a difference of shares, and its 95 % interval.

    The interval is without end where there are too few stores to tell any effect from none.
    """

    effect: float
    low: float
    high: float
    turned: int  # stores
    controls: int
    spread: float  # standard deviation of stores' changes about their block's, the effect apart

    @property
    def helped(self) -> bool:
        """Whether the effect is surely above nothing."""
        return self.low > 0

    @property
    def harmed(self) -> bool:
        """Whether it is surely below."""
        return self.high < 0


def compare(blocks: Sequence[Peers], draws: int = _DRAWS) -> Estimate | None:
    """Return the effect over all blocks; None where none has a store of either side.

    Args:
        blocks: a store may be in several, of different waves; draws are made in each on its own.
        draws: how many are made anew.
    """
    told = [block for block in blocks if block.weight > 0]
    if not told:
        return None
    rng = np.random.default_rng(_SEED)
    total = sum(block.weight for block in told)
    shape = draws + 1
    effect, taken = np.zeros(shape), np.zeros(shape)
    for block in told:
        first = np.array(block.turned)
        drawn = np.vstack([first, rng.permuted(np.tile(first, (draws, 1)), axis=1)])
        each = np.where(drawn, 1 / first.sum(), -1 / (~first).sum()) * (block.weight / total)
        effect += each @ np.array(block.changes)
        taken += each @ first
    low, high = _interval(effect, taken)
    turned = sum(sum(block.turned) for block in told)
    stores = sum(len(block.turned) for block in told)
    found = float(effect[0])
    return Estimate(found, low, high, turned, stores - turned, _spread(told, found))


def _interval(effect: np.ndarray, taken: np.ndarray) -> tuple[float, float]:
    """Return the effects that the draw does not speak against.

    With an effect t taken off the changed stores, a draw comes to effect - t x taken. It is as far
    from nothing as the one that was made between the two t where both are equal in size.
    """
    made, other, own = effect[0], effect[1:], taken[1:]
    ends = np.full((2, len(other)), inf)
    for end, sign in zip(ends, (1, -1), strict=True):
        moved = np.abs(1 - sign * own) > _SAME
        end[moved] = (made - sign * other[moved]) / (1 - sign * own[moved])
    bounded = np.isfinite(ends).all(axis=0)
    highs = np.where(bounded, ends.max(axis=0), inf)
    lows = np.where(bounded, ends.min(axis=0), -inf)
    rank = int(_DOUBT * len(effect))
    return float(np.sort(lows)[rank - 1]), float(np.sort(highs)[-rank])


def _spread(blocks: Sequence[Peers], effect: float) -> float:
    """Return the standard deviation of the changes about their block's mean, the effect apart."""
    squares, free = 0.0, -1
    for block in blocks:
        left = np.array(block.changes) - effect * np.array(block.turned)
        squares += float(np.sum((left - left.mean()) ** 2))
        free += len(left) - 1
    return (squares / free) ** 0.5 if free > 0 else inf


FROM_POINTS = 12
"""Fewer points make no limits."""
_WIDTH = 2.66  # 3 / 1.128, the mean range of two normal values in standard deviations


@dataclass(frozen=True, slots=True)
class ChartLimits:
    """The centre of a run chart and its limits, in the unit of the values."""

    centre: float
    low: float
    high: float

    def outside(self, value: float) -> bool:
        """Whether a value is further off than chance alone would bring it."""
        return not self.low <= value <= self.high


def chart_limits(values: Sequence[float]) -> ChartLimits | None:
    """Return the limits of the first twelve values: mean +- 2.66 x mean moving range.

    None where there are fewer. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    first = values[:FROM_POINTS]
    if len(first) < FROM_POINTS:
        return None
    centre = sum(first) / len(first)
    moving = sum(abs(b - a) for a, b in pairwise(first)) / (len(first) - 1)
    return ChartLimits(centre, centre - _WIDTH * moving, centre + _WIDTH * moving)


STORES_LEAST = 20
"""Fewer clusters make no interval to rely on (common practice: Cameron & Miller 2015)."""
_ROUNDS, _STILL = 100, 1e-10
_SURE = 0.975
_STEP = 0.1  # effects are told per ten points of a share


@dataclass(frozen=True, slots=True)
class Burden:
    """A station's updates and what it suffers: shares, 0..1, in the order of the terms."""

    store: str
    updates: float
    acknowledged: float
    suffers: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class UpdateCost:
    """What a term goes with: a coefficient of the log-odds with its 95 % interval.

    `points` is the mean change of the acknowledged share per ten points more of the term.
    """

    term: str
    coefficient: float
    low: float
    high: float
    per_coefficient: float  # points per unit of the coefficient

    @property
    def points(self) -> tuple[float, float, float]:
        """The change of the acknowledged share, as a difference of shares: it, low, high."""
        each = (self.coefficient, self.low, self.high)
        return (
            each[0] * self.per_coefficient,
            each[1] * self.per_coefficient,
            each[2] * self.per_coefficient,
        )


def update_costs(terms: Sequence[str], rows: Sequence[Burden]) -> tuple[UpdateCost, ...]:
    """Return what each term goes with; empty where the data are too few to say.

    Terms that do not vary within stores are left out. Stores with one station, or whose updates
    all came to the same, tell nothing and are left out.
    """
    told = _telling(rows)
    names, index = np.unique([row.store for row in told], return_inverse=True)
    if len(names) < STORES_LEAST:
        return ()
    x = np.array([row.suffers for row in told], dtype=float)
    n = np.array([row.updates for row in told], dtype=float)
    share = np.array([row.acknowledged for row in told], dtype=float) / n
    kept = [k for k in range(len(terms)) if np.ptp(_within(x[:, k], n, index)) > _STILL]
    x = x[:, kept]
    if not kept or np.linalg.matrix_rank(_within(x, n, index)) < len(kept):
        return ()
    fitted = _fit(x, n, share, index)
    if fitted is None:
        return ()
    beta, p, inside = fitted
    errors = _errors(inside, n * p * (1 - p), n * (share - p), index)
    width = float(stdtrit(len(names) - 1, _SURE))
    slope = _STEP * float(np.average(p * (1 - p), weights=n))
    return tuple(
        UpdateCost(terms[k], float(b), float(b - width * e), float(b + width * e), slope)
        for k, b, e in zip(kept, beta, errors, strict=True)
    )


def own_weight(rows: Sequence[Burden]) -> float | None:
    """Return what time lost to an own neighbour on the channel costs, against outside signals.

    None where it does not surely differ, or either is not surely a cost. The first two terms of a
    burden are the shares of time that outside signals and such neighbours take.
    """
    told = {cost.term: cost for cost in update_costs(_places(rows), rows)}
    # With both as one term, the second is what own neighbours cost more.
    joined = [
        Burden(r.store, r.updates, r.acknowledged, (r.suffers[0] + r.suffers[1], *r.suffers[1:]))
        for r in rows
    ]
    more = {cost.term: cost for cost in update_costs(_places(rows), joined)}
    outside, own, extra = told.get("0"), told.get("1"), more.get("1")
    if outside is None or own is None or extra is None or max(outside.high, own.high) >= 0:
        return None
    if extra.low <= 0 <= extra.high:
        return None
    return own.coefficient / outside.coefficient


def _places(rows: Sequence[Burden]) -> list[str]:
    return [str(place) for place in range(len(rows[0].suffers))] if rows else []


def _telling(rows: Sequence[Burden]) -> list[Burden]:
    sums: dict[str, tuple[int, float, float]] = {}
    for row in rows:
        count, sent, came = sums.get(row.store, (0, 0.0, 0.0))
        sums[row.store] = count + 1, sent + row.updates, came + row.acknowledged
    telling = {s for s, (count, sent, came) in sums.items() if count > 1 and 0 < came < sent}
    return [row for row in rows if row.updates > 0 and row.store in telling]


def _within(x: np.ndarray, weights: np.ndarray, index: np.ndarray) -> np.ndarray:
    """Return columns less their weighted mean over each store."""
    flat = x.reshape(len(x), -1)
    total = np.bincount(index, weights)
    means = [np.bincount(index, weights * column) / total for column in flat.T]
    inside: np.ndarray = (flat - np.array(means).T[index]).reshape(x.shape)
    return inside


def _fit(
    x: np.ndarray, n: np.ndarray, share: np.ndarray, index: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Return coefficients, fitted shares and the terms within stores, by reweighted least squares.

    Store effects are taken out by weighted means at every round, which gives the same coefficients
    as a column for every store (Frisch & Waugh 1933). None where it comes to no rest.
    """
    p = (n * share + 0.5) / (n + 1)
    beta = np.zeros(x.shape[1])
    for _ in range(_ROUNDS):
        weights = n * p * (1 - p)
        odds = np.log(p / (1 - p))
        aim = odds + (share - p) / (p * (1 - p))
        inside, rest = _within(x, weights, index), _within(aim, weights, index)
        root = np.sqrt(weights)
        new = np.linalg.lstsq(inside * root[:, None], rest * root, rcond=None)[0]
        p = np.clip(expit(aim - rest + inside @ new), _STILL, 1 - _STILL)
        if np.max(np.abs(new - beta)) < _STILL * (1 + np.max(np.abs(new))):
            return new, p, _within(x, n * p * (1 - p), index)
        beta = new
    return None


def _errors(
    inside: np.ndarray, weights: np.ndarray, rest: np.ndarray, index: np.ndarray
) -> np.ndarray:
    """Return standard errors by the jackknife over stores, each left out by one step."""
    stores = int(index.max()) + 1
    whole = inside.T @ (inside * weights[:, None])
    without = []
    for store in range(stores):
        own = index == store
        part = inside[own].T @ (inside[own] * weights[own, None])
        without.append(np.linalg.solve(whole - part, inside[own].T @ rest[own]))
    found: np.ndarray = np.sqrt((stores - 1) / stores * np.sum(np.square(without), axis=0))
    return found
