"""The floor plan: stations by channel, and which of them share a channel in earshot."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.report import fonts, style
from pipeline.report.content import Pair, Station, StoreContent
from pipeline.report.document import Document
from pipeline.report.marks import RADIUS, channel_mark
from pipeline.report.pen import SMALL_STRONG, TINY, TINY_MUTED, Align, Box, Pen
from pipeline.report.placement import CELL_H, Placement, place, shape
from pipeline.report.wording import Wording

FLOORS_DRAWN = 3
WIDE_FROM = 20  # stations on a floor from which a drawing takes the whole width
_FOOT, _CAPTION = 10.0, 21.0
_LOWEST, _HIGHEST = 104.0, 270.0  # of one drawing, in points
_WIDE_H, _ALONE_H = 190.0, 200.0
_GAP = 6.0
_SCALES_M = (1, 2, 5, 10, 20, 50, 100, 200, 500)
_SCALE_BAR = 60.0  # points, at most
_SCALE_ROOM = _SCALE_BAR + 30  # with its figure before it
_NAME_DROP = 4.0  # the mark stands so much above the middle of its cell, its name below


@dataclass(frozen=True, slots=True)
class _Panel:
    """One drawing: a floor at one time."""

    caption: str
    stations: Sequence[Station]
    channels: Mapping[str, int | None]
    shared: Sequence[Pair]
    planned: bool


def plan_height(content: StoreContent, width: float, spare: float) -> float:
    """Return the height in points that the floor plans take of what a page can spare."""
    floors = _floors(content.stations)
    if not floors:
        return 0.0
    rows, columns = _grid(content)
    width /= columns
    least = _WIDE_H if _wide(content) and rows <= 2 else _LOWEST + 70 / rows  # noqa: PLR2004 - two fit
    highest = _HIGHEST if columns > 1 or _wide(content) else _ALONE_H
    each = min(highest, max(least, min(spare / rows, _useful(floors, width))))
    return rows * each + (12.0 if len(floors) > FLOORS_DRAWN else 0.0)


def _useful(floors: Sequence[tuple[int | None, list[Station]]], width: float) -> float:
    """Return the height beyond which a drawing of that width would only gain empty margins."""
    shapes = [shape(stations) for _, stations in floors[:FLOORS_DRAWN]]
    known = [found for found in shapes if found is not None]
    if len(known) < len(shapes):  # a ring: it wants more room the more stand on it
        return _LOWEST + 16.0 * max(len(stations) for _, stations in floors[:FLOORS_DRAWN])
    return max(known) * width + CELL_H + 2 * _FOOT + _CAPTION


def draw_plans(pen: Pen, box: Box, doc: Document) -> None:
    """Draw today's and the proposed channels of each floor side by side."""
    floors = _floors(doc.content.stations)
    rows, columns = _grid(doc.content)
    note = 12.0 if len(floors) > FLOORS_DRAWN else 0.0
    height = (box.h - note) / rows
    for number, panel in enumerate(_panels(doc, floors)):
        row, column = divmod(number, columns)
        cell = box.split(columns, 12.0)[column]
        _draw(pen, Box(cell.x, box.y + row * height, cell.w, height - _GAP), panel, doc)
    if note:
        text = doc.words.counted("plan.more_floors", len(floors) - FLOORS_DRAWN)
        pen.text(box.x, box.bottom - 3, text, TINY_MUTED)


def _grid(content: StoreContent) -> tuple[int, int]:
    """Return rows and columns of drawings."""
    shown = min(FLOORS_DRAWN, len(_floors(content.stations)))
    times = 2 if content.figures.stations_moved else 1
    if _wide(content):
        return shown * times, 1
    return (shown, 2) if times == 2 else (1, max(1, shown))  # noqa: PLR2004 - now and proposed


def _wide(content: StoreContent) -> bool:
    return any(len(stations) >= WIDE_FROM for _, stations in _floors(content.stations))


def _floors(stations: Sequence[Station]) -> list[tuple[int | None, list[Station]]]:
    floors: dict[int | None, list[Station]] = {}
    for station in stations:
        floors.setdefault(station.floor, []).append(station)
    return sorted(floors.items(), key=lambda item: (item[0] is None, item[0] or 0))


