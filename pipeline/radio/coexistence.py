"""What interference does to an IEEE 802.15.4 link: errors, rejection, clear channel assessment.

Clause numbers are those of IEEE 802.15.4-2006; where noted they come from memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb, exp, expm1, fsum, inf, log1p

from pipeline.radio.airtime import PSDU_OCTETS
from pipeline.radio.arguments import between, finite, not_negative, number, positive, whole
from pipeline.radio.levels import power_sum_dbm

SENSITIVITY_DBM = -85.0
"""The weakest signal a compliant 2450 MHz receiver must still take (6.5.3.3)."""

ED_MARGIN_DB = 10.0
"""ED reads 0, and CCA must report busy, from at most this far above sensitivity (6.9.7, 6.9.9)."""

CCA_THRESHOLD_DBM = SENSITIVITY_DBM + ED_MARGIN_DB

ED_HIGHEST = 255
ED_SPAN_DB = 40.0
"""Least span that ED values must cover (6.9.7)."""

ED_ACCURACY_DB = 6.0
"""Error permitted to an ED value, either way (6.9.7)."""

_SINR_SEARCH_DB = (-30.0, 30.0)
_SINR_SEARCH_STEPS = 60
_SINR_CERTAIN_DB = 100.0
_BER_TERMS = tuple(((-1) ** k * comb(16, k), 20 * (1 / k - 1)) for k in range(2, 17))


def bit_error_rate(sinr_db: float) -> float:
    """Return the bit error rate, 0 to 0.5, of the O-QPSK PHY at a signal to interference ratio.

    sinr_db is wanted power over interference and noise inside the 2 MHz channel, in dB, infinities
    included; ValueError if it is not a number. Interference is taken as noise-like. The terms
    alternate in sign but the first outweighs the rest as the ratio grows, so that a correctly
    rounded sum keeps its accuracy until the rate underflows to 0 near 18 dB.
    Source: IEEE 802.15.4-2006, Annex E.4.1.8, equation 7.
    """
    number("sinr_db", sinr_db)
    ratio = 10 ** (min(sinr_db, _SINR_CERTAIN_DB) / 10)
    total = fsum(weight * exp(rate * ratio) for weight, rate in _BER_TERMS)
    return min(0.5, max(0.0, total * 8 / 15 / 16))


def packet_error_rate(sinr_db: float, psdu_octets: int) -> float:
    """Return the chance, 0 to 1, that a frame of 1 to 127 octets has a bit error.

    1 - (1 - BER)^(8 n) with independent bit errors; sinr_db as in bit_error_rate. ValueError for
    other lengths.
    Source: IEEE 802.15.4-2006, Annex E.4, from memory.
    """
    whole("psdu_octets", psdu_octets, PSDU_OCTETS)
    return -expm1(8 * psdu_octets * log1p(-bit_error_rate(sinr_db)))


def sinr_for_packet_error_rate_db(packet_error_rate_target: float, psdu_octets: int) -> float:
    """Return the ratio in dB at which frames of 1 to 127 octets are lost at a given rate.

    The rate is above 0 and below the loss at -30 dB, where hardly anything but guessing is left
    (0.99599 for one octet, 1 for long frames); ValueError otherwise. Accurate to 1e-9 dB.
    Source: inverse of packet_error_rate by bisection.
    """
    low, high = _SINR_SEARCH_DB
    name, target = "packet_error_rate_target", packet_error_rate_target
    between(name, target, packet_error_rate(high, psdu_octets), packet_error_rate(low, psdu_octets))
    for _ in range(_SINR_SEARCH_STEPS):
        middle = (low + high) / 2
        if packet_error_rate(middle, psdu_octets) > target:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def sinr_db(wanted_dbm: float, interference_dbm: Sequence[float], noise_dbm: float) -> float:
    """Return wanted power over the sum in mW of interference and noise, in dB.

    All levels are finite and refer to the same bandwidth; interference may be empty. ValueError
    otherwise.
    """
    finite("noise_dbm", noise_dbm)
    return finite("wanted_dbm", wanted_dbm) - power_sum_dbm([*interference_dbm, noise_dbm])


@dataclass(frozen=True)
class Rejection:
    """How many dB a receiver takes off a signal one (5 MHz) and two (10 MHz) channels away.

    Both are 0 or more, and the second no less than the first; ValueError otherwise.
    """

    adjacent_db: float
    alternate_db: float

    def __post_init__(self) -> None:
        """Refuse a receiver that rejects a nearer channel better than a farther one."""
        not_negative("adjacent_db", self.adjacent_db)
        not_negative("alternate_db", self.alternate_db)
        if self.alternate_db < self.adjacent_db:
            raise ValueError(
                f"alternate_db must be adjacent_db ({self.adjacent_db!r}) or more; "
                f"got {self.alternate_db!r}"
            )


GUARANTEED_REJECTION = Rejection(adjacent_db=0.0, alternate_db=30.0)
"""All that the standard promises: jamming resistance, 6.5.3.4 (from memory)."""

COMMON_REJECTION_LOW = Rejection(adjacent_db=30.0, alternate_db=45.0)
COMMON_REJECTION_HIGH = Rejection(adjacent_db=35.0, alternate_db=50.0)
"""The span of receivers on the market: common practice, no published source."""


def channel_rejection_db(channels_apart: int, rejection: Rejection = GUARANTEED_REJECTION) -> float:
    """Return what a receiver takes off a signal some channels away, in dB.

    0 on the same channel, the two given values at a distance of 1 and 2 channels, and infinity
    beyond, where interference is left out of account. channels_apart is -15 to 15; ValueError
    otherwise.
    Source: IEEE 802.15.4-2006, 6.5.3.4 (from memory) for what the distances mean.
    """
    whole("channels_apart", channels_apart, range(-15, 16))
    by_distance = (0.0, rejection.adjacent_db, rejection.alternate_db)
    distance = abs(channels_apart)
    return by_distance[distance] if distance < len(by_distance) else inf


def cca_threshold_dbm(sensitivity_dbm: float = SENSITIVITY_DBM) -> float:
    """Return the highest level at which CCA by energy may still report a clear channel, in dBm.

    sensitivity_dbm is the receiver's specified sensitivity, finite; ValueError otherwise.
    Source: IEEE 802.15.4-2006, 6.9.9: at most 10 dB above specified sensitivity (from memory).
    """
    return finite("sensitivity_dbm", sensitivity_dbm) + ED_MARGIN_DB


def busy_share(levels_dbm: Sequence[float], threshold_dbm: float = CCA_THRESHOLD_DBM) -> float:
    """Return the share, 0 to 1, of one or more finite levels above a finite threshold.

    A level at the threshold counts as clear. ValueError for no levels or values not finite.
    Source: CCA mode 1, energy above threshold, IEEE 802.15.4-2006, 6.9.9.
    """
    finite("threshold_dbm", threshold_dbm)
    if not len(levels_dbm):
        raise ValueError("levels_dbm must hold at least one value; got none")
    above = sum(
        finite(f"levels_dbm[{place}]", level) > threshold_dbm
        for place, level in enumerate(levels_dbm)
    )
    return above / len(levels_dbm)


@dataclass(frozen=True)
class EdScale:
    """A device's declared linear scale: the level of raw value 0, the step, the highest value.

    The standard leaves the scale to the device, so it must come from its maker; there is no
    default. step_db is above 0 and highest 1 to 255; ValueError otherwise.
    """

    zero_dbm: float
    step_db: float
    highest: int = ED_HIGHEST

    def __post_init__(self) -> None:
        """Refuse a scale on which values say nothing about levels."""
        finite("zero_dbm", self.zero_dbm)
        positive("step_db", self.step_db)
        whole("highest", self.highest, range(1, ED_HIGHEST + 1))

    @property
    def compliant(self) -> bool:
        """Whether the scale spans the 40 dB that the standard asks for at least."""
        return self.highest * self.step_db >= ED_SPAN_DB


def ed_level_dbm(raw: int, scale: EdScale) -> float:
    """Return the level in dBm of a raw ED value, by the device's declared scale.

    raw is 0 to the scale's highest, ValueError otherwise. Raw 0 means "at or below this level":
    less than 10 dB above sensitivity. Any value may be off by 6 dB.
    Source: IEEE 802.15.4-2006, 6.9.7: ED is linear in dB, and not in dBm.
    """
    whole("raw", raw, range(scale.highest + 1))
    return scale.zero_dbm + scale.step_db * raw
