"""Properties of errors, rejection, busy share and ED scales."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.radio.coexistence import (
    EdScale,
    Rejection,
    bit_error_rate,
    busy_share,
    channel_rejection_db,
    ed_level_dbm,
    packet_error_rate,
    sinr_db,
    sinr_for_packet_error_rate_db,
)

ratios = st.floats(-60, 60)
octets = st.integers(1, 127)
levels = st.floats(-130, 0)
some_levels = st.lists(levels, min_size=1, max_size=40)
rejections = st.tuples(st.floats(0, 60), st.floats(0, 60)).map(lambda x: Rejection(*sorted(x)))


@given(ratios, ratios)
def test_bit_errors_fall_with_the_ratio(one: float, other: float) -> None:
    """A better ratio never means more errors, and the rate stays within 0 to one half."""
    worse, better = sorted((one, other))

    assert 0 <= bit_error_rate(better) <= bit_error_rate(worse) * (1 + 1e-9) <= 0.5 * (1 + 1e-9)


def test_bit_errors_at_the_ends() -> None:
    """Without a signal every second bit is wrong; with nothing but signal none is."""
    assert bit_error_rate(-inf) == 0.5
    assert bit_error_rate(inf) == 0
    assert bit_error_rate(1e6) == 0


@given(ratios, octets)
def test_longer_frames_are_lost_more(ratio_db: float, size: int) -> None:
    """The loss lies in 0 to 1, and one octet more never lowers it."""
    loss = packet_error_rate(ratio_db, size)

    assert 0 <= loss <= 1
    assert packet_error_rate(ratio_db, min(size + 1, 127)) >= loss


@given(st.floats(-6, 15), octets)
def test_rare_losses_are_the_sum_of_bit_errors(ratio_db: float, size: int) -> None:
    """Losses never exceed the expected number of wrong bits, and equal it when both are tiny."""
    expected = 8 * size * bit_error_rate(ratio_db)
    loss = packet_error_rate(ratio_db, size)

    assert loss <= expected * (1 + 1e-9)
    if expected < 1e-6:
        assert loss == pytest.approx(expected, rel=1e-6)


@given(st.floats(1e-12, 0.99), octets)
def test_the_ratio_for_a_loss_gives_that_loss(target: float, size: int) -> None:
    """The inverse finds the ratio at which the loss is the target."""
    ratio_db = sinr_for_packet_error_rate_db(target, size)

    assert packet_error_rate(ratio_db, size) == pytest.approx(target, rel=1e-6)


@given(levels, st.lists(levels, max_size=8), levels, st.floats(-130, -90))
def test_more_interference_lowers_the_ratio(
    wanted_dbm: float, interference_dbm: list[float], more_dbm: float, noise_dbm: float
) -> None:
    """An interferer more never helps, and noise alone gives the plain difference."""
    before_db = sinr_db(wanted_dbm, interference_dbm, noise_dbm)

    assert sinr_db(wanted_dbm, [*interference_dbm, more_dbm], noise_dbm) <= before_db + 1e-9
    assert sinr_db(wanted_dbm, [], noise_dbm) == pytest.approx(wanted_dbm - noise_dbm)


@given(rejections, st.integers(0, 14))
def test_rejection_grows_with_distance(rejection: Rejection, apart: int) -> None:
    """Nothing is taken off on the same channel, and never less farther away, on either side."""
    here = channel_rejection_db(apart, rejection)

    assert channel_rejection_db(0, rejection) == 0
    assert here <= channel_rejection_db(apart + 1, rejection)
    assert channel_rejection_db(-apart, rejection) == here


@given(some_levels, levels, levels)
def test_a_higher_threshold_finds_less_busy_air(
    levels_dbm: list[float], one: float, other: float
) -> None:
    """The share lies in 0 to 1 and never rises with the threshold."""
    low, high = sorted((one, other))

    assert 0 <= busy_share(levels_dbm, high) <= busy_share(levels_dbm, low) <= 1


def test_a_level_at_the_threshold_is_clear() -> None:
    """Only levels above -75 dBm count as busy."""
    assert busy_share([-75.0, -74.9, -90.0, -60.0]) == 0.5


@given(st.floats(-120, -60), st.floats(0.1, 2), st.integers(0, 254))
def test_ed_scale_is_linear_in_db(zero_dbm: float, step_db: float, raw: int) -> None:
    """Raw 0 is the declared level and every count adds one step."""
    scale = EdScale(zero_dbm, step_db)

    assert ed_level_dbm(0, scale) == zero_dbm
    step = ed_level_dbm(raw + 1, scale) - ed_level_dbm(raw, scale)
    assert step == pytest.approx(step_db, abs=1e-9)


def test_ed_scale_includes_its_highest_value() -> None:
    """The highest raw value of a scale has a level too."""
    assert ed_level_dbm(84, EdScale(-91.0, 1.0, highest=84)) == -7.0


def test_ed_scale_knows_whether_it_spans_enough() -> None:
    """84 counts of 1 dB meet the 40 dB of the standard; 39 do not."""
    assert EdScale(-91.0, 1.0, highest=84).compliant
    assert not EdScale(-91.0, 1.0, highest=39).compliant
