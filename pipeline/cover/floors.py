"""The floors of a store: where labels can hang, places to add, and how strongly labels hear.

No export says how far a floor reaches beyond its outermost stations. Where they hang evenly it is
half the usual distance between them; so far it is taken to reach, more or less, on each side
(ours).

An export has a label's level and the station that serves it, rarely where it hangs. So every cell
of the floors is a place it may hang at, weighed by how likely its level is there, and that no other
station is louder. How much labels lose beyond the path (`offset_db`), how far single ones stray
(`spread_db`) and how much of that is the label's own, the same to all stations (`own`), is not
known either: each way it may be is a `World`, weighed by how well the store's levels fit it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import hypot, log, sqrt
from statistics import median

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtr

Figures = npt.NDArray[np.float64]
MOST_BEYOND = 4.0  # in halves of the usual distance between stations
_CELLS = 150  # of a floor, about
_SAME_M = 3.0  # two places nearer than this are one


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on a floor, in m, with the power in dBm of what hangs there or would."""

    name: str
    floor: int
    x_m: float
    y_m: float
    power_dbm: float


@dataclass(frozen=True, slots=True)
class Indoors:
    """How a signal weakens: dB by distance in m and floors crossed, and the spread about it."""

    loss_db: Callable[[float, int], float]
    spread_db: float
    floor_height_m: float


def half_gap_m(stations: Sequence[Spot], usual_m: float) -> float:
    """Return half the usual distance between stations, in m; `usual_m` where one tells nothing."""
    gaps = [
        min(far)
        for one in stations
        if (far := [_flat_m(one, o) for o in stations if o.floor == one.floor and o is not one])
    ]
    return median(gaps) / 2 if gaps else usual_m


@dataclass(frozen=True, slots=True)
class Cells:
    """Equal cells of all floors, and how far out each is.

    `points` are their middles, a row each: floor, x and y in m. `out` says how far each is beyond
    the outermost station to the west, east, south and north, in halves of the usual distance.
    """

    points: Figures
    out: Figures


def cells(stations: Sequence[Spot], usual_m: float) -> Cells:
    """Return the cells of a store's floors, as far as they may reach."""
    gap = half_gap_m(stations, usual_m)
    found, outs = [], []
    for floor in sorted({one.floor for one in stations}):
        at = np.array([(one.x_m, one.y_m) for one in stations if one.floor == floor])
        low, high = at.min(axis=0), at.max(axis=0)
        span = high - low + 2 * gap * MOST_BEYOND
        step = sqrt(float(span.prod()) / _CELLS)
        counts = np.maximum(1, np.ceil(span / step)).astype(int)
        shares = [(np.arange(n) + 0.5) / n for n in counts]
        grid = np.array(np.meshgrid(*shares)).reshape(2, -1).T * span + low - gap * MOST_BEYOND
        outs.append(np.column_stack([low - grid, grid - high])[:, [0, 2, 1, 3]] / gap)
        found.append(np.column_stack([np.full(len(grid), float(floor)), grid]))
    return Cells(np.vstack(found), np.vstack(outs))


def levels_dbm(spots: Sequence[Spot], points: Figures, indoors: Indoors) -> Figures:
    """Return the median level of each spot (row) at each point, in dBm."""
    loss = np.vectorize(indoors.loss_db, otypes=[float])
    rows = []
    for spot in spots:
        floors = np.abs(points[:, 0] - spot.floor)
        far_m = np.sqrt(
            (points[:, 1] - spot.x_m) ** 2
            + (points[:, 2] - spot.y_m) ** 2
            + (floors * indoors.floor_height_m) ** 2
        )
        far_m = np.round(np.maximum(far_m, 0.5), 1)
        # Most distances come more than once.
        pairs, back = np.unique(np.vstack([far_m, floors]), axis=1, return_inverse=True)
        rows.append(spot.power_dbm - loss(pairs[0], pairs[1].astype(int))[back.ravel()])
    return np.array(rows).reshape(len(spots), len(points))


def midpoints(stations: Sequence[Spot], power_dbm: float) -> list[Spot]:
    """Return the middles between stations of a floor that no third station is nearer to."""
    found = []
    for one, other in combinations(stations, 2):
        if one.floor != other.floor:
            continue
        x_m, y_m = (one.x_m + other.x_m) / 2, (one.y_m + other.y_m) / 2
        middle = Spot(f"{one.name} / {other.name}", one.floor, x_m, y_m, power_dbm)
        reach = _flat_m(one, middle)
        third = (s for s in stations if s.floor == one.floor and s not in {one, other})
        if all(_flat_m(s, middle) >= reach for s in third) and reach >= _SAME_M:
            found.append(middle)
    return found


def apart_from(spots: Sequence[Spot], others: Sequence[Spot]) -> list[Spot]:
    """Return the spots that no other one of the same floor stands beside, nor one before it."""
    kept: list[Spot] = []
    for spot in spots:
        beside = (o for o in (*others, *kept) if o.floor == spot.floor)
        if all(_flat_m(spot, o) >= _SAME_M for o in beside):
            kept.append(spot)
    return kept


