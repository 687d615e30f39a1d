"""Earshot: the level at which each station hears each neighbour, and the chance it matters."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import hypot

from pipeline.radio.coexistence import Rejection, channel_rejection_db
from pipeline.radio.propagation import (
    P1238_COMMERCIAL,
    P1238_LEAST_M,
    breakpoint_loss_db,
    exceedance_probability,
    free_space_loss_db,
    p1238_loss_db,
)

_FREQUENCY_MHZ = 2440.0  # channel 18, mid-band; the band's ends differ by 0.3 dB
_LEAST_DISTANCE_M = 0.5  # two stations drawn on one spot


@dataclass(frozen=True, slots=True)
class Pair:
    """A station and a neighbour, with what is known of the path between them.

    `flat_m` is their distance on the floor plan, None where a station has no coordinates;
    `measured_dbm` the level heard, `reverse_dbm` the level heard the other way round.
    """

    store: str
    station: str
    neighbour: str
    own_power_dbm: float
    neighbour_power_dbm: float
    flat_m: float | None
    floors: int
    measured_dbm: float | None
    reverse_dbm: float | None


@dataclass(frozen=True, slots=True)
class Earshot:
    """The level heard, how sure it is, and the chance that it stands above the threshold."""

    store: str
    station: str
    neighbour: str
    heard_dbm: float
    spread_db: float
    source: str
    distance_m: float | None
    hit_co: float
    hit_adjacent: float
    hit_alternate: float


def earshots(pairs: Iterable[Pair], limits: Mapping[str, float], model: str) -> Iterator[Earshot]:
    """Yield who hears whom, leaving out pairs that cannot disturb one another.

    A measured level counts first; then one measured the other way round, since the loss of a path
    is the same both ways (reciprocity); then the transmit power less the modelled loss.
    """
    rejection = Rejection(limits["adjacent_rejection_db"], limits["alternate_rejection_db"])
    for pair in pairs:
        heard_dbm, spread_db, source = _heard(pair, limits, model)
        hits = [
            round(
                exceedance_probability(
                    heard_dbm - channel_rejection_db(apart, rejection),
                    limits["cca_threshold_dbm"],
                    spread_db,
                ),
                6,
            )
            for apart in (0, 1, 2)
        ]
        if hits[0] >= limits["earshot_least"]:
            yield Earshot(
                pair.store,
                pair.station,
                pair.neighbour,
                round(heard_dbm, 3),
                spread_db,
                source,
                None if pair.flat_m is None else round(_distance_m(pair, limits), 3),
                *hits,
            )


def _heard(pair: Pair, limits: Mapping[str, float], model: str) -> tuple[float, float, str]:
    if pair.measured_dbm is not None:
        return pair.measured_dbm, limits["measured_spread_db"], "measured"
    if pair.reverse_dbm is not None:
        loss_db = pair.own_power_dbm - pair.reverse_dbm
        return pair.neighbour_power_dbm - loss_db, limits["measured_spread_db"], "measured"
    loss_db = path_loss_db(_distance_m(pair, limits), pair.floors, limits, model)
    return pair.neighbour_power_dbm - loss_db, limits["shadowing_db"], "modelled"


def path_loss_db(distance_m: float, floors: int, limits: Mapping[str, float], model: str) -> float:
    """Return the modelled loss in dB over a distance in m and a number of floors.

    The commercial model of ITU-R P.1238-9 brings its own floor term; the others take
    `floor_loss_db` per floor.
    """
    if model == "commercial":
        far_enough_m = max(distance_m, P1238_LEAST_M)
        return p1238_loss_db(far_enough_m, _FREQUENCY_MHZ, P1238_COMMERCIAL, floors)
    floors_db = floors * limits["floor_loss_db"]
    if model == "free-space":
        return free_space_loss_db(distance_m, _FREQUENCY_MHZ) + floors_db
    return breakpoint_loss_db(distance_m) + floors_db


def _distance_m(pair: Pair, limits: Mapping[str, float]) -> float:
    flat_m = limits["default_distance_m"] if pair.flat_m is None else pair.flat_m
    return max(_LEAST_DISTANCE_M, hypot(flat_m, pair.floors * limits["floor_height_m"]))
