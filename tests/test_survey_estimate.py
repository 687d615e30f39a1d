"""The estimator: visits, priors, posteriors, age, what is no reading, and the worked example."""

import re
from dataclasses import replace
from datetime import datetime, timedelta
from math import log
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal
from simulate.chain import chain, last_day
from simulate.fold import folded, known
from simulate.setting import Setting

from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.grid import POINTS, SHARES, correlation, straying
from pipeline.estimate.harm import frame_loss
from pipeline.estimate.portfolio import Portfolio, fit_portfolio
from pipeline.estimate.posterior import estimate
from pipeline.estimate.prior import OUTSIDE, default_prior
from pipeline.estimate.visits import blocks
from pipeline.plan.costs import chance_of_loss

ASSUMED = Assumptions()
NOON = datetime(2026, 9, 1, 12)
SERIES = ["store", "station", "channel"]


def _scans(*scans: tuple[datetime, int, int], statistic: str = "single") -> pl.DataFrame:
    """One station on channel 11: when, readings, busy."""
    rows = [
        ("S", "A", 11, at, at.hour, statistic, 138.24, n, busy, 0, -80.0) for at, n, busy in scans
    ]
    columns = (
        "store", "station", "channel", "scanned_at", "hour", "statistic", "dwell_ms", "readings",
        "busy", "censored", "level_dbm",
    )  # fmt: skip
    return pl.DataFrame(rows, schema=columns, orient="row").cast(
        {"scanned_at": pl.Datetime("us"), "hour": pl.Int64}
    )


def _known(share: float | None = None, seen_at: datetime | None = None) -> pl.DataFrame:
    return pl.DataFrame(
        [("S", "A", 11, share, None, seen_at)],
        schema={
            "store": pl.String,
            "station": pl.String,
            "channel": pl.Int64,
            "wifi_share": pl.Float64,
            "burst_dbm": pl.Float64,
            "wifi_seen_at": pl.Datetime("us"),
        },
        orient="row",
    )


def _row(scans: pl.DataFrame, told: pl.DataFrame | None = None, as_of: datetime = NOON) -> dict:  # type: ignore[type-arg]  # a row of mixed types
    told = _known() if told is None else told
    found = blocks(scans, ASSUMED)
    default = fit_portfolio(found.clear(), told, ASSUMED)
    return estimate(found, told, default, as_of, ASSUMED).frame.row(0, named=True)


def _many(at: datetime, visits: int, readings: int, busy: int) -> pl.DataFrame:
    return _scans(*((at + timedelta(days=i), readings, busy) for i in range(visits)))


def test_a_visit_ends_with_a_gap_of_six_hours() -> None:
    """Readings five hours apart are of one visit, six hours of two."""
    times = [NOON, NOON + timedelta(hours=5), NOON + timedelta(hours=11)]
    found = blocks(_scans(*((at, 4, 1) for at in times)), ASSUMED)
    assert found["visit"].to_list() == [0, 0, 1]
    assert found["hour"].to_list() == [12, 17, 23]


def test_the_worked_example_of_the_method() -> None:
    """The page of code in the method gives what the program gives, and what the text says."""
    text = (Path(__file__).parents[1] / "docs" / "method.md").read_text(encoding="utf-8")
    code = re.search(r"```python\n(.*?)```", text, re.DOTALL)
    assert code is not None
    by_hand: dict[str, float] = {}
    exec(code.group(1), by_hand)  # noqa: S102 - our own documentation
    row = _row(_scans((NOON, 5, 1), (NOON + timedelta(minutes=10), 5, 1)))
    assert row["busy_estimate"] == pytest.approx(by_hand["estimate"], abs=1e-6)
    assert row["busy_low"] == pytest.approx(by_hand["low"], abs=1e-6)
    assert row["busy_high"] == pytest.approx(by_hand["high"], abs=1e-6)
    assert row["expected_cost"] == pytest.approx(by_hand["cost"], abs=1e-6)
    for value in ("estimate", "low", "high"):
        assert f"{100 * by_hand[value]:.1f} %" in text


