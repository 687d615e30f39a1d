"""Pictures of the air: bars of clear air, and busy shares by station and channel under the Wi-Fi.

Centres: IEEE 802.15.4, 2405 + 5 (k - 11) MHz; IEEE 802.11, 2407 + 5 n MHz, channel 14 at 2484.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import inf

from openpyxl.styles import Alignment, Border, Side
from openpyxl.styles.cell_style import StyleArray

from pipeline.report.kit import style
from pipeline.report.kit.column import Look, row_height
from pipeline.report.kit.pen import (
    TINY,
    TINY_MUTED,
    TINY_STRONG,
    Align,
    Box,
    Pen,
    Type,
    fitted,
)
from pipeline.report.kit.sheet import Book, Page, argb, font
from pipeline.report.kit.style import Face
from pipeline.report.kit.tags import in_words
from pipeline.report.store.content import Document, PlannedStation, StoreContent, WifiGroup
from pipeline.tables.survey import EdEvidence
from pipeline.wording import FIXED_SPACE, NOTHING, Wording

TIGHT_AIR_ROW, AIR_ROW, ROOMY_AIR_ROW = 9.2, 11.5, 14.0
ROOMY_UP_TO, TIGHT_FROM = 10, 15  # stations
AIR_LABEL_W = 78.0
_NAME_AT, _NAME_W, _CLEAR_W = 60.0, 72.0, 50.0  # where it also has names and clear air
CHANNELS = range(11, 27)
LEGEND_H, _LEGEND_ROW = 23.0, 9.0
INFERRED = "\N{ALMOST EQUAL TO}"
UNSURE = "?"
_UNSURE_FROM = 0.15  # width of an interval from which a channel's share is unsure
_HATCH = 3.5  # points between the lines of an unsure cell
_LIGHT = Type(style.TINY, colour=style.PAPER)
_LABEL_COLUMNS = 2
_NOTE_ROW, _HEADING_ROW = 0, 1
_NOTE_H, _ROW_H = 34.0, 18.0
_WIDEST = 40  # letters


def air_height(rows: int) -> float:
    """Return the height of the picture of the air at so many stations, in points."""
    return WIFI_H + rows * _air_row(rows) + LEGEND_H


def draw_air(  # noqa: PLR0913 - where, what, and two ways to vary it
    pen: Pen,
    box: Box,
    stations: Sequence[PlannedStation],
    doc: Document,
    row: float = 0.0,
    *,
    clear: bool = False,
) -> float:
    """Draw how busy every channel is at stations, in rows of a height; return the y below.

    With `clear` each station's name and clear air stand beside it: page one has not all.
    """
    row = row or _air_row(len(stations))
    height = WIFI_H + len(stations) * row + LEGEND_H
    grid = Box(box.x + AIR_LABEL_W, box.y, box.w - AIR_LABEL_W, height)
    with pen.picture(replace(box, h=height), air_told(stations, doc, clear=clear)):
        if clear:
            grid = Box(grid.x + _NAME_W, box.y, grid.w - _NAME_W - _CLEAR_W, height)
            names = Box(box.x + _NAME_AT, box.y + WIFI_H, grid.x - box.x - _NAME_AT - 6, 0)
            air_names(pen, names, box.right, stations, doc, row=row)
        draw_wifi(pen, box, grid, doc.content, doc.words)
        air_rows(pen, replace(grid, y=box.y + WIFI_H), stations, doc, row=row, left=box.x)
        air_legend(pen, Box(box.x, box.y + height - LEGEND_H, box.w, LEGEND_H), doc.words)
    return box.y + height


def air_names(  # noqa: PLR0913 - two columns of texts and what they are of
    pen: Pen,
    box: Box,
    right: float,
    stations: Sequence[PlannedStation],
    doc: Document,
    *,
    row: float,
) -> None:
    """Write each station's name, or its key where that has no room, and its clear air."""
    pen.text(right, box.y - 3.5, doc.words("air.clear"), TINY_STRONG, align=Align.RIGHT)
    for place, station in enumerate(stations):
        base = box.y + place * row + row / 2 + 2.6
        text = station.called if TINY.width(station.called) <= box.w else station.station
        pen.text(box.x, base, text, TINY, width=box.w)
        value = doc.words.change(station.clear_air_now, station.clear_air_planned)
        pen.text(right, base, value, TINY, align=Align.RIGHT)


