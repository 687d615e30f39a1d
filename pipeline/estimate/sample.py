"""The series that the portfolio's figures are fitted to, and the mean they must agree with."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.grid import LOGITS, at_hour
from pipeline.estimate.patterns import Model, Patterns, fresh_likelihood, patterns
from pipeline.estimate.prior import GROUPS, posteriors
from pipeline.estimate.visits import SERIES

Floats = NDArray[np.float64]

_MOST_SHIFT = 1.5
_HALVINGS = 20
_CHANNELS_OF_WIFI = 4.0  # 20 MHz, in channels of 5 MHz


@dataclass(frozen=True)
class Sample:
    """Series as patterns; `counts` has how many series of each group a pattern counts as.

    `busy` and `hourly` are of the patterns whose readings are all single ones, null (NaN) for the
    others: the plain share above the threshold, and the readings of each hour (patterns, 24).
    """

    found: Patterns
    counts: dict[str, Floats]
    busy: Floats
    hourly: Floats
    channels_alike: float
    stores: int


def sample_of(chosen: pl.DataFrame, assumed: Assumptions) -> Sample:
    """Return the patterns of the chosen blocks, which have their group and `burst_dbm`."""
    newest: datetime = chosen["begins"].max()  # type: ignore[assignment]  # a column of datetimes
    # Ages play no part in the fit, so visits alike in all else are one pattern.
    found = patterns(chosen.with_columns(pl.lit(newest).alias("begins")), newest, assumed)
    groups = chosen.select(*SERIES, "group").unique()
    pattern = found.series.join(groups, on=SERIES)
    size = found.patterns.starts.size
    # Stations of a store hear much the same, so a store counts as if it had one.
    alike = groups.select("store", "station").n_unique() / groups["store"].n_unique()
    counts = {
        group: np.bincount(
            pattern.filter(pl.col("group") == group)["pattern"].to_numpy(), minlength=size
        )
        / alike
        for group in GROUPS
    }
    channels = len(groups) / groups.select("store", "station").n_unique()
    alike_channels = min(channels, _CHANNELS_OF_WIFI)
    return Sample(
        found,
        counts,
        *_plain_shares(chosen, found, size),
        alike_channels,
        groups["store"].n_unique(),
    )


def _plain_shares(chosen: pl.DataFrame, found: Patterns, size: int) -> tuple[Floats, Floats]:
    single = pl.col("statistic") == "single"
    rows = chosen.join(found.series.unique("pattern", keep="first", maintain_order=True), on=SERIES)
    busy, hourly = np.full(size, np.nan), np.zeros((size, 24))
    totals = rows.group_by("pattern").agg(
        pl.when(single.all()).then(pl.col("busy").sum() / pl.col("readings").sum()).alias("share")
    )
    busy[totals["pattern"].to_numpy()] = totals["share"].fill_null(np.nan).to_numpy()
    by_hour = rows.group_by("pattern", "hour").agg(pl.col("readings").sum())
    hourly[by_hour["pattern"].to_numpy(), by_hour["hour"].to_numpy()] = by_hour["readings"]
    return busy, hourly


def centred(
    sample: Sample, model: Model, priors: dict[str, Floats], assumed: Assumptions
) -> dict[str, Floats]:
    """Return the priors moved along the logit until estimates agree with the readings on average.

    Whatever the readings of a visit have in common, single readings are right on average; a spread
    that is a default need not be. So the mean over the series of what is expected of their readings
    is held to what they were.
    """
    plain = np.flatnonzero(~np.isnan(sample.busy))
    counts = {group: sample.counts[group][plain] for group in GROUPS}
    total = sum(float(c.sum()) for c in counts.values())
    if not total:
        return priors
    likelihood = fresh_likelihood(sample.found, model, assumed).rows[plain]
    hours = sample.hourly[plain] / sample.hourly[plain].sum(axis=1, keepdims=True)
    there = hours @ (1 / (1 + np.exp(-at_hour(model.curve, assumed.hours))))
    found = sum(float(c @ sample.busy[plain]) for c in counts.values()) / total

    def expected(shift: float) -> float:
        sums = 0.0
        for group in GROUPS:
            some = np.flatnonzero(counts[group])
            weights = posteriors(likelihood[some], _moved(priors[group], shift))[:, 1:]
            sums += float(counts[group][some] @ (weights * there[some]).sum(axis=1))
        return sums / total

    low, high = -_MOST_SHIFT, _MOST_SHIFT
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if expected(middle) < found else (low, middle)
    shift = round((low + high) / 2, 4)
    return {group: _moved(prior, shift) for group, prior in priors.items()}


def _moved(prior: Floats, shift: float) -> Floats:
    """Return a prior whose shares above 0 have their logits raised."""
    busy = np.interp(LOGITS - shift, LOGITS, prior[1:])
    return np.concatenate([prior[:1], busy * (1 - prior[0]) / busy.sum()])
