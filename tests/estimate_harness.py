"""The estimator measured on simulated chains, beside the bound that was printed before it."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import polars as pl
from decision_harness import OWN_COST, PERMITTED, carried_out
from simulate.chain import Chain, chain, last_day
from simulate.fold import folded, known
from simulate.setting import Setting

from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.portfolio import fit_portfolio
from pipeline.estimate.posterior import estimate
from pipeline.estimate.visits import blocks
from pipeline.plan.decide import PLAIN

SERIES = ["store", "station", "channel"]
_SIGHT = 0.0005  # shares are printed to a tenth of a point
_Z = 1.645


@dataclass(frozen=True)
class Measured:
    """One chain measured; points of clear air and percentages."""

    bias: float
    error: float
    bound_bias: float
    covered: float
    covered_busy: float
    width: float
    planned_bias: float
    moved: float
    regret: float
    regret_today: float
    under_one: float
    harmed: float
    kept: float


Maker = Callable[[Setting, int, int], Chain]


def estimated(setting: Setting, seed: int, survey: int = 0, made_by: Maker = chain) -> pl.DataFrame:
    """Return the truth of a chain joined with the estimates of one survey of it."""
    made = made_by(setting, seed, survey)
    rows, told = folded(made.readings), known(made.truth)
    assumed = Assumptions()
    found = blocks(rows, assumed)
    portfolio = fit_portfolio(found, told, assumed)
    frame = estimate(found, told, portfolio, last_day(setting), assumed).frame
    shares = rows.group_by(SERIES).agg((pl.col("busy").sum() / pl.col("readings").sum()).alias("p"))
    return made.truth.join(frame, on=SERIES).join(shares, on=SERIES).sort(SERIES)


def measured(setting: Setting, seed: int, made_by: Maker = chain) -> Measured:
    """Return what one chain measures, its plan carried out."""
    joined = estimated(setting, seed, made_by=made_by)
    own = OWN_COST if setting.null is None else 0.0
    plan = carried_out(joined, seed, own=own).frame
    free = carried_out(joined, seed, terms=PLAIN, own=own).frame
    today = carried_out(_bounds(joined), seed, terms=PLAIN, own=own).frame
    moves = plan.filter(pl.col("old") != pl.col("new"))
    good = free.filter(pl.col("old") != pl.col("new"), pl.col("gained") > 5)
    kept = moves.join(good, on=["store", "station"], how="semi")
    covered = _covered(joined)
    busy = joined["busy"].is_between(0.05, 0.4)
    return Measured(
        bias=_points(joined["busy"] - joined["busy_estimate"]),
        error=_points((joined["busy"] - joined["busy_estimate"]).abs()),
        bound_bias=_points(joined["busy"] - _bound(joined)),
        covered=_points(covered),
        covered_busy=_points(covered.filter(busy)),
        width=_points(joined["busy_high"] - joined["busy_low"]),
        planned_bias=_points(plan["claimed"] - plan["gained"]) / 100,
        moved=100 * len(moves) / len(plan),
        regret=_regret(plan),
        regret_today=_regret(today),
        under_one=100 * moves.filter(pl.col("gained") < 1).height / max(1, len(moves)),
        harmed=100 * moves.filter(pl.col("gained") < -1).height / max(1, len(moves)),
        kept=100 * len(kept) / len(good) if len(good) else 100.0,
    )


def judged(joined: pl.DataFrame) -> tuple[float, float, float]:
    """Return bias in points of clear air, and how many of 100 intervals cover: all, truly busy."""
    covered, busy = _covered(joined), joined["busy"].is_between(0.05, 0.4)
    bias = _points(joined["busy"] - joined["busy_estimate"])
    return bias, _points(covered), _points(covered.filter(busy))


def _points(values: pl.Series) -> float:
    return 100 * float(np.mean(values.to_numpy()))


def _covered(joined: pl.DataFrame) -> pl.Series:
    inside = (pl.col("busy") >= pl.col("busy_low") - _SIGHT) & (
        pl.col("busy") <= pl.col("busy_high") + _SIGHT
    )
    return joined.select(inside.alias("inside"))["inside"]


def _regret(plan: pl.DataFrame) -> float:
    return float(np.mean(plan.unique("store")["regret"].to_numpy()))


def _bound(joined: pl.DataFrame) -> pl.Series:
    """Return the Wilson upper bound of the plain shares: what was printed before."""
    p, n = joined["p"], joined["readings"].cast(pl.Float64)
    spread = (p * (1 - p) / n + _Z**2 / (4 * n * n)).sqrt() * _Z
    return ((p + _Z**2 / (2 * n) + spread) / (1 + _Z**2 / n)).clip(0.0, 0.999)


def _bounds(joined: pl.DataFrame) -> pl.DataFrame:
    bound = _bound(joined)
    cost = pl.Series("expected_cost", -np.log1p(-bound.to_numpy()))
    return joined.with_columns(cost, (bound * 1e5).alias("a"), ((1 - bound) * 1e5).alias("b"))


def claimed_and_scanned_anew(setting: Setting, seed: int) -> tuple[float, float, float]:
    """Return the share of stations moved (%), and the interval of what a null chain's moves gain.

    The plan is carried out and the chain scanned anew; the gain is the mean over the stations moved
    of the estimate before less that after, in points. Interval: 90 %, from the posteriors'
    variances. 0 to 0 where nothing is moved.
    """
    before, after = estimated(setting, seed), estimated(setting, seed, survey=1)
    plan = carried_out(before, seed, own=0.0).frame
    moved = plan.filter(pl.col("old") != pl.col("new"))
    share = 100 * len(moved) / len(plan)
    if moved.is_empty():
        return share, 0.0, 0.0
    old = _at(before, moved, "old")
    new = _at(after, moved, "new")
    gain = _points(old["busy_estimate"] - new["busy_estimate"])
    total = sum(float(_variance(side).sum()) for side in (old, new))
    half = _Z * 100 * float(total) ** 0.5 / len(moved)
    return share, gain - half, gain + half


def worst_to_best(setting: Setting, seed: int) -> tuple[float, float]:
    """Return the gain promised and claimed, in points, where stations take what looks quietest.

    From the channel that looks busiest; claimed: the difference of the two in a later survey.
    """
    before, after = estimated(setting, seed), estimated(setting, seed, survey=1)
    ranked = before.filter(pl.col("channel").is_in(PERMITTED)).sort("busy_estimate", "channel")
    moved = ranked.group_by("store", "station", maintain_order=True).agg(
        pl.col("channel").last().alias("old"), pl.col("channel").first().alias("new")
    )
    promised, claimed = (
        _points(
            _at(survey, moved, "old")["busy_estimate"] - _at(survey, moved, "new")["busy_estimate"]
        )
        for survey in (before, after)
    )
    return promised, claimed


def _at(joined: pl.DataFrame, moved: pl.DataFrame, side: str) -> pl.DataFrame:
    on = moved.select("store", "station", pl.col(side).cast(pl.Int64).alias("channel"))
    return on.join(joined, on=SERIES, how="left", maintain_order="left")


def _variance(rows: pl.DataFrame) -> pl.Series:
    a, b = rows["a"], rows["b"]
    return a * b / ((a + b) ** 2 * (a + b + 1))
