"""Sums, percentiles, noise and bounds against published values and reference libraries."""

from math import log
from statistics import fmean

import duckdb
import numpy as np
import pytest
from scipy import stats

from pipeline.radio.levels import (
    effective_count,
    percentile,
    power_mean_dbm,
    power_sum_dbm,
    thermal_noise_dbm,
    wilson_upper_bound,
)


@pytest.mark.parametrize(
    ("levels_dbm", "mean_of_db", "mean_dbm"),
    [
        ([-90.0, -90.0, -90.0, -60.0], -82.5, -66.0076),
        ([-40.0, -50.0, -60.0], -50.0, -44.3180),
        ([-80.0, -80.0, -80.0, -50.0], -72.5, -56.0076),
    ],
)
def test_power_mean(levels_dbm: list[float], mean_of_db: float, mean_dbm: float) -> None:
    """The mean is taken in mW; the mean of the dB values is far off (recomputed)."""
    assert fmean(levels_dbm) == mean_of_db
    assert power_mean_dbm(levels_dbm) == pytest.approx(mean_dbm, abs=1e-4)


@pytest.mark.parametrize(
    ("levels_dbm", "sum_dbm"),
    [([-70.0, -70.0], -66.9897), ([-70.0, -73.0], -68.2357)],
)
def test_power_sum(levels_dbm: list[float], sum_dbm: float) -> None:
    """Two equal levels add 3.01 dB; 3 dB apart they add 1.76 dB (recomputed)."""
    assert power_sum_dbm(levels_dbm) == pytest.approx(sum_dbm, abs=1e-4)


def test_rayleigh_bias() -> None:
    """Under Rayleigh fading the mean of dB lies 2.5068 dB below the level of the mean.

    10 gamma / ln 10 with Euler's constant, textbook; the fading is stepped through its quantiles.
    """
    ranks = (np.arange(20_000) + 0.5) / 20_000
    levels_dbm = [float(x) for x in 10 * np.log10(stats.expon.ppf(ranks))]

    bias_db = power_mean_dbm(levels_dbm) - fmean(levels_dbm)

    assert bias_db == pytest.approx(10 * float(np.euler_gamma) / log(10), abs=2e-3)
    assert bias_db == pytest.approx(2.5068, abs=2e-3)


@pytest.mark.parametrize(
    ("bandwidth_hz", "temperature_k", "noise_dbm", "tolerance_db"),
    [
        # Recomputed with k = 1.380649e-23 J/K (SI Brochure, 9th edition).
        (1.0, 290.0, -173.9752, 1e-4),
        (1e6, 290.0, -113.9752, 1e-4),
        (2e6, 290.0, -110.9649, 1e-4),
        (5e6, 290.0, -106.9855, 1e-4),
        (20e6, 290.0, -100.9649, 1e-4),
        (22e6, 290.0, -100.5510, 1e-4),
        (2e6, 300.0, -110.8177, 1e-4),
        # Published in ns-3, wifi-error-rate-models-test, with an older k.
        (22e6, 290.0, -100.5522786, 0.005),
    ],
)
def test_thermal_noise(
    bandwidth_hz: float, temperature_k: float, noise_dbm: float, tolerance_db: float
) -> None:
    """Noise power kTB agrees with recomputed and published values."""
    level_dbm = thermal_noise_dbm(bandwidth_hz, temperature_k)

    assert level_dbm == pytest.approx(noise_dbm, abs=tolerance_db)


def test_noise_is_taken_at_290_k_unless_told() -> None:
    """290 K is the usual reference temperature (from memory): -110.9649 dBm in 2 MHz."""
    assert thermal_noise_dbm(2e6) == thermal_noise_dbm(2e6, 290.0)


@pytest.mark.parametrize(
    ("share", "value"), [(0.1, 1.9), (0.25, 3.25), (0.5, 5.5), (0.9, 9.1), (0.95, 9.55)]
)
def test_percentile_of_one_to_ten(share: float, value: float) -> None:
    """Type 7 of Hyndman and Fan (1996) for 1 to 10 (recomputed)."""
    assert percentile([float(x) for x in range(1, 11)], share) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize(("share", "value"), [(0.1, -93.8), (0.5, -90), (0.9, -70), (0.95, -65)])
def test_percentile_of_levels(share: float, value: float) -> None:
    """Type 7 for five levels, interpolated in dB (recomputed)."""
    levels_dbm = [-60.0, -95.0, -90.0, -92.0, -85.0]

    assert percentile(levels_dbm, share) == pytest.approx(value, abs=1e-9)


