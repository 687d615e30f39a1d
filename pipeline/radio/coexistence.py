"""What interference does to an IEEE 802.15.4 link: errors, rejection, clear channel assessment.

Clause numbers are those of IEEE 802.15.4-2006; where noted they come from memory.
"""

from dataclasses import dataclass
from math import comb, exp, expm1, fsum, inf, log1p

from pipeline.radio.airtime import PSDU_OCTETS
from pipeline.radio.arguments import not_negative, number, whole

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
