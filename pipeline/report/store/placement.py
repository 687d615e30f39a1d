"""Where the stations of a floor are drawn: to scale, apart, on a ring, or in rows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, cos, pi, sin

from pipeline.report.kit.pen import Box
from pipeline.report.store.content import PlannedStation

CELL_W, CELL_H = 20.0, 28.0  # points, for a mark and the name below it
_ROUND_MOST = 26  # stations; a ring of fewer is at most twice as wide as high
_ROUNDS = 200
_FULL = 0.62  # share of the area under cells; beyond it they cannot be parted
_Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class FloorPlacement:
    """Where the stations of a floor are drawn, and how true to scale."""

    points: Mapping[str, _Point]
    points_per_m: float | None = None  # None: not to scale
    unplaced: bool = False  # some have no coordinates
    spread: bool = False  # some are drawn beside their true place
    crowded: bool = False  # too many for names, numbers and lines


def place(stations: Sequence[PlannedStation], area: Box) -> FloorPlacement:
    """Place the stations of a floor inside an area, to scale if they can be told apart."""
    known = [s for s in stations if s.x_m is not None and s.y_m is not None]
    names = [s.station for s in stations]
    if not known:
        return _round_about(names, area, unplaced=True)
    strip, upper = _strip([s.station for s in stations if s.x_m is None or s.y_m is None], area)
    if len(known) * CELL_W * CELL_H > _FULL * upper.w * upper.h:
        return _round_about(names, area, unplaced=bool(strip))
    true, scale = _to_scale(known, upper)
    apart = _apart(true, upper)
    if apart is not None:
        moved = any(_far(true[name], apart[name]) for name in true)
        return FloorPlacement({**apart, **strip}, scale, unplaced=bool(strip), spread=moved)
    stretched = _apart(_stretched(true, upper), upper)
    if stretched is not None:
        return FloorPlacement({**stretched, **strip}, unplaced=bool(strip), spread=True)
    return _round_about(names, area, unplaced=bool(strip))


def shape(stations: Sequence[PlannedStation]) -> float | None:
    """Return height over width of the area the stations hang in, None if not known."""
    xs = [s.x_m for s in stations if s.x_m is not None and s.y_m is not None]
    ys = [s.y_m for s in stations if s.x_m is not None and s.y_m is not None]
    if len(xs) < len(stations) or max(xs) == min(xs):
        return None
    return (max(ys) - min(ys)) / (max(xs) - min(xs))


def _round_about(names: Sequence[str], area: Box, *, unplaced: bool) -> FloorPlacement:
    """Place stations on a ring, where lines between them stay visible; in rows if too many."""
    ring = _ring(names, area)
    if not _push([list(ring[name]) for name in names]):
        return FloorPlacement(ring, unplaced=unplaced, spread=not unplaced)
    return FloorPlacement(_rows(names, area), unplaced=unplaced, spread=not unplaced, crowded=True)


def _strip(names: Sequence[str], area: Box) -> tuple[Mapping[str, _Point], Box]:
    """Place stations without coordinates in rows at the foot; return the area left."""
    if not names:
        return {}, area
    across = max(1, int(area.w // CELL_W))
    height = ceil(len(names) / across) * CELL_H
    foot = Box(area.x, area.bottom - height, area.w, height)
    return _rows(names, foot, across), Box(area.x, area.y, area.w, max(1.0, area.h - height))


def _rows(names: Sequence[str], area: Box, most: int | None = None) -> Mapping[str, _Point]:
    wanted = (len(names) * area.w / max(area.h, 1.0) * CELL_H / CELL_W) ** 0.5
    columns = max(1, min(ceil(wanted), len(names), most or len(names)))
    lines = ceil(len(names) / columns)
    return {
        name: (
            area.x + area.w * (i % columns + 0.5) / columns,
            area.y + area.h * (i // columns + 0.5) / lines,
        )
        for i, name in enumerate(names)
    }


def _ring(names: Sequence[str], area: Box) -> Mapping[str, _Point]:
    """Place names on an ellipse, at equal distances along its outline."""
    wide, high = (area.w - CELL_W) / 2, (area.h - CELL_H) / 2
    if len(names) <= _ROUND_MOST:
        wide = min(wide, 2 * high)
    middle = (area.x + area.w / 2, area.y + area.h / 2)
    if len(names) == 1:
        return {names[0]: middle}
    return {
        name: (middle[0] + wide * sin(turn), middle[1] - high * cos(turn))
        for name, turn in zip(names, _turns(len(names), wide, high), strict=True)
    }


def _turns(count: int, wide: float, high: float) -> list[float]:
    """Return the angles that divide an ellipse's outline, measured in cells, into equal parts."""
    steps = 720
    outline = [0.0]
    for i in range(steps):
        one, other = 2 * pi * i / steps, 2 * pi * (i + 1) / steps
        across = abs(wide * (sin(other) - sin(one))) / CELL_W
        down = abs(high * (cos(other) - cos(one))) / CELL_H
        outline.append(outline[-1] + max(across, down))
    turns, i = [], 0
    for number in range(count):
        while outline[i] < outline[-1] * number / count:
            i += 1
        turns.append(2 * pi * i / steps)
    return turns


