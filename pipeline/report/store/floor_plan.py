"""The floor plan: stations by channel, and which of them share a channel in earshot."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

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
from pipeline.report.store.placement import CELL_H, FloorPlacement, place, shape
from pipeline.report.store.verdict import pairs_line, plan_in_words
from pipeline.wording import Wording

FLOORS_DRAWN = 3
WIDE_FROM = 28  # stations on a floor; its drawing takes the whole width
_FOOT, _CAPTION, _GAP = 10.0, 21.0, 6.0
_LOWEST, _HIGHEST = 104.0, 270.0  # of one drawing, in points
_WIDE_H, _ALONE_H = 190.0, 200.0
_FLATTEST = 0.05  # height over width of an area, if that is not known
_SCALES_M = (1, 2, 5, 10, 20, 50, 100, 200, 500)
_SCALE_BAR = 60.0  # points, at most
_SCALE_ROOM = _SCALE_BAR + 30  # with its figure before it
_NAME_DROP = 4.0  # a mark is so far above the middle of its cell, its name below it


@dataclass(frozen=True, slots=True)
class _Panel:
    """One drawing: a floor, now or as proposed."""

    caption: str
    stations: Sequence[PlannedStation]
    channels: Mapping[str, int | None]
    shared: Sequence[EarshotPair]
    planned: bool


def plan_height(
    content: StoreContent, width: float, spare: float, *, above: bool = False, tight: bool = False
) -> float:
    """Return the height of the floor plans in points, `spare` being what the page has left.

    `tight` ones may be as low as a drawing can be.
    """
    floors = _floors(content.stations)
    if not floors:
        return 0.0
    rows, columns = _grid(content, above=above)
    width /= columns
    least = _WIDE_H if _wide(content) and rows <= 2 else _LOWEST + min(35, 54 / rows)  # noqa: PLR2004 - two fit
    least = _LOWEST if tight else least
    highest = _HIGHEST if columns > 1 or _wide(content) or above else _ALONE_H
    each = min(highest, max(least, min(spare / rows, _useful(floors, width))))
    return rows * each + (12.0 if len(floors) > FLOORS_DRAWN else 0.0)


def may_stand_above(content: StoreContent) -> bool:
    """Tell whether today's and the proposed plan may stand one above the other."""
    return _grid(content, above=False) == (1, 2) and len(_states(content)) > 1


def drawn_width(content: StoreContent, width: float, height: float, *, above: bool) -> float:
    """Return how wide the stations' area is drawn on plans of a width and height in all."""
    rows, columns = _grid(content, above=above)
    room = height / rows - CELL_H - 2 * _FOOT - _CAPTION
    shapes = (shape(stations) for _, stations in _floors(content.stations))
    return min(width / columns, room / max((one or _FLATTEST for one in shapes), default=1.0))


def _useful(floors: Sequence[tuple[int | None, list[PlannedStation]]], width: float) -> float:
    """Return the height beyond which a drawing of a width would only gain margins."""
    shapes = [shape(stations) for _, stations in floors[:FLOORS_DRAWN]]
    known = [found for found in shapes if found is not None]
    if len(known) < len(shapes):  # a ring needs more room the more stations it has
        return _LOWEST + 16.0 * max(len(stations) for _, stations in floors[:FLOORS_DRAWN])
    return max(known) * width + CELL_H + 2 * _FOOT + _CAPTION


def draw_plans(pen: Pen, box: Box, doc: Document, *, above: bool = False) -> None:
    """Draw each floor with today's and with the proposed channels, side by side or `above`."""
    floors = _floors(doc.content.stations)
    rows, columns = _grid(doc.content, above=above)
    note = 12.0 if len(floors) > FLOORS_DRAWN else 0.0
    height = (box.h - note) / rows
    for number, panel in enumerate(_panels(doc, floors[:FLOORS_DRAWN], columns)):
        row, column = divmod(number, columns)
        cell = box.split(columns, 12.0)[column]
        where = Box(cell.x, box.y + row * height, cell.w, height - _GAP)
        said = plan_in_words(panel.caption, panel.channels, panel.shared, doc.words)
        with pen.picture(where, said):
            _draw(pen, where, panel, doc)
    if note:
        text = doc.words.counted("plan.more_floors", len(floors) - FLOORS_DRAWN)
        pen.text(box.x, box.bottom - 3, text, TINY_MUTED)


def _grid(content: StoreContent, *, above: bool) -> tuple[int, int]:
    """Return the rows and columns of drawings."""
    shown = min(FLOORS_DRAWN, len(_floors(content.stations)))
    times = len(_states(content))
    if _wide(content) or above:
        return shown * times, 1
    if times == 1 or shown == FLOORS_DRAWN:  # three floors side by side, today's over the proposed
        return times, max(1, shown)
    return shown, times


def _states(content: StoreContent) -> Sequence[bool]:
    """Return what is drawn of each floor: the channels of today, and as planned."""
    if not content.figures.changes:
        return (False,)
    return (False, True) if content.figures.stations else (True,)


def _wide(content: StoreContent) -> bool:
    return any(len(stations) >= WIDE_FROM for _, stations in _floors(content.stations))


def _floors(stations: Sequence[PlannedStation]) -> list[tuple[int | None, list[PlannedStation]]]:
    floors: dict[int | None, list[PlannedStation]] = {}
    for station in stations:
        floors.setdefault(station.floor, []).append(station)
    return sorted(floors.items(), key=lambda item: (item[0] is None, item[0] or 0))


def _panels(
    doc: Document, floors: Sequence[tuple[int | None, list[PlannedStation]]], columns: int
) -> list[_Panel]:
    """Return the drawings in the order drawn: by floor, where each has a row of its own."""
    states, words, panels = _states(doc.content), doc.words, []
    if columns == len(floors) == FLOORS_DRAWN:
        order = [(planned, floor) for planned in states for floor in floors]
    else:
        order = [(planned, floor) for floor in floors for planned in states]
    for planned, (floor, stations) in order:
        part = _floor_name(floor, words) if len(floors) > 1 else ""
        head = words("plan.proposed" if planned else "plan.now")
        caption = f"{head}, {part}" if part else head
        if not doc.content.figures.changes:
            caption = part or words("plan.one_plan")
        panels.append(_panel(caption, stations, doc.content, planned=planned))
    return panels


def _panel(
    caption: str, stations: Sequence[PlannedStation], content: StoreContent, *, planned: bool
) -> _Panel:
    if planned:
        channels = {s.station: s.final_channel for s in stations}
    else:
        channels = {s.station: s.channel for s in stations if not s.to_install}
    shared = content.figures.shared_planned if planned else content.figures.shared_now
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
