"""Bars of clear air, and the air itself: stations by channels under the Wi-Fi seen."""

from collections.abc import Sequence

from pipeline.report import fonts, style
from pipeline.report.content import Air, Station
from pipeline.report.document import Document
from pipeline.report.pen import (
    SMALL,
    SMALL_STRONG,
    TINY,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    Type,
    fitted,
)
from pipeline.report.wifi_figure import WIFI_H, draw_wifi
from pipeline.report.wording import FIXED_SPACE, NOTHING, Wording

BAR_ROW, TIGHT_BAR_ROW = 14.5, 12.4  # points
AIR_ROW, ROOMY_AIR_ROW = 11.5, 14.0
ROOMY_UP_TO = 10  # stations
AIR_LABEL_W = 78.0
CHANNELS = range(11, 27)
_LEGEND_H = 14.0
INFERRED = "\N{ALMOST EQUAL TO}"
BARS_KEY_H = 11.0
_BARS_W, _VALUE_W, _KEY_W = 82.0, 52.0, 28.0
_LIGHT = Type(style.TINY, colour=style.PAPER)


def draw_bars(
    pen: Pen, box: Box, stations: Sequence[Station], doc: Document, row: float = BAR_ROW
) -> float:
    """Draw clear air now and proposed of each station; return the y below the last."""
    bars_x = box.right - _VALUE_W - _BARS_W
    _bars_key(pen, Box(bars_x, box.y, box.right - bars_x, 8), doc.words)
    y = box.y + BARS_KEY_H
    for station in stations:
        base = y + 8.5
        label = station.station if not station.name else f"{station.station} · {station.name}"
        pen.text(box.x, base, doc.names[station.station], SMALL_STRONG, width=_KEY_W - 4)
        pen.text(box.x + _KEY_W, base, label, SMALL, width=bars_x - box.x - _KEY_W - 8)
        _bar(pen, Box(bars_x, y + 1.5, _BARS_W, 4.2), station.clear_air_now, style.NOW)
        _bar(pen, Box(bars_x, y + 6.3, _BARS_W, 4.2), station.clear_air_planned, style.PLANNED)
        value = doc.words.change(station.clear_air_now, station.clear_air_planned)
        pen.text(box.right, base, value, SMALL, align=Align.RIGHT, width=_VALUE_W - 4)
        y += row
    return y


def _bars_key(pen: Pen, box: Box, words: Wording) -> None:
    pen.rectangle(Box(box.x, box.y + 2.5, 9, 4.2), style.NOW)
    pen.text(box.x + 12, box.y + 7, words("bars.now"), TINY_MUTED)
    pen.rectangle(Box(box.x + 42, box.y + 2.5, 9, 4.2), style.PLANNED)
    pen.text(box.x + 54, box.y + 7, words("bars.planned"), TINY_MUTED)


def _bar(pen: Pen, box: Box, share: float | None, ink: str) -> None:
    pen.line((box.x, box.bottom), (box.right, box.bottom), style.HAIRLINE, 0.3)
    if share is not None:
        pen.rectangle(Box(box.x, box.y, max(0.6, box.w * share), box.h), ink)


def air_height(rows: int) -> float:
    """Return the height in points of the air figure with that many stations."""
    return WIFI_H + rows * _air_row(rows) + _LEGEND_H


def draw_air(pen: Pen, box: Box, stations: Sequence[Station], doc: Document) -> float:
    """Draw the busy share of every channel at the stations given; return the y below."""
    grid = Box(box.x + AIR_LABEL_W, box.y, box.w - AIR_LABEL_W, box.h)
    draw_wifi(pen, box, grid, doc.content, doc.words)
    y = box.y + WIFI_H
    row = _air_row(len(stations))
    shown = {station.station for station in stations}
    cells = {(c.station, c.channel): c for c in doc.content.air if c.station in shown}
    for station in stations:
        label = _station_label(station, doc)
        pen.text(box.x, y + row / 2 + 2.6, label, TINY, width=AIR_LABEL_W - 6)
        for column, channel in zip(grid.split(len(CHANNELS), 0.0), CHANNELS, strict=True):
            where = Box(column.x, y, column.w, row)
            _cell(pen, where, cells.get((station.station, channel)), doc.words)
        _cell_marks(pen, grid, Box(grid.x, y, grid.w, row), station)
        y += row
    _legend(pen, Box(box.x, y, box.w, _LEGEND_H), doc.words)
    return y + _LEGEND_H