def _to_scale(
    stations: Sequence[PlannedStation], area: Box
) -> tuple[dict[str, _Point], float | None]:
    """Return the true places, y pointing up as on a building plan, and points per metre."""
    at = {s.station: (s.x_m or 0.0, s.y_m or 0.0) for s in stations}
    left, right = min(x for x, _ in at.values()), max(x for x, _ in at.values())
    low, high = min(y for _, y in at.values()), max(y for _, y in at.values())
    free_w, free_h = max(1.0, area.w - CELL_W), max(1.0, area.h - CELL_H)
    scales = [free / span for free, span in ((free_w, right - left), (free_h, high - low)) if span]
    scale = min(scales, default=None)
    factor = scale or 0.0
    middle = (area.x + area.w / 2, area.y + area.h / 2)
    return {
        name: (
            middle[0] + (x - (left + right) / 2) * factor,
            middle[1] - (y - (low + high) / 2) * factor,
        )
        for name, (x, y) in at.items()
    }, scale


def _stretched(points: Mapping[str, _Point], area: Box) -> dict[str, _Point]:
    """Spread the points over the whole area, keeping neighbours together."""
    names = sorted(points)
    across = sorted(names, key=lambda name: points[name][0])
    down = sorted(names, key=lambda name: points[name][1])
    last = max(1, len(names) - 1)
    right = {name: i / last for i, name in enumerate(across)}
    low = {name: i / last for i, name in enumerate(down)}
    return {
        name: (
            area.x + CELL_W / 2 + right[name] * (area.w - CELL_W),
            area.y + CELL_H / 2 + low[name] * (area.h - CELL_H),
        )
        for name in names
    }


def _apart(points: Mapping[str, _Point], area: Box) -> dict[str, _Point] | None:
    """Push overlapping cells apart; None if they cannot be parted."""
    names = sorted(points)
    at = [list(points[name]) for name in names]
    for _ in range(_ROUNDS):
        if not _push(at):
            return {name: (x, y) for name, (x, y) in zip(names, at, strict=True)}
        for point in at:
            point[0] = min(max(point[0], area.x + CELL_W / 2), area.right - CELL_W / 2)
            point[1] = min(max(point[1], area.y + CELL_H / 2), area.bottom - CELL_H / 2)
    return None


def _push(at: list[list[float]]) -> bool:
    """Part each two overlapping cells along the shorter way; tell whether any overlapped."""
    pushed = False
    for i, one in enumerate(at):
        for other in at[i + 1 :]:
            dx, dy = other[0] - one[0], other[1] - one[1]
            over_x, over_y = CELL_W - abs(dx), CELL_H - abs(dy)
            if over_x <= 0 or over_y <= 0:
                continue
            pushed = True
            sideways = over_x / CELL_W < over_y / CELL_H
            axis, over, way = (0, over_x, dx) if sideways else (1, over_y, dy)
            step = over / 2 + 0.05
            step = step if way >= 0 else -step
            one[axis] -= step
            other[axis] += step
    return pushed


def _far(one: _Point, other: _Point) -> bool:
    return abs(one[0] - other[0]) > 1 or abs(one[1] - other[1]) > 1
