"""Properties of frame times and of the share of air a station fills."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.radio.airtime import (
    ACK_US,
    FRAME_OVERHEAD_OCTETS,
    Traffic,
    ack_air_share,
    air_share,
    air_share_limit,
    ed_scan_ms,
    exchange_us,
    frame_us,
    longest_backoff_us,
    mean_backoff_us,
    offered_air_share,
    update_us,
)

traffics = st.builds(
    Traffic,
    labels=st.integers(0, 5000),
    updates_per_label_hour=st.floats(0, 20),
    payload_octets=st.integers(1, 20_000),
    overhead_octets=st.integers(0, 60),
    tries=st.floats(1, 4),
)


@given(st.integers(1, 126))
def test_an_octet_more_takes_32_us_more(octets: int) -> None:
    """Frame time is linear in octets, and an exchange takes longer than its frame."""
    assert frame_us(octets + 1) - frame_us(octets) == 32
    assert exchange_us(octets) > frame_us(octets) + ACK_US


@given(st.integers(0, 7))
def test_backoff_doubles(exponent: int) -> None:
    """Each exponent doubles the periods, and the mean is half the longest."""
    longest = longest_backoff_us(exponent)

    assert longest_backoff_us(exponent + 1) == 2 * longest + 320
    assert mean_backoff_us(exponent) == longest / 2


@given(st.integers(0, 14), st.integers(1, 16))
def test_a_scan_takes_as_long_for_every_channel(exponent: int, channels: int) -> None:
    """Scan time is proportional to the number of channels."""
    assert ed_scan_ms(exponent, channels) == pytest.approx(ed_scan_ms(exponent) * channels)


@given(traffics)
def test_frames_carry_the_payload_and_no_more(traffic: Traffic) -> None:
    """Frames of one update fit the PHY, hold the whole payload, and one fewer would not do."""
    room = 127 - traffic.overhead_octets
    carried = sum(octets - traffic.overhead_octets for octets in traffic.frames)

    assert carried == traffic.payload_octets
    assert all(traffic.overhead_octets < octets <= 127 for octets in traffic.frames)
    assert (len(traffic.frames) - 1) * room < traffic.payload_octets


@given(traffics)
def test_air_share_is_a_share(traffic: Traffic) -> None:
    """A station transmits what it has to, up to what the protocol lets it."""
    share, limit = air_share(traffic), air_share_limit(traffic)

    assert 0 <= share <= limit < 1
    assert share == min(offered_air_share(traffic), limit)
    assert 0 <= share + ack_air_share(traffic) < 1


@given(traffics, st.integers(1, 1000))
def test_more_labels_take_more_air(traffic: Traffic, more: int) -> None:
    """Offered share is proportional to the labels."""
    single = Traffic(
        1,
        traffic.updates_per_label_hour,
        traffic.payload_octets,
        traffic.overhead_octets,
        traffic.tries,
    )
    several = Traffic(
        more,
        traffic.updates_per_label_hour,
        traffic.payload_octets,
        traffic.overhead_octets,
        traffic.tries,
    )

    assert offered_air_share(several) == pytest.approx(more * offered_air_share(single))
    assert air_share(several) >= air_share(single)


def test_air_share_by_hand() -> None:
    """1000 labels, twice an hour, 150 octets: frames of 127 and 45 octets, 5888 us, 0.327 %."""
    traffic = Traffic(1000, 2.0, 150)

    assert FRAME_OVERHEAD_OCTETS == 11
    assert traffic.frames == (127, 45)
    assert update_us(traffic) == (6 + 127 + 6 + 45) * 32 == 5888
    assert air_share(traffic) == pytest.approx(1000 * 2 * 5888e-6 / 3600)
    assert ack_air_share(traffic) == pytest.approx(1000 * 2 * 2 * 352e-6 / 3600)


def test_a_repeat_costs_the_station_but_not_its_labels() -> None:
    """Frames sent twice double the station's air; each is still acknowledged once."""
    once, twice = Traffic(500, 1.0, 300), Traffic(500, 1.0, 300, tries=2.0)

    assert air_share(twice) == pytest.approx(2 * air_share(once))
    assert ack_air_share(twice) == pytest.approx(ack_air_share(once))


def test_an_overloaded_station_is_silent_for_part_of_the_time() -> None:
    """Full frames on a free channel fill at most 4256 of every 6880 us, however many wait."""
    crowd = Traffic(5000, 20.0, 116 * 10)

    assert offered_air_share(crowd) > 1
    assert air_share(crowd) == pytest.approx(4256 / 6880)


def test_no_labels_no_air() -> None:
    """A station without labels, or without updates, transmits nothing."""
    assert air_share(Traffic(0, 5.0, 100)) == 0
    assert ack_air_share(Traffic(10, 0.0, 100)) == 0
