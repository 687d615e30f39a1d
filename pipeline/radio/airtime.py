"""How long frames, exchanges and scans take, and how much of the air a station fills.

Times are exact for the IEEE 802.15.4 2450 MHz O-QPSK PHY (62.5 ksymbol/s, two symbols an octet).
Clause numbers are those of IEEE 802.15.4-2006; where noted they come from memory.
"""

from dataclasses import dataclass
from math import fsum

from pipeline.radio.arguments import finite, not_negative, whole

SYMBOL_US = 16
OCTET_US = 2 * SYMBOL_US
ED_US = CCA_US = 8 * SYMBOL_US
"""One energy detection, and one clear channel assessment (6.9.7, 6.9.9)."""

TURNAROUND_US = 12 * SYMBOL_US
UNIT_BACKOFF_US = 20 * SYMBOL_US
SHORT_SPACING_US = 12 * SYMBOL_US
LONG_SPACING_US = 40 * SYMBOL_US
SHORT_FRAME_OCTETS = 18
"""The longest frame after which the short spacing is enough (7.4.1)."""

PSDU_OCTETS = range(1, 128)
PHY_OCTETS = 6
"""Preamble 4, start of frame 1, length 1 (6.3, from memory)."""

ACK_OCTETS = 5
ACK_US = (PHY_OCTETS + ACK_OCTETS) * OCTET_US
ACK_WAIT_US = UNIT_BACKOFF_US + TURNAROUND_US + 10 * SYMBOL_US + 6 * OCTET_US
"""How long a sender waits for an acknowledgement: 54 symbols (7.4.2, macAckWaitDuration)."""

FRAME_OVERHEAD_OCTETS = 11
"""MAC octets round the payload of a data frame between short addresses in one PAN: control 2,
sequence 1, PAN ID 2, addresses 4, check sequence 2 (7.2, from memory). Security adds to it."""

_BASE_SUPERFRAME_US = 960 * SYMBOL_US
_US_PER_MS = 1000
_US_PER_HOUR = 3_600_000_000
_BACKOFF_EXPONENTS = range(9)
_SCAN_EXPONENTS = range(15)


def frame_us(psdu_octets: int) -> int:
    """Return the time on the air of a frame of 1 to 127 octets, in us; ValueError otherwise.

    Source: IEEE 802.15.4-2006, 6.3 and 6.5: 6 octets of synchronisation and length, 32 us each.
    """
    return (PHY_OCTETS + whole("psdu_octets", psdu_octets, PSDU_OCTETS)) * OCTET_US


def spacing_us(psdu_octets: int) -> int:
    """Return the least gap after a frame of 1 to 127 octets, in us; ValueError otherwise.

    Source: IEEE 802.15.4-2006, 7.4.1: 12 symbols up to 18 octets, 40 symbols above.
    """
    whole("psdu_octets", psdu_octets, PSDU_OCTETS)
    return SHORT_SPACING_US if psdu_octets <= SHORT_FRAME_OCTETS else LONG_SPACING_US


def longest_backoff_us(backoff_exponent: int = 3) -> int:
    """Return the longest first CSMA-CA back-off, in us: 2^BE - 1 periods of 20 symbols.

    backoff_exponent is 0 to 8, ValueError otherwise; the default is macMinBE.
    Source: IEEE 802.15.4-2006, 7.5.1.4.
    """
    whole("backoff_exponent", backoff_exponent, _BACKOFF_EXPONENTS)
    return ((1 << backoff_exponent) - 1) * UNIT_BACKOFF_US


def mean_backoff_us(backoff_exponent: int = 3) -> float:
    """Return the mean first CSMA-CA back-off, in us: half the longest, as it is drawn evenly.

    backoff_exponent as in longest_backoff_us. Source: IEEE 802.15.4-2006, 7.5.1.4.
    """
    return longest_backoff_us(backoff_exponent) / 2


def exchange_us(psdu_octets: int, backoff_exponent: int = 3) -> float:
    """Return the mean time of one acknowledged frame on a free channel, unslotted, in us.

    Back-off, clear channel assessment, turnaround, frame, turnaround, acknowledgement, spacing.
    psdu_octets is 1 to 127 and backoff_exponent 0 to 8, ValueError otherwise.
    Source: IEEE 802.15.4-2006, 7.5.1.4 and 7.5.6.4 (from memory).
    """
    access_us = mean_backoff_us(backoff_exponent) + CCA_US + TURNAROUND_US
    reply_us = TURNAROUND_US + ACK_US
    return access_us + frame_us(psdu_octets) + reply_us + spacing_us(psdu_octets)


