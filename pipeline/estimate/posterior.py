"""How busy each channel is, with the interval its readings deserve."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.estimate.alike import Series, mixed
from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.grid import LOGITS, POINTS
from pipeline.estimate.patterns import Patterns, patterns, visit_logs, visit_quiet
from pipeline.estimate.portfolio import Portfolio
from pipeline.estimate.prior import OUTSIDE, group_of, posteriors
from pipeline.estimate.visits import SERIES

Floats = NDArray[np.float64]

_CHUNK = 1250  # stations
_HALF_STEP = float(LOGITS[1] - LOGITS[0]) / 2
_MOST_LIKE = 1e6  # a + b of a posterior that is all but certain
_DIGITS = 6
_DAYS_PER_WEEK = 7
_COSTS = -np.log1p(-POINTS)


@dataclass(frozen=True)
class Estimates:
    """`frame` has a row per series asked for, `weights` its posterior over `grid.POINTS`.

    frame: store, station, channel, readings, visits, worth, busy_estimate, busy_low, busy_high,
    expected_cost, a, b, source ('measured', 'inferred' or 'absent'), group, newest_at, moment (it
    rests on one moment). Where the source is 'absent' there is no estimate and no interval; cost,
    a, b and weights are then those of the prior, which a plan may reckon with.
    """

    frame: pl.DataFrame
    weights: Floats


def estimate(
    blocks: pl.DataFrame,
    known: pl.DataFrame,
    portfolio: Portfolio,
    as_of: datetime,
    assumed: Assumptions,
) -> Estimates:
    """Return the estimate of every series of `known`, in the order of store, station, channel.

    blocks, known: as for `fit_portfolio`; known may have wifi_seen_at, the day of the survey. Each
    series depends on its own rows and the portfolio's figures only.
    """
    asked = _asked(known, as_of)
    facts = _facts(blocks, portfolio)
    parts = [
        _part(blocks.join(rows, on=SERIES), rows, portfolio, as_of, assumed)
        for rows in _chunks(asked)
    ]
    weights = np.concatenate(parts) if parts else np.empty((0, POINTS.size))
    frame = asked.join(facts, on=SERIES, how="left", maintain_order="left")
    source = (
        pl.when(pl.col("readings") > 0)
        .then(pl.lit("measured"))
        .when(pl.col("group") != OUTSIDE)
        .then(pl.lit("inferred"))
        .otherwise(pl.lit("absent"))
    )
    filled = frame.with_columns(
        pl.col("readings", "visits").fill_null(0), pl.col("worth").fill_null(0.0)
    ).with_columns(source.alias("source"))
    return Estimates(_framed(filled, weights, assumed), weights)


def _asked(known: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    seen_at = (
        pl.col("wifi_seen_at").cast(pl.Datetime("us"))
        if "wifi_seen_at" in known.columns
        else pl.lit(None, pl.Datetime("us"))
    )
    weeks = ((pl.lit(as_of) - seen_at).dt.total_days() // _DAYS_PER_WEEK).clip(lower_bound=0)
    return known.select(
        *SERIES,
        "burst_dbm",
        group_of(pl.col("wifi_share")).alias("group"),
        weeks.fill_null(0).alias("wifi_weeks"),
    ).sort(SERIES)


def _chunks(asked: pl.DataFrame) -> Iterator[pl.DataFrame]:
    ends = asked.select((pl.struct("store", "station").rle_id() // _CHUNK).rle().struct["len"])
    at = 0
    for length in ends.to_series():
        yield asked[at : at + length]
        at += length


def _facts(blocks: pl.DataFrame, portfolio: Portfolio) -> pl.DataFrame:
    """Return readings, visits, worth, newest_at and moment of each series."""
    per_visit = blocks.group_by(*SERIES, "visit").agg(
        pl.col("readings").sum(), pl.col("begins").min(), pl.col("span_s").max(), pl.len()
    )
    one_moment = (pl.col("span_s") <= _MOMENT_S) & (pl.col("len") == 1)
    r = pl.when(one_moment).then(portfolio.moment_correlation).otherwise(portfolio.correlation)
    counts_as = pl.col("readings") / (1 + (pl.col("readings") - 1) * r)
    return (
        per_visit.with_columns(counts_as.alias("worth"), one_moment.alias("moment"))
        .group_by(SERIES)
        .agg(
            pl.col("readings").sum(),
            pl.len().cast(pl.Int64).alias("visits"),
            pl.col("worth").sort().sum().round(3),
            pl.col("begins").max().alias("newest_at"),
            (pl.col("moment").all() & (pl.len() == 1)).alias("moment"),
        )
    )


_MOMENT_S = 10.0


def _part(
    blocks: pl.DataFrame,
    rows: pl.DataFrame,
    portfolio: Portfolio,
    as_of: datetime,
    assumed: Assumptions,
) -> Floats:
    """Return the posteriors of some series, those without readings by their prior alone."""
    found = patterns(blocks, as_of, portfolio.applied(assumed))
    logs = visit_logs(found, portfolio.model(), assumed)
    quiet = visit_quiet(found)
    numbered = rows.join(found.series, on=SERIES, how="left", maintain_order="left")
    kinds = (
        numbered.select("group", "wifi_weeks", "pattern")
        .unique()
        .sort("group", "wifi_weeks", "pattern", nulls_last=False)
        .with_row_index("kind")
    )
    weights, told = np.empty((len(kinds), POINTS.size)), np.ones((len(kinds), POINTS.size))
    evidence = np.zeros(len(kinds))
    for (group, weeks), some in kinds.group_by("group", "wifi_weeks", maintain_order=True):
        prior = _aged_prior(portfolio, str(group), int(str(weeks)), assumed)
        at = some["kind"].to_numpy()
        bare = some["pattern"].is_null().to_numpy()
        weights[at[bare]] = prior
        which = some["pattern"].drop_nulls().to_numpy()
        if which.size:
            told[at[~bare]] = _likelihood(found, which, (logs, quiet), prior, assumed)
            evidence[at[~bare]] = np.log(told[at[~bare]] @ prior)
            weights[at[~bare]] = posteriors(told[at[~bare]], prior)
    on = ["group", "wifi_weeks", "pattern"]
    kind = numbered.join(kinds, on=on, how="left", nulls_equal=True, maintain_order="left")["kind"]
    at = kind.to_numpy()
    result: Floats = weights[at]
    read = numbered["pattern"].is_not_null().to_numpy()
    station = numbered.select(pl.struct("store", "station").rle_id()).to_series().to_numpy()
    series = Series(told[at[read]], evidence[at[read]], station[read].astype(np.int64))
    result[read] = mixed(series, result[read], portfolio.alike)
    return result


def _aged_prior(portfolio: Portfolio, group: str, weeks: int, assumed: Assumptions) -> Floats:
    """Return the group's prior, let go towards that outside of any survey as the survey ages."""
    holds = _still_holds(np.array([weeks]), assumed)[0]
    own, outside = np.array(portfolio.priors[group]), np.array(portfolio.priors[OUTSIDE])
    result = holds * own + (1 - holds) * outside
    normalised: Floats = result / result.sum()
    return normalised


