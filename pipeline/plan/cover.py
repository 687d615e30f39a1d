"""Which labels of a store no channel can help, and where a further station or antenna would."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from statistics import median
from zlib import crc32

import numpy as np

from pipeline.cover.floors import (
    PIVOT_M,
    Figures,
    Indoors,
    Levels,
    Spot,
    WeakLabels,
    apart_from,
    cells,
    levels_dbm,
    midpoints,
    worlds,
)
from pipeline.cover.places import Choice, Reach, Rescued, choose_places, reach, rescued
from pipeline.radio.propagation import (
    log_distance_loss_db,
    named_loss_db,
)
from pipeline.rules_table import GivenPlace
from pipeline.tables.plan import CoverPlace, CoverStore
from pipeline.tables.survey import PathFit

_TILT, _LEAST_TILT = 0.12, 0.06  # how unsure the steepness of a path is: published, fitted
_ON_AIR = ("installed", "planned")
_MOST_REACH_M = 200.0


@dataclass(frozen=True, slots=True)
class CoverLabels:
    """A store's labels: all, those whose level is known, those that hear their station weakly."""

    store: str
    labels: int
    levels: int
    weak_labels: int
    wanting: bool  # whether further places are to be looked for


@dataclass(frozen=True, slots=True)
class CoverStation:
    """Where a station hangs, or could; its position None where it is not known."""

    store: str
    station: str
    name: str
    floor: int
    x_m: float | None
    y_m: float | None
    power_dbm: float
    status: str


@dataclass(frozen=True, slots=True)
class LabelLevel:
    """How many labels hear a station at a level; of weak ones where they hang, if that is known."""

    store: str
    station: str
    level_dbm: float
    labels: int
    weak: bool
    floor: int | None = None
    x_m: float | None = None
    y_m: float | None = None


@dataclass(frozen=True, slots=True)
class CoverRows:
    """What the database holds of a store's labels and places; `given` are the rules file's."""

    labels: CoverLabels | None = None
    stations: Sequence[CoverStation] = ()
    levels: Sequence[LabelLevel] = ()
    fit: PathFit | None = None
    given: Sequence[GivenPlace] = ()
    model: str = "break-point"


@dataclass(frozen=True, slots=True)
class Covered:
    """What is said of a store's labels, and the places, best first."""

    store: CoverStore | None = None
    places: tuple[CoverPlace, ...] = field(default=())


def cover(rows: CoverRows, limits: Mapping[str, float]) -> Covered:
    """Return where further places would bring weak labels up to the weak level."""
    told = rows.labels
    if told is None:
        return Covered()
    share = None if not told.levels else 1 - told.weak_labels / told.levels
    head = CoverStore(
        store=told.store,
        labels=told.labels,
        levels=told.levels,
        weak_labels=told.weak_labels,
        share_now=share,
        places=None,
        share_then=None,
        bound=None,
        optimal=None,
        why="no-levels" if not told.levels else None if told.wanting else "enough",
    )
    if head.why:
        return Covered(head)
    known = _known(rows, limits)
    if isinstance(known, str):
        return Covered(replace(head, why=known))
    seed = crc32(told.store.encode())
    found = choose_places(
        known.reach, told.levels, limits["cover_share"], int(limits["solver_effort"]), seed
    )
    return Covered(_told(head, found), _places(known, found, told.store, limits))


def _told(head: CoverStore, found: Choice) -> CoverStore:
    return replace(
        head,
        places=len(found.spots) if found.enough else None,
        share_then=found.share,
        bound=found.bound,
        optimal=found.optimal,
    )


@dataclass(frozen=True, slots=True)
class _Reckoning:
    reach: Reach
    kinds: tuple[str, ...]  # of each spot
    indoors: Indoors
    offset_db: float


def _known(rows: CoverRows, limits: Mapping[str, float]) -> _Reckoning | str:
    """Return what places would reach, or why that cannot be worked out."""
    stations = [_spot(s) for s in rows.stations if s.status in _ON_AIR and s.x_m is not None]
    at = {spot.name: place for place, spot in enumerate(stations)}
    weak = [row for row in rows.levels if row.weak]
    placed = [row for row in weak if row.station in at]
    if not placed or 2 * sum(row.labels for row in placed) < sum(row.labels for row in weak):
        return "unplaced"
    kinds, spots = _candidates(rows, stations)
    if not spots:
        return "no-place"
    indoors, tilt = indoors_of(rows, limits)
    floors = cells(stations, limits["default_distance_m"])
    levels, places = (
        Levels(
            levels_dbm(some, floors.points, indoors),
            np.array([one.power_dbm - indoors.loss_db(PIVOT_M, 0) for one in some]),
        )
        for some in (stations, spots)
    )
    told: list[dict[float, int]] = [{} for _ in stations]
    for row in rows.levels:
        if row.station in at:
            here = told[at[row.station]]
            here[row.level_dbm] = here.get(row.level_dbm, 0) + row.labels
    ways = worlds(levels, floors.out, told, (indoors.spread_db, tilt))
    labels = _kinds(placed, at, floors.points)
    known = reach(
        levels, places, spots, kinds=labels, ways=ways, level_dbm=limits["weak_label_dbm"]
    )
    offset = sum(way.weight * way.offset_db for way in ways)
    return _Reckoning(known, tuple(kinds), indoors, offset)


