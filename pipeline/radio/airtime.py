"""How long the frames of an update take on the air.

Times are exact for the IEEE 802.15.4 2450 MHz O-QPSK PHY (62.5 ksymbol/s, two symbols an octet).
Clause numbers are those of IEEE 802.15.4-2006; where noted they come from memory.
"""

from pipeline.radio.arguments import whole

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
