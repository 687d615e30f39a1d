"""Properties of sums, means, percentiles and bounds."""

from itertools import pairwise
from random import Random
from statistics import fmean

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.radio.levels import (
    dbm_from_mw,
    effective_count,
    mw_from_dbm,
    percentile,
    power_mean_dbm,
    power_sum_dbm,
    thermal_noise_dbm,
    wilson_upper_bound,
)

levels = st.floats(-130, 30)
some_levels = st.lists(levels, min_size=1, max_size=30)
shares = st.floats(0, 1)
counts = st.floats(0.5, 1e6)
confidences = st.floats(0.5, 0.999)


@given(st.floats(-3000, 3000))
def test_levels_and_powers_are_inverse(level_dbm: float) -> None:
    """A level turned into mW and back is the same level."""
    assert dbm_from_mw(mw_from_dbm(level_dbm)) == pytest.approx(level_dbm, abs=1e-9)


def test_zero_dbm_is_one_milliwatt() -> None:
    """The reference of dBm is 1 mW."""
    assert mw_from_dbm(0.0) == 1.0
    assert dbm_from_mw(1.0) == 0.0


@given(some_levels)
def test_a_sum_is_at_least_its_largest_term(levels_dbm: list[float]) -> None:
    """A power sum lies between the strongest level and n times it."""
    sum_dbm = power_sum_dbm(levels_dbm)

    assert max(levels_dbm) <= sum_dbm
    assert sum_dbm <= max(levels_dbm) + dbm_from_mw(len(levels_dbm)) + 1e-9


@given(some_levels, levels)
def test_another_signal_never_weakens_a_sum(levels_dbm: list[float], more_dbm: float) -> None:
    """Power added is never lost."""
    assert power_sum_dbm([*levels_dbm, more_dbm]) >= power_sum_dbm(levels_dbm) - 1e-12


@given(some_levels)
def test_a_mean_lies_within_its_levels(levels_dbm: list[float]) -> None:
    """The mean in mW is between the extremes and never below the mean of dB (Jensen)."""
    mean_dbm = power_mean_dbm(levels_dbm)

    assert min(levels_dbm) <= mean_dbm <= max(levels_dbm)
    assert mean_dbm >= fmean(levels_dbm) - 1e-9


@given(levels, st.integers(1, 50))
def test_a_mean_of_equal_levels_is_that_level(level_dbm: float, count: int) -> None:
    """A constant level is its own mean, to the last bit."""
    assert power_mean_dbm([level_dbm] * count) == level_dbm


@given(some_levels, st.randoms(use_true_random=False))
def test_order_does_not_matter(levels_dbm: list[float], random: Random) -> None:
    """The same levels in another order give the same bits."""
    shuffled = list(levels_dbm)
    random.shuffle(shuffled)

    assert power_sum_dbm(shuffled) == power_sum_dbm(levels_dbm)
    assert power_mean_dbm(shuffled) == power_mean_dbm(levels_dbm)
    assert percentile(shuffled, 0.9) == percentile(levels_dbm, 0.9)


def test_levels_beyond_any_float_power_are_summed() -> None:
    """A sum is taken relative to the strongest level, so nothing overflows or vanishes."""
    assert power_sum_dbm([5000.0, 5000.0]) == pytest.approx(5003.0103, abs=1e-4)
    assert power_mean_dbm([-5000.0, -5000.0]) == -5000.0


@given(some_levels, shares, shares)
def test_percentiles_rise_with_the_share(levels_dbm: list[float], one: float, other: float) -> None:
    """A percentile lies within the values and never falls as the share grows."""
    low, high = (percentile(levels_dbm, share) for share in sorted((one, other)))

    assert min(levels_dbm) <= low <= high <= max(levels_dbm)


@given(some_levels)
def test_extreme_percentiles_are_the_extremes(levels_dbm: list[float]) -> None:
    """Share 0 is the smallest value and share 1 the largest."""
    assert percentile(levels_dbm, 0.0) == min(levels_dbm)
    assert percentile(levels_dbm, 1.0) == max(levels_dbm)


@given(st.floats(1, 1e9), st.floats(1, 1000), st.floats(1.1, 10))
def test_noise_grows_with_bandwidth_and_temperature(
    bandwidth_hz: float, temperature_k: float, factor: float
) -> None:
    """Twice the bandwidth or the temperature is twice the noise power."""
    more_db = dbm_from_mw(factor)
    noise_dbm = thermal_noise_dbm(bandwidth_hz, temperature_k)

    wider_dbm = thermal_noise_dbm(bandwidth_hz * factor, temperature_k)
    hotter_dbm = thermal_noise_dbm(bandwidth_hz, temperature_k * factor)

    assert wider_dbm - noise_dbm == pytest.approx(more_db, abs=1e-9)
    assert hotter_dbm - noise_dbm == pytest.approx(more_db, abs=1e-9)


@given(shares, counts, confidences)
def test_the_bound_is_never_below_the_share(share: float, count: float, confidence: float) -> None:
    """An upper bound lies between the share that was seen and 1."""
    hits = share * count

    assert hits / count <= wilson_upper_bound(hits, count, confidence) <= 1


@given(shares, counts, st.floats(1.5, 100))
def test_more_readings_tighten_the_bound(share: float, count: float, factor: float) -> None:
    """The same share of more readings is bounded no higher."""
    few = wilson_upper_bound(share * count, count)
    many = wilson_upper_bound(share * count * factor, count * factor)

    assert many <= few + 1e-12


@given(shares, counts, confidences, confidences)
def test_more_confidence_loosens_the_bound(
    share: float, count: float, one: float, other: float
) -> None:
    """A bound to be more sure of lies no lower."""
    sure, surer = (wilson_upper_bound(share * count, count, c) for c in sorted((one, other)))

    assert sure <= surer + 1e-12


@given(st.floats(0.5, 1000), shares, shares)
def test_more_hits_raise_the_bound(count: float, one: float, other: float) -> None:
    """More busy readings of as many are bounded higher."""
    low, high = sorted((one, other))

    assert wilson_upper_bound(low * count, count) <= wilson_upper_bound(high * count, count) + 1e-12


def test_no_readings_mean_nothing_is_known() -> None:
    """Without a reading the air may be busy all the time."""
    assert wilson_upper_bound(0, 0) == 1.0


def test_the_median_bound_is_the_share() -> None:
    """At a confidence of one half the bound is the share itself."""
    assert wilson_upper_bound(3, 10, 0.5) == 0.3


@given(counts, st.lists(st.floats(0, 0.99), min_size=2, max_size=6))
def test_correlation_takes_readings_away(count: float, correlations: list[float]) -> None:
    """The more alike neighbouring readings are, the fewer they are worth."""
    worth = [effective_count(count, r) for r in sorted(correlations)]

    assert effective_count(count, 0) == count
    assert all(0 < more <= less for less, more in pairwise([count, *worth]))
