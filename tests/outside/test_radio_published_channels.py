"""Channel plans and masks against published tables.

IEEE 802.15.4-2006 6.1.2.1 and Annex E.3, and IEEE 802.11-2020 clauses 15 to 19, both from memory;
offsets and lists recomputed from the centres. Integrals against scipy's adaptive quadrature.
"""

from math import log10

import pytest
from scipy.integrate import quad

from pipeline.radio.channels import (
    DSSS_22,
    HE_20,
    HT_20,
    HT_40,
    OFDM_20,
    Band,
    Mask,
    channel_centre_mhz,
    channel_share_db,
    power_share_db,
    wifi_band,
    wifi_centre_mhz,
)

# IEEE 802.15.4-2006 6.1.2.1, from memory, recomputed as 2405 + 5 (k - 11).
CENTRES_MHZ = [
    (11, 2405),
    (12, 2410),
    (13, 2415),
    (14, 2420),
    (15, 2425),
    (16, 2430),
    (17, 2435),
    (18, 2440),
    (19, 2445),
    (20, 2450),
    (21, 2455),
    (22, 2460),
    (23, 2465),
    (24, 2470),
    (25, 2475),
    (26, 2480),
]


@pytest.mark.parametrize(("channel", "centre_mhz"), CENTRES_MHZ)
def test_channel_centres(channel: int, centre_mhz: float) -> None:
    """Every channel lies where the standard's table puts it."""
    assert channel_centre_mhz(channel) == centre_mhz


@pytest.mark.parametrize("channel", [10, 27])
def test_channels_end_at_11_and_26(channel: int) -> None:
    """The 2450 MHz PHY has no channel 10 and no channel 27."""
    with pytest.raises(ValueError, match=f"channel must be .* 11 to 26; got {channel}"):
        channel_centre_mhz(channel)


def test_wifi_centres() -> None:
    """Wi-Fi 1 to 13 are 5 MHz apart from 2412 MHz; 14 lies 12 MHz above 13 (from memory)."""
    assert [wifi_centre_mhz(n) for n in range(1, 14)] == list(range(2412, 2473, 5))
    assert wifi_centre_mhz(14) == 2484 == wifi_centre_mhz(13) + 12


def test_wifi_is_20_mhz_wide_unless_told() -> None:
    """OFDM, HT20 and HE20 channels are 20 MHz wide (IEEE 802.11-2020, from memory)."""
    assert wifi_band(6) == Band(2437.0, 20.0)


def test_offsets_of_the_four_channels() -> None:
    """The four channels lie 7 and 2 MHz below, 3 and 8 MHz above the Wi-Fi centre (recomputed)."""
    for n in range(1, 14):
        offsets = [channel_centre_mhz(n + 10 + i) - wifi_centre_mhz(n) for i in range(4)]

        assert offsets == [-7, -2, 3, 8]


# Offsets in MHz and levels in dBr: IEEE 802.11-2020 clauses 15 to 19 and 802.11ax, from memory.
MASK_LEVELS = [
    (DSSS_22, [(0, 0), (11, 0), (11.001, -30), (22, -30), (22.001, -50), (80, -50)]),
    (OFDM_20, [(9, 0), (11, -20), (20, -28), (30, -40), (80, -40)]),
    (HT_20, [(9, 0), (11, -20), (20, -28), (30, -45), (80, -45)]),
    (HT_40, [(19, 0), (21, -20), (40, -28), (60, -45), (80, -45)]),
    (HE_20, [(9.75, 0), (10.5, -20), (20, -28), (30, -45), (80, -45)]),
]


@pytest.mark.parametrize(("mask", "levels"), MASK_LEVELS)
def test_mask_corner_points(mask: Mask, levels: list[tuple[float, float]]) -> None:
    """Each mask passes through its standard's corner points on either side of the centre."""
    for offset_mhz, level_dbr in levels:
        assert mask.level_dbr(offset_mhz) == pytest.approx(level_dbr, abs=1e-12)
        assert mask.level_dbr(-offset_mhz) == mask.level_dbr(offset_mhz)


