"""Where stations stand in a drawing: to scale, drawn apart where they would cover each other."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, cos, pi, sin

from pipeline.report.content import Station
from pipeline.report.pen import Box

CELL_W, CELL_H = 21.0, 28.0  # what a mark with its name below takes, in points
_ROUNDS = 120
_RING_LIMIT = 14  # more stations than this without coordinates stand in rows


@dataclass(frozen=True, slots=True)
class Placement:
    """Points of one floor's stations in a drawing, and how true they are."""

    points: Mapping[str, tuple[float, float]]
    points_per_m: float | None  # None: not to scale
    unplaced: bool  # some have no coordinates
    spread: bool  # some stand beside their true place
    crowded: bool  # too many for names and numbers


def place(stations: Sequence[Station], area: Box) -> Placement:
    """Place the stations of one floor inside an area."""
    known = [s for s in stations if s.x_m is not None and s.y_m is not None]
    names = [s.station for s in stations]
    if len(stations) * CELL_W * CELL_H > 0.8 * area.w * area.h:
        return Placement(_rows(names, area), None, unplaced=True, spread=True, crowded=True)
    if not known:
        arrange = _ring if len(names) <= _RING_LIMIT else _rows
        return Placement(arrange(names, area), None, unplaced=True, spread=False, crowded=False)
    strip, area = _strip([s.station for s in stations if s not in known], area)
    true, scale = _to_scale(known, area)
    apart = _apart(true, area)
    if apart is None:
        points = _rows([s.station for s in known], area)
        return Placement(
            {**points, **strip}, None, unplaced=bool(strip), spread=True, crowded=False
        )
    moved = any(_far(true[name], apart[name]) for name in true)
    return Placement({**apart, **strip}, scale, unplaced=bool(strip), spread=moved, crowded=False)


def _strip(names: Sequence[str], area: Box) -> tuple[Mapping[str, tuple[float, float]], Box]:
    """Give the stations without coordinates rows at the foot of the area."""
    if not names:
        return {}, area
    rows = ceil(len(names) / max(1, int(area.w // CELL_W)))
    height = rows * CELL_H
    foot = Box(area.x, area.bottom - height, area.w, height)
    return _rows(names, foot), Box(area.x, area.y, area.w, max(1.0, area.h - height))


def _rows(names: Sequence[str], area: Box) -> Mapping[str, tuple[float, float]]:
    columns = max(1, ceil((len(names) * area.w / max(area.h, 1) * CELL_H / CELL_W) ** 0.5))
    columns = min(columns, len(names)) or 1
    lines = ceil(len(names) / columns)
    return {
        name: (
            area.x + area.w * (i % columns + 0.5) / columns,
            area.y + area.h * (i // columns + 0.5) / lines,
        )
        for i, name in enumerate(names)
    }


def _ring(names: Sequence[str], area: Box) -> Mapping[str, tuple[float, float]]:
    wide, high = min((area.w - CELL_W) / 2, area.h), (area.h - CELL_H) / 2
    middle = (area.x + area.w / 2, area.y + area.h / 2)
    if len(names) == 1:
        return {names[0]: middle}
    return {
        name: (
            middle[0] + wide * sin(2 * pi * i / len(names)),
            middle[1] - high * cos(2 * pi * i / len(names)),
        )
        for i, name in enumerate(names)
    }


def _to_scale(
    stations: Sequence[Station], area: Box
) -> tuple[dict[str, tuple[float, float]], float | None]:
    """Return true places, y upwards as on a building's plan, and points per metre."""
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


def _apart(
    points: Mapping[str, tuple[float, float]], area: Box
) -> dict[str, tuple[float, float]] | None:
    """Push cells that overlap apart, in rounds; None where they will not part."""
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
    pushed = False
    for i, one in enumerate(at):
        for other in at[i + 1 :]:
            dx, dy = other[0] - one[0], other[1] - one[1]
            over_x, over_y = CELL_W - abs(dx), CELL_H - abs(dy)
            if over_x <= 0 or over_y <= 0:
                continue
            pushed = True
            axis, over, way = (
                (0, over_x, dx) if over_x / CELL_W < over_y / CELL_H else (1, over_y, dy)
            )
            half = over / 2 + 0.05
            step = half if way >= 0 else -half
            one[axis] -= step
            other[axis] += step
    return pushed


def _far(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return abs(one[0] - other[0]) > 1 or abs(one[1] - other[1]) > 1
