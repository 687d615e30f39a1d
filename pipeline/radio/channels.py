"""Where the channels of IEEE 802.15.4 and Wi-Fi lie in the 2.4 GHz band.

Frequencies are in MHz. IEEE 802.15.4 clause numbers are those of the 2006 edition, from memory.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from pipeline.radio.arguments import positive, whole

CHANNELS = range(11, 27)
"""Channels of the IEEE 802.15.4 2450 MHz PHY (clause 6.1.2.1)."""

CHANNEL_SPACING_MHZ = 5.0
CHANNEL_WIDTH_MHZ = 2.0
"""Width taken as occupied by a 2 Mchip/s O-QPSK signal: its chip rate (from memory)."""

WIFI_CHANNELS = range(1, 15)
"""Wi-Fi channels at 2.4 GHz; the regulator decides which may be used in a country."""

WIFI_CHANNEL_JAPAN = 14
"""The one Wi-Fi channel off the 5 MHz grid; DSSS only, Japan only (from memory)."""

WIFI_WIDTH_MHZ = 20.0
"""Channel width of OFDM, HT20 and HE20; 22 MHz is usual for DSSS and 40 MHz for HT40."""

SecondChannel = Literal["above", "below"]

WIFI_PAIR_PRIMARIES: Mapping[str, range] = MappingProxyType(
    {"above": range(1, 10), "below": range(5, 14)}
)
"""Primary channels that can have a second channel above (HT40+) or below (HT40-) them."""

_FIRST_CENTRE_MHZ = 2405.0
_WIFI_BASE_MHZ = 2407.0
_WIFI_SPACING_MHZ = 5.0
_WIFI_CHANNEL_JAPAN_MHZ = 2484.0
_WIFI_PAIR_SHIFT_MHZ = 10.0
_WIFI_PAIR_WIDTH_MHZ = 40.0


@dataclass(frozen=True)
class Band:
    """A stretch of spectrum: its centre and its width, in MHz, both above 0."""

    centre_mhz: float
    width_mhz: float

    def __post_init__(self) -> None:
        """Refuse a band without a place or an extent."""
        positive("centre_mhz", self.centre_mhz)
        positive("width_mhz", self.width_mhz)


def channel_centre_mhz(channel: int) -> float:
    """Return the centre of an IEEE 802.15.4 channel, 2405 + 5 (k - 11) MHz.

    channel is 11 to 26, ValueError otherwise.
    Source: IEEE 802.15.4-2006, 6.1.2.1 (channel page 0).
    """
    whole("channel", channel, CHANNELS)
    return _FIRST_CENTRE_MHZ + CHANNEL_SPACING_MHZ * (channel - CHANNELS[0])


def wifi_centre_mhz(wifi_channel: int) -> float:
    """Return the centre of a 20 or 22 MHz Wi-Fi channel: 2407 + 5 n MHz, and 2484 MHz for 14.

    wifi_channel is 1 to 14, ValueError otherwise.
    Source: IEEE 802.11-2020, clauses 15 to 19 and Annex E, from memory.
    """
    whole("wifi_channel", wifi_channel, WIFI_CHANNELS)
    if wifi_channel == WIFI_CHANNEL_JAPAN:
        return _WIFI_CHANNEL_JAPAN_MHZ
    return _WIFI_BASE_MHZ + _WIFI_SPACING_MHZ * wifi_channel


def wifi_band(wifi_channel: int, width_mhz: float = WIFI_WIDTH_MHZ) -> Band:
    """Return the band around the centre of a Wi-Fi channel, 1 to 14; ValueError otherwise.

    For a 40 MHz signal given by its primary channel use wifi_pair_band.
    """
    return Band(wifi_centre_mhz(wifi_channel), width_mhz)


def wifi_pair_band(primary: int, second: SecondChannel) -> Band:
    """Return the 40 MHz band of a Wi-Fi primary channel and its second channel.

    The centre lies 10 MHz above the primary's when the second channel is above (HT40+), 10 MHz
    below otherwise (HT40-). primary is 1 to 9 with the second above, 5 to 13 with it below;
    ValueError otherwise.
    Source: IEEE 802.11-2020, clause 19 and Annex E, from memory.
    """
    if second not in WIFI_PAIR_PRIMARIES:
        raise ValueError(f"second must be 'above' or 'below'; got {second!r}")
    whole("primary", primary, WIFI_PAIR_PRIMARIES[second])
    shift_mhz = _WIFI_PAIR_SHIFT_MHZ if second == "above" else -_WIFI_PAIR_SHIFT_MHZ
    return Band(wifi_centre_mhz(primary) + shift_mhz, _WIFI_PAIR_WIDTH_MHZ)
