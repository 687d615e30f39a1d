"""Frames on the air: how long they take, and what interference does to an IEEE 802.15.4 link.

Times are exact for the IEEE 802.15.4 2450 MHz O-QPSK PHY (62.5 ksymbol/s, two symbols an octet).
Clause numbers are those of IEEE 802.15.4-2006; where noted they come from memory.
"""

from dataclasses import dataclass
from math import comb, exp, expm1, fsum, inf, log1p

from pipeline.radio.arguments import not_negative, number, whole

SYMBOL_US = 16
OCTET_US = 2 * SYMBOL_US

PSDU_OCTETS = range(1, 128)
PHY_OCTETS = 6
"""Preamble 4, start of frame 1, length 1 (6.3, from memory)."""

FRAME_OVERHEAD_OCTETS = 11
"""MAC octets round the payload of a data frame between short addresses in one PAN: control 2,
sequence 1, PAN ID 2, addresses 4, check sequence 2 (7.2, from memory). Security adds to it."""


def frame_us(psdu_octets: int) -> int:
    """Return the time on the air of a frame of 1 to 127 octets, in us; ValueError otherwise.

    Source: IEEE 802.15.4-2006, 6.3 and 6.5: 6 octets of synchronisation and length, 32 us each.
    """
    return (PHY_OCTETS + whole("psdu_octets", psdu_octets, PSDU_OCTETS)) * OCTET_US


def update_frames(payload_octets: int) -> tuple[int, ...]:
    """Return the sizes in octets (PSDU) of the frames of one update: full ones, then the rest.

    payload_octets is 1 to a million, ValueError otherwise. An update travels in as few frames as
    can hold it.
    """
    whole("payload_octets", payload_octets, range(1, 1_000_001))
    full, rest = divmod(payload_octets, PSDU_OCTETS[-1] - FRAME_OVERHEAD_OCTETS)
    last = (rest + FRAME_OVERHEAD_OCTETS,) if rest else ()
    return (PSDU_OCTETS[-1],) * full + last


def update_us(payload_octets: int) -> int:
    """Return how long a station transmits for one update of one label, in us.

    Its own frames count, each sent once. The acknowledgements are sent by the label, at the label's
    place and power.
    """
    return sum(frame_us(octets) for octets in update_frames(payload_octets))


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
