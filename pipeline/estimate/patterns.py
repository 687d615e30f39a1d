"""Series of readings told apart by content: few are distinct, so each is worked out once."""

from dataclasses import dataclass
from datetime import datetime
from math import hypot

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.grid import LOGITS, at_hour, interpolated, straying
from pipeline.estimate.readings import CONTENT, Told, told
from pipeline.estimate.visits import SERIES

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_DIGITS = 9  # so that the order in which products are summed shows nowhere
_LEAST = 1e-290
_DAYS_PER_WEEK = 7


@dataclass(frozen=True)
class Model:
    """How loads stray and run over the day, as logits; `curve` has one entry per hour of a day.

    `outside_spread` is how sure the curve is outside of the hours that matter; 0: it is fitted.
    """

    visit_spread: float
    hour_spread: float
    moment_spread: float
    curve: tuple[float, ...]
    outside_spread: float = 0.0


@dataclass(frozen=True)
class Lists:
    """Lists of numbers laid end to end; list i begins at `starts[i]`. No list is empty."""

    starts: Ints
    items: Ints


@dataclass(frozen=True)
class Patterns:
    """Distinct series. `series` has store, station, channel and the number of their pattern.

    `blocks` are the distinct blocks (number of what they tell, hour, class of moment), `visits`
    lists of blocks, `patterns` lists of rows of `aged`: number of visit and age in weeks.
    """

    series: pl.DataFrame
    told: Told
    blocks: Ints
    visits: Lists
    patterns: Lists
    aged: Ints


