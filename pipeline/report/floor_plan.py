"""The floor plan: stations by channel, and which of them share a channel in earshot."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.report import style
from pipeline.report.content import Pair, Station, StoreContent
from pipeline.report.marks import RADIUS, channel_mark
from pipeline.report.pen import SMALL_STRONG, TINY, TINY_MUTED, Align, Box, Pen, fitted
from pipeline.report.placement import CELL_H, Placement, place
from pipeline.report.wording import Wording

FLOORS_DRAWN = 3
WIDE_FROM = 22  # stations on a floor from which a drawing takes the whole width
_CAPTION = 12.0
_FOOT = 10.0
_HEIGHTS = {1: 178.0, 2: 122.0, 3: 104.0}
_SCALES_M = (1, 2, 5, 10, 20, 50, 100, 200, 500)
_SCALE_BAR = 60.0  # points, at most


@dataclass(frozen=True, slots=True)
class _Panel:
    """One drawing: a floor at one time."""

    caption: str
    stations: Sequence[Station]
    channels: Mapping[str, int | None]
    shared: Sequence[Pair]
    planned: bool


def plan_height(content: StoreContent) -> float:
    """Return the height in points that the floor plans of a store take."""
    floors = _floors(content.stations)
    shown = min(len(floors), FLOORS_DRAWN)
    if not shown:
        return 0.0
    rows = shown * (2 if _wide(content) and content.figures.stations_moved else 1)
    if content.figures.stations_moved == 0 and not _wide(content):
        rows = 1
    return _HEIGHTS[min(rows, 3)] * rows + (12 if len(floors) > FLOORS_DRAWN else 0)


def draw_plans(
    pen: Pen, box: Box, content: StoreContent, names: Mapping[str, str], words: Wording
) -> None:
    """Draw today's and the proposed channels of each floor side by side."""
    floors = _floors(content.stations)
    panels = _panels(content, floors, words)
    columns = 1 if _wide(content) else 2 if content.figures.stations_moved else len(panels)
    columns = max(1, columns)
    rows = max(1, -(-len(panels) // columns))
    note = 12.0 if len(floors) > FLOORS_DRAWN else 0.0
    height = (box.h - note) / rows
    for place_in_order, panel in enumerate(panels):
        row, column = divmod(place_in_order, columns)
        cell = box.split(columns, 12.0)[column]
        _draw(pen, Box(cell.x, box.y + row * height, cell.w, height - 6), panel, names, words)
    if note:
        text = words.counted("plan.more_floors", len(floors) - FLOORS_DRAWN)
        pen.text(box.x, box.bottom - 3, text, TINY_MUTED)


def _wide(content: StoreContent) -> bool:
    return any(len(stations) >= WIDE_FROM for _, stations in _floors(content.stations))


def _floors(stations: Sequence[Station]) -> list[tuple[int | None, list[Station]]]:
    floors: dict[int | None, list[Station]] = {}
    for station in stations:
        floors.setdefault(station.floor, []).append(station)
    return sorted(floors.items(), key=lambda item: (item[0] is None, item[0] or 0))


def _panels(
    content: StoreContent, floors: Sequence[tuple[int | None, list[Station]]], words: Wording
) -> list[_Panel]:
    figures = content.figures
    panels = []
    for floor, stations in floors[:FLOORS_DRAWN]:
        now = {s.station: s.channel for s in stations}
        planned = {s.station: s.final_channel for s in stations}
        part = _floor_name(floor, words) if len(floors) > 1 else ""
        head = "plan.now" if figures.stations_moved else "plan.one_plan"
        panels.append(_panel(words(head) + part, stations, now, figures.shared_now, False))
        if figures.stations_moved:
            head = words("plan.proposed") + part
            panels.append(_panel(head, stations, planned, figures.shared_planned, True))
    return panels


def _panel(
    caption: str,
    stations: Sequence[Station],
    channels: Mapping[str, int | None],
    shared: Sequence[Pair],
    planned: bool,
) -> _Panel:
    here = [pair for pair in shared if pair.station in channels and pair.neighbour in channels]
    return _Panel(caption, stations, channels, here, planned)


def _floor_name(floor: int | None, words: Wording) -> str:
    return "" if floor is None else f", {words('plan.floor', floor=floor)}"


def _draw(pen: Pen, box: Box, panel: _Panel, names: Mapping[str, str], words: Wording) -> None:
    count = len(panel.shared)
    said = words("plan.pairs.zero") if not count else words.counted("plan.pairs", count)
    caption = fitted(panel.caption, SMALL_STRONG, box.w * 0.5)
    pen.text(box.x, box.y + 8, caption, SMALL_STRONG)
    pen.text(box.right, box.y + 8, said, TINY, align=Align.RIGHT, width=box.w * 0.5 - 6)
    frame = Box(box.x, box.y + _CAPTION, box.w, box.h - _CAPTION)
    pen.rectangle(frame, style.WASH)
    area = Box(frame.x + 6, frame.y + 4, frame.w - 12, frame.h - 8 - _FOOT)
    where = place(panel.stations, area)
    _lines(pen, panel, where)
    for station in panel.stations:
        _station(pen, station, panel, where, names)
    _foot(pen, frame, where, words)


def _lines(pen: Pen, panel: _Panel, where: Placement) -> None:
    for pair in panel.shared:
        (x1, y1), (x2, y2) = where.points[pair.station], where.points[pair.neighbour]
        pen.line(x1, y1 - 3, x2, y2 - 3, style.ALERT, 1.1)


def _station(
    pen: Pen, station: Station, panel: _Panel, where: Placement, names: Mapping[str, str]
) -> None:
    x, y = where.points[station.station]
    channel = panel.channels[station.station]
    strong = panel.planned and station.moved
    if where.crowded:
        channel_mark(pen, x, y, channel, radius=RADIUS / 2, strong=strong, number=False)
        return
    channel_mark(pen, x, y - 3, channel, strong=strong)
    pen.text(x, y + CELL_H / 2 - 1, names[station.station], TINY_MUTED, align=Align.CENTRE)


def _foot(pen: Pen, frame: Box, where: Placement, words: Wording) -> None:
    base = frame.bottom - 4
    room = frame.w - 12
    if where.points_per_m:
        metres = next(
            (m for m in reversed(_SCALES_M) if m * where.points_per_m <= _SCALE_BAR), None
        )
        if metres is not None:
            length = metres * where.points_per_m
            pen.line(frame.right - 6 - length, base + 1, frame.right - 6, base + 1, style.MUTED, 1)
            text = words("plan.scale", metres=metres)
            pen.text(frame.right - 9 - length, base + 2, text, TINY_MUTED, align=Align.RIGHT)
            room -= length + 30
    note = "plan.unplaced" if where.unplaced else "plan.spread" if where.spread else ""
    if note:
        pen.text(frame.x + 6, base + 2, words(note), TINY_MUTED, width=room)
