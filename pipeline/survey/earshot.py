"""Earshot in a store and across the wall: path loss, levels, and the chance that they matter."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import hypot
from operator import attrgetter

from pipeline.database import Database
from pipeline.radio.coexistence import Rejection, channel_rejection_db
from pipeline.radio.propagation import (
    LogDistanceFit,
    exceedance_probability,
    fit_log_distance,
    log_distance_loss_db,
    named_loss_db,
)
from pipeline.settings import Settings
from pipeline.tables.survey import Earshot, EarshotNextDoor, PathFit, PathResidual, StoreJoined

_LEAST_DISTANCE_M = 0.5  # two stations drawn on one spot


@dataclass(frozen=True, slots=True)
class Pair:
    """A station and a neighbour, with what is known of the path between them.

    `flat_m` is their distance on the floor plan, None where a station has no coordinates;
    `measured_dbm` the level heard, `reverse_dbm` the level heard the other way round. The neighbour
    may be of another store, which is then named.
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
    neighbour_store: str | None = None


def distance_m(pair: Pair, limits: Mapping[str, float]) -> float:
    """Return the distance between two stations in m, floors counted, never quite nothing."""
    flat_m = limits["default_distance_m"] if pair.flat_m is None else pair.flat_m
    return max(_LEAST_DISTANCE_M, hypot(flat_m, pair.floors * limits["floor_height_m"]))


def model_loss_db(pair: Pair, limits: Mapping[str, float], model: str) -> float:
    """Return the loss of a path in dB by a published model."""
    return named_loss_db(model, distance_m(pair, limits), pair.floors, limits["floor_loss_db"])


def fitted_loss_db(pair: Pair, limits: Mapping[str, float], fit: PathFit) -> float:
    """Return the loss of a path in dB by the store's own fit; floors cost `floor_loss_db` each."""
    if fit.loss_at_1m_db is None or fit.exponent is None:
        raise ValueError(f"store {fit.store} has no fit to reckon with")
    flat_db = log_distance_loss_db(distance_m(pair, limits), fit.loss_at_1m_db, fit.exponent)
    return flat_db + pair.floors * limits["floor_loss_db"]


def fit_store(
    store: str, pairs: Sequence[Pair], limits: Mapping[str, float]
) -> tuple[PathFit, tuple[PathResidual, ...]]:
    """Fit a log-distance model to a store's measured levels of known distance.

    It is used from `fit_pairs_minimum` levels on, when its exponent is one a building can have
    (`fit_exponent_least` to `fit_exponent_most`); else the note says why not.
    """
    measured = [p for p in pairs if p.measured_dbm is not None and p.flat_m is not None]
    losses_db = [_measured_loss_db(pair, limits) for pair in measured]
    distances_m = [distance_m(pair, limits) for pair in measured]
    enough = len(measured) >= limits["fit_pairs_minimum"] and len(set(distances_m)) > 1
    if not enough:
        note = f"{len(measured)} measured levels with a distance; too few to fit a model to"
        return PathFit(store, len(measured), None, None, None, None, False, note), ()
    found = fit_log_distance(distances_m, losses_db)
    doubt = _doubt(found, limits)
    note = f"{doubt}; the published model is used" if doubt else f"fitted to {len(measured)} levels"
    fit = PathFit(
        store=store,
        pairs=len(measured),
        exponent=found.exponent,
        exponent_error=found.exponent_error,
        loss_at_1m_db=found.loss_at_1m_db,
        spread_db=found.spread_db,
        used=not doubt,
        note=note,
    )
    rows = zip(measured, distances_m, losses_db, found.residuals_db, strict=True)
    return fit, tuple(
        PathResidual(
            store=store,
            station=pair.station,
            neighbour=pair.neighbour,
            distance_m=far_m,
            loss_db=loss_db,
            residual_db=residual_db,
        )
        for pair, far_m, loss_db, residual_db in rows
    )


def _doubt(fit: LogDistanceFit, limits: Mapping[str, float]) -> str:
    """Return why a fit is not to be believed; empty where it is."""
    if not limits["fit_exponent_least"] <= fit.exponent <= limits["fit_exponent_most"]:
        return f"exponent {fit.exponent:.2f} is not one a building has"
    if fit.exponent_error > limits["fit_exponent_error_most"]:
        return f"exponent {fit.exponent:.2f} is unsure by {fit.exponent_error:.2f}"
    return ""


def _measured_loss_db(pair: Pair, limits: Mapping[str, float]) -> float:
    if pair.measured_dbm is None:
        raise ValueError(f"{pair.station} has no measured level of {pair.neighbour}")
    floors_db = pair.floors * limits["floor_loss_db"]
    return pair.neighbour_power_dbm - pair.measured_dbm - floors_db


def earshots(
    pairs: Iterable[Pair],
    limits: Mapping[str, float],
    model: str,
    fits: Mapping[str, PathFit],
) -> Iterator[Earshot]:
    """Yield who hears whom, leaving out pairs that cannot disturb one another.

    A measured level counts first; then one measured the other way round, since the loss of a path
    is the same both ways (reciprocity); then the transmit power less the loss of the store's own
    fit, or of the published model where it has none.
    """
    for pair in pairs:
        heard_dbm, spread_db, source = _heard(pair, limits, model, fits.get(pair.store))
        co, adjacent, alternate = _chances(heard_dbm, spread_db, limits)
        if co >= limits["earshot_least"]:
            yield Earshot(
                store=pair.store,
                station=pair.station,
                neighbour=pair.neighbour,
                heard_dbm=round(heard_dbm, 3),
                spread_db=spread_db,
                source=source,
                distance_m=None if pair.flat_m is None else round(distance_m(pair, limits), 3),
                hit_co=co,
                hit_adjacent=adjacent,
                hit_alternate=alternate,
            )


