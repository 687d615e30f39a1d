"""One worksheet at a time: headings, rows, widths that fit, and how it prints."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from math import ceil

from xlsxwriter.format import Format
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from pipeline.report import style
from pipeline.report.pen import Type, wrapped
from pipeline.report.wording import Wording

Value = str | int | float | bool | date | datetime | None

LONGEST_TEXT = 32_767  # characters a cell can hold (ECMA-376 as applications apply it)
_NARROWEST, _WIDEST = 6, 60  # characters
_LINE = 15.0  # points a row of one line takes
_TALLEST = 409.0  # points a row can be high
_CELL = Type(10.0)
_POINTS_PER_WIDTH = 5.25  # one digit of the font in which spreadsheets count widths
_INDENT = 9.0
_WIDEST_LETTER = 2.0  # in digits
_HEADER_LETTERS = 80
PAGE_LETTERS = 205  # across a landscape page: no smaller than 7 points in print
_PAPERS = {style.A4: 9, style.LETTER: 1}  # ECMA-376: paperSize


class Look(StrEnum):
    """How the cells of a column are set."""

    TEXT = "text"
    LONG = "long"  # a text that wraps
    COUNT = "count"
    PERCENT = "percent"
    LEVEL = "level"  # one decimal
    DAY = "day"
    MOMENT = "moment"


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a list: its heading and how its cells are set."""

    heading: str
    look: Look = Look.TEXT
    widest: int = _WIDEST


class Book:
    """A workbook in the making, with the looks every sheet shares."""

    def __init__(self, book: Workbook, words: Wording, size: tuple[float, float]) -> None:
        self.book = book
        self.words = words
        self.paper = _PAPERS[size]
        base = {"font_name": "Calibri", "font_size": 10, "font_color": style.INK, "valign": "top"}
        line = {**base, "bottom": 1, "bottom_color": style.HAIRLINE}
        day = words.day_cells()
        kinds: dict[str, dict[str, object]] = {
            Look.TEXT: {"align": "left", "indent": 1},
            Look.LONG: {"align": "left", "indent": 1, "text_wrap": True},
            Look.COUNT: {"align": "right", "indent": 1, "num_format": "#,##0"},
            Look.PERCENT: {"align": "right", "indent": 1, "num_format": "0 %"},
            Look.LEVEL: {"align": "right", "indent": 1, "num_format": "0.0"},
            Look.DAY: {"num_format": day, "align": "left", "indent": 1},
            Look.MOMENT: {"num_format": f"{day} hh:mm", "align": "left", "indent": 1},
        }
        self.looks = {name: book.add_format({**line, **kind}) for name, kind in kinds.items()}
        self.heading = book.add_format(
            {**base, "bold": True, "font_color": style.PAPER, "bg_color": style.PLANNED,
             "text_wrap": True, "valign": "vcenter",
             "align": "left", "indent": 1}
        )  # fmt: skip
        head = {**base, "bold": True, "align": "center", "bottom": 1, "bottom_color": style.INK}
        self.channel = book.add_format(head)
        self.permitted = book.add_format({**head, "underline": 1})
        self.title = book.add_format({**base, "bold": True, "font_size": 16})
        self.section = book.add_format(
            {**base, "bold": True, "font_color": style.PLANNED, "font_size": 11,
             "bottom": 1, "bottom_color": style.INK}
        )  # fmt: skip
        self.note = book.add_format({**base, "font_color": style.MUTED, "text_wrap": True})

    def sheet(self, name: str, title: str, *, landscape: bool = True) -> Worksheet:
        """Add a sheet that prints on the store's paper with heading and page numbers."""
        sheet = self.book.add_worksheet(name)
        sheet.hide_gridlines(2)
        sheet.set_paper(self.paper)
        if landscape:
            sheet.set_landscape()
        sheet.set_margins(left=0.5, right=0.5, top=0.75, bottom=0.7)
        plain = title[:_HEADER_LETTERS].replace("&", "&&")
        sheet.set_header(f"&L&9{plain}&R&9{name}")
        sheet.set_footer(f"&R&9{self.words('workbook.print_page')}")
        sheet.fit_to_pages(1, 0)
        return sheet


def put(sheet: Worksheet, row: int, column: int, value: Value, look: Format) -> None:
    """Write one cell by the kind of its value; a text stays a text whatever it begins with."""
    if value is None:
        sheet.write_blank(row, column, None, look)
    elif isinstance(value, str):
        text = "\n".join(value.splitlines()) if "\r" in value else value
        sheet.write_string(row, column, text[:LONGEST_TEXT], look)
    elif isinstance(value, datetime | date):
        sheet.write_datetime(row, column, value, look)
    else:
        sheet.write_number(row, column, value, look)


def put_list(
    book: Book, sheet: Worksheet, columns: Sequence[Column], rows: Sequence[Sequence[Value]]
) -> None:
    """Write a list with frozen headings, a filter, widths that fit and a print area."""
    widths = [_width(column, place, rows) for place, column in enumerate(columns)]
    for place, (column, width) in enumerate(zip(columns, widths, strict=True)):
        sheet.set_column(place, place, width)
        sheet.write_string(0, place, column.heading, book.heading)
    sheet.set_row(0, 2 * _LINE + 2)
    looks = [book.looks[column.look] for column in columns]
    for number, row in enumerate(rows, start=1):
        for place, value in enumerate(row):
            put(sheet, number, place, value, looks[place])
        texts = [(v, w) for v, w in zip(row, widths, strict=True) if isinstance(v, str)]
        sheet.set_row(number, row_height(texts))
    last = len(columns) - 1
    sheet.freeze_panes(1, 1)
    sheet.repeat_rows(0)
    sheet.repeat_columns(0)
    sheet.fit_to_pages(ceil(sum(widths) / PAGE_LETTERS), 0)
    sheet.print_area(0, 0, max(1, len(rows)), last)
    if rows:
        sheet.autofilter(0, 0, len(rows), last)


def _width(column: Column, place: int, rows: Sequence[Sequence[Value]]) -> float:
    """Return a width in characters that shows the heading in two lines and every value."""
    longest_word = max(len(word) for word in column.heading.split())
    heading = max(longest_word, ceil(len(column.heading) / 2)) + 3  # room for the filter button
    values = max((len(_shown(row[place], column.look)) for row in rows), default=0)
    return min(max(_NARROWEST, heading, values + 3), max(column.widest, longest_word + 4))


def _shown(value: Value, look: Look) -> str:
    if isinstance(value, str):
        return value
    if value is None:
        return ""
    if look is Look.MOMENT:
        return "30.09.2026 22:15"
    if look is Look.DAY:
        return "30.09.2026"
    return (
        f"{value:,.1f}" if look is Look.LEVEL else f"{value:,}" if look is Look.COUNT else "100 %"
    )


def lines(text: str, width: float) -> int:
    """Return in how many lines a text breaks in a column of a width in characters.

    Measured with our printed typeface, which runs wider than what spreadsheets show.
    """
    if len(text) * _WIDEST_LETTER <= width and "\n" not in text:
        return 1
    room = width * _POINTS_PER_WIDTH - _INDENT
    most = int(_TALLEST // _LINE) + 1
    parts = text.split("\n")[:most]
    return sum(max(1, len(wrapped(part, _CELL, room, most))) for part in parts)


def row_height(texts: Sequence[tuple[str, float]]) -> float:
    """Return the height in points of a row that holds texts in columns of those widths."""
    count = max((lines(text, width) for text, width in texts), default=1)
    return min(_TALLEST, count * _LINE)