def _flat_m(one: Spot, other: Spot) -> float:
    return hypot(one.x_m - other.x_m, one.y_m - other.y_m)


_WAYS = 400  # a store may be, drawn
_KEPT = 24  # of them, drawn again by how likely they are
_OFFSET_SPREAD_DB = 4.0
_SPREAD_FACTOR = 0.4  # spread of the logarithm of the spread about the path model's
_LEAST_SPREAD_DB, _MOST_SPREAD_DB = 1.5, 10.0
_MOST_OWN = 0.6
_FAR_OUT, _FAR_OUT_FACTOR = 1.2, 0.7  # how far floors reach: middle, and spread of its logarithm
PIVOT_M = 8.0  # where a path gets steeper or flatter than the model has it
_WORTH = 15.0  # labels, at most: their places are not as evenly spread as reckoned with
_EDGES = np.arange(-98.0, -38.0, 6.0)
_DRAWS = 3  # of each cell and station, for the levels of a store
_LEAST_WRONG, _MOST_WRONG = 0.001, 0.05  # share of labels not served by the loudest station
# Gauss-Hermite, three points for a normal curve of spread 1: Abramowitz and Stegun 25.4.46.
_OWN_POINTS, _OWN_WEIGHTS = (-(3**0.5), 0.0, 3**0.5), (1 / 6, 2 / 3, 1 / 6)
# Labels in a metal fixture or behind goods lose so much more, to all stations (ours).
_MUFFLED_DB, _MUFFLED_WEIGHTS = (-8.0, -16.0, -24.0), (0.5, 0.3, 0.2)
_LEAST_MUFFLED, _MOST_MUFFLED = 0.0001, 0.002  # share of labels
_LEAST_SHARE = 1e-12
_TOGETHER = 3.0  # times the square of the divergence (ours)
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Levels:
    """The median levels of spots (rows) at all cells, and at 8 m, in dBm."""

    at_cells: Figures
    pivot: Figures

    def only(self, inside: Mask) -> "Levels":
        """Return those at some of the cells."""
        return Levels(self.at_cells[:, inside], self.pivot)


@dataclass(frozen=True, slots=True)
class WeakLabels:
    """Labels of one level at one station, which is given by its place among the store's.

    `cell` is the one they hang in, None where that is not known.
    """

    station: int
    level_dbm: float
    labels: int
    cell: int | None = None


@dataclass(frozen=True, slots=True)
class World:
    """One way a store may be, and how likely it is, 0..1.

    Losses are `tilt` times as steep as the model has them, from 8 m on; `inside` are the cells
    where labels can hang; `wrong` is the share of labels that another station than the loudest
    serves, `muffled` that of those that lose much more than others to all stations. `together` is
    the chance that two weak labels of a station hang in one place, whatever their levels: where
    labels hang in clusters their levels are further from those of any world with even floors.
    """

    offset_db: float
    spread_db: float
    own: float
    tilt: float
    inside: Mask
    wrong: float
    muffled: float
    weight: float
    together: float = 0.0

    def levels(self, median_dbm: Figures, pivot_dbm: Figures) -> Figures:
        """Return the levels of spots (rows) at cells; `pivot_dbm` are those at 8 m, by spot."""
        pivot = pivot_dbm[:, None]
        found: Figures = pivot + self.tilt * (median_dbm - pivot) + self.offset_db
        return found


def worlds(
    stations: Levels, out: Figures, told: Sequence[Mapping[float, int]], model: tuple[float, float]
) -> tuple[World, ...]:
    """Return ways a store may be, drawn by how well the levels of its labels fit them.

    `out` says how far out each cell is (`Cells`), `told` how many labels hear each station at each
    level, in dBm, `model` the spread of levels in dB, and that of the steepness.
    """
    shares = _told(told)
    random = np.random.default_rng(0)  # the same draws in every store
    strays = random.standard_normal((_DRAWS, *stations.at_cells.shape))
    drawn = [_drawn(random, out, model) for _ in range(_WAYS)]
    fits = np.array([float((shares * _log_shares(w, stations, strays)).sum()) for w in drawn])
    chance = np.exp(fits - fits.max())
    upto = np.cumsum(chance / chance.sum())
    at = np.searchsorted(upto, (np.arange(_KEPT) + 0.5) / _KEPT)
    kept, times = np.unique(np.minimum(at, _WAYS - 1), return_counts=True)
    # Kullback-Leibler divergence of what is told from each world, in nats.
    told_in_all = max(float(shares.sum()), _LEAST_SHARE)
    even = shares / told_in_all
    apart = float((even * np.log(np.maximum(even, _LEAST_SHARE))).sum()) - fits / told_in_all
    together = np.clip(_TOGETHER * apart**2, 0.0, 1.0)
    return tuple(
        replace(drawn[way], weight=count / _KEPT, together=float(together[way]))
        for way, count in zip(kept.tolist(), times.tolist(), strict=True)
    )