def air_told(stations: Sequence[PlannedStation], doc: Document, *, clear: bool) -> str:
    """Say how busy the channels are that matter: each station's, now and as proposed."""
    found = {(cell.station, cell.channel): cell for cell in doc.content.air}
    parts = []
    for station in stations:
        channels = dict.fromkeys((station.channel, station.final_channel))
        told = [
            doc.words(
                "air.on",
                channel=channel,
                busy=busy_text(found.get((station.station, channel)), doc.words),
            )
            for channel in channels
            if channel is not None
        ]
        if clear:
            air = doc.words.change(station.clear_air_now, station.clear_air_planned)
            told.append(f"{doc.words('air.clear')} {air}")
        parts.append(f"{station.station} {' '.join(told)}")
    return in_words(doc.words("air.in_words"), parts)


def air_rows(  # noqa: PLR0913 - the grid, what is in it, and where its labels begin
    pen: Pen,
    box: Box,
    stations: Sequence[PlannedStation],
    doc: Document,
    *,
    row: float,
    left: float,
    channels: Sequence[int] = CHANNELS,
    label_w: float = AIR_LABEL_W - 6,
) -> None:
    """Draw a row a station: its label from `left` on, and how busy each channel is."""
    shown, y = {station.station for station in stations}, box.y
    cells = {(c.station, c.channel): c for c in doc.content.air if c.station in shown}
    for station in stations:
        grid = Box(box.x, y, box.w, row)
        label = _station_label(station, doc)
        pen.text(left, y + row / 2 + 2.6, label, TINY, width=label_w)
        for place, channel in zip(grid.split(len(channels), 0.0), channels, strict=True):
            _cell(pen, place, cells.get((station.station, channel)), doc.words)
        _cell_marks(pen, grid, station, channels)
        y += row


def _air_row(rows: int) -> float:
    tall = AIR_ROW if rows > ROOMY_UP_TO else ROOMY_AIR_ROW
    return TIGHT_AIR_ROW if rows >= TIGHT_FROM else tall


def busy_text(cell: EdEvidence | None, words: Wording) -> str:
    """Return the busy share of a channel at a station, with signs: inferred, unsure, not known."""
    if cell is None or cell.source == "absent":
        return NOTHING
    value = words.percent(cell.busy_estimate).removesuffix(f"{FIXED_SPACE}%")
    signed = value if cell.source == "measured" else f"{INFERRED}{value}"
    return f"{signed}{UNSURE}" if _unsure(cell) else signed


def _unsure(cell: EdEvidence | None) -> bool:
    """Tell whether the interval of a channel's share is too wide to act on."""
    if cell is None or cell.busy_low is None or cell.busy_high is None:
        return False
    return cell.busy_high - cell.busy_low > _UNSURE_FROM


def _signs(words: Wording) -> dict[str, str]:
    width = words.number(round(100 * _UNSURE_FROM))
    return {"sign": INFERRED, "absent": NOTHING, "unsure": UNSURE, "width": width}


def _station_label(station: PlannedStation, doc: Document) -> str:
    short = doc.names[station.station]
    if station.channel is None and station.final_channel is None:
        return f"{short}: {doc.words('plan.none')}"
    if not station.moved:
        return f"{short}: {station.channel}"
    return f"{short}: {doc.words.channels(station.channel, station.final_channel)}"


def _cell(pen: Pen, box: Box, cell: EdEvidence | None, words: Wording) -> None:
    busy = None if cell is None else cell.busy_estimate
    known, step = busy is not None, 0 if busy is None else style.busy_step(busy)
    inner = Box(box.x + 0.5, box.y + 0.5, box.w - 1, box.h - 1)
    pen.rectangle(inner, style.BUSY_STEPS[step] if known else style.WASH)
    kind = _LIGHT if step >= style.DARK_FROM else TINY
    if _unsure(cell):
        pen.hatch(inner, style.NOW, _HATCH)
    base = box.y + box.h / 2 + 2.6
    pen.text(box.x + box.w / 2, base, busy_text(cell, words), kind, align=Align.CENTRE)


def _cell_marks(pen: Pen, row: Box, station: PlannedStation, channels: Sequence[int]) -> None:
    """Outline today's and the proposed channel, with a shape of its own in the corner."""
    columns = dict(zip(channels, row.split(len(channels), 0.0), strict=True))
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


