"""What stations in earshot found, as far as it tells of a channel that was found quiet."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_FOUND_BUSY = 0.3  # from this a on a reading was busy; of a channel found quiet it is 0.1 or less
_UNKNOWN = 2.0  # a + b of what nothing is known of
_QUIET_TOO = 0.95  # chance that a channel quiet at one of two in earshot is as quiet at the other
_BUSY_TOO = 0.6  # that a network at work at one is heard at the other, before that was scanned


def likened(
    a: Floats, b: Floats, channels: Ints, near: NDArray[np.bool_]
) -> tuple[Floats, Floats, Floats]:
    """Return by what chance each share not found busy is that of another station, and its Beta.

    a, b, channels: (stations, choices), -1 for no choice; near: (stations, stations), who is in
    earshot of whom. One network is heard at many stations, and not every visit meets it at work. So
    a channel is as quiet as it is next door where more was read, and where it was found busy there
    it may be so here: the less likely, the more readings here were quiet. A share found busy is
    known from its own readings. The chances are ours, chosen on simulated chains.
    """
    chance, other_a, other_b = np.zeros(a.shape), np.ones(a.shape), np.ones(a.shape)
    for channel in sorted(set(channels[channels >= 0].tolist())):
        rows, at = np.nonzero(channels == channel)
        own_a, own_b = a[rows, at], b[rows, at]
        known = own_a + own_b > _UNKNOWN
        busy: NDArray[np.bool_] = known & (own_a >= _FOUND_BUSY)
        heard: NDArray[np.bool_] = near[np.ix_(rows, rows)] & known
        told = np.where((heard & busy).any(axis=1, keepdims=True), busy, known)
        best = np.argmax(np.where(heard & told, own_a + own_b, -1.0), axis=1)
        share = own_a[best] / (own_a[best] + own_b[best])
        missed = _BUSY_TOO * (1 - share) ** own_b
        likely = np.where(
            busy[best],
            missed / (missed + 1 - _BUSY_TOO),
            np.where(own_b[best] > own_b, _QUIET_TOO, 0.0),
        )
        chance[rows, at] = likely * (heard.any(axis=1) & known & ~busy)
        other_a[rows, at], other_b[rows, at] = own_a[best], own_b[best]
    return chance, other_a, other_b
