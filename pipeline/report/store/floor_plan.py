"""The floor plan: stations by channel, and which of them share a channel in earshot."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, cos, pi, sin

from pipeline.report.kit import style
from pipeline.report.kit.pen import (
    MARK_RADIUS,
    SMALL_STRONG,
    TINY,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    channel_mark,
)
from pipeline.report.store.content import Document, EarshotPair, PlannedStation, StoreContent
from pipeline.report.store.verdict import pairs_line, plan_in_words
from pipeline.wording import Wording

FLOORS_DRAWN = 3
WIDE_FROM = 28  # stations on a floor; its drawing takes the whole width
_FOOT, _CAPTION, _GAP = 10.0, 21.0, 6.0
_LOWEST, _HIGHEST = 104.0, 270.0  # of one drawing, in points
_WIDE_H, _ALONE_H = 190.0, 200.0
_SCALES_M = (1, 2, 5, 10, 20, 50, 100, 200, 500)
_SCALE_BAR = 60.0  # points, at most
_SCALE_ROOM = _SCALE_BAR + 30  # with its figure before it
_NAME_DROP = 4.0  # a mark is so far above the middle of its cell, its name below it
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


@dataclass(frozen=True, slots=True)
class _Panel:
    """One drawing: a floor, now or as proposed."""

    caption: str
    stations: Sequence[PlannedStation]
    channels: Mapping[str, int | None]
    shared: Sequence[EarshotPair]
    planned: bool


def plan_height(content: StoreContent, width: float, spare: float) -> float:
    """Return the height of the floor plans in points, `spare` being what the page has left."""
    floors = _floors(content.stations)
    if not floors:
        return 0.0
    rows, columns = _grid(content)
    width /= columns
    least = _WIDE_H if _wide(content) and rows <= 2 else _LOWEST + min(35, 54 / rows)  # noqa: PLR2004 - two fit
    highest = _HIGHEST if columns > 1 or _wide(content) else _ALONE_H
    each = min(highest, max(least, min(spare / rows, _useful(floors, width))))
    return rows * each + (12.0 if len(floors) > FLOORS_DRAWN else 0.0)


def _useful(floors: Sequence[tuple[int | None, list[PlannedStation]]], width: float) -> float:
    """Return the height beyond which a drawing of a width would only gain margins."""
    shapes = [shape(stations) for _, stations in floors[:FLOORS_DRAWN]]
    known = [found for found in shapes if found is not None]
    if len(known) < len(shapes):  # a ring needs more room the more stations it has
        return _LOWEST + 16.0 * max(len(stations) for _, stations in floors[:FLOORS_DRAWN])
    return max(known) * width + CELL_H + 2 * _FOOT + _CAPTION


def draw_plans(pen: Pen, box: Box, doc: Document) -> None:
    """Draw each floor with today's and with the proposed channels, side by side."""
    floors = _floors(doc.content.stations)
    rows, columns = _grid(doc.content)
    note = 12.0 if len(floors) > FLOORS_DRAWN else 0.0
    height = (box.h - note) / rows
    for number, panel in enumerate(_panels(doc, floors)):
        row, column = divmod(number, columns)
        cell = box.split(columns, 12.0)[column]
        where = Box(cell.x, box.y + row * height, cell.w, height - _GAP)
        said = plan_in_words(panel.caption, panel.channels, panel.shared, doc.words)
        with pen.picture(where, said):
            _draw(pen, where, panel, doc)
    if note:
        text = doc.words.counted("plan.more_floors", len(floors) - FLOORS_DRAWN)
        pen.text(box.x, box.bottom - 3, text, TINY_MUTED)


def _grid(content: StoreContent) -> tuple[int, int]:
    """Return the rows and columns of drawings."""
    shown = min(FLOORS_DRAWN, len(_floors(content.stations)))
    times = 2 if content.figures.changes and content.figures.stations else 1
    if _wide(content):
        return shown * times, 1
    return (shown, 2) if times == 2 else (1, max(1, shown))  # noqa: PLR2004 - now and proposed


def _wide(content: StoreContent) -> bool:
    return any(len(stations) >= WIDE_FROM for _, stations in _floors(content.stations))


def _floors(stations: Sequence[PlannedStation]) -> list[tuple[int | None, list[PlannedStation]]]:
    floors: dict[int | None, list[PlannedStation]] = {}
    for station in stations:
        floors.setdefault(station.floor, []).append(station)
    return sorted(floors.items(), key=lambda item: (item[0] is None, item[0] or 0))