@pytest.mark.parametrize(
    ("offset_mhz", "level_dbr"),
    [
        (7, 0.0),
        (8, 0.0),
        (9, 0.0),
        (10, -10.0),
        (11, -20.0),
        (12, -20.889),
        (13, -21.778),
        (17, -25.333),
        (18, -26.222),
        (23, -31.6),
        (28, -37.6),
    ],
)
def test_ofdm_mask_between_corner_points(offset_mhz: float, level_dbr: float) -> None:
    """Between corner points the OFDM mask is linear in dB (recomputed)."""
    assert OFDM_20.level_dbr(offset_mhz) == pytest.approx(level_dbr, abs=5e-4)


@pytest.mark.parametrize("offset_mhz", [0.0, 0.4, 3.0, 8.0, 10.1, 13.0, 21.5, 28.0, 33.0, 61.0])
@pytest.mark.parametrize("mask", [DSSS_22, OFDM_20, HT_20, HT_40, HE_20])
def test_power_share_equals_numerical_integral(mask: Mask, offset_mhz: float) -> None:
    """The closed-form share agrees with adaptive quadrature of the mask (scipy.integrate.quad)."""

    def density(offset: float) -> float:
        return float(10 ** (mask.level_dbr(offset) / 10))

    corners = [sign * x for x, _ in mask.points for sign in (1, -1)]
    low, high = offset_mhz - 1, offset_mhz + 1
    inner = [x for x in corners if low < x < high]
    inside, _ = quad(density, low, high, points=inner or None)
    whole, _ = quad(density, -mask.edge_mhz, mask.edge_mhz, points=corners, limit=200)

    assert power_share_db(mask, offset_mhz) == pytest.approx(10 * log10(inside / whole), abs=1e-6)


@pytest.mark.parametrize(
    ("mask", "wifi_mhz", "narrow_db", "wide_db"),
    [
        # Flat power over 16.25, 20, 22 and 40 MHz: -9.098, -10.000, -10.414, -13.010 dB
        # (recomputed). A mask's effective width lies between occupied and nominal width.
        (OFDM_20, 2437.0, -9.098, -10.000),
        (HT_20, 2437.0, -9.098, -10.000),
        (HE_20, 2437.0, -9.098, -10.000),
        (HT_40, 2447.0, -12.553, -13.010),
    ],
)
def test_share_at_the_centre_is_near_that_of_a_flat_spectrum(
    mask: Mask, wifi_mhz: float, narrow_db: float, wide_db: float
) -> None:
    """A channel wholly inside Wi-Fi takes about 2 MHz over the signal's width."""
    share_db = channel_share_db(17, wifi_mhz, mask)

    assert wide_db < share_db < narrow_db


def test_share_inside_a_dsss_signal_is_that_of_22_mhz() -> None:
    """The DSSS mask is flat over 22 MHz, so a share is 2 / 22: -10.414 dB (recomputed)."""
    assert power_share_db(DSSS_22, 0.0) == pytest.approx(-10.414, abs=0.005)


def test_published_clear_channels_still_hear_the_skirt() -> None:
    """Channel 20 lies 13 MHz from Wi-Fi 6 and 12 MHz from 11: some 21 dB below channel 18's share.

    From the OFDM mask at 12 and 13 MHz, -20.889 and -21.778 dBr (recomputed).
    """
    inside_db = channel_share_db(18, wifi_centre_mhz(6), OFDM_20)

    assert inside_db - channel_share_db(20, wifi_centre_mhz(6), OFDM_20) == pytest.approx(
        21.778, abs=0.05
    )
    assert inside_db - channel_share_db(20, wifi_centre_mhz(11), OFDM_20) == pytest.approx(
        20.889, abs=0.05
    )
