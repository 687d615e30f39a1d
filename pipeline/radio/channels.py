"""Where the channels of IEEE 802.15.4 and Wi-Fi lie, and how much of Wi-Fi's power falls into one.

Frequencies are in MHz. IEEE 802.15.4 clause numbers are those of the 2006 edition, from memory.

A transmit mask is the ceiling a standard sets on a signal's spectrum, in dB relative to its
highest density (dBr). Real transmitters stay below it away from the centre, so a share of power
computed from it is an upper estimate there. Mask values are those of IEEE 802.11, from memory.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from math import expm1, fsum, inf, log, log10
from types import MappingProxyType
from typing import Literal

from pipeline.radio.arguments import finite, positive, whole

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


_NEPERS_PER_DB = log(10) / 10
"""Natural logarithm of a power ratio of 1 dB."""


@dataclass(frozen=True)
class Mask:
    """A symmetric transmit mask.

    points holds (offset from the centre in MHz, level in dBr), offsets ascending from 0, levels
    never rising; between two points the level is linear in dB, and two points at one offset are
    a step whose upper level holds at the offset itself. Beyond the last point its level holds on,
    so no signal ever vanishes altogether.
    """

    points: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        """Refuse a mask that is no function of the offset or that rises with it."""
        if len(self.points) < 2 or self.points[0] != (0.0, 0.0):  # noqa: PLR2004  a line needs two
            raise ValueError(f"points must start at (0.0, 0.0) and go on; got {self.points!r}")
        for (offset, level), (next_offset, next_level) in pairwise(self.points):
            if not (offset <= next_offset < inf and level >= next_level > -inf):
                raise ValueError(
                    "points must have rising offsets and falling levels; "
                    f"got {(next_offset, next_level)!r} after {(offset, level)!r}"
                )

    @property
    def edge_mhz(self) -> float:
        """The offset of the last point, where the far-out floor begins."""
        return self.points[-1][0]

    def level_dbr(self, offset_mhz: float) -> float:
        """Return the mask at an offset from the centre, either side, in dBr.

        offset_mhz is finite, ValueError otherwise.
        """
        offset = abs(finite("offset_mhz", offset_mhz))
        for (low, low_dbr), (high, high_dbr) in pairwise(self.points):
            if offset <= high and low < high:
                return low_dbr + (high_dbr - low_dbr) * (offset - low) / (high - low)
        return self.points[-1][1]


DSSS_22 = Mask(((0.0, 0.0), (11.0, 0.0), (11.0, -30.0), (22.0, -30.0), (22.0, -50.0)))
"""DSSS and HR-DSSS, 22 MHz wide. IEEE 802.11-2020, clauses 15 and 16, from memory."""

OFDM_20 = Mask(((0.0, 0.0), (9.0, 0.0), (11.0, -20.0), (20.0, -28.0), (30.0, -40.0)))
"""OFDM, 20 MHz wide. IEEE 802.11-2020, 17.3.9.3, from memory."""

HT_20 = Mask(((0.0, 0.0), (9.0, 0.0), (11.0, -20.0), (20.0, -28.0), (30.0, -45.0)))
"""HT, 20 MHz wide, at 2.4 GHz. IEEE 802.11-2020, clause 19, from memory."""

HT_40 = Mask(((0.0, 0.0), (19.0, 0.0), (21.0, -20.0), (40.0, -28.0), (60.0, -45.0)))
"""HT, 40 MHz wide, at 2.4 GHz. IEEE 802.11-2020, clause 19, from memory."""

HE_20 = Mask(((0.0, 0.0), (9.75, 0.0), (10.5, -20.0), (20.0, -28.0), (30.0, -45.0)))
"""HE, 20 MHz wide, at 2.4 GHz. IEEE 802.11ax-2021, clause 27, from memory."""


def power_share_db(mask: Mask, offset_mhz: float, width_mhz: float = CHANNEL_WIDTH_MHZ) -> float:
    """Return the share of a signal's power inside a window off its centre, in dB (0 or less).

    The window is width_mhz wide (above 0) and centred offset_mhz (finite) from the signal's
    centre; ValueError otherwise. Numerator and whole are exact integrals of the mask in mW; the
    whole is taken out to the mask's last point, since its floor has no end.
    Source: integral of the transmit masks above; for a flat spectrum it is width / total width.
    """
    finite("offset_mhz", offset_mhz)
    half_mhz = positive("width_mhz", width_mhz) / 2
    inside = fsum(
        part
        for low, high in _one_sided(offset_mhz - half_mhz, offset_mhz + half_mhz)
        for part in _parts(mask, low, high)
    )
    whole = 2 * fsum(_parts(mask, 0.0, mask.edge_mhz))
    return min(0.0, 10 * log10(inside / whole))


def channel_share_db(channel: int, wifi_centre_mhz: float, mask: Mask) -> float:
    """Return the share of a Wi-Fi signal's power inside an IEEE 802.15.4 channel, in dB.

    channel is 11 to 26 and wifi_centre_mhz above 0, ValueError otherwise. Add the Wi-Fi level
    in dBm for the level inside the 2 MHz channel while the Wi-Fi transmits.
    Source: as power_share_db.
    """
    positive("wifi_centre_mhz", wifi_centre_mhz)
    return power_share_db(mask, channel_centre_mhz(channel) - wifi_centre_mhz)


def _one_sided(low_mhz: float, high_mhz: float) -> Iterator[tuple[float, float]]:
    """Fold a window onto offsets of 0 and more; one that holds the centre gives two parts."""
    if low_mhz < 0 < high_mhz:
        yield 0.0, -low_mhz
        yield 0.0, high_mhz
    else:
        yield min(abs(low_mhz), abs(high_mhz)), max(abs(low_mhz), abs(high_mhz))


def _parts(mask: Mask, low_mhz: float, high_mhz: float) -> Iterator[float]:
    """Integrate the density, 1 at the centre, over each straight piece within a window."""
    end = (inf, mask.points[-1][1])
    for (left, left_dbr), (right, right_dbr) in pairwise((*mask.points, end)):
        start, stop = max(left, low_mhz), min(right, high_mhz)
        if start < stop:
            slope = _NEPERS_PER_DB * (right_dbr - left_dbr) / (right - left)
            growth = slope * (stop - start)
            first = 10 ** (left_dbr / 10 + slope * (start - left) / log(10))
            yield first * (stop - start) * (expm1(growth) / growth if growth else 1.0)