def _panels(
    doc: Document, floors: Sequence[tuple[int | None, list[PlannedStation]]]
) -> list[_Panel]:
    figures, words = doc.content.figures, doc.words
    panels = []
    for floor, stations in floors[:FLOORS_DRAWN]:
        now = {s.station: s.channel for s in stations if not s.to_install}
        part = _floor_name(floor, words) if len(floors) > 1 else ""
        if not figures.changes:
            caption = part or words("plan.one_plan")
            panels.append(_panel(caption, stations, now, figures.shared_now))
            continue
        planned = {s.station: s.final_channel for s in stations}
        head, then = words("plan.now"), words("plan.proposed")
        caption = f"{head}, {part}" if part else head
        if figures.stations:
            panels.append(_panel(caption, stations, now, figures.shared_now))
        caption = f"{then}, {part}" if part else then
        panels.append(_panel(caption, stations, planned, figures.shared_planned, planned=True))
    return panels


def _panel(
    caption: str,
    stations: Sequence[PlannedStation],
    channels: Mapping[str, int | None],
    shared: Sequence[EarshotPair],
    *,
    planned: bool = False,
) -> _Panel:
    here = [pair for pair in shared if pair.station in channels and pair.neighbour in channels]
    return _Panel(caption, stations, channels, here, planned)


def _floor_name(floor: int | None, words: Wording) -> str:
    return words("plan.floor_unknown") if floor is None else words("plan.floor", floor=floor)


def _draw(pen: Pen, box: Box, panel: _Panel, doc: Document) -> None:
    top = box.y + _caption(pen, box, panel, doc.words)
    frame = Box(box.x, top, box.w, box.bottom - top)
    pen.rectangle(frame, style.WASH)
    area = Box(frame.x + 6, frame.y + 4, frame.w - 12, frame.h - 8 - _FOOT)
    where = place(panel.stations, area)
    if not where.crowded:
        _lines(pen, panel, where)
    for station in panel.stations:
        if station.station in panel.channels:
            _station(pen, station, panel, where, doc.names)
    _foot(pen, frame, where, doc.words)


def _caption(pen: Pen, box: Box, panel: _Panel, words: Wording) -> float:
    """Write what is drawn and how many pairs share a channel; return the height used."""
    said = pairs_line(panel.shared, words)
    pen.text(box.x, box.y + 8, panel.caption, SMALL_STRONG, width=box.w)
    used = SMALL_STRONG.width(panel.caption)
    if used + 10 + TINY.width(said) <= box.w:
        pen.text(box.right, box.y + 8, said, TINY, align=Align.RIGHT)
        return 12.0
    pen.text(box.x, box.y + 17, said, TINY, width=box.w)
    return _CAPTION


def _lines(pen: Pen, panel: _Panel, where: FloorPlacement) -> None:
    for pair in panel.shared:
        (x1, y1), (x2, y2) = where.points[pair.station], where.points[pair.neighbour]
        pen.line((x1, y1 - _NAME_DROP), (x2, y2 - _NAME_DROP), style.ALERT, 1.1)


def _station(
    pen: Pen,
    station: PlannedStation,
    panel: _Panel,
    where: FloorPlacement,
    names: Mapping[str, str],
) -> None:
    x, y = where.points[station.station]
    channel = panel.channels[station.station]
    strong = panel.planned and station.moved
    if where.crowded:
        channel_mark(pen, (x, y), channel, radius=MARK_RADIUS / 2, strong=strong, number=False)
        return
    name = names[station.station]
    base = y + CELL_H / 2 - 1.4
    half = TINY_MUTED.width(name) / 2
    pen.rectangle(Box(x - half - 1, base - 5.6, 2 * half + 2, 6.6), style.WASH)
    pen.text(x, base, name, TINY_MUTED, align=Align.CENTRE)
    channel_mark(pen, (x, y - _NAME_DROP), channel, strong=strong)


def _foot(pen: Pen, frame: Box, where: FloorPlacement, words: Wording) -> None:
    base = frame.bottom - 3
    note = "plan.unplaced" if where.unplaced else "plan.spread" if where.spread else ""
    if where.crowded:
        note = "plan.crowded"
    elif where.spread and not where.points_per_m:
        note = "plan.ring"
    text = words(note) if note else ""
    if text:
        pen.text(frame.x + 6, base, text, TINY_MUTED, width=frame.w - 12)
    room = frame.w - 16 - TINY_MUTED.width(text)
    if where.points_per_m and room >= _SCALE_ROOM:  # the note matters more
        _scale_bar(pen, frame.right - 6, base, where.points_per_m, words)


def _scale_bar(pen: Pen, right: float, base: float, per_m: float, words: Wording) -> None:
    """Draw a round length on the floor, in metres."""
    metres = next((m for m in reversed(_SCALES_M) if m * per_m <= _SCALE_BAR), None)
    if metres is None:
        return
    length = metres * per_m
    pen.line((right - length, base - 1), (right, base - 1), style.MUTED, 1)
    text = words("plan.scale", metres=metres)
    pen.text(right - 4 - length, base, text, TINY_MUTED, align=Align.RIGHT)


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
