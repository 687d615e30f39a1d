"""Properties of channels, bands and masks."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.radio.channels import (
    CHANNELS,
    DSSS_22,
    HE_20,
    HT_20,
    HT_40,
    OFDM_20,
    WIFI_CHANNELS,
    Mask,
    channel_centre_mhz,
    channel_share_db,
    power_share_db,
    wifi_centre_mhz,
)

any_mask = st.sampled_from([DSSS_22, OFDM_20, HT_20, HT_40, HE_20])
offsets_mhz = st.floats(0, 90)


@given(any_mask, offsets_mhz, offsets_mhz)
def test_masks_never_rise_with_offset(mask: Mask, one_mhz: float, other_mhz: float) -> None:
    """The farther from the centre, the lower the mask, on both sides alike."""
    near, far = sorted((one_mhz, other_mhz))

    assert mask.level_dbr(near) >= mask.level_dbr(far)
    assert mask.level_dbr(-far) == mask.level_dbr(far)


@given(any_mask, offsets_mhz, offsets_mhz, st.floats(0.1, 10))
def test_shares_never_rise_with_offset(
    mask: Mask, one_mhz: float, other_mhz: float, width_mhz: float
) -> None:
    """A window farther from the centre never takes more power, and either side takes the same."""
    near, far = sorted((one_mhz, other_mhz))
    near_db, far_db = (power_share_db(mask, x, width_mhz) for x in (near, far))

    assert far_db <= near_db + 1e-9
    assert power_share_db(mask, -far, width_mhz) == pytest.approx(far_db, abs=1e-9)


@given(any_mask, offsets_mhz, st.floats(0.1, 20))
def test_shares_of_neighbouring_windows_add_up(
    mask: Mask, offset_mhz: float, width_mhz: float
) -> None:
    """Two half windows take together what the whole window takes."""
    quarter = width_mhz / 4
    halves = [power_share_db(mask, offset_mhz + x, width_mhz / 2) for x in (-quarter, quarter)]
    together = sum(10 ** (half_db / 10) for half_db in halves)

    assert together == pytest.approx(10 ** (power_share_db(mask, offset_mhz, width_mhz) / 10))


@given(any_mask)
def test_the_whole_signal_is_a_share_of_one(mask: Mask) -> None:
    """A window out to the last corner on both sides holds all of the power: 0 dB."""
    assert power_share_db(mask, 0.0, 2 * mask.edge_mhz) == pytest.approx(0, abs=1e-9)


@given(any_mask, st.floats(100, 1e6))
def test_far_out_shares_are_finite(mask: Mask, offset_mhz: float) -> None:
    """However far away, the floor leaves a share that is small and finite."""
    assert -70 < power_share_db(mask, offset_mhz) < -45


def test_every_channel_takes_its_largest_share_from_the_nearest_wifi() -> None:
    """Going away from a Wi-Fi centre channel by channel, the share falls or stays."""
    for n in WIFI_CHANNELS:
        by_distance = sorted(
            CHANNELS, key=lambda k: (abs(channel_centre_mhz(k) - wifi_centre_mhz(n)), k)
        )
        shares = [channel_share_db(k, wifi_centre_mhz(n), OFDM_20) for k in by_distance]

        assert all(near >= far - 1e-9 for near, far in pairwise(shares))
