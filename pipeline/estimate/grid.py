"""The grid of shares on which the air is estimated, and how loads of parts stray from the whole."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LOGITS: Floats = np.linspace(-10.0, 5.0, 76)
"""Logits of the shares above 0 that are told apart: 0.005 % to 99.3 % in steps of 0.2."""

SHARES: Floats = 1 / (1 + np.exp(-LOGITS))
POINTS: Floats = np.concatenate([[0.0], SHARES])
"""Every share told apart, "never busy" first."""

_STEP = LOGITS[1] - LOGITS[0]
_LEAST_SPREAD = 0.2
_HALVINGS = 40


@lru_cache(maxsize=256)
def straying(spread: float) -> Floats:
    """Return how likely a part has each share (column) when the whole has the row's.

    The part's logit is normal with this spread; its centre lies where the mean of the part's share
    is the share of the whole, so that parts are right on average. Rows sum to 1. A spread too fine
    for the grid is taken for none.
    """
    if spread < _LEAST_SPREAD:
        return np.eye(LOGITS.size)
    low, high = np.full(LOGITS.size, -40.0), np.full(LOGITS.size, 10.0)
    for _ in range(_HALVINGS):
        centre = (low + high) / 2
        above = _normal(centre, spread) @ SHARES > SHARES
        low, high = np.where(above, low, centre), np.where(above, centre, high)
    return _normal((low + high) / 2, spread)


def _normal(centre: Floats, spread: float) -> Floats:
    distance = (LOGITS[None, :] - centre[:, None]) / spread
    exponent = -(distance**2) / 2
    weight = np.exp(exponent - exponent.max(axis=1, keepdims=True))
    result: Floats = weight / weight.sum(axis=1, keepdims=True)
    return result


def correlation(spread: float, share: float = 0.1) -> float:
    """Return the correlation of two readings of one part, for a channel busy for `share`.

    The variance of the part's share over p (1 - p): what `worth` takes as r.
    """
    at = int(np.argmin(np.abs(SHARES - share)))
    row = straying(spread)[at]
    mean = float(row @ SHARES)
    return float(row @ (SHARES - mean) ** 2) / (mean * (1 - mean))


def at_hour(curve: tuple[float, ...], hours: tuple[int, int]) -> Floats:
    """Return the logit in each hour of the day of a channel whose mean over `hours` is the grid's.

    Shape (24, grid). The mean is of shares, over the hours from the first up to the last.
    """
    matter = np.arange(hours[0], hours[1]) % len(curve)
    shift = np.asarray(curve)
    low, high = LOGITS - 10.0, LOGITS + 10.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        mean = (1 / (1 + np.exp(-(middle[None, :] + shift[matter][:, None])))).mean(axis=0)
        low, high = np.where(mean > SHARES, low, middle), np.where(mean > SHARES, middle, high)
    logits: Floats = (low + high)[None, :] / 2 + shift[:, None]
    return logits


def interpolated(logits: Floats) -> Floats:
    """Return the matrix that reads a function on the grid at these logits, linear in between."""
    place = np.clip((logits - LOGITS[0]) / _STEP, 0.0, LOGITS.size - 1)
    left = np.minimum(place.astype(int), LOGITS.size - 2)
    matrix = np.zeros((logits.size, LOGITS.size))
    rows = np.arange(logits.size)
    matrix[rows, left] = 1 - (place - left)
    matrix[rows, left + 1] = place - left
    return matrix
