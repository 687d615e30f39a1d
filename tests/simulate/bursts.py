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
    mean_ms = burst_ms[:, None]
    shortest = mean_ms * (tail - 1) / tail
    left = np.zeros(share.shape[1:])
    for at in range(share.shape[0]):
        gap = apart_ms[:, at] if at else np.full(apart_ms.shape[0], np.inf)
        carried = left > gap
        older = _older(gap, mean_ms, shortest, tail)
        fresh = share[at] * (1 - older) / (1 - older * share[at])
        begun = ~carried & (rng.random(left.shape) < fresh)
        rest = _rest_of_new(rng, older, mean_ms, shortest, tail)
        left = np.where(begun, rest, np.where(carried, left - gap, 0.0))
        on[at] = carried | begun
    return on


def _older(gap_ms: Floats, mean_ms: Floats, shortest_ms: Floats, tail: float) -> Floats:
    """Return the chance that a burst met at a random instant has run for longer than the gap."""
    long = (shortest_ms / np.maximum(gap_ms, shortest_ms)) ** (tail - 1) / tail
    return np.where(gap_ms < shortest_ms, 1 - gap_ms / mean_ms, long)


def _rest_of_new(
    rng: np.random.Generator, older: Floats, mean_ms: Floats, shortest_ms: Floats, tail: float
) -> Floats:
    """Draw what is left of a burst that was met and began since the reading before."""
    above = 1 - rng.random(older.shape) * (1 - older)
    age = np.where(
        above > 1 / tail,
        (1 - above) * mean_ms,
        shortest_ms * (tail * above) ** (-1 / (tail - 1)),
    )
    return np.maximum(age, shortest_ms) * (1 - rng.random(age.shape)) ** (-1 / tail) - age


def begun_within(rng: np.random.Generator, share: Floats, dwell_ms: float, burst: Floats) -> Flags:
    """Return whether a burst begins within a dwell that began in silence."""
    return rng.random(share.shape) < -np.expm1(-expected_bursts(share, dwell_ms, burst))


def share_of_dwell(
    rng: np.random.Generator, on: Flags, share: Floats, dwell_ms: float, burst: Floats
) -> Floats:
    """Return the part of each dwell in which a network sends, its bursts exponential here."""
    starts = np.minimum(
        rng.poisson(expected_bursts(share, dwell_ms, burst) * (1 - share)), _MOST_BURSTS
    )
    length = rng.gamma(np.maximum(starts + on, 1e-9)) * burst[None, :, None]
    part: Floats = np.minimum(length / dwell_ms, 1.0)
    return part


def expected_bursts(share: Floats, dwell_ms: float, burst: Floats) -> Floats:
    """Return how many bursts begin in a dwell, per time of silence: D u / (L (1 - u))."""
    result: Floats = dwell_ms * share / (burst[None, :, None] * (1 - share))
    return result