def air_legend(pen: Pen, box: Box, words: Wording) -> None:
    """Draw what the marks and signs of the air mean."""
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
        x += 25 + TINY_MUTED.width(text)
    pen.text(x + 4, base, words("air.legend_permitted"), TINY_MUTED)
    left, base = box.x + AIR_LABEL_W, base + _LEGEND_ROW
    pen.hatch(Box(left, box.y + 3.5 + _LEGEND_ROW, 14, 8), style.NOW, _HATCH)
    signs = words("air.legend_signs", **_signs(words))
    pen.text(left + 17, base, fitted(signs, TINY_MUTED, box.right - left - 17), TINY_MUTED)


WIFI_H = 84.0  # points, the row of channel numbers included
_LABEL_ROWS, _LABEL_H = 3, 9.0
_NUMBERS_H = 13.0
_LEFT_MHZ, _RIGHT_MHZ = 2402.5, 2482.5  # half a channel spacing beyond 11 and 26
_CHANNEL_MHZ = 2.0  # what a channel occupies
_FAINT_DBM, _STRONG_DBM = -95.0, -35.0
_SKIRT_MHZ = 1.5
_NUMBER = Type(style.SMALL, Face.STRONG)


def centre_mhz(wifi: WifiGroup) -> float:
    """Return the middle of the band that a group of networks occupies, in MHz."""
    primary = 2484.0 if wifi.wifi_channel == 14 else 2407.0 + 5 * wifi.wifi_channel  # noqa: PLR2004 - the exception
    if wifi.width_mhz <= 22 or wifi.secondary not in ("above", "below"):  # noqa: PLR2004 - not bonded
        return primary
    return primary + (10 if wifi.secondary == "above" else -10)


def draw_wifi(pen: Pen, box: Box, grid: Box, content: StoreContent, words: Wording) -> None:
    """Draw the Wi-Fi above the grid of channels; `box` also has room for a caption."""
    base = box.y + WIFI_H - _NUMBERS_H
    strip = Box(grid.x, box.y, grid.w, base - box.y)
    groups = sorted(content.wifi, key=lambda w: (-(w.strongest_dbm or -inf), w.wifi_channel))
    top = strip.y + _LABEL_ROWS * _LABEL_H + 4
    for group in reversed(groups):
        _hump(pen, Box(strip.x, top, strip.w, base - top), group)
    if groups:
        pen.text(box.x, base - 4, words("air.wifi"), TINY, width=grid.x - box.x - 6)
        _labels(pen, strip, groups, words)
    else:
        middle = strip.x + strip.w / 2
        pen.text(middle, base - 20, words("air.no_wifi"), TINY_MUTED, align=Align.CENTRE)
    _channels(pen, Box(strip.x, base, strip.w, _NUMBERS_H), content.permitted)
    pen.text(box.x, base + 9.5, words("air.channel"), TINY, width=grid.x - box.x - 6)
    pen.line((strip.x, base), (strip.right, base), style.INK, 0.6)


def _x(strip: Box, mhz: float) -> float:
    inside = min(max(mhz, _LEFT_MHZ), _RIGHT_MHZ)
    return strip.x + strip.w * (inside - _LEFT_MHZ) / (_RIGHT_MHZ - _LEFT_MHZ)


def _hump(pen: Pen, area: Box, group: WifiGroup) -> None:
    level = _FAINT_DBM + 15 if group.strongest_dbm is None else group.strongest_dbm
    share = (level - _FAINT_DBM) / (_STRONG_DBM - _FAINT_DBM)
    top = area.bottom - area.h * min(max(share, 0.12), 1.0)
    middle, half = centre_mhz(group), group.width_mhz / 2
    pen.polygon(
        (
            (_x(area, middle - half), area.bottom),
            (_x(area, middle - half + _SKIRT_MHZ), top),
            (_x(area, middle + half - _SKIRT_MHZ), top),
            (_x(area, middle + half), area.bottom),
        ),
        style.WIFI,
        style.MUTED,
        0.5,
    )


def _labels(pen: Pen, strip: Box, groups: Sequence[WifiGroup], words: Wording) -> None:
    for row, x, text in _label_places(strip, groups, words):
        pen.text(x, strip.y + row * _LABEL_H + 7, text, TINY_MUTED)


def _label_places(
    strip: Box, groups: Sequence[WifiGroup], words: Wording
) -> Iterator[tuple[int, float, str]]:
    """Yield row, left edge and text of the labels there is room for, strongest first."""
    taken: list[list[tuple[float, float]]] = [[] for _ in range(_LABEL_ROWS)]
    for group in groups:
        text = words.counted(
            "air.wifi_label",
            group.networks,
            channel=group.wifi_channel,
            level=words.level(group.strongest_dbm),
        )
        width = TINY_MUTED.width(text)
        left = _x(strip, centre_mhz(group)) - width / 2
        left = min(max(left, strip.x), strip.right - width)
        for row in reversed(range(_LABEL_ROWS)):
            if all(left > end + 6 or left + width < start - 6 for start, end in taken[row]):
                taken[row].append((left, left + width))
                yield row, left, text
                break