def test_the_interval_is_as_wide_as_the_visits_deserve() -> None:
    """The same 60 readings: narrower in 4 visits than in 1, narrower still in 12."""
    rows = [_row(_many(NOON, visits, 60 // visits, 6 // visits or 1)) for visits in (1, 3, 6)]
    widths = [row["busy_high"] - row["busy_low"] for row in rows]
    assert widths[0] > widths[1] > widths[2]
    assert [row["visits"] for row in rows] == [1, 3, 6]
    assert rows[0]["worth"] < rows[1]["worth"] < rows[2]["worth"] < 60


def test_readings_within_seconds_say_less() -> None:
    """60 readings in a second leave more doubt than 60 in an hour, and the row says so."""
    moment = _row(_scans(*((NOON + timedelta(milliseconds=20 * i), 1, i < 6) for i in range(60))))
    hour = _row(_scans(*((NOON + timedelta(seconds=50 * i), 1, i < 6) for i in range(60))))
    assert moment["moment"]
    assert not hour["moment"]
    assert moment["busy_high"] - moment["busy_low"] > hour["busy_high"] - hour["busy_low"]
    assert moment["worth"] < hour["worth"]


def test_with_age_a_scan_turns_into_the_prior() -> None:
    """A channel heard free drifts to the prior, never beyond, and its interval widens."""
    scan = _many(NOON, 2, 30, 0)
    rows = [_row(scan, as_of=NOON + timedelta(days=d)) for d in (2, 180, 720, 36_500)]
    estimates = [row["busy_estimate"] for row in rows]
    prior = float(default_prior(OUTSIDE) @ POINTS)
    assert estimates == sorted(estimates)
    assert estimates[0] < 0.02
    assert estimates[-1] == pytest.approx(prior, abs=1e-4)
    assert rows[1]["busy_high"] > rows[0]["busy_high"]


def test_an_old_wifi_survey_turns_into_no_survey() -> None:
    """A survey of the day sets the figure; one of a century ago says nothing."""
    empty = _scans((NOON, 1, 0)).clear()
    fresh = _row(empty, _known(0.5, NOON))
    old = _row(empty, _known(0.5, datetime(1926, 9, 1)))
    assert fresh["source"] == old["source"] == "inferred"
    assert fresh["busy_estimate"] > 0.3
    assert old["busy_estimate"] == pytest.approx(float(default_prior(OUTSIDE) @ POINTS), abs=1e-3)


def test_no_evidence_no_number() -> None:
    """Neither scanned nor surveyed: no figure; a plan may reckon with the cost of the prior."""
    row = _row(_scans((NOON, 1, 0)).clear())
    assert row["source"] == "absent"
    assert {row[c] for c in ("busy_estimate", "busy_low", "busy_high")} == {None}
    assert row["expected_cost"] > 0
    assert row["readings"] == 0


def test_a_censored_reading_is_busy() -> None:
    """Over the scale of the radio is loud, not missing."""
    scan = _scans((NOON, 10, 0)).with_columns(pl.lit(3, pl.Int64).alias("censored"))
    assert _row(scan)["busy_estimate"] == _row(_scans((NOON, 10, 3)))["busy_estimate"]


def test_maxima_are_not_taken_for_shares() -> None:
    """76 % of maxima over 138 ms busy is a share of a few per cent, not of 76."""
    plain, maxima = _row(_scans((NOON, 30, 23))), _row(_scans((NOON, 30, 23), statistic="max"))
    assert plain["busy_estimate"] > 0.4
    assert maxima["busy_low"] < 0.02 < maxima["busy_high"] < 0.3


def _maxima(spread: float, seed: int) -> pl.DataFrame:
    """Draw 40 maxima of 138 ms on each of 600 channels a survey calls 9 % busy; bursts of 2 ms."""
    rng = np.random.default_rng(seed)
    share = np.log(0.09 / 0.91) + rng.normal(0, 0.8, 600) + rng.normal(-0.5, 1.0, 600)
    # Less half the variance, so that the mean share is about the same whatever the spread.
    strays = rng.normal(-(spread**2) / 2, spread, (600, 40))
    u = 1 / (1 + np.exp(-share[:, None] - strays))
    silent = (1 - u) * np.exp(-138.24 * u / (2 * (1 - u)))
    busy = (rng.random((600, 40)) > silent).sum(axis=1)
    at = np.arange(600)
    one = _scans(*((NOON, 40, int(count)) for count in busy), statistic="max")
    return one.with_columns(
        pl.Series("store", [f"S{i // 10:02}" for i in at]), pl.Series("channel", 11 + at % 10)
    )


def test_a_survey_tells_loads_by_fits_and_starts_from_steady_ones() -> None:
    """As many loud maxima mean a busier channel where its load comes by fits and starts.

    Shares and dwells are drawn by a formula of the test's own, and the busy time of the channels
    is the same in both.
    """
    found = {}
    for spread in (0.2, 1.0):
        scans = _maxima(spread, 5)
        told = pl.concat(
            _known(0.09).with_columns(pl.lit(s).alias("store"), pl.lit(c).alias("channel"))
            for s, c in scans.select("store", "channel").iter_rows()
        ).with_columns(pl.col("channel").cast(pl.Int64))
        portfolio = fit_portfolio(blocks(scans, ASSUMED), told, ASSUMED)
        assert Portfolio.from_json(portfolio.to_json()) == portfolio
        found[spread] = portfolio.reading_spread
    steady, fitful = found[0.2], found[1.0]
    assert steady is not None
    assert fitful is not None
    assert steady <= 0.4
    assert fitful >= 0.8
    alone = _known().with_columns(pl.lit("S00").alias("store"))
    assert fit_portfolio(blocks(_maxima(1.0, 5), ASSUMED), alone, ASSUMED).reading_spread is None


def _means(spread: float, stores: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return 40 means of a dwell for ten channels of each store, and their Wi-Fi survey.

    Channels are 25 to 40 % busy with bursts 3 dB below the network's -50 dBm.
    """
    rng = np.random.default_rng(8)
    share = rng.uniform(0.25, 0.4, (10 * stores, 1))
    load = rng.normal(-(spread**2) / 2, spread, (10 * stores, 40))
    counted = rng.gamma(138.24 / 4 * share, 4 / 138.24 / share, (10 * stores, 40))
    dbm = np.round(-53 + 10 * np.log10(np.minimum(share * np.exp(load) * counted, 1)))
    power_dbm = 10 * np.log10((10 ** (dbm / 10)).mean(axis=1))
    at = np.arange(10 * stores)
    names = [pl.Series("store", [f"S{i // 10:02}" for i in at]), pl.Series("channel", 11 + at % 10)]
    levels = {"level_dbm": power_dbm, "typical_dbm": dbm.mean(axis=1)}
    squares = pl.Series("square_dbm", (dbm**2).mean(axis=1))
    scans = _scans(*((NOON, 40, 0) for _ in at), statistic="mean").with_columns(
        *names, *(pl.Series(k, v) for k, v in levels.items()), squares, pl.lit(0).alias("still")
    )
    told = pl.concat(_known(0.2) for _ in at).with_columns(*names, pl.lit(-50.0).alias("burst_dbm"))
    return scans, told


def test_levels_of_means_tell_how_far_loads_stray() -> None:
    """Loads that stray twice as far are told from each other; a single channel tells nothing."""
    found = []
    for spread in (0.4, 1.0):
        scans, told = _means(spread, 4)
        portfolio = fit_portfolio(blocks(scans, ASSUMED), told, ASSUMED)
        assert Portfolio.from_json(portfolio.to_json()) == portfolio
        assert portfolio.mean_spread is not None
        assert portfolio.applied(ASSUMED).mean_spread == portfolio.mean_spread
        found.append(portfolio.mean_spread)
    assert found == pytest.approx([0.75 * 0.4, 0.75 * 1.0], abs=0.1)
    one = scans.head(1)
    assert fit_portfolio(blocks(one, ASSUMED), told.head(1), ASSUMED).mean_spread is None


def test_more_straying_means_are_of_a_busier_channel() -> None:
    """Loads that stray leave dwells still now and then, where steady ones would not."""
    scans, told = _means(0.4, 1)
    found = blocks(scans.head(1).with_columns(pl.lit(4).alias("still")), ASSUMED)
    default = fit_portfolio(found.clear(), told, ASSUMED)
    busy = [
        estimate(found, told.head(1), replace(default, mean_spread=spread), NOON, ASSUMED).frame[
            "busy_estimate"
        ][0]
        for spread in (0.3, 0.9)
    ]
    assert busy[1] > busy[0] + 0.005


def test_means_are_bounded_by_their_power() -> None:
    """A louder mean is a busier channel; one at the noise is a quiet one."""
    levels = [
        _row(_scans((NOON, 10, 0), statistic="mean").with_columns(pl.lit(x).alias("level_dbm")))
        for x in (-95.0, -80.0, -60.0)
    ]
    estimates = [row["busy_estimate"] for row in levels]
    assert estimates == sorted(estimates)
    assert estimates[0] < 0.05
    assert estimates[2] > 0.15


def test_still_means_tell_few_loud_bursts_from_many_weak_ones() -> None:
    """Means of -90 dBm: where half are still the bursts are loud, where none is they are weak.

    Where nobody counted them, neither is known. All still, whatever the level: nothing was there.
    """
    scan = _scans((NOON, 30, 0), statistic="mean").with_columns(pl.lit(-90.0).alias("level_dbm"))
    half, none, every = (
        _row(scan.with_columns(pl.lit(still, pl.Int64).alias("still"))) for still in (15, 0, 30)
    )
    unknown = _row(scan)
    assert every["busy_high"] < 0.005
    assert unknown["busy_low"] == none["busy_low"] == 0
    assert half["busy_low"] > 0.001
    assert half["busy_estimate"] > 2 * none["busy_estimate"]


@pytest.mark.parametrize("spread", [0.3, 0.8, 2.0])
def test_parts_are_right_on_average(spread: float) -> None:
    """However far parts stray, the mean of their shares is that of the whole."""
    middle = (SHARES > 0.001) & (SHARES < 0.9)
    assert straying(spread) @ SHARES == pytest.approx(SHARES, abs=0.01)  # the grid ends at 99 %
    assert (straying(spread) @ SHARES)[middle] == pytest.approx(SHARES[middle], rel=1e-6)
    assert 0 < correlation(spread) < 1


def test_no_result_rests_on_order_or_company() -> None:
    """Rows in any order, stores alone or together: the same portfolio and the same figures."""
    setting = Setting("small", stores=4)
    made = chain(setting, 1)
    told = known(made.truth)
    found = blocks(folded(made.readings), ASSUMED)
    portfolio = fit_portfolio(found, told, ASSUMED)
    mixed = blocks(folded(made.readings.sample(fraction=1, shuffle=True, seed=5)), ASSUMED)
    shuffled = told.sample(fraction=1, shuffle=True, seed=6)
    assert fit_portfolio(mixed, shuffled, ASSUMED) == portfolio
    day = last_day(setting)
    whole = estimate(found, told, portfolio, day, ASSUMED).frame
    assert_frame_equal(estimate(mixed, shuffled, portfolio, day, ASSUMED).frame, whole)
    one = pl.col("store") == "S0002"
    alone = estimate(found.filter(one), told.filter(one), portfolio, day, ASSUMED).frame
    assert_frame_equal(alone, whole.filter(one), check_exact=True)
    assert Portfolio.from_json(portfolio.to_json()) == portfolio


def test_interference_below_the_threshold_harms_by_its_level() -> None:
    """-77 dBm spoils what a label at -80 dBm says; -95 dBm does not. By the standard's PER."""
    assert frame_loss(-77.0) == pytest.approx(0.3, abs=0.01)  # 127 octets at -3 dB: all lost
    assert frame_loss(-95.0) < 1e-9


def test_a_chance_of_loss_counts_own_traffic() -> None:
    """Equal air loses at even odds; own stations on the new channel, and a margin, turn them."""
    air = (2.0, 18.0)
    assert chance_of_loss((*air, 0.0), (*air, 0.0), 0.0) == pytest.approx(0.5, abs=1e-3)
    assert chance_of_loss((*air, 0.0), (*air, 0.1), 0.0) > 0.75
    assert chance_of_loss((*air, 0.0), (*air, 0.0), 0.1) < 0.25
    drawn = np.random.default_rng(1).beta(2, 18, 200_000)
    lost = float((0.95 * (1 - drawn) - 0.9 > 0.01).mean())  # what stays free there is all but sure
    assert chance_of_loss((*air, -log(0.95)), (1e5, 9e5, 0.0), 0.01) == pytest.approx(
        lost, abs=0.005
    )


def test_the_prior_weighs_little_once_there_are_series() -> None:
    """A heavier default prior changes one store's figures more than it does those of 40."""
    shifts = []
    for stores in (1, 40):
        setting = Setting("small", stores=stores)
        made = chain(setting, 2)
        found, told = blocks(folded(made.readings), ASSUMED), known(made.truth)
        means = []
        for weight in (3.0, 30.0):
            assumed = replace(ASSUMED, prior_series=weight)
            portfolio = fit_portfolio(found, told, assumed)
            frame = estimate(found, told, portfolio, last_day(setting), assumed).frame
            means.append(frame["busy_estimate"])
        shifts.append(float((means[0] - means[1]).abs().mean()))  # type: ignore[arg-type]  # a float
    assert shifts[1] < shifts[0]


def test_visits_that_agree_are_believed_in_one_store_too() -> None:
    """Ten visits of 35 busy readings of 346, nothing else known: within a point and a half."""
    found = blocks(_many(NOON, 10, 346, 35), ASSUMED)
    portfolio = fit_portfolio(found, _known(), ASSUMED)
    row = estimate(found, _known(), portfolio, NOON + timedelta(days=10), ASSUMED).frame
    assert row["busy_estimate"].item() == pytest.approx(35 / 346, abs=0.015)
    assert portfolio.visit_spread < ASSUMED.visit_spread / 2


def test_a_scan_at_night_says_less_of_the_hours_that_matter() -> None:
    """Where no hour curve can be fitted, nights are quieter, and nobody knows by how much."""
    night, day = (_row(_many(at, 3, 100, 10)) for at in (NOON.replace(hour=2), NOON))
    assert night["busy_estimate"] > day["busy_estimate"]
    assert night["busy_high"] - night["busy_low"] > day["busy_high"] - day["busy_low"]
