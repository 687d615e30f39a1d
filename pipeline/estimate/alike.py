"""Stations on which all channels are about equally busy: there nothing can be gained by moving.

Readings of few visits differ from channel to channel even so, and the quietest of many looks
quieter than it is. How many stations are like that is fitted over the portfolio, from even odds.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.estimate.grid import SHARES, straying

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_CHANNELS, _STATIONS = 4, 4  # of fewer nobody can tell
_SPREAD = 0.3  # of alike channels, in logits
_LEAST, _MOST = 0.05, 0.6  # shares of alike channels; below, nothing is to be gained
_FEW = 0.1  # a smaller share of the stations is taken for none
_NEGLIGIBLE = 1e-4
_TINY = 1e-300
_ROUNDS = 50


@dataclass(frozen=True)
class Series:
    """Series with readings, in the order of their stations.

    told: likelihood over "never" and the grid, each row on a scale of its own; log_evidence: ln of
    its mean under the prior; station: number of the series' station, rising.
    """

    told: Floats
    log_evidence: Floats
    station: Ints


@dataclass(frozen=True)
class _Stations:
    """Per station: its series, how well each share suits all of them, and the ratio of evidence.

    `log_ratio` is ln of what is likely of its readings if one share holds for all of its channels,
    but for a small spread, over what is if each has a share of its own from its prior.
    """

    sizes: Ints
    each: Floats
    together: Floats
    log_ratio: Floats


def _stations(series: Series) -> _Stations:
    starts = np.flatnonzero(np.diff(series.station, prepend=-1))
    each = np.log(np.maximum(series.told[:, 1:] @ straying(_SPREAD).T, _TINY))
    inside = (SHARES >= _LEAST) & (SHARES <= _MOST)
    common = np.log(np.where(inside, 1 / inside.sum(), _TINY))
    together = np.add.reduceat(each, starts, axis=0) + common
    highest = together.max(axis=1)
    alike = highest + np.log(np.exp(together - highest[:, None]).sum(axis=1))
    sizes = np.diff(np.append(starts, series.station.size))
    ratio = np.clip(alike - np.add.reduceat(series.log_evidence, starts), -600.0, 600.0)
    return _Stations(sizes, each, together, np.where(sizes >= _CHANNELS, ratio, -600.0))


def share_alike(series: Series, store: Ints) -> float:
    """Return the share of stations whose channels are alike; store: number of each series' store.

    Expectation maximisation; a store counts as one station, and one of each kind takes part. Less
    than a tenth is 0, and so is that of very few stations: they cannot tell how common it is.
    """
    if not series.station.size:
        return 0.0
    found = _stations(series)
    told = found.sizes >= _CHANNELS
    if told.sum() < _STATIONS:
        return 0.0
    ratio = np.exp(found.log_ratio[told])
    of = store[np.cumsum(found.sizes) - 1][told]
    _, number, stations = np.unique(of, return_inverse=True, return_counts=True)
    counts_as = 1 / stations[number]
    share = 0.5
    for _ in range(_ROUNDS):
        chance = share * ratio / (share * ratio + 1 - share)
        share = (1 + float(counts_as @ chance)) / (2 + stations.size)
    return share if share >= _FEW else 0.0


def mixed(series: Series, weights: Floats, share: float) -> Floats:
    """Return posteriors in which a station's channels may be alike, as `share` of stations are.

    weights: the posterior of each series on its own.
    """
    if not share or not series.station.size:
        return weights
    found = _stations(series)
    chance = 1 / (1 + (1 - share) / share * np.exp(-found.log_ratio))
    some = np.flatnonzero(np.repeat(chance > _NEGLIGIBLE, found.sizes))
    of = np.repeat(np.arange(found.sizes.size), found.sizes)[some]
    others = found.together[of] - found.each[some]
    told = np.exp(others - others.max(axis=1, keepdims=True)) @ straying(_SPREAD)
    alike = series.told[some, 1:] * told
    alike *= chance[of][:, None] / np.maximum(alike.sum(axis=1, keepdims=True), _TINY)
    result = weights.copy()
    result[some] *= 1 - chance[of][:, None]
    result[some, 1:] += alike
    return result