def _still_holds(weeks: NDArray[np.int64], assumed: Assumptions) -> Floats:
    result: Floats = 0.5 ** (weeks * _DAYS_PER_WEEK / assumed.half_life_days)
    return result


def _likelihood(
    found: Patterns,
    which: NDArray[np.int64],
    told: tuple[Floats, NDArray[np.bool_]],
    prior: Floats,
    assumed: Assumptions,
) -> Floats:
    """Return the likelihood of some patterns over "never" and the grid, scaled, under one prior.

    A visit of age A counts with 2^(-A / half-life) as what it is, else as if it had not been: its
    likelihood over its mean under the prior, so that with age a posterior becomes the prior.
    """
    logs, quiet = told
    ends = np.append(found.patterns.starts[1:], found.patterns.items.size)
    lengths = (ends - found.patterns.starts)[which]
    starts = np.concatenate([[0], np.cumsum(lengths)[:-1]])
    place = np.repeat(found.patterns.starts[which] - starts, lengths) + np.arange(lengths.sum())
    used, back = np.unique(found.patterns.items[place], return_inverse=True)
    visit, weeks = found.aged[used].T
    mixed, never = _aged_visits(
        logs[:, visit], quiet[visit], _still_holds(weeks, assumed), prior, found.told.weight
    )
    summed = np.add.reduceat(mixed[:, back], starts, axis=1)
    nevers = np.add.reduceat(never[back], starts)
    highest = np.maximum(summed.max(axis=(0, 2)), nevers)
    busy = np.tensordot(found.told.weight, np.exp(summed - highest[None, :, None]), axes=1)
    return np.concatenate([np.exp(nevers - highest)[:, None], busy], axis=1)


