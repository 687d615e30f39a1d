"""The sheet of stations by channels: busy shares, today's and the proposed channel marked."""

from openpyxl.styles import Alignment, Border, Side
from openpyxl.styles.cell_style import StyleArray

from pipeline.report import style
from pipeline.report.content import Station, StoreContent
from pipeline.report.figures import CHANNELS, INFERRED, busy_text
from pipeline.report.sheet import Book, Look, Page, argb, font, row_height
from pipeline.report.wording import NOTHING

_LABEL_COLUMNS = 2
_NOTE_ROW, _HEADING_ROW = 0, 1
_NOTE_H, _ROW_H = 34.0, 18.0
_WIDEST = 40


def put_heat_map(book: Book, page: Page, content: StoreContent) -> None:
    """Write the sheet: one row a station, one column a channel."""
    words = book.words
    last = _LABEL_COLUMNS + len(CHANNELS) - 1
    note = words("heatmap.note", sign=INFERRED, absent=NOTHING)
    page.merge(_NOTE_ROW, last, note, book.note)
    page.height(_NOTE_ROW, _NOTE_H)
    ids = [len(station.station) for station in content.stations]
    names = [len(station.name or "") for station in content.stations]
    widths = (min(_WIDEST, max([10, *ids]) + 3), min(_WIDEST, max([10, *names]) + 3))
    for place, width in enumerate(widths):
        page.width(place, place, width)
    page.width(_LABEL_COLUMNS, last, 7)
    page.put(_HEADING_ROW, 0, words("column.station"), book.heading)
    page.put(_HEADING_ROW, 1, words("column.station_name"), book.heading)
    for place, channel in enumerate(CHANNELS, start=_LABEL_COLUMNS):
        look = book.permitted if channel in content.permitted else book.channel
        page.put(_HEADING_ROW, place, channel, look)
    rows = _Rows(book, content)
    for number, station in enumerate(content.stations, start=_HEADING_ROW + 1):
        rows.put(page, number, station)
        texts = [*zip((station.station, station.name or ""), widths, strict=True)]
        page.height(number, max(_ROW_H, row_height(texts)))
    page.freeze(_HEADING_ROW + 1, _LABEL_COLUMNS)
    page.sheet.print_title_rows = f"{_HEADING_ROW + 1}:{_HEADING_ROW + 1}"
    page.print_area(_HEADING_ROW + max(1, len(content.stations)), last)


class _Rows:
    """Writes the rows, with one look per step of the scale and mark."""

    def __init__(self, book: Book, content: StoreContent) -> None:
        self.book = book
        self.cells = {(cell.station, cell.channel): cell for cell in content.air}
        self.looks: dict[tuple[int | None, bool], StyleArray] = {}

    def put(self, page: Page, number: int, station: Station) -> None:
        """Write the row of one station."""
        words, text = self.book.words, self.book.looks[Look.LONG]
        page.put(number, 0, station.station, text)
        page.put(number, 1, station.name or "", text)
        for place, channel in enumerate(CHANNELS, start=_LABEL_COLUMNS):
            cell = self.cells.get((station.station, channel))
            known = cell is not None and cell.source != "absent"
            step = style.busy_step(cell.busy_bound) if cell is not None and known else None
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
