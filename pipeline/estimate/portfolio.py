"""What all readings of the portfolio say together: how loads stray, the day's shape, the priors."""

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.estimate.alike import Series, share_alike
from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.grid import correlation
from pipeline.estimate.patterns import Model, Scaled, fresh_likelihood
from pipeline.estimate.prior import GROUPS, SEEN, default_prior, evidence, fit_prior, group_of
from pipeline.estimate.sample import Sample, centred, sample_of
from pipeline.estimate.visits import SERIES

Floats = NDArray[np.float64]

_DIGITS = 6
_DRAW = 20260930  # which series the figures are fitted to, where there are more than are needed
_STEP = 1.12
_CURVE_STEP = 0.2
_TERMS = 4
_CURVE_STORES = 2  # in one store alone hours cannot be told from visits
_SPREADS = ("visit_spread", "hour_spread", "moment_spread")
_ROUNDS = 12


@dataclass(frozen=True)
class Portfolio:
    """What was fitted over the portfolio, or stands by default.

    Attributes:
        visit_spread, hour_spread, moment_spread, curve: see `patterns.Model`.
        fitted: which of them rest on data; the others are the defaults of `Assumptions`.
        correlation: of two readings of one visit, for a channel 10 % busy.
        moment_correlation: of two readings a few seconds apart, likewise.
        series: series seen of each group.
        priors: per group, how likely a channel is never busy or has each share of the grid.
        outside_spread: how sure the curve is outside of the hours that matter.
        alike: share of the stations on which all channels are about equally busy.
        reading_spread, mean_spread: how far the dwells of maxima, and of means, stray; None: the
            default.
    """

    visit_spread: float
    hour_spread: float
    moment_spread: float
    curve: tuple[float, ...]
    fitted: tuple[str, ...]
    correlation: float
    moment_correlation: float
    series: dict[str, int]
    priors: dict[str, tuple[float, ...]]
    outside_spread: float = 0.0
    alike: float = 0.0
    reading_spread: float | None = None
    mean_spread: float | None = None

    def applied(self, assumed: Assumptions) -> Assumptions:
        """Return the assumptions with what was fitted of them."""
        return replace(assumed, max_spread=self.reading_spread, mean_spread=self.mean_spread)

    def model(self) -> Model:
        """Return the part that likelihoods are made with."""
        return Model(
            self.visit_spread,
            self.hour_spread,
            self.moment_spread,
            self.curve,
            self.outside_spread,
        )

    def to_json(self) -> str:
        """Return the record as JSON, the same text for the same figures."""
        return json.dumps(asdict(self), sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> "Portfolio":
        """Return the record that `to_json` wrote."""
        values = json.loads(text)
        priors = {name: tuple(prior) for name, prior in values.pop("priors").items()}
        curve, fitted = tuple(values.pop("curve")), tuple(values.pop("fitted"))
        return cls(**values, curve=curve, fitted=fitted, priors=priors)


def fit_portfolio(blocks: pl.DataFrame, known: pl.DataFrame, assumed: Assumptions) -> Portfolio:
    """Fit spreads, hour curve and priors.

    blocks: as `visits.blocks` gives them. known: store, station, channel, wifi_share (null: not
    covered by a Wi-Fi survey), burst_dbm (loudest network of that survey; null: none).
    """
    grouped = known.select(*SERIES, "burst_dbm", group_of(pl.col("wifi_share")).alias("group"))
    joined = blocks.join(grouped, on=SERIES)
    counted = joined.select(*SERIES, "group").unique().group_by("group").len()
    seen = dict(counted.iter_rows())
    chosen = _chosen(joined, assumed)
    default = _default_model(assumed)
    spread = _reading_spread(chosen, default, assumed)
    assumed = replace(assumed, max_spread=spread, mean_spread=_mean_spread(chosen, assumed))
    if chosen.is_empty():
        priors = {group: default_prior(group) for group in GROUPS}
        return _portfolio(default, (), priors, seen)
    sample = sample_of(chosen, assumed)
    model, fitted = _fit_model(sample, default, _fittable(chosen, assumed), assumed)
    priors = centred(sample, model, _priors(sample, model, assumed), assumed)
    found = _portfolio(model, fitted, priors, seen)
    groups = chosen.select(*SERIES, "group").unique()
    alike = _alike(sample, groups, found, assumed)
    return replace(found, alike=alike, reading_spread=spread, mean_spread=assumed.mean_spread)


def _reading_spread(chosen: pl.DataFrame, model: Model, assumed: Assumptions) -> float | None:
    """Return how far the dwells of maxima stray; None where no Wi-Fi survey is there to tell.

    From maxima alone nobody can tell a channel that is busy by fits and starts from one that is
    quieter and steady. A survey of the same channels can: what is returned is the spread under
    which the readings suit it best, less what the default has against it.
    """
    maxima = chosen.filter(pl.col("statistic") == "max", pl.col("group").is_in(SEEN))
    if maxima.is_empty():
        return None

    def score(spread: float) -> float:
        tried = replace(assumed, max_spread=spread)
        sample = sample_of(maxima, tried)
        likely = fresh_likelihood(sample.found, model, tried)
        yardstick = {g: default_prior(g, assumed.yardstick_spread) for g in SEEN}
        against = (np.log(spread / assumed.reading_spread) / assumed.reading_doubt) ** 2 / 2
        return round(_evidence_of(sample, likely, yardstick) - float(against), 4)

    return max(assumed.reading_spreads, key=score)


def _mean_spread(chosen: pl.DataFrame, assumed: Assumptions) -> float | None:
    """Return how far the dwells of means stray; None where too few blocks tell.

    Where bursts of a surveyed network fill a good part of each dwell, the power of a dwell follows
    its load; the number of bursts in it adds (2 L / D) (1 - u) / u to the variance of its logarithm
    (`readings.averaged`). The median block speaks for the portfolio.
    """
    gap_db = pl.col("burst_dbm") - pl.col("level_dbm")
    share = 10 ** (-(gap_db - _LOUDER_DB) / 10)
    counted = 2 * float(np.median(assumed.burst_ms)) / pl.col("dwell_ms") * (1 - share) / share
    told = chosen.filter(
        pl.col("statistic") == "mean",
        gap_db.is_between(*assumed.full_db),
        pl.col("readings") >= _FEW,
        pl.col("still") <= _SELDOM * pl.col("readings"),
    ).select(((pl.col("stray_db") / _DB_PER_NEPER) ** 2 - counted).clip(0).sqrt().alias("stray"))
    if told.height < assumed.fit_blocks:
        return None
    stray = float(np.median(told["stray"].to_numpy()))
    lowest, highest = assumed.reading_spreads[0], assumed.reading_spreads[-1]
    return round(min(max(assumed.steady * stray, lowest), highest), 2)


_FEW = 10  # readings
_LOUDER_DB = 3.0  # the loudest network, over the typical burst
_SELDOM = 0.05
_DB_PER_NEPER = 10 / np.log(10)  # of power


def _alike(
    sample: Sample, groups: pl.DataFrame, portfolio: Portfolio, assumed: Assumptions
) -> float:
    """Return the share of stations whose channels are alike, of those the sample holds."""
    numbered = sample.found.series.join(groups, on=SERIES).sort(SERIES).select(
        "pattern",
        "group",
        pl.col("store").rle_id().cast(pl.Int64),
        pl.struct("store", "station").rle_id().cast(pl.Int64).alias("station"),
    )  # fmt: skip
    likelihood = fresh_likelihood(sample.found, portfolio.model(), assumed).rows
    told = likelihood[numbered["pattern"].to_numpy()]
    priors = np.array([portfolio.priors[group] for group in GROUPS])
    group = numbered["group"].replace_strict(GROUPS, range(len(GROUPS))).to_numpy()
    log_evidence = np.log(np.maximum((told * priors[group]).sum(axis=1), 1e-300))
    series = Series(told, log_evidence, numbered["station"].to_numpy())
    return round(share_alike(series, numbered["store"].to_numpy()), _DIGITS)


def _default_model(assumed: Assumptions) -> Model:
    first, last = assumed.hours
    return Model(
        assumed.visit_spread,
        assumed.hour_spread,
        assumed.moment_spread,
        tuple(0.0 if first <= hour < last else assumed.outside for hour in range(24)),
        assumed.outside_spread,
    )


def _chosen(joined: pl.DataFrame, assumed: Assumptions) -> pl.DataFrame:
    """Return the blocks of the series fitted to: a fixed draw, whatever the order of the rows."""
    series = joined.select(SERIES).unique().sort(SERIES)
    if len(series) > assumed.fit_series:
        order = np.random.default_rng(_DRAW).permutation(len(series))[: assumed.fit_series]
        series = series[np.sort(order)]
    return joined.join(series, on=SERIES)


def _fittable(chosen: pl.DataFrame, assumed: Assumptions) -> set[str]:
    """Return which figures have stores and series enough to be fitted."""
    several = pl.col("readings") > 1
    # Means are limited by the unknown level of their bursts, and show no spread of loads.
    counted = chosen.filter(pl.col("statistic") != "mean")
    if counted.is_empty():
        return set()
    per_visit = counted.group_by(*SERIES, "visit").agg(
        pl.len().alias("hours"),
        ((pl.col("span_s") <= assumed.moments[0][0]) & several).sum().alias("moments"),
    )
    has = per_visit.group_by(SERIES).agg(
        (pl.len() > 1).alias("visit_spread"),
        (pl.col("hours") > 1).any().alias("hour_spread"),
        (pl.col("moments").sum() > 1).alias("moment_spread"),
    )
    found = {
        name
        for name in _SPREADS
        if has.filter(name).height >= assumed.fit_share * has.height
        and has.filter(name)["store"].n_unique() >= assumed.fit_stores
    }
    moments = counted.select("store", "visit", "hour").unique()
    alone = moments["hour"].n_unique() == 1 or moments["store"].n_unique() < _CURVE_STORES
    return found if alone else found | {"curve"}


def _priors(
    sample: Sample, model: Model, assumed: Assumptions, start: int = 80
) -> dict[str, Floats]:
    likelihood = fresh_likelihood(sample.found, model, assumed)
    return _fitted_priors(likelihood.rows, sample.counts, assumed, start)


def _fitted_priors(
    likelihood: Floats, counts: dict[str, Floats], assumed: Assumptions, rounds: int
) -> dict[str, Floats]:
    priors = {}
    for group in GROUPS:
        some = np.flatnonzero(counts[group])
        default = default_prior(group)
        priors[group] = fit_prior(likelihood[some], counts[group][some], default, assumed, rounds)
    return priors


def _fit_model(
    sample: Sample, default: Model, fittable: set[str], assumed: Assumptions
) -> tuple[Model, tuple[str, ...]]:
    """Climb the marginal likelihood, one figure after the other, from the defaults."""
    known: dict[Model, float] = {}
    spreads = [name for name in _SPREADS if name in fittable]

    def score(model: Model) -> float:
        if model not in known:
            doubt = _doubt(model, default, spreads, assumed)
            known[model] = round(_evidence(sample, model, assumed) - doubt, 4)
        return known[model]

    model = default
    if "curve" in fittable:
        unsure = round(default.outside_spread / sample.stores**0.5, _DIGITS)
        model = replace(default, curve=_smooth(default.curve), outside_spread=unsure)
    for _ in range(2):
        for name in spreads:
            # What cannot be fitted keeps its ratio to the visits' spread.
            along = [n for n in _SPREADS if n not in fittable] if name == _SPREADS[0] else []
            model = _climb_spread(model, [name, *along], score)
        if "curve" in fittable:
            model = _climb_curve(model, score)
    return model, tuple(sorted(fittable))


def _climb_spread(model: Model, names: list[str], score: Callable[[Model], float]) -> Model:
    best = model
    for factor in (_STEP, 1 / _STEP):
        while True:
            values = {name: round(getattr(best, name) * factor, _DIGITS) for name in names}
            tried = replace(best, **values)
            inside = _LEAST_SPREAD < values[names[0]] < _MOST_SPREAD
            if not inside or score(tried) <= score(best):
                break
            best = tried
    return best


_LEAST_SPREAD, _MOST_SPREAD = 0.2, 4.0


def _climb_curve(model: Model, score: Callable[[Model], float]) -> Model:
    best = model
    for step in (_CURVE_STEP, _CURVE_STEP / 2):
        for _ in range(_ROUNDS):
            before = best
            for term in range(_TERMS):
                for sign in (1, -1):
                    curve = tuple(np.round(np.array(best.curve) + sign * step * _term(term), 6))
                    tried = replace(best, curve=tuple(float(x) for x in curve))
                    best = max(best, tried, key=score)
            if best == before:
                break
    return best


def _term(term: int) -> Floats:
    """Return one term of the curve: cosine and sine of one and of two periods a day."""
    angle = 2 * np.pi * (np.arange(24) + 0.5) / 24 * (1 + term // 2)
    wave: Floats = np.sin(angle) if term % 2 else np.cos(angle)
    return wave


def _smooth(curve: tuple[float, ...]) -> tuple[float, ...]:
    """Return the part of a curve that the terms can show."""
    terms = [_term(t) for t in range(_TERMS)]
    wave = np.sum([np.dot(curve, term) / 12 * term for term in terms], axis=0)
    return tuple(float(x) for x in np.round(wave, _DIGITS))


def _evidence(sample: Sample, model: Model, assumed: Assumptions) -> float:
    """Return the log marginal likelihood of the sample, its priors fitted in a few rounds."""
    likelihood = fresh_likelihood(sample.found, model, assumed)
    priors = _fitted_priors(likelihood.rows, sample.counts, assumed, 15)
    return _evidence_of(sample, likelihood, priors)


def _evidence_of(sample: Sample, likelihood: Scaled, priors: Mapping[str, Floats]) -> float:
    """Return the log marginal likelihood of the groups that have a prior."""
    every = sum(
        evidence(likelihood.rows, sample.counts[g], prior)
        + float(sample.counts[g] @ likelihood.log_scale)
        for g, prior in priors.items()
    )
    return every / sample.channels_alike


def _doubt(model: Model, default: Model, spreads: list[str], assumed: Assumptions) -> float:
    """Return what the defaults have against a model."""
    ratios = np.array([np.log(getattr(model, n) / getattr(default, n)) for n in spreads])
    bent = np.subtract(model.curve, _smooth(default.curve))
    terms = np.array([np.dot(bent, _term(t)) / 12 for t in range(_TERMS)])
    spread = float((ratios**2).sum()) / assumed.spread_doubt**2
    return (spread + float((terms**2).sum()) / assumed.curve_doubt**2) / 2


def _portfolio(
    model: Model,
    fitted: tuple[str, ...],
    priors: dict[str, Floats],
    seen: dict[str, int],
) -> Portfolio:
    within = float(np.hypot(model.visit_spread, model.hour_spread))
    moment = float(np.hypot(within, model.moment_spread))
    return Portfolio(
        model.visit_spread,
        model.hour_spread,
        model.moment_spread,
        model.curve,
        fitted,
        round(correlation(round(within, _DIGITS)), _DIGITS),
        round(correlation(round(moment, _DIGITS)), _DIGITS),
        {group: seen.get(group, 0) for group in GROUPS},
        {group: tuple(float(x) for x in np.round(priors[group], 9)) for group in GROUPS},
        model.outside_spread,
    )