def _kinds(weak: Sequence[LabelLevel], at: Mapping[str, int], points: Figures) -> list[WeakLabels]:
    """Return weak labels by station, level, two dB together, and cell where it is known.

    `points` are the middles of the cells: floor, x and y in m.
    """
    found: dict[tuple[int, float, int], int] = {}
    for row in weak:
        key = (at[row.station], 2 * (row.level_dbm // 2) + 0.5, _cell(row, points))
        found[key] = found.get(key, 0) + row.labels
    return [
        WeakLabels(station, level, n, None if cell < 0 else cell)
        for (station, level, cell), n in sorted(found.items())
    ]


def _cell(row: LabelLevel, points: Figures) -> int:
    """Return the cell a label hangs in, the nearest of its floor; -1 where that is not known."""
    if row.x_m is None or row.y_m is None:
        return -1
    far = (points[:, 1] - row.x_m) ** 2 + (points[:, 2] - row.y_m) ** 2
    if row.floor is not None and (points[:, 0] == row.floor).any():
        far = np.where(points[:, 0] == row.floor, far, np.inf)
    return int(far.argmin())


def _spot(row: CoverStation) -> Spot:
    return Spot(row.station, row.floor, row.x_m or 0.0, row.y_m or 0.0, row.power_dbm)


def _candidates(rows: CoverRows, stations: Sequence[Spot]) -> tuple[list[str], list[Spot]]:
    """Return the places to try, those named first, with the kind of each."""
    power = usual_power_dbm(rows)
    given = [Spot(p.name, p.floor, p.x_m, p.y_m, power) for p in rows.given]
    mounts = [
        Spot(row.name, row.floor, row.x_m, row.y_m, power)
        for row in rows.stations
        if row.status not in _ON_AIR and row.x_m is not None and row.y_m is not None
    ]
    kind = {id(spot): "given" for spot in given} | {id(spot): "mount" for spot in mounts}
    spots = apart_from([*given, *mounts, *midpoints(stations, power)], stations)
    return [kind.get(id(spot), "middle") for spot in spots], spots


def usual_power_dbm(rows: CoverRows) -> float:
    """Return the middle power of a store's stations; 0 dBm where there is none."""
    powers = [row.power_dbm for row in rows.stations if row.status in _ON_AIR]
    return median(powers) if powers else 0.0


def would_rescue(rows: CoverRows, spot: Spot, limits: Mapping[str, float]) -> Rescued | None:
    """Return how many weak labels a station at a spot would bring up; None: not known, or none."""
    place = GivenPlace(
        rows.labels.store if rows.labels else "", spot.name, spot.x_m, spot.y_m, spot.floor
    )
    known = _known(replace(rows, given=(place,)), limits)
    if isinstance(known, str) or spot.name not in [one.name for one in known.reach.spots]:
        return None
    at = [one.name for one in known.reach.spots].index(spot.name)
    return rescued(known.reach, [at], limits["interval_share"])


def indoors_of(rows: CoverRows, limits: Mapping[str, float]) -> tuple[Indoors, float]:
    """Return how signals weaken in a store, and how unsure the steepness is: its own fit, if used.

    The steepness is relative: 0.1 is a tenth.
    """
    fit, height_m = rows.fit, limits["floor_height_m"]
    if fit is None or fit.exponent is None or fit.loss_at_1m_db is None or fit.spread_db is None:
        loss = partial(_published_db, rows.model, limits["floor_loss_db"])
        return Indoors(loss, limits["shadowing_db"], height_m), _TILT
    own = partial(_fitted_db, fit.loss_at_1m_db, fit.exponent, limits["floor_loss_db"])
    spread_db = max(fit.spread_db, limits["fit_spread_least_db"])
    tilt = max(_LEAST_TILT, (fit.exponent_error or 0.0) / fit.exponent)
    return Indoors(own, spread_db, height_m), tilt


def _published_db(model: str, floor_loss_db: float, distance_m: float, floors: int) -> float:
    return named_loss_db(model, distance_m, floors, floor_loss_db)


def _fitted_db(
    at_1m_db: float, exponent: float, floor_loss_db: float, distance_m: float, floors: int
) -> float:
    return log_distance_loss_db(distance_m, at_1m_db, exponent) + floors * floor_loss_db


def _places(
    known: _Reckoning, found: Choice, store: str, limits: Mapping[str, float]
) -> tuple[CoverPlace, ...]:
    places = []
    for rank, at in enumerate(found.spots, start=1):
        spot = known.reach.spots[at]
        saved = rescued(known.reach, [at], limits["interval_share"])
        pays = limits["station_pays_labels"]
        verdict = "order" if saved.low >= pays else "measure" if saved.high >= pays else "no"
        places.append(
            CoverPlace(
                store=store,
                rank=rank,
                place=spot.name,
                kind=known.kinds[at],
                floor=spot.floor,
                x_m=spot.x_m,
                y_m=spot.y_m,
                rescued=saved.labels,
                rescued_low=saved.low,
                rescued_high=saved.high,
                verdict=verdict,
                reach_m=_reach_m(spot, known, limits["weak_label_dbm"]),
                channel=None,
                air_lost=None,
            )
        )
    return tuple(places)


def _reach_m(spot: Spot, known: _Reckoning, level_dbm: float) -> float:
    """Return how far a spot is heard at a level, on average, in m."""
    low, high = 0.5, _MOST_REACH_M
    for _ in range(20):
        middle = (low + high) / 2
        heard = spot.power_dbm + known.offset_db - known.indoors.loss_db(middle, 0)
        low, high = (middle, high) if heard >= level_dbm else (low, middle)
    return low
