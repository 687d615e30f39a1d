"""Properties of errors, rejection, busy share and ED scales."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.radio.coexistence import (
    Rejection,
    bit_error_rate,
    channel_rejection_db,
    packet_error_rate,
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


@given(rejections, st.integers(0, 14))
def test_rejection_grows_with_distance(rejection: Rejection, apart: int) -> None:
    """Nothing is taken off on the same channel, and never less farther away, on either side."""
    here = channel_rejection_db(apart, rejection)

    assert channel_rejection_db(0, rejection) == 0
    assert here <= channel_rejection_db(apart + 1, rejection)
    assert channel_rejection_db(-apart, rejection) == here
