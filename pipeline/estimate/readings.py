"""What a block of readings says about the share of time its channel was busy then."""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.grid import LOGITS, SHARES, straying

Floats = NDArray[np.float64]

CONTENT = ("statistic", "dwell_ms", "level_dbm", "readings", "busy", "burst_dbm")
_SHORTEST_DWELL_MS = 0.256  # two averages of 128 us; a shorter maximum is one reading
_LEAST = 1e-12
_QUIET = np.exp(-1.0)
_ABOVE_BURST = 1.26  # a mean more than 1 dB above the burst it is made of refutes the burst's level


def caught(share: Floats, burst_ms: float, dwell_ms: float) -> Floats:
    """Return the chance that any burst falls into a dwell: 1 - (1 - u) exp(-D u / (L (1 - u))).

    share u, mean burst L and dwell D in the same unit; silences are exponential.
    Source: the alternating renewal process in equilibrium (Cox, Renewal Theory, 1962, from memory).
    """
    rate = dwell_ms * share / (burst_ms * (1 - share))
    result: Floats = 1 - (1 - share) * np.exp(-rate)
    return result


def averaged(dwell_ms: float, burst_ms: float) -> float:
    """Return how many independent readings the mean over a dwell is worth, at least 1: D / (2 L).

    Source: the variance of the time average of an alternating process whose correlation falls as
    exp(-t / L) (Priestley, Spectral Analysis and Time Series, 1981, from memory).
    """
    return max(1.0, dwell_ms / (2 * burst_ms))


@dataclass(frozen=True)
class Told:
    """What blocks say: likelihood per doubt (burst length or level), block and grid point.

    `weight` holds the weight of each doubt; `quiet` (doubts, blocks) whether, were it so, a block
    fits a channel never busy.
    """

    likelihood: Floats
    quiet: NDArray[np.bool_]
    weight: Floats


def told(unique: pl.DataFrame, assumed: Assumptions) -> Told:
    """Return what each distinct block (rows with the columns of `CONTENT`) says.

    The likelihood is (doubts, blocks, grid), 1 at its highest; a channel's burst length and level
    are the same in all its blocks, so doubts are averaged over only once blocks are put together.
    """
    weight = np.array([share for _, share in assumed.burst_ms])
    rows = [_row(row, assumed) for row in unique.select(CONTENT).iter_rows()]
    stacked = np.exp(np.stack(rows, axis=1)) if rows else np.zeros((weight.size, 0, LOGITS.size))
    quiet: NDArray[np.bool_] = stacked[:, :, 0] > _QUIET
    if not unique["statistic"].is_in(("max", "mean")).any():
        return Told(stacked[:1], quiet[:1], np.ones(1))
    return Told(stacked, quiet, weight / weight.sum())


_Row = tuple[str, float | None, float | None, int, int, float | None]


def _row(row: _Row, assumed: Assumptions) -> Floats:
    """Return the log likelihood of one block, (doubts, grid), 0 at its highest."""
    statistic, dwell_ms, level_dbm, readings, busy, burst_dbm = row
    count = len(assumed.burst_ms)
    dwell = dwell_ms or 0.0
    if statistic == "max" and dwell >= _SHORTEST_DWELL_MS:
        strays = straying(assumed.reading_spread)
        chances = [strays @ caught(SHARES, ms, dwell) for ms, _ in assumed.burst_ms]
        log = np.stack([_binomial(chance, readings, busy) for chance in chances])
    elif statistic == "mean" and dwell >= _SHORTEST_DWELL_MS and level_dbm is not None:
        log = _mean(level_dbm, readings, dwell, burst_dbm, assumed)
    else:
        log = np.tile(_binomial(SHARES, readings, busy), (count, 1))
    capped: Floats = np.maximum(log - log.max(), -600.0)
    return capped


def _binomial(chance: Floats, readings: float, busy: float) -> Floats:
    inside = np.clip(chance, _LEAST, 1 - _LEAST)
    result: Floats = busy * np.log(inside) + (readings - busy) * np.log1p(-inside)
    return result


def _mean(
    level_dbm: float, readings: int, dwell_ms: float, burst_dbm: float | None, assumed: Assumptions
) -> Floats:
    """The power mean over dwells is the burst's power times the share, for each level tried.

    Bursts of a level below the threshold account for the power and leave the channel free.
    """
    tried = np.array(assumed.burst_dbm)
    if burst_dbm is not None:
        tried = burst_dbm + np.array(assumed.burst_steps_db)
    above_mw = max(0.0, 10 ** (level_dbm / 10) - 10 ** ((assumed.floor_dbm + 1) / 10))
    part = above_mw / 10 ** (tried / 10)
    typical_ms = sorted(ms for ms, _ in assumed.burst_ms)[len(assumed.burst_ms) // 2]
    most = min(readings * averaged(dwell_ms, typical_ms), assumed.mean_worth)
    share = np.minimum(part, 1.0)
    worth = np.minimum(most, assumed.mean_busy / np.maximum(share, _LEAST))
    weak = tried < assumed.threshold_dbm
    share, worth = np.where(weak, 0.0, share), np.where(weak, np.minimum(worth, 1.0), worth)
    log = np.stack([_binomial(SHARES, n, n * u) for n, u in zip(worth, share, strict=True)])
    log -= log.max(axis=1, keepdims=True)
    if (part <= _ABOVE_BURST).any():
        log[part > _ABOVE_BURST] = -600.0
    return log