def _air_row(rows: int) -> float:
    return ROOMY_AIR_ROW if rows <= ROOMY_UP_TO else AIR_ROW


def busy_text(cell: Air | None, words: Wording) -> str:
    """Return what stands for a channel at a station: its busy share and where it is from."""
    if cell is None or cell.source == "absent":
        return NOTHING
    value = words.percent(cell.busy_bound).removesuffix(f"{FIXED_SPACE}%")
    return value if cell.source == "measured" else f"{INFERRED}{value}"


def _station_label(station: Station, doc: Document) -> str:
    short = doc.names[station.station]
    if station.channel is None:
        return f"{short}: {doc.words('plan.none')}"
    if not station.moved:
        return f"{short}: {station.channel}"
    return f"{short}: {doc.words.channels(station.channel, station.final_channel)}"


def _cell(pen: Pen, box: Box, cell: Air | None, words: Wording) -> None:
    known = cell is not None and cell.source != "absent"
    step = style.busy_step(cell.busy_bound) if cell is not None and known else 0
    inner = Box(box.x + 0.5, box.y + 0.5, box.w - 1, box.h - 1)
    pen.rectangle(inner, style.BUSY_STEPS[step] if known else style.WASH)
    kind = _LIGHT if step >= style.DARK_FROM else TINY
    base = box.y + box.h / 2 + 2.6
    pen.text(box.x + box.w / 2, base, busy_text(cell, words), kind, align=Align.CENTRE)


def _cell_marks(pen: Pen, grid: Box, row: Box, station: Station) -> None:
    """Outline today's and the proposed channel; the corner shape tells them apart."""
    columns = dict(zip(CHANNELS, grid.split(len(CHANNELS), 0.0), strict=True))
    for channel in {station.channel, station.final_channel}:
        if channel in columns:
            column = columns[channel]
            box = Box(column.x + 0.5, row.y + 0.5, column.w - 1, row.h - 1)
            planned = channel == station.final_channel
            _mark_cell(pen, box, now=channel == station.channel, planned=planned)


def _mark_cell(pen: Pen, box: Box, *, now: bool, planned: bool) -> None:
    pen.rectangle(box, None, style.INK, 1.5 if planned else 0.7)
    x, y = box.x + 1.2, box.y + 1.2
    if now and planned:
        pen.rectangle(Box(x, y, 4, 4), style.INK, style.PAPER, 0.4)
    elif planned:
        pen.polygon(((x, y), (x + 5, y + 2.6), (x, y + 5.2)), style.INK, style.PAPER, 0.4)
    else:
        pen.circle((x + 2.2, y + 2.2), 2, style.PAPER, style.INK, 0.7)


def _legend(pen: Pen, box: Box, words: Wording) -> None:
    x = box.x + AIR_LABEL_W
    base = box.y + 10
    for key, now, planned in (
        ("air.legend_now", True, False),
        ("air.legend_planned", False, True),
        ("air.legend_both", True, True),
    ):
        _mark_cell(pen, Box(x, box.y + 3.5, 14, 8), now=now, planned=planned)
        text = words(key)
        pen.text(x + 17, base, text, TINY_MUTED)
        x += 25 + fonts.width(text, TINY_MUTED.face, TINY_MUTED.size)
    rest = "   ".join(
        (
            words("air.legend_inferred", sign=INFERRED),
            words("air.legend_absent", sign=NOTHING),
            words("air.legend_permitted"),
        )
    )
    pen.text(x + 4, base, fitted(rest, TINY_MUTED, box.right - x - 4), TINY_MUTED)
