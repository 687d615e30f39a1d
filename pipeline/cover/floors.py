"""The floors of a store as far as its stations tell: where labels can hang, and places to add.

No export says how far a floor reaches beyond its outermost stations. Where they hang evenly it is
half the usual distance between them; so far it is taken to reach, more or less, on each side
(ours).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import hypot, sqrt
from statistics import median

import numpy as np
import numpy.typing as npt

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
