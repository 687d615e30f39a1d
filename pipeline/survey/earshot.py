"""Earshot: the level at which each station hears each neighbour, and the chance it matters."""

from collections.abc import Iterable, Iterator, Mapping
from functools import cache

from pipeline.radio.coexistence import Rejection, channel_rejection_db
from pipeline.radio.propagation import exceedance_probability
from pipeline.survey.path_loss import Pair, distance_m, fitted_loss_db, model_loss_db
from pipeline.tables.survey import Earshot, EarshotNextDoor, PathFit


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