def _channels(pen: Pen, box: Box, permitted: Sequence[int]) -> None:
    for column, channel in zip(box.split(16, 0.0), range(11, 27), strict=True):
        middle = column.x + column.w / 2
        half = column.w * _CHANNEL_MHZ / 5 / 2
        fill = style.PLANNED if channel in permitted else style.PAPER
        pen.rectangle(Box(middle - half, box.y - 16, 2 * half, 16), fill, style.INK, 0.4)
        pen.text(middle, box.y + 9.5, str(channel), _NUMBER, align=Align.CENTRE)
        if channel in permitted:
            pen.line((middle - 6, box.y + 11.5), (middle + 6, box.y + 11.5), style.INK, 0.9)


def put_heat_map(book: Book, page: Page, content: StoreContent) -> None:
    """Write a sheet of busy shares by station and channel, with the channels in use marked."""
    words = book.words
    last = _LABEL_COLUMNS + len(CHANNELS) - 1
    note = words("heatmap.note", **_signs(words))
    page.merge(_NOTE_ROW, last, note, book.note)
    page.height(_NOTE_ROW, _NOTE_H)
    labels = [(station.station, station.name or "") for station in content.stations]
    widths = [
        min(_WIDEST, max([10, *(len(label[place]) for label in labels)]) + 3)
        for place in range(_LABEL_COLUMNS)
    ]
    for place, key in enumerate(("column.station", "column.station_name")):
        page.width(place, place, widths[place])
        page.put(_HEADING_ROW, place, words(key), book.heading)
    page.width(_LABEL_COLUMNS, last, 7)
    for place, channel in enumerate(CHANNELS, start=_LABEL_COLUMNS):
        look = book.permitted if channel in content.permitted else book.channel
        page.put(_HEADING_ROW, place, channel, look)
    rows = _HeatRows(book, content)
    for number, (station, texts) in enumerate(
        zip(content.stations, labels, strict=True), start=_HEADING_ROW + 1
    ):
        rows.put(page, number, station)
        page.height(number, max(_ROW_H, row_height([*zip(texts, widths, strict=True)])))
    page.freeze(_HEADING_ROW + 1, _LABEL_COLUMNS)
    page.sheet.print_title_rows = f"{_HEADING_ROW + 1}:{_HEADING_ROW + 1}"
    page.print_area(_HEADING_ROW + max(1, len(content.stations)), last)


class _HeatRows:
    """Writes rows of busy shares, with one look for each step of the scale, marked or not."""

    def __init__(self, book: Book, content: StoreContent) -> None:
        self.book = book
        self.cells = {(cell.station, cell.channel): cell for cell in content.air}
        self.looks: dict[tuple[int | None, bool], StyleArray] = {}

    def put(self, page: Page, number: int, station: PlannedStation) -> None:
        """Write the row of one station."""
        words, text = self.book.words, self.book.looks[Look.LONG]
        page.put(number, 0, station.station, text)
        page.put(number, 1, station.name or "", text)
        for place, channel in enumerate(CHANNELS, start=_LABEL_COLUMNS):
            cell = self.cells.get((station.station, channel))
            busy = None if cell is None else cell.busy_estimate
            step = None if busy is None else style.busy_step(busy)
            now, planned = channel == station.channel, channel == station.final_channel
            value = busy_text(cell, words)
            if now or planned:
                key = "both" if now and planned else "now" if now else "planned"
                value = words(f"heatmap.{key}", value=value)
            look = self._look(step, marked=now or planned)
            page.put(number, place, int(value) if value.isdigit() else value, look)

    def _look(self, step: int | None, *, marked: bool) -> StyleArray:
        if (step, marked) not in self.looks:
            dark = step is not None and step >= style.DARK_FROM
            side = Side("medium", color=argb(style.INK)) if marked else Side()
            self.looks[step, marked] = self.book.look(
                font(bold=marked, color=style.PAPER if dark else style.INK),
                Alignment("center", "top"),
                border=Border(left=side, right=side, top=side, bottom=side),
                fill=style.WASH if step is None else style.BUSY_STEPS[step],
            )
        return self.looks[step, marked]
