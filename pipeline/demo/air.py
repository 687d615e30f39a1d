"""The air of an invented store: path loss, Wi-Fi in IEEE 802.15.4 channels, a sound choice of them.

These few lines of physics share nothing with the program on purpose: data made with its own
formulas could not reveal a mistake in them.
"""

import math
import random
from collections.abc import Mapping, Sequence
from itertools import pairwise

from pipeline.demo.records import AccessPoint, ExportedStation

CHANNELS = tuple(range(11, 27))
THRESHOLD_DBM = -75.0
NOISE_FLOOR_DBM = -94.0
_FLOOR_LOSS_DB = 15.0
_FLOOR_HEIGHT_M = 4.0
_BREAK_M = 8.0
# IEEE 802.11 transmit masks (17.3.9.3 and clause 19, from memory): offset in MHz, limit in dBr.
_MASKS: Mapping[int, tuple[tuple[float, float], ...]] = {
    20: ((0, 0), (9, 0), (11, -20), (20, -28), (30, -40), (200, -40)),
    40: ((0, 0), (19, 0), (21, -20), (40, -28), (60, -45), (200, -45)),
}
_STARTS = 12  # of the search for channels
_SHARE_DB = {20: -9.1, 40: -12.6}  # of the Wi-Fi power that falls into 2 MHz
_BELOW_MASK_DB = 10.0  # transmitters stay below their mask (common practice, no published source)
_IN_BAND_MHZ = {20: 9.0, 40: 19.0}


def dice(*parts: object) -> random.Random:
    """Return a random generator named by its parts; an extra draw from one changes no other."""
    return random.Random("/".join(map(str, parts)))


def path_loss_db(distance_m: float, floors: int = 0) -> float:
    """Return the loss of the 8 m break-point model (IEEE 802.15.4-2006 Annex E.5.3) plus floors."""
    near = max(distance_m, 0.5)
    if near <= _BREAK_M:
        loss = 40.2 + 20 * math.log10(near)
    else:
        loss = 58.5 + 33 * math.log10(near / _BREAK_M)
    return loss + _FLOOR_LOSS_DB * floors


def distance_m(a: tuple[int, float, float], b: tuple[int, float, float]) -> float:
    """Return the distance of two places given as floor, x and y in metres."""
    return math.hypot(a[1] - b[1], a[2] - b[2], (a[0] - b[0]) * _FLOOR_HEIGHT_M)


def loss_between(a: tuple[int, float, float], b: tuple[int, float, float]) -> float:
    """Return the path loss in dB between two places given as floor, x and y in metres."""
    return path_loss_db(distance_m(a, b), abs(a[0] - b[0]))


def place(item: ExportedStation | AccessPoint) -> tuple[int, float, float]:
    """Return floor, x and y of a station or access point as built."""
    return (item.floor or 0, item.x_m or 0.0, item.y_m or 0.0)


def wifi_at(seed: int, station: ExportedStation, point: AccessPoint) -> float:
    """Return the level in dBm, over its whole width, at which a station hears an access point."""
    shadow = dice(seed, station.station, point.network, "wifi").gauss(0, 3)
    return point.power_dbm - loss_between(place(station), place(point)) + shadow


def spill_db(point: AccessPoint, channel: int) -> float:
    """Return how far below its full level an access point stands in one 2 MHz channel, in dB."""
    centre_mhz = 2407 + 5 * point.wifi_channel
    if point.secondary is not None:
        centre_mhz += 10 if point.secondary == "above" else -10
    offset = abs(2405 + 5 * (channel - 11) - centre_mhz)
    margin = _BELOW_MASK_DB if offset > _IN_BAND_MHZ[point.width_mhz] else 0.0
    return _SHARE_DB[point.width_mhz] + _mask_db(_MASKS[point.width_mhz], offset) - margin


def _mask_db(mask: Sequence[tuple[float, float]], offset: float) -> float:
    for (low, at_low), (high, at_high) in pairwise(mask):
        if offset <= high:
            return at_low + (at_high - at_low) * (offset - low) / (high - low)
    return mask[-1][1]


def power_sum_dbm(levels: Sequence[float]) -> float:
    """Return the sum of powers given in dBm, added in mW."""
    return 10 * math.log10(sum(10 ** (level / 10) for level in levels))


def busy_share(
    seed: int, station: ExportedStation, points: Sequence[AccessPoint], channel: int
) -> float:
    """Return the share of time in trading hours that Wi-Fi holds a channel above the threshold."""
    free = 1.0
    for point in points:
        if wifi_at(seed, station, point) + spill_db(point, channel) > THRESHOLD_DBM:
            free *= 1 - point.utilisation_pct / 100
    return 1 - free


def heard_dbm(seed: int, listener: ExportedStation, speaker: ExportedStation) -> float:
    """Return the level in dBm of one station at another; the shadowing is the same both ways."""
    first, second = sorted((listener.station, speaker.station))
    shadow = dice(seed, first, second, "stations").gauss(0, 2.5)
    return speaker.tx_power_dbm - loss_between(place(listener), place(speaker)) + shadow


def choose_channels(
    seed: int,
    stations: Sequence[ExportedStation],
    points: Sequence[AccessPoint],
    permitted: Sequence[int],
) -> tuple[int, ...]:
    """Return a channel for each station: quiet, and where possible not shared in earshot.

    Improves one station at a time from several starts; good, not proven best.
    """
    busy = [{c: busy_share(seed, s, points, c) for c in permitted} for s in stations]
    near = _nearness(seed, stations)
    best: tuple[float, tuple[int, ...]] = (math.inf, ())
    roll = dice(seed, stations[0].store, "channels")
    for _ in range(_STARTS):
        choice = [roll.choice(list(permitted)) for _ in stations]
        best = min(best, _improve(choice, busy, near))
    return best[1]


def _nearness(seed: int, stations: Sequence[ExportedStation]) -> list[list[float]]:
    """Return for each pair how clearly it is in earshot, 0..1, with or without shadowing."""
    grid = [[0.0] * len(stations) for _ in stations]
    for i, a in enumerate(stations):
        for j, b in enumerate(stations[:i]):
            plain = b.tx_power_dbm - loss_between(place(a), place(b))
            level = max(plain, heard_dbm(seed, a, b))
            grid[i][j] = grid[j][i] = 1 / (1 + math.exp(THRESHOLD_DBM - 2 - level))
    return grid


def _improve(
    choice: list[int], busy: Sequence[Mapping[int, float]], near: Sequence[Sequence[float]]
) -> tuple[float, tuple[int, ...]]:
    def cost(i: int, channel: int) -> float:
        shared = sum(
            near[i][j] * {0: 1.0, 1: 0.1}.get(abs(channel - other), 0.0)
            for j, other in enumerate(choice)
            if j != i
        )
        return 2 * busy[i][channel] + shared

    for _ in range(8):
        before = list(choice)
        for i, options in enumerate(busy):
            choice[i] = min(options, key=lambda channel, i=i: (cost(i, channel), channel))  # type: ignore[misc]  # a default binds the loop's index
        if choice == before:
            break
    return sum(cost(i, channel) for i, channel in enumerate(choice)), tuple(choice)