def test_percentile_interpolates_in_the_unit_given() -> None:
    """The 90th of -90 and -60 is -63.0 in dB, but -60.4571 dBm when taken in mW (recomputed)."""
    assert percentile([-90.0, -60.0], 0.9) == pytest.approx(-63.0, abs=1e-9)

    in_mw = percentile([10**-9.0, 10**-6.0], 0.9)

    assert 10 * np.log10(in_mw) == pytest.approx(-60.4571, abs=1e-4)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.25, 0.5, 0.77, 0.9, 0.95, 0.99, 1.0])
def test_percentile_equals_numpy_and_duckdb(share: float) -> None:
    """Agrees with numpy's linear quantile and DuckDB's quantile_cont, to 1e-9."""
    values = [float(x) for x in np.random.default_rng(15).normal(-85, 9, size=237)]
    row = duckdb.execute(
        "select quantile_cont(x, $share) from (select unnest($values::double[]) as x)",
        {"values": values, "share": share},
    ).fetchone()

    assert row is not None
    assert percentile(values, share) == pytest.approx(row[0], abs=1e-9)
    assert percentile(values, share) == pytest.approx(np.quantile(values, share), abs=1e-9)


def test_discrete_quantile_is_another_statistic() -> None:
    """DuckDB's quantile_disc gives 1, 3, 9, 10 for 1 to 10 where type 7 interpolates."""
    row = duckdb.execute(
        "select quantile_disc(x, [0.1, 0.25, 0.9, 0.95]) from (select unnest(range(1, 11)) as x)"
    ).fetchone()

    assert row == ([1, 3, 9, 10],)
    assert [percentile([float(x) for x in range(1, 11)], p) for p in (0.1, 0.25, 0.9, 0.95)] == [
        pytest.approx(v, abs=1e-9) for v in (1.9, 3.25, 9.1, 9.55)
    ]


@pytest.mark.parametrize(
    ("hits", "count"), [(0, 1), (0, 10), (1, 10), (3, 40), (500, 1000), (9, 10), (10, 10)]
)
@pytest.mark.parametrize("confidence", [0.6, 0.8, 0.95, 0.999])
def test_wilson_bound_equals_scipy(hits: int, count: int, confidence: float) -> None:
    """Agrees with scipy's one-sided Wilson score interval."""
    result = stats.binomtest(hits, count, alternative="less")
    expected = result.proportion_ci(confidence_level=confidence, method="wilson").high

    assert wilson_upper_bound(hits, count, confidence) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("hits", "count"), [(0, 50), (2, 50), (13, 200), (400, 1000)])
def test_wilson_bound_lies_near_the_jeffreys_bound(hits: int, count: int) -> None:
    """A Bayesian with Jeffreys' prior comes to nearly the same bound (scipy's beta)."""
    jeffreys = stats.beta.ppf(0.95, hits + 0.5, count - hits + 0.5)

    assert wilson_upper_bound(hits, count) == pytest.approx(jeffreys, abs=0.75 / count + 0.001)


@pytest.mark.parametrize("count", [20, 100, 400])
def test_wilson_bound_covers_as_often_as_it_says(count: int) -> None:
    """Averaged over true shares, the bound at 95 % holds in 93 to 98 % of scans (scipy's binom)."""
    shares = np.linspace(0.01, 0.6, 60)
    hits = np.arange(count + 1)
    bounds = np.array([wilson_upper_bound(int(h), count) for h in hits])
    covered = [float(stats.binom.pmf(hits, count, p)[bounds >= p].sum()) for p in shares]

    assert 0.93 < fmean(covered) < 0.98


@pytest.mark.parametrize(("share", "correlation"), [(0.06, 0.42), (0.3, 0.8), (0.5, 0.0)])
def test_effective_count_of_a_two_state_chain(share: float, correlation: float) -> None:
    """A busy/free Markov chain's mean varies as that of effective_count independent readings.

    The variance of the mean is summed exactly: its autocorrelation at lag k is r^k, textbook.
    """
    n = 20_000
    lags = np.arange(1, n)
    inflation = 1 + 2 * float(((1 - lags / n) * correlation**lags).sum())
    exact_variance = share * (1 - share) / n * inflation

    independent_variance = share * (1 - share) / effective_count(n, correlation)

    assert independent_variance == pytest.approx(exact_variance, rel=2e-3)