def _panels(doc: Document, floors: Sequence[tuple[int | None, list[Station]]]) -> list[_Panel]:
    figures, words = doc.content.figures, doc.words
    panels = []
    for floor, stations in floors[:FLOORS_DRAWN]:
        now = {s.station: s.channel for s in stations}
        part = _floor_name(floor, words) if len(floors) > 1 else ""
        if not figures.stations_moved:
            caption = part or words("plan.one_plan")
            panels.append(_panel(caption, stations, now, figures.shared_now))
            continue
        planned = {s.station: s.final_channel for s in stations}
        head, then = words("plan.now"), words("plan.proposed")
        caption = f"{head}, {part}" if part else head
        panels.append(_panel(caption, stations, now, figures.shared_now))
        caption = f"{then}, {part}" if part else then
        panels.append(_panel(caption, stations, planned, figures.shared_planned, planned=True))
    return panels


def _panel(
    caption: str,
    stations: Sequence[Station],
    channels: Mapping[str, int | None],
    shared: Sequence[Pair],
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
        _station(pen, station, panel, where, doc.names)
    _foot(pen, frame, where, doc.words)


def _caption(pen: Pen, box: Box, panel: _Panel, words: Wording) -> float:
    """Set what is drawn and how many pairs share a channel; return the height taken."""
    count = len(panel.shared)
    said = words.counted("plan.pairs", count) if count else words("plan.pairs.zero")
    pen.text(box.x, box.y + 8, panel.caption, SMALL_STRONG, width=box.w)
    used = fonts.width(panel.caption, SMALL_STRONG.face, SMALL_STRONG.size)
    if used + 10 + fonts.width(said, TINY.face, TINY.size) <= box.w:
        pen.text(box.right, box.y + 8, said, TINY, align=Align.RIGHT)
        return 12.0
    pen.text(box.x, box.y + 17, said, TINY, width=box.w)
    return _CAPTION


def _lines(pen: Pen, panel: _Panel, where: Placement) -> None:
    for pair in panel.shared:
        (x1, y1), (x2, y2) = where.points[pair.station], where.points[pair.neighbour]
        pen.line((x1, y1 - _NAME_DROP), (x2, y2 - _NAME_DROP), style.ALERT, 1.1)


def _station(
    pen: Pen, station: Station, panel: _Panel, where: Placement, names: Mapping[str, str]
) -> None:
    x, y = where.points[station.station]
    channel = panel.channels[station.station]
    strong = panel.planned and station.moved
    if where.crowded:
        channel_mark(pen, (x, y), channel, radius=RADIUS / 2, strong=strong, number=False)
        return
    name = names[station.station]
    base = y + CELL_H / 2 - 1.4
    half = fonts.width(name, TINY_MUTED.face, TINY_MUTED.size) / 2
    pen.rectangle(Box(x - half - 1, base - 5.6, 2 * half + 2, 6.6), style.WASH)
    pen.text(x, base, name, TINY_MUTED, align=Align.CENTRE)
    channel_mark(pen, (x, y - _NAME_DROP), channel, strong=strong)


def _foot(pen: Pen, frame: Box, where: Placement, words: Wording) -> None:
    base = frame.bottom - 3
    note = "plan.unplaced" if where.unplaced else "plan.spread" if where.spread else ""
    if where.crowded:
        note = "plan.crowded"
    elif where.spread and not where.points_per_m:
        note = "plan.ring"
    text = words(note) if note else ""
    if text:
        pen.text(frame.x + 6, base, text, TINY_MUTED, width=frame.w - 12)
    room = frame.w - 16 - fonts.width(text, TINY_MUTED.face, TINY_MUTED.size)
    if where.points_per_m and room >= _SCALE_ROOM:  # a note that marks moved says more
        _scale_bar(pen, frame.right - 6, base, where.points_per_m, words)


def _scale_bar(pen: Pen, right: float, base: float, per_m: float, words: Wording) -> None:
    """Draw a length on the floor that is easy to count in."""
    metres = next((m for m in reversed(_SCALES_M) if m * per_m <= _SCALE_BAR), None)
    if metres is None:
        return
    length = metres * per_m
    pen.line((right - length, base - 1), (right, base - 1), style.MUTED, 1)
    text = words("plan.scale", metres=metres)
    pen.text(right - 4 - length, base, text, TINY_MUTED, align=Align.RIGHT)
