"""What goes with updates that are not acknowledged: binomial regression with store effects.

The log-odds that an update is acknowledged are linear in what a station suffers, with an effect
for every store, so that stations are compared with others of their store. Standard errors respect
stores as clusters, by the jackknife over stores, which few or uneven ones do not make too small
(MacKinnon, Nielsen & Webb 2023); so counts may vary more than binomial ones. Intervals are
Student's with one degree less than stores.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import expit, stdtrit

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