def next_door(
    pairs: Iterable[Pair], limits: Mapping[str, float], model: str
) -> Iterator[EarshotNextDoor]:
    """Yield who hears whom through the wall between two stores, as `earshots` does within one.

    No fit of one store holds for the wall; `flat_m` is None where only a level tells that the two
    are neighbours, and then a pair that nobody measured is left out.
    """
    for pair in pairs:
        if pair.flat_m is None and pair.measured_dbm is None and pair.reverse_dbm is None:
            continue
        heard_dbm, spread_db, source = _heard(pair, limits, model, None)
        co, adjacent, alternate = _chances(heard_dbm, spread_db, limits)
        if co >= limits["earshot_least"]:
            yield EarshotNextDoor(
                store=pair.store,
                station=pair.station,
                neighbour_store=pair.neighbour_store or pair.store,
                neighbour=pair.neighbour,
                heard_dbm=round(heard_dbm, 3),
                spread_db=spread_db,
                source=source,
                hit_co=co,
                hit_adjacent=adjacent,
                hit_alternate=alternate,
            )


def _chances(
    heard_dbm: float, spread_db: float, limits: Mapping[str, float]
) -> tuple[float, float, float]:
    """Return the chances that a level disturbs on the same channel, the next, the next but one."""
    off_db = _rejected_db(limits["adjacent_rejection_db"], limits["alternate_rejection_db"])
    chance = {off: _chance(heard_dbm - off, limits, spread_db) for off in set(off_db)}
    return chance[off_db[0]], chance[off_db[1]], chance[off_db[2]]


@cache
def _rejected_db(adjacent_db: float, alternate_db: float) -> tuple[float, float, float]:
    """Return what a receiver takes off a signal on its channel, the next and the next but one."""
    rejection = Rejection(adjacent_db, alternate_db)
    same, adjacent, alternate = (channel_rejection_db(apart, rejection) for apart in (0, 1, 2))
    return same, adjacent, alternate


def _chance(level_dbm: float, limits: Mapping[str, float], spread_db: float) -> float:
    return round(exceedance_probability(level_dbm, limits["cca_threshold_dbm"], spread_db), 6)


def _heard(
    pair: Pair, limits: Mapping[str, float], model: str, fit: PathFit | None
) -> tuple[float, float, str]:
    if pair.measured_dbm is not None:
        return pair.measured_dbm, limits["measured_spread_db"], "measured"
    if pair.reverse_dbm is not None:
        loss_db = pair.own_power_dbm - pair.reverse_dbm
        return pair.neighbour_power_dbm - loss_db, limits["measured_spread_db"], "measured"
    if fit is not None and fit.used and fit.spread_db is not None:
        # Few pairs can lie on a line by luck; a building never does.
        spread_db = round(max(fit.spread_db, limits["fit_spread_least_db"]), 3)
        return pair.neighbour_power_dbm - fitted_loss_db(pair, limits, fit), spread_db, "fitted"
    loss_db = model_loss_db(pair, limits, model)
    return pair.neighbour_power_dbm - loss_db, limits["shadowing_db"], "modelled"


def keep_next_door(database: Database, settings: Settings) -> None:
    """Fill earshot_next_door and store_joined, where they differ from what was found last.

    Stores are planned together that are tied, directly or through others: by a site that both name,
    or by a pair of stations that can disturb one another.
    """
    beside = list(database.frame("survey", "neighbours").iter_rows())
    heard: list[EarshotNextDoor] = []
    joined: list[StoreJoined] = []
    if beside:
        pairs = database.records(Pair, "survey", "pairs_next_door")
        heard = list(next_door(pairs, settings.limits, settings.path_loss))
        audible = {(one.store, one.neighbour_store) for one in heard}
        named = database.frame("survey", "of_one_site").iter_rows()
        joined = _joined(sorted({*named, *audible}))
    kept = sorted(database.every(EarshotNextDoor), key=attrgetter(*_ORDER))
    if (kept, database.every(StoreJoined)) != (heard, joined):
        with database.transaction():
            database.clear(EarshotNextDoor, StoreJoined)
            database.put(EarshotNextDoor, heard)
            database.put(StoreJoined, joined)


_ORDER = ("store", "station", "neighbour_store", "neighbour")


def _joined(pairs: Iterable[tuple[str, str]]) -> list[StoreJoined]:
    clusters: list[set[str]] = []
    for pair in pairs:
        tied = [cluster for cluster in clusters if cluster & set(pair)]
        clusters = [one for one in clusters if one not in tied]
        clusters.append(set(pair).union(*tied))
    rows = [StoreJoined(store, _called(sorted(one))) for one in clusters for store in one]
    return sorted(rows, key=attrgetter("store"))


def _called(stores: Sequence[str]) -> str:
    return " + ".join(stores)
