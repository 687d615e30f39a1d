"""Bursts: on for a heavy-tailed while, off for an exponential one, on for the load's share."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
_MOST_BURSTS = 80


def states(
    rng: np.random.Generator, share: Floats, apart_ms: Floats, burst_ms: Floats, tail: float
) -> Flags:
    """Return whether a network is sending at each reading.

    share: (readings, networks, visits); apart_ms: (visits, readings); burst_ms: mean burst per
    network. Readings that fall into one burst are alike; the share itself is kept.
    """
    on = np.zeros(share.shape, dtype=bool)
    shortest = burst_ms[:, None] * (tail - 1) / tail
    left = np.zeros(share.shape[1:])
    for at in range(share.shape[0]):
        gap = apart_ms[:, at]
        carried = (left > gap) if at else np.zeros(left.shape, dtype=bool)
        lasts = _outlasts(gap, burst_ms[:, None], shortest, tail) if at else 0.0
        fresh = share[at] * (1 - lasts) / (1 - lasts * share[at])
        begun = ~carried & (rng.random(left.shape) < fresh)
        left = np.where(begun, _residual(rng, shortest, tail, left.shape), left - gap)
        on[at] = carried | begun
    return on


def _outlasts(gap_ms: Floats, mean_ms: Floats, shortest_ms: Floats, tail: float) -> Floats:
    """Return the chance that the rest of a running burst is longer than the gap."""
    long = (shortest_ms / np.maximum(gap_ms, shortest_ms)) ** (tail - 1) / tail
    return np.where(gap_ms < shortest_ms, 1 - gap_ms / mean_ms, long)


def _residual(
    rng: np.random.Generator, shortest_ms: Floats, tail: float, shape: tuple[int, ...]
) -> Floats:
    """Draw what is left of a burst met at a random instant: a part of a length-biased one."""
    whole = shortest_ms * (1 - rng.random(shape)) ** (-1 / (tail - 1))
    return whole * rng.random(shape)


def begun_within(rng: np.random.Generator, share: Floats, dwell_ms: float, burst: Floats) -> Flags:
    """Return whether a burst begins within a dwell that began in silence."""
    return rng.random(share.shape) < -np.expm1(-_expected(share, dwell_ms, burst))


def share_of_dwell(
    rng: np.random.Generator, on: Flags, share: Floats, dwell_ms: float, burst: Floats
) -> Floats:
    """Return the part of each dwell in which a network sends, its bursts exponential here."""
    starts = np.minimum(rng.poisson(_expected(share, dwell_ms, burst) * (1 - share)), _MOST_BURSTS)
    length = rng.gamma(np.maximum(starts + on, 1e-9)) * burst[None, :, None]
    return np.minimum(length / dwell_ms, 1.0)


def _expected(share: Floats, dwell_ms: float, burst: Floats) -> Floats:
    return dwell_ms * share / (burst[None, :, None] * (1 - share))
