"""What is likely of a channel before it is scanned: fitted to the portfolio, from a stated default.

A nonparametric empirical-Bayes prior (Kiefer and Wolfowitz 1956, Robbins 1956) on the grid, its
logarithm kept smooth by a penalty on third differences (Eilers and Marx 1996): where data are few
it tends to a normal curve in the logit, of any width, so that a chain in which all channels are
alike gives a narrow one. Sources from memory.
"""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.grid import LOGITS

Floats = NDArray[np.float64]

OUTSIDE = "outside of any Wi-Fi survey"
_NO_WIFI = "no Wi-Fi seen"
_EDGES = (0.05, 0.15, 0.35)
SEEN = (
    "Wi-Fi seen, up to 5 %",
    "Wi-Fi seen, 5 to 15 %",
    "Wi-Fi seen, 15 to 35 %",
    "Wi-Fi seen, above 35 %",
)
GROUPS = (OUTSIDE, _NO_WIFI, *SEEN)
_MIDDLES = (0.025, 0.09, 0.23, 0.5)

_ROUNDS = 80
_SETTLED = 1e-7
_NEWTON = 2
_RIDGE = 1e-6
_EYE = np.eye(LOGITS.size)
_THIRD = np.diff(_EYE, 3, axis=0)


def group_of(wifi_share: pl.Expr) -> pl.Expr:
    """Return the group of a series from the share a Wi-Fi survey infers; null: not surveyed."""
    seen = pl.lit(SEEN[-1])
    for edge, name in reversed(list(zip(_EDGES, SEEN[:-1], strict=True))):
        seen = pl.when(wifi_share <= edge).then(pl.lit(name)).otherwise(seen)
    return (
        pl.when(wifi_share.is_null())
        .then(pl.lit(OUTSIDE))
        .when(wifi_share <= 0)
        .then(pl.lit(_NO_WIFI))
        .otherwise(seen)
    )


def default_prior(group: str, seen_spread: float = 1.2) -> Floats:
    """Return the default prior of a group over "never" and the grid; sums to 1.

    Outside of a survey: 30 % never, the rest normal in the logit around 4.7 % (spread 2). No Wi-Fi:
    50 %, around 1.1 % (2). Wi-Fi seen: 3 %, around the middle of the group's shares (1.2, or
    `seen_spread`).
    Common practice, no published source.
    """
    if group == OUTSIDE:
        never, share, spread = 0.3, 0.047, 2.0
    elif group == _NO_WIFI:
        never, share, spread = 0.5, 0.011, 2.0
    else:
        never, share, spread = 0.03, _MIDDLES[SEEN.index(group)], seen_spread
    bell = np.exp(-(((LOGITS - np.log(share / (1 - share))) / spread) ** 2) / 2)
    return np.concatenate([[never], (1 - never) * bell / bell.sum()])


def fit_prior(
    likelihood: Floats, counts: Floats, default: Floats, assumed: Assumptions, rounds: int = _ROUNDS
) -> Floats:
    """Return the prior under which patterns are likeliest, less the penalty on its roughness.

    likelihood: (patterns, 1 + grid); counts: series of each pattern. The default takes part as
    `prior_series` series, so it stands where there are no others. Expectation maximisation, the
    maximising by Newton's method.
    """
    prior = default
    for _ in range(rounds if counts.size else 0):
        expected = assumed.prior_series * default + counts @ posteriors(likelihood, prior)
        fitted = _smoothed(expected, prior, assumed.roughness)
        moved = float(np.abs(fitted - prior).max())
        prior = fitted
        if moved < _SETTLED:
            break
    return prior


def posteriors(likelihood: Floats, prior: Floats) -> Floats:
    """Return the posterior of each row of likelihoods; rows sum to 1."""
    joint = likelihood * prior
    result: Floats = joint / np.maximum(joint.sum(axis=1, keepdims=True), 1e-300)
    return result


def evidence(likelihood: Floats, counts: Floats, prior: Floats) -> float:
    """Return the log marginal likelihood of all series."""
    return float(counts @ np.log(np.maximum(likelihood @ prior, 1e-300)))


def _smoothed(expected: Floats, prior: Floats, roughness: float) -> Floats:
    """Maximise sum(expected ln f) - roughness / 2 |third differences of ln f|^2 over the grid."""
    never = expected[0] / expected.sum()
    busy = expected[1:]
    total = busy.sum()
    penalty = roughness * _THIRD.T @ _THIRD
    eta = np.log(np.maximum(prior[1:], 1e-300))
    eta -= eta.max()
    for _ in range(_NEWTON):
        f = np.exp(eta - eta.max())
        f /= f.sum()
        slope = busy - total * f - penalty @ eta
        bend = total * (np.diag(f) - np.outer(f, f)) + penalty + _RIDGE * _EYE
        eta = eta + np.clip(np.linalg.solve(bend, slope), -2.0, 2.0)
    f = np.exp(eta - eta.max())
    return np.concatenate([[never], (1 - never) * f / f.sum()])
