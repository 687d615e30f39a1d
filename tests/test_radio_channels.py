"""Properties of channels, bands and masks."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.radio.channels import (
    CHANNELS,
    WIFI_CHANNELS,
    Band,
    channel_band,
    channel_centre_mhz,
    clear_channels,
    overlapped_channels,
    wifi_band,
    wifi_centre_mhz,
    wifi_pair_band,
)
from pipeline.radio.masks import MASKS, OFDM_20, Mask, channel_share_db, power_share_db

bands = st.builds(Band, st.floats(2380, 2510), st.floats(0.1, 60))
any_mask = st.sampled_from(list(MASKS.values()))
offsets_mhz = st.floats(0, 90)


@given(bands, bands)
def test_overlap_is_mutual(one: Band, other: Band) -> None:
    """If one band overlaps another, the other overlaps it."""
    assert one.overlaps(other) == other.overlaps(one)
    assert one.overlaps(one)


def test_bands_that_touch_do_not_overlap() -> None:
    """An edge in common is no spectrum in common."""
    assert not Band(2410, 10).overlaps(Band(2420, 10))
    assert Band(2410, 10).overlaps(Band(2419.999, 10))


@given(st.lists(bands, max_size=5), st.floats(0.5, 5))
def test_channels_are_either_clear_or_overlapped(several: list[Band], width_mhz: float) -> None:
    """Clear channels are those that no band overlaps, in ascending order."""
    clear = clear_channels(several, width_mhz)
    taken = {k for band in several for k in overlapped_channels(band, width_mhz)}

    assert list(clear) == sorted(set(CHANNELS) - taken)


@given(st.lists(bands, max_size=4), bands)
def test_another_band_never_clears_a_channel(several: list[Band], more: Band) -> None:
    """Adding a transmission can only take channels away."""
    assert set(clear_channels([*several, more])) <= set(clear_channels(several))


@given(bands, st.floats(1, 3))
def test_a_wider_band_overlaps_no_fewer_channels(band: Band, factor: float) -> None:
    """Widening a band keeps every channel it overlapped."""
    wider = Band(band.centre_mhz, band.width_mhz * factor)

    assert set(overlapped_channels(band)) <= set(overlapped_channels(wider))


def test_a_pair_holds_its_primary() -> None:
    """The 40 MHz band covers all channels of its primary, on the side that was asked for."""
    for primary in range(1, 10):
        covered = set(overlapped_channels(wifi_pair_band(primary, "above")))
        assert set(overlapped_channels(wifi_band(primary))) <= covered
        assert wifi_pair_band(primary, "above").centre_mhz > wifi_centre_mhz(primary)
    for primary in range(5, 14):
        covered = set(overlapped_channels(wifi_pair_band(primary, "below")))
        assert set(overlapped_channels(wifi_band(primary))) <= covered
        assert wifi_pair_band(primary, "below").centre_mhz < wifi_centre_mhz(primary)


def test_a_channel_overlaps_only_itself() -> None:
    """2 MHz channels 5 MHz apart share no spectrum."""
    for k in CHANNELS:
        assert overlapped_channels(channel_band(k)) == (k,)


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
