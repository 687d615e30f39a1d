"""Path loss in a store: a published model, or one fitted to the store's own measured levels."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot

from pipeline.radio.propagation import (
    LogDistanceFit,
    fit_log_distance,
    log_distance_loss_db,
    named_loss_db,
)
from pipeline.tables.survey import PathFit, PathResidual

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