def _drawn(random: np.random.Generator, out: Figures, model: tuple[float, float]) -> World:
    """Draw a way a store may be, from what is known before any label is."""
    offset, spread, tilt, *sides = random.standard_normal(7)
    reach = np.minimum(_FAR_OUT * np.exp(_FAR_OUT_FACTOR * np.array(sides)), MOST_BEYOND)
    spread_db = model[0] * float(np.exp(_SPREAD_FACTOR * spread))
    beyond = (out / np.maximum(reach, 0.3)).max(axis=1)
    return World(
        offset_db=float(_OFFSET_SPREAD_DB * offset),
        spread_db=min(max(spread_db, _LEAST_SPREAD_DB), _MOST_SPREAD_DB),
        own=float(_MOST_OWN * random.random()),
        tilt=max(0.5, 1 + model[1] * float(tilt)),
        inside=np.asarray(beyond <= max(1.0, beyond.min())),  # of a narrow row the nearest cells
        wrong=_LEAST_WRONG * (_MOST_WRONG / _LEAST_WRONG) ** random.random(),
        muffled=_LEAST_MUFFLED * (_MOST_MUFFLED / _LEAST_MUFFLED) ** random.random(),
        weight=0.0,
    )


def _told(told: Sequence[Mapping[float, int]]) -> Figures:
    """Return labels by station and bin of levels, worth as many as their places are independent."""
    found = np.zeros((len(told), len(_EDGES) + 1))
    for row, levels in zip(found, told, strict=True):
        np.add.at(row, np.searchsorted(_EDGES, list(levels)), list(levels.values()))
    total = max(float(found.sum()), 1.0)
    worth: Figures = found / total * min(total, _WORTH)
    return worth


def _log_shares(world: World, stations: Levels, strays: Figures) -> Figures:
    """Return the logarithm of the share of labels by station and bin, none of them quite 0."""
    median = world.levels(stations.at_cells, stations.pivot)[:, world.inside]
    levels = median + world.spread_db * strays[:, :, world.inside]
    serving, best = levels.argmax(axis=1), levels.max(axis=1)
    size = len(_EDGES) + 1
    at = serving.ravel() * size + np.searchsorted(_EDGES, best.ravel())
    counts = np.bincount(at, minlength=len(median) * size).reshape(len(median), size)
    shares: Figures = np.log((counts + 0.2) / (counts.sum() + 0.2 * counts.size))
    return shares


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """What is likely of each kind of weak labels: weight by label kind, cell and own loss."""

    weight: Figures  # kinds by cells by points of the own loss; each kind adds up to 1
    shift_db: Figures  # by points of the own loss


def whereabouts(
    stations: Levels, kinds: Sequence[WeakLabels], world: World, used: Mask
) -> Whereabouts:
    """Return where labels may hang, in one world and among the cells used.

    Where that is not known it is one of the cells inside the world.
    """
    cells, stations = np.flatnonzero(used), stations.only(used)
    own_db, rest_db = _spreads(world)
    shift = np.array([*(own_db * point for point in _OWN_POINTS), *_MUFFLED_DB])
    chance = np.array(
        [
            *(part * (1 - world.muffled) for part in _OWN_WEIGHTS),
            *(part * world.muffled for part in _MUFFLED_WEIGHTS),
        ]
    )
    median = world.levels(stations.at_cells, stations.pivot)
    middle = median[:, :, None] + shift  # stations, cells, points
    levels = sorted({kind.level_dbm for kind in kinds})
    # How likely it is that a station is heard below the level.
    lower = {level: log_ndtr((level - middle) / rest_db) for level in levels}
    all_lower = {level: found.sum(axis=0) for level, found in lower.items()}
    rows = []
    for kind in kinds:
        near = -(((kind.level_dbm - middle[kind.station]) / rest_db) ** 2) / 2
        loudest = all_lower[kind.level_dbm] - lower[kind.level_dbm][kind.station]
        here = world.inside[cells] if kind.cell is None else cells == kind.cell
        weight = near + np.logaddexp(log(world.wrong), log(1 - world.wrong) + loudest)
        weight = np.where(here[:, None], weight, -np.inf)
        weight = np.exp(weight - weight.max()) * chance
        rows.append(weight / weight.sum())
    return Whereabouts(np.array(rows), shift)


def missed(found: Whereabouts, spots: Levels, world: World, level_dbm: float) -> Figures:
    """Return the chance that a label at a cell hears a spot below a level: spots, cells, points."""
    median = world.levels(spots.at_cells, spots.pivot)
    middle = median[:, :, None] + found.shift_db
    chance: Figures = ndtr((level_dbm - middle) / _spreads(world)[1])
    return chance


def _spreads(world: World) -> tuple[float, float]:
    """Return the spread of what is the label's own, and of the rest, in dB."""
    return world.spread_db * world.own**0.5, world.spread_db * (1 - world.own) ** 0.5