def _aged_visits(
    logs: Floats, quiet: NDArray[np.bool_], holds: Floats, prior: Floats, doubt: Floats
) -> tuple[Floats, Floats]:
    """Return the log likelihoods of visits weakened by age: over the grid, and of never busy."""
    highest = logs.max(axis=(0, 2))
    scaled = np.exp(logs - highest[None, :, None])
    never = quiet * np.exp(-highest)
    mean = np.tensordot(doubt, scaled, axes=1) @ prior[1:] + never * prior[0]
    mixed = holds[None, :, None] * scaled / mean[None, :, None] + (1 - holds)[None, :, None]
    rest = holds * never / mean + (1 - holds)
    return np.log(np.maximum(mixed, 1e-290)), np.log(np.maximum(rest, 1e-290))


def _framed(filled: pl.DataFrame, weights: Floats, assumed: Assumptions) -> pl.DataFrame:
    mean = weights @ POINTS
    variance = np.maximum(weights @ POINTS**2 - mean**2, 0.0)
    a, b = beta_of(mean, variance)
    tail = (1 - assumed.interval) / 2
    low, high = quantile(weights, tail), quantile(weights, 1 - tail)
    figures = {
        "busy_estimate": mean,
        "busy_low": np.minimum(low, mean),
        "busy_high": np.maximum(high, mean),
        "expected_cost": weights @ _COSTS,
        "a": a,
        "b": b,
    }
    columns = [pl.Series(name, np.round(values, _DIGITS)) for name, values in figures.items()]
    told = pl.when(pl.col("source") != "absent")
    shares = [told.then(pl.col(n)).alias(n) for n in ("busy_estimate", "busy_low", "busy_high")]
    return filled.with_columns(columns).with_columns(shares).select(
        *SERIES,
        "readings", "visits", "worth",
        *figures,
        "source", "group", "newest_at", "moment",
    )  # fmt: skip


def beta_of(mean: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """Return a and b of the Beta distributions with these means and variances."""
    inside = np.clip(mean, 1 / _MOST_LIKE, 1 - 1 / _MOST_LIKE)
    most = inside * (1 - inside)
    total = np.clip(most / np.maximum(variance, most / _MOST_LIKE) - 1, 1e-3, _MOST_LIKE)
    return inside * total, (1 - inside) * total


def quantile(weights: Floats, share: float) -> Floats:
    """Return a quantile of each posterior; within a step of the grid it is even in the logit."""
    upto = np.cumsum(weights, axis=1)
    at = np.minimum((upto < share * upto[:, -1:]).sum(axis=1), POINTS.size - 1)
    rows = np.arange(weights.shape[0])
    below = upto[rows, at] - weights[rows, at]
    part = (share - below) / np.maximum(weights[rows, at], 1e-300)
    logit = LOGITS[np.maximum(at - 1, 0)] + _HALF_STEP * (2 * np.clip(part, 0, 1) - 1)
    values = np.where(at == 0, 0.0, 1 / (1 + np.exp(-logit)))
    result: Floats = np.where(np.isnan(weights[:, 0]), np.nan, values)
    return result
