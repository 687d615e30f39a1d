"""Published intervals, costs and sample sizes, through the functions the decision uses."""

from datetime import datetime

import numpy as np
import polars as pl
import pytest
from numpy.typing import NDArray
from scipy.stats import beta

from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.grid import SHARES
from pipeline.estimate.portfolio import Portfolio
from pipeline.estimate.posterior import Estimates, estimate, quantile
from pipeline.estimate.prior import GROUPS, OUTSIDE
from pipeline.estimate.readings import caught, stillness
from pipeline.estimate.visits import blocks, worth
from pipeline.plan.costs import Swap, chance_together, expected_cost

NOON = datetime(2026, 9, 1, 12)


def _plain(prior: NDArray[np.float64]) -> Portfolio:
    """A portfolio without any straying, in which each reading is independent of the others."""
    weights = (0.0, *(float(x) for x in prior / prior.sum()))
    priors = dict.fromkeys(GROUPS, weights)
    return Portfolio(0.0, 0.0, 0.0, (0.0,) * 24, (), 0.0, 0.0, {OUTSIDE: 1}, priors)


def _of(busy: int, readings: int, portfolio: Portfolio) -> Estimates:
    assumed = Assumptions()
    key = {"store": ["S"], "station": ["A"], "channel": [11]}
    scan = pl.DataFrame(
        key
        | {
            "scanned_at": [NOON],
            "hour": [12],
            "statistic": ["single"],
            "dwell_ms": [0.128],
            "readings": [readings],
            "busy": [busy],
            "censored": [0],
            "level_dbm": [-80.0],
        }
    )
    known = pl.DataFrame(
        key | {"wifi_share": [None], "burst_dbm": [None]},
        schema_overrides={"wifi_share": pl.Float64, "burst_dbm": pl.Float64},
    )
    found = blocks(scan, assumed)
    return estimate(found, known, portfolio, NOON, assumed)


def test_jeffreys_interval() -> None:
    """15 of 148 with the prior Beta(.5, .5): .0604 to .1576 at 95 % (Newcombe 1998, recomputed)."""
    found = _of(15, 148, _plain(SHARES**0.5 * (1 - SHARES) ** 0.5))
    assert quantile(found.weights, 0.025)[0] == pytest.approx(0.0604, abs=0.001)
    assert quantile(found.weights, 0.975)[0] == pytest.approx(0.1576, abs=0.001)


@pytest.mark.parametrize(("busy", "readings"), [(0, 20), (1, 29), (3, 10), (15, 148)])
def test_posterior_of_independent_readings_is_a_beta(busy: int, readings: int) -> None:
    """With a uniform prior it is Beta(1 + k, 1 + n - k) (Bayes; quantiles of scipy)."""
    row = _of(busy, readings, _plain(SHARES * (1 - SHARES))).frame.row(0, named=True)
    true = beta(1 + busy, 1 + readings - busy)
    assert row["busy_estimate"] == pytest.approx(true.mean(), abs=2e-4)
    assert row["busy_low"] == pytest.approx(true.ppf(0.05), abs=2e-3)
    assert row["busy_high"] == pytest.approx(true.ppf(0.95), abs=2e-3)
    assert row["a"] == pytest.approx(1 + busy, rel=0.02)
    assert row["b"] == pytest.approx(1 + readings - busy, rel=0.02)
    assert row["expected_cost"] == pytest.approx(expected_cost(row["a"], row["b"]), rel=0.02)


@pytest.mark.parametrize(("a", "b", "cost"), [(1, 1, 1), (2, 3, 7 / 12)])
def test_expected_cost_is_a_difference_of_digammas(a: float, b: float, cost: float) -> None:
    """E[-ln(1 - p)] is 1 for Beta(1, 1) and 7/12 for Beta(2, 3), exactly (harmonic numbers)."""
    assert expected_cost(a, b) == pytest.approx(cost, rel=1e-14)


def test_a_maximum_catches_most_of_a_small_share() -> None:
    """U = .02, L = 2 ms, D = 138.24 ms (an ED scan of n = 3): .761, recomputed."""
    assert caught(np.array([0.02]), 2.0, 138.24)[0] == pytest.approx(0.761, abs=5e-4)


def _dwells(rng: np.random.Generator, share: float, burst_ms: float, least_ms: float) -> float:
    """Return the part of dwells of 138.24 ms in which no burst of at least so long begins or is."""
    silence_ms = burst_ms * (1 - share) / share
    count, dwell_ms = 200_000, 138.24
    bursts, silences = rng.exponential(burst_ms, count), rng.exponential(silence_ms, count)
    ends = np.cumsum(bursts + silences)
    begins = ends - bursts
    long = bursts >= least_ms
    at = rng.uniform(0, ends[-2] - dwell_ms, 100_000)
    within = np.searchsorted(ends, at)
    sending = begins[within] <= at
    follows = np.searchsorted(begins[long], at)
    return float(np.mean(~sending & (begins[long][follows] > at + dwell_ms)))


@pytest.mark.parametrize(
    ("share", "burst_ms", "least_ms"),
    [(0.02, 2.0, 0.0), (0.02, 2.0, 1.0), (0.005, 4.0, 2.0), (0.1, 8.0, 6.0), (0.01, 0.5, 0.5)],
)
def test_how_often_no_long_burst_falls_into_a_dwell(
    share: float, burst_ms: float, least_ms: float
) -> None:
    """Against bursts and silences drawn one after the other (no published value)."""
    drawn = _dwells(np.random.default_rng(5), share, burst_ms, least_ms)
    told = stillness(np.array([share]), np.array(burst_ms), 138.24, np.array(least_ms))[0]
    assert told == pytest.approx(drawn, abs=0.01)
    if not least_ms:
        assert told == pytest.approx(1 - caught(np.array([share]), burst_ms, 138.24)[0], abs=1e-12)


@pytest.mark.parametrize(("r", "together"), [(0.05, 24.5), (1.0, 2.0), (0.0, 60.0)])
def test_two_visits_of_thirty(r: float, together: float) -> None:
    """Design effect (Kish 1965): two visits of 30 at r = .05 are worth 24.5, at r = 1 two."""
    assert 2 * worth(30, r) == pytest.approx(together, abs=0.03)


@pytest.mark.parametrize(("p", "readings"), [(0.10, 3457), (0.20, 1537), (0.50, 384)])
def test_sample_sizes_for_ten_per_cent(p: float, readings: int) -> None:
    """ITU-R SM.1880: these many readings for 10 % relative error at 95 % (recomputed).

    So at the plan, two channels with so many, 10 % x sqrt(2) apart, are told apart at 95 %.
    """
    apart = p * (1 + 0.1 * 2**0.5)
    here, there = (apart * readings, (1 - apart) * readings), (p * readings, (1 - p) * readings)
    assert chance_together([Swap(1.0, here, there)], 0.0) == pytest.approx(0.975, abs=0.006)


def test_five_from_ten_per_cent_takes_hundreds_of_readings() -> None:
    """About 340 independent readings a channel tell 5 from 10 % (recomputed); 60 do not."""
    assert chance_together([Swap(1.0, (34, 306), (17, 323))], 0.0) > 0.99
    assert chance_together([Swap(1.0, (6, 54), (3, 57))], 0.0) < 0.9
