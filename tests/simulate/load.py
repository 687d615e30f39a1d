"""How the load of networks runs over the days, the minutes and the milliseconds."""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]

STEP_S = 300.0
"""The slow part of a load is kept once in this many seconds."""

_SLOW = ((1800.0, 0.20), (4 * 3600.0, 0.25), (24 * 3600.0, 0.20), (6 * 86400.0, 0.10))
"""Time constants in s and shares of the variance of the logarithm: a sum whose memory is long."""
_FAST = ((0.5, 0.08), (8.0, 0.09), (120.0, 0.08))
_MOST = 0.95


def slow(rng: np.random.Generator, spread: Floats, days: int) -> Floats:
    """Return the logarithm of the slow part, shape (steps, networks); its mean factor is 1."""
    steps = int(days * 86400 / STEP_S)
    total = np.zeros((steps, spread.size))
    for constant_s, share in _SLOW:
        keep = np.exp(-STEP_S / constant_s)
        fresh = rng.standard_normal((steps, spread.size)) * np.sqrt(1 - keep**2)
        begin = keep * rng.standard_normal((1, spread.size))
        total += np.sqrt(share) * lfilter([1.0], [1.0, -keep], fresh, axis=0, zi=begin)[0]
    variance = sum(share for _, share in _SLOW)
    return spread * total - spread**2 * variance / 2


def fast(rng: np.random.Generator, spread: Floats, apart_s: Floats) -> Floats:
    """Return the logarithm of the fast part at moments `apart_s` after one another.

    spread: (networks,); apart_s: (visits, readings), time since the reading before. Returns
    (readings, networks, visits); its mean factor is 1.
    """
    visits, readings = apart_s.shape
    total = np.zeros((readings, spread.size, visits))
    for constant_s, share in _FAST:
        keep = np.exp(-apart_s / constant_s)
        value = rng.standard_normal((spread.size, visits))
        for at in range(readings):
            step = rng.standard_normal(value.shape) * np.sqrt(1 - keep[:, at] ** 2)
            value = keep[:, at] * value + step if at else value
            total[at] += np.sqrt(share) * value
    variance = sum(share for _, share in _FAST)
    wide = spread[:, None]
    return wide * total - wide**2 * variance / 2


def daily(hour: Floats, depth: float) -> Floats:
    """Return the factor of the hour of the day: highest at 15 h, lowest at 3 h."""
    return 1 + depth * np.cos(2 * np.pi * (hour - 15) / 24)


def load(base: Floats, log_factor: Floats) -> Floats:
    """Return the share of time a network sends, never quite all of it."""
    return np.minimum(base * np.exp(log_factor), _MOST)
