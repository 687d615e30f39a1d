"""What a block of readings says about the share of time its channel was busy then."""

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import ndtr

from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.grid import LOGITS, SHARES, straying

Floats = NDArray[np.float64]

_SHORTEST_DWELL_MS = 0.256  # two averages of 128 us; a shorter maximum is one reading
_LEAST = 1e-12
_SURE = 1e-9  # no count of still dwells is impossible
_TINY = 1e-250
_NEVER = -600.0  # a log likelihood
_NODES = 8
_ABOVE_BURST = 1.26  # a mean more than 1 dB above the burst it is made of refutes the burst's level


def caught(share: Floats, burst_ms: float, dwell_ms: float) -> Floats:
    """Return the chance that any burst falls into a dwell: 1 - (1 - u) exp(-D u / (L (1 - u))).

    share u, mean burst L and dwell D in the same unit; silences are exponential.
    Source: the alternating renewal process in equilibrium (Cox, Renewal Theory, 1962, from memory).
    """
    return 1 - stillness(share, burst_ms, dwell_ms, 0.0)


def stillness(
    share: Floats, burst_ms: float | Floats, dwell_ms: float, least_ms: float | Floats
) -> Floats:
    """Return the chance that no burst of at least `least_ms` falls into a dwell.

    As in `caught`, with exponential bursts of mean L, of which exp(-least / L) are so long: (1 - u)
    exp(-D u exp(-least / L) / (L (1 - u))). A dwell that begins within a burst counts as hit.
    """
    rate = dwell_ms * share * np.exp(-least_ms / burst_ms) / (burst_ms * (1 - share))
    result: Floats = (1 - share) * np.exp(-rate)
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

    `weight` holds the weight of each doubt; `quiet` whether a block fits a channel never busy.
    """

    likelihood: Floats
    quiet: NDArray[np.bool_]
    weight: Floats


class _Block(NamedTuple):
    """What matters of a block, as `CONTENT` names it."""

    statistic: str
    dwell_ms: float | None
    level_dbm: float | None
    readings: int
    busy: int
    still: int | None
    burst_dbm: float | None


CONTENT = _Block._fields


def told(unique: pl.DataFrame, assumed: Assumptions) -> Told:
    """Return what each distinct block (rows with the columns of `CONTENT`) says.

    The likelihood is (doubts, blocks, grid), 1 at its highest; a channel's burst length and level
    are the same in all its blocks, so doubts are averaged over only once blocks are put together.
    """
    count = len(assumed.burst_ms)
    statistics = set(unique["statistic"])
    _, first, alike = np.unique(assumed.burst_ms, return_index=True, return_counts=True)
    some, weight = np.array([0]), np.ones(1)
    if "mean" in statistics:
        some, weight = np.arange(count), np.full(count, 1 / count)
    elif "max" in statistics:
        some, weight = first, alike / count
    rows = [_said(_Block(*row), assumed) for row in unique.select(CONTENT).iter_rows()]
    quiet = np.array([bool(log[:, 0].max() > -1) for log in rows], dtype=bool)
    every = [np.broadcast_to(log, (count, LOGITS.size))[some] for log in rows]
    stacked = np.stack(every, axis=1) if every else np.zeros((some.size, 0, LOGITS.size))
    return Told(np.exp(stacked), quiet, weight)


def _said(block: _Block, assumed: Assumptions) -> Floats:
    """Return the log likelihood of one block, (doubts, grid), 0 at its highest.

    One row where the doubts make no difference.
    """
    dwell = block.dwell_ms or 0.0
    if block.statistic == "max" and dwell >= _SHORTEST_DWELL_MS:
        strays = straying(assumed.max_spread or assumed.reading_spread)
        lengths, at = np.unique(assumed.burst_ms, return_inverse=True)
        chances = [strays @ caught(SHARES, ms, dwell) for ms in lengths]
        log = np.stack([_binomial(chance, block.readings, block.busy) for chance in chances])[at]
    elif block.statistic == "mean" and dwell >= _SHORTEST_DWELL_MS and block.level_dbm is not None:
        log = _mean(block, block.level_dbm, dwell, assumed)
    else:
        log = _binomial(SHARES, block.readings, block.busy)[None]
    capped: Floats = np.maximum(log - log.max(), _NEVER)
    return capped


def _binomial(chance: Floats, readings: float, busy: float) -> Floats:
    inside = np.clip(chance, _LEAST, 1 - _LEAST)
    result: Floats = busy * np.log(inside) + (readings - busy) * np.log1p(-inside)
    return result


@dataclass(frozen=True)
class _Tried:
    """The levels tried of a channel's bursts, how much of them is above the threshold, the air.

    air: (levels, grid), the time bursts of a level take if they are above it for the grid's share.
    """

    level_dbm: Floats
    heard: Floats
    air: Floats


@lru_cache(maxsize=256)
def _tried(burst_dbm: float | None, assumed: Assumptions) -> _Tried:
    level_dbm = np.array(assumed.burst_dbm)
    if burst_dbm is not None:
        level_dbm = burst_dbm + np.array(assumed.burst_steps_db)
    above = ndtr((level_dbm - assumed.threshold_dbm) / assumed.burst_spread_db)
    heard = np.maximum(above, assumed.least_heard)
    return _Tried(level_dbm, heard, np.minimum(SHARES / heard[:, None], 1 - _LEAST))


def _mean(block: _Block, level_dbm: float, dwell_ms: float, assumed: Assumptions) -> Floats:
    """The power mean over dwells is the bursts' power times the time they take, per level tried.

    Bursts stray about their level: those above the threshold make the channel busy, those below
    account for the power and leave it free. How many dwells are still tells few loud bursts from
    many weak ones.
    """
    tried = _tried(block.burst_dbm, assumed)
    above_mw = max(0.0, 10 ** (level_dbm / 10) - 10 ** ((assumed.floor_dbm + 1) / 10))
    part = above_mw / 10 ** (tried.level_dbm / 10)
    taken = np.minimum(part, 1.0)
    typical_ms = sorted(assumed.burst_ms)[len(assumed.burst_ms) // 2]
    most = min(block.readings * averaged(dwell_ms, typical_ms), assumed.mean_worth)
    worth = np.minimum(most, assumed.mean_busy / np.maximum(taken, _LEAST))
    rows = zip(tried.air, worth, worth * taken, strict=True)
    log = np.stack([_binomial(air, n, busy) for air, n, busy in rows])
    log = np.where(tried.heard[:, None] >= SHARES, log, _NEVER)
    log -= log.max(axis=1, keepdims=True)
    # Bursts above the threshold carry its power at least, however weak the others are.
    most_busy = _ABOVE_BURST * above_mw / 10 ** (assumed.threshold_dbm / 10)
    free = np.where(most_busy >= SHARES, 1 - SHARES, _TINY)
    apart = np.log(assumed.apart * np.outer(1 - tried.heard, free) + _TINY)
    if block.still is not None:
        still = _stillness(block.readings, block.still, block.burst_dbm, dwell_ms, assumed)
        taken_at = np.abs(np.log(tried.air / np.maximum(taken, _LEAST)[:, None])).argmin(axis=1)
        log += still
        apart += still[np.arange(taken.size), taken_at][:, None]
    log = np.logaddexp(log, apart)
    if (part <= _ABOVE_BURST).any():
        log[part > _ABOVE_BURST] = _NEVER
    return log


@lru_cache(maxsize=4096)
def _stillness(
    dwells: int, still: int, burst_dbm: float | None, dwell_ms: float, assumed: Assumptions
) -> Floats:
    """Return how likely it is that so many dwells are still, as a log, (levels, grid).

    A dwell is still if no burst long enough to show fell into it, and nothing else did: with even
    odds of any share of them where anything does.
    """
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    else_free = np.append(1.0, (1 + nodes) / 2)
    odds = np.append(assumed.alone, (1 - assumed.alone) * weights / 2)
    free, lengths = _without_burst(burst_dbm, dwell_ms, assumed)
    chance = np.clip(free[..., None] * else_free, _SURE, 1 - _SURE)
    log = still * np.log(chance) + (dwells - still) * np.log1p(-chance)
    likely = np.exp(np.maximum(log, _NEVER)) @ odds @ lengths
    result: Floats = np.log(np.maximum(likely, _TINY))
    return result


@lru_cache(maxsize=256)
def _without_burst(
    burst_dbm: float | None, dwell_ms: float, assumed: Assumptions
) -> tuple[Floats, Floats]:
    """Return the chance that no burst shows in a dwell, (levels, grid, lengths), and the lengths'.

    Bursts are exponential: one shows if it is long enough to lift a dwell over the floor.
    """
    tried = _tried(burst_dbm, assumed)
    shows_mw = 10 ** (assumed.still_dbm / 10) - 10 ** (assumed.floor_dbm / 10)
    least_ms = dwell_ms * shows_mw / 10 ** (tried.level_dbm[:, None] / 10)
    lengths, counts = np.unique(assumed.burst_ms, return_counts=True)
    free = stillness(tried.air[:, :, None], lengths, dwell_ms, least_ms[:, :, None])
    strayed = np.einsum(
        "uv,kvl->kul", straying(assumed.mean_spread or assumed.reading_spread), free
    )
    return strayed, counts / counts.sum()