def patterns(blocks: pl.DataFrame, as_of: datetime, assumed: Assumptions) -> Patterns:
    """Return the distinct series of blocks, from `visits.blocks` with `burst_dbm` added."""
    plain = _plain(blocks, assumed)
    contents, numbered = _numbered(plain, list(CONTENT), "content")
    kinds, numbered = _numbered(numbered, ["content", "hour", "moment"], "block")
    age = ((pl.lit(as_of) - pl.col("begins")).dt.total_days() // _DAYS_PER_WEEK).clip(lower_bound=0)
    folded = numbered.group_by(*SERIES, "visit", age.alias("weeks")).agg(pl.col("block").sort())
    visit_lists, per_visit = _listed(folded, "block", "number")
    aged, per_visit = _numbered(per_visit, ["number", "weeks"], "aged")
    per_series = per_visit.group_by(SERIES).agg(pl.col("aged").sort())
    pattern_lists, series = _listed(per_series, "aged", "pattern")
    return Patterns(
        series.select(*SERIES, "pattern").sort(SERIES),
        told(contents, assumed),
        kinds.to_numpy().astype(np.int64),
        visit_lists,
        pattern_lists,
        aged.to_numpy().astype(np.int64),
    )


def _plain(blocks: pl.DataFrame, assumed: Assumptions) -> pl.DataFrame:
    """Leave out of each block what does not matter for its kind of reading."""
    is_mean, is_single = pl.col("statistic") == "mean", pl.col("statistic") == "single"
    moment = pl.lit(len(assumed.moments))
    for at, (span_s, _) in reversed(list(enumerate(assumed.moments))):
        moment = pl.when(pl.col("span_s") <= span_s).then(at).otherwise(moment)
    return blocks.with_columns(
        pl.when(is_mean).then(pl.col("level_dbm")).alias("level_dbm"),
        pl.when(is_mean).then(pl.col("burst_dbm").round(0)).alias("burst_dbm"),
        pl.when(~is_single).then(pl.col("dwell_ms")).alias("dwell_ms"),
        pl.when(is_mean).then(pl.col("still")).alias("still"),
        pl.when(is_mean).then(0).otherwise(pl.col("busy")).alias("busy"),
        moment.alias("moment"),
    )


def _numbered(
    frame: pl.DataFrame, columns: list[str], name: str
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the distinct rows of some columns in order, and the frame with the row's number."""
    distinct = frame.select(columns).unique().sort(columns, nulls_last=True)
    numbers = distinct.with_row_index(name).with_columns(pl.col(name).cast(pl.Int64))
    return distinct, frame.join(numbers, on=columns, how="left", nulls_equal=True)


def _listed(frame: pl.DataFrame, column: str, name: str) -> tuple[Lists, pl.DataFrame]:
    """Return the distinct lists of a column of lists, and the frame with the list's number."""
    keyed = frame.with_columns(pl.col(column).cast(pl.List(pl.String)).list.join(",").alias("key"))
    distinct = keyed.select("key", column).unique("key").sort("key").with_row_index(name)
    numbers = distinct.select("key", pl.col(name).cast(pl.Int64))
    lengths = distinct[column].list.len().to_numpy().astype(np.int64)
    starts = np.concatenate([[0], np.cumsum(lengths)[:-1]]) if lengths.size else lengths
    items = distinct[column].explode().to_numpy().astype(np.int64)
    return Lists(starts, items), keyed.join(numbers, on="key").drop("key", column)


def visit_logs(found: Patterns, model: Model, assumed: Assumptions) -> Floats:
    """Return the log likelihood of each distinct visit, (doubts, visits, grid of the long run)."""
    content, hour, moment = found.blocks.T
    logits = at_hour(model.curve, assumed.hours)
    doubts = found.told.likelihood.shape[0]
    logs = np.empty((doubts, content.size, LOGITS.size))
    for kind in sorted(set(zip(hour.tolist(), moment.tolist(), strict=True))):
        rows = np.flatnonzero((hour == kind[0]) & (moment == kind[1]))
        strays = straying(block_spread(model, *kind, assumed))
        there = interpolated(logits[kind[0]]) @ strays
        logs[:, rows] = np.log(
            np.maximum(found.told.likelihood[:, content[rows]] @ there.T, _LEAST)
        )
    if not content.size:
        return logs
    together = np.add.reduceat(logs[:, found.visits.items], found.visits.starts, axis=1)
    highest = together.max(axis=2, keepdims=True)
    likelihood = np.exp(together - highest) @ straying(model.visit_spread).T
    logged: Floats = np.round(np.log(np.maximum(likelihood, _LEAST)) + highest, _DIGITS)
    return logged


def block_spread(model: Model, hour: int, moment: int, assumed: Assumptions) -> float:
    """Return how far a block of an hour and a class of moment strays from its visit."""
    share = assumed.moments[moment][1] if moment < len(assumed.moments) else 0.0
    first, last = assumed.hours
    outside = 0.0 if first <= hour < last else model.outside_spread
    return round(hypot(model.hour_spread, model.moment_spread * share**0.5, outside), 6)


def visit_quiet(found: Patterns) -> NDArray[np.bool_]:
    """Return which distinct visits fit a channel that is never busy."""
    quiet = found.told.quiet[found.blocks[:, 0]]
    if not quiet.size:
        return quiet
    return np.logical_and.reduceat(quiet[found.visits.items], found.visits.starts)


@dataclass(frozen=True)
class Scaled:
    """Likelihoods (patterns, 1 + grid), each row over e to the power of its `log_scale`."""

    rows: Floats
    log_scale: Floats


def fresh_likelihood(found: Patterns, model: Model, assumed: Assumptions) -> Scaled:
    """Return the likelihood of each pattern, no visit weakened by its age."""
    which = found.aged[found.patterns.items, 0]
    logs = visit_logs(found, model, assumed)[:, which]
    summed = np.add.reduceat(logs, found.patterns.starts, axis=1)
    highest = summed.max(axis=(0, 2))
    busy = np.tensordot(found.told.weight, np.exp(summed - highest[None, :, None]), axes=1)
    quiet = np.logical_and.reduceat(visit_quiet(found)[which], found.patterns.starts)
    return Scaled(np.concatenate([(quiet * np.exp(-highest))[:, None], busy], axis=1), highest)