def ed_scan_ms(duration_exponent: int, channels: int = 1) -> float:
    """Return the time of an ED scan over 1 to 16 channels, in ms.

    960 (2^n + 1) symbols a channel; duration_exponent n is 0 to 14, ValueError otherwise. What a
    scan reports for a channel is the highest ED value met in that time, not the mean.
    Source: IEEE 802.15.4-2006, 7.1.11 and 7.5.2.1.1 (from memory).
    """
    whole("duration_exponent", duration_exponent, _SCAN_EXPONENTS)
    whole("channels", channels, range(1, 17))
    return _BASE_SUPERFRAME_US * ((1 << duration_exponent) + 1) * channels / _US_PER_MS


@dataclass(frozen=True)
class Traffic:
    """What a station sends to its labels.

    Each of the labels (0 to a million) gets updates_per_label_hour updates (0 or more, the mean
    over the hours that matter) of payload_octets (1 to a million). An update travels in as few
    frames as can hold it, each with overhead_octets (0 to 126) of MAC, security and higher
    layers; tries (1 or more) is the mean number of times a frame is sent until it is
    acknowledged. ValueError otherwise.
    """

    labels: int
    updates_per_label_hour: float
    payload_octets: int
    overhead_octets: int = FRAME_OVERHEAD_OCTETS
    tries: float = 1.0

    def __post_init__(self) -> None:
        """Refuse traffic that cannot be."""
        whole("labels", self.labels, range(1_000_001))
        not_negative("updates_per_label_hour", self.updates_per_label_hour)
        whole("payload_octets", self.payload_octets, range(1, 1_000_001))
        whole("overhead_octets", self.overhead_octets, range(PSDU_OCTETS[-1]))
        if not finite("tries", self.tries) >= 1:
            raise ValueError(f"tries must be 1 or more; got {self.tries!r}")

    @property
    def frames(self) -> tuple[int, ...]:
        """Sizes in octets (PSDU) of the frames of one update: full ones, then the remainder."""
        room = PSDU_OCTETS[-1] - self.overhead_octets
        full, rest = divmod(self.payload_octets, room)
        last = (rest + self.overhead_octets,) if rest else ()
        return (PSDU_OCTETS[-1],) * full + last


def update_us(traffic: Traffic) -> float:
    """Return how long a station transmits for one update of one label, repeats included, in us.

    Only its own frames count. The acknowledgements are sent by the label, at the label's place and
    power: see ack_air_share.
    """
    return traffic.tries * sum(frame_us(octets) for octets in traffic.frames)


def offered_air_share(traffic: Traffic) -> float:
    """Return the share of time a station would transmit if the air had room for everything.

    Labels x updates an hour x update_us. Above air_share_limit the station cannot keep up.
    Source: offered load of textbooks, with the frame times of this module.
    """
    return traffic.labels * traffic.updates_per_label_hour * update_us(traffic) / _US_PER_HOUR


def air_share_limit(traffic: Traffic) -> float:
    """Return the largest share of time, 0 to 1, that a station can transmit.

    Even alone on a free channel every frame costs back-off, assessment, turnarounds, the
    acknowledgement and spacing, during which the station is silent.
    Source: frame_us over exchange_us, summed over the frames of an update.
    """
    whole_us = fsum(exchange_us(octets) for octets in traffic.frames)
    return sum(frame_us(octets) for octets in traffic.frames) / whole_us


def air_share(traffic: Traffic) -> float:
    """Return the share of time, 0 to 1, that a station transmits: offered, up to the limit."""
    return min(offered_air_share(traffic), air_share_limit(traffic))


def ack_air_share(traffic: Traffic) -> float:
    """Return the share of time, 0 to 1, that a station's labels transmit acknowledgements.

    One for each frame of each update, however often the frame was repeated; scaled down alike
    when the station cannot keep up. Reported apart because labels are not the station: a
    neighbour that hears the station need not hear them.
    """
    offered = offered_air_share(traffic)
    if offered == 0:
        return 0.0
    acks_us = len(traffic.frames) * ACK_US
    return air_share(traffic) * acks_us / update_us(traffic)
