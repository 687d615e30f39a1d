"""Write worksheets: lists with one declaration a column, first sheets, widths, printing."""

from collections.abc import Sequence
from copy import copy
from functools import cache, lru_cache
from itertools import accumulate
from typing import Any, Literal, TypeVar

from openpyxl import Workbook
from openpyxl.cell.cell import Cell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.styles.cell_style import StyleArray
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.dimensions import RowDimension
from openpyxl.worksheet.header_footer import HeaderFooterItem
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.page import PageMargins
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from pipeline import __version__
from pipeline.records import Inputs, Seal
from pipeline.report.kit import style
from pipeline.report.kit.booklet import inputs_line, seal_line
from pipeline.report.kit.column import (
    Look,
    SheetColumn,
    Value,
    column_width,
    heading_height,
    row_height,
)
from pipeline.wording import Wording, visible, whole
from pipeline.xlsx import (
    NO_VALUE,
    HeadAndFoot,
    Widths,
    WrittenCell,
    cell_shown,
    number_shown,
    written_text,
)

Record = TypeVar("Record")

LONGEST_TEXT = 32_767  # characters a cell can hold (ECMA-376 as applications apply it)
_HEADER_LETTERS, _TITLE_LETTERS, _HEADER_SIZE = 80, 250, 9
_PERCENT = "0 %"
_BROKEN_ANYWAY = 2  # pages across; a list on more has room for long texts
_EDGE = 0.02  # only nearer to none and all can a share be 1 or 99 per cent
_PAPERS = {style.A4: 9, style.LETTER: 1}  # ECMA-376: paperSize


class Page:
    """One worksheet; rows and columns count from 0."""

    def __init__(self, sheet: Worksheet) -> None:
        self.sheet = sheet
        # Cells as the file has them: a third of the time and memory of the library's own.
        self._cells: dict[tuple[int, int], WrittenCell] = sheet._cells  # type: ignore[assignment]  # noqa: SLF001
        sheet.column_dimensions = self._widths = Widths()  # type: ignore[assignment]
        self._shares: dict[tuple[int, int], StyleArray] = {}
        self._heights: dict[float, RowDimension] = {}

    def put(self, row: int, column: int, value: Value, look: StyleArray) -> None:
        """Write one cell; a text never becomes a formula."""
        if isinstance(value, str):
            shown = text_shown(value)
        elif type(value) is int:
            shown = number_shown(value)
        elif type(value) is float:
            shown = number_shown(value)
            if 0 < value < _EDGE or 1 - _EDGE < value < 1:
                look = self._rounded(value, look)
        else:
            shown = NO_VALUE if value is None else self._other(value)
        self._cells[row + 1, column + 1] = look, shown, None

    def _rounded(self, value: float, look: StyleArray) -> StyleArray:
        """Return the look of a share near none or all: 99 for 0.997, as in texts."""
        shown = whole(value)
        if shown not in {1, 99}:
            return look
        if (id(look), shown) not in self._shares:
            cell = self._scratch()
            cell._style = copy(look)  # noqa: SLF001 - the library cannot share a style
            if cell.number_format == _PERCENT:
                cell.number_format = f'"{shown} %"'
            self._shares[id(look), shown] = cell._style  # noqa: SLF001 - as above
        return self._shares[id(look), shown]

    def _other(self, value: Value) -> str:
        """Return what a cell shows of a value that is neither text nor number."""
        cell = self._scratch()
        cell.value = value
        return cell_shown(cell)

    def _scratch(self) -> Any:  # noqa: ANN401 - has no types
        return Cell(self.sheet, 1, 1)

    def link(self, row: int, column: int, target: str) -> None:
        """Let a cell that is written lead to a file."""
        look, shown, _ = self._cells[row + 1, column + 1]
        link = Hyperlink(ref=f"{get_column_letter(column + 1)}{row + 1}", target=target)
        self._cells[row + 1, column + 1] = look, shown, link

    def merge(self, row: int, last: int, text: str, look: StyleArray, first: int = 0) -> None:
        """Write a text across columns of a row, from the first one unless told otherwise."""
        for column in range(first, last + 1):
            self.put(row, column, text if column == first else None, look)
        ends = (get_column_letter(column + 1) for column in (first, last))
        # The cells keep their looks; `merge_cells` would draw borders of its own, and slowly.
        self.sheet.merged_cells.add(":".join(f"{letter}{row + 1}" for letter in ends))

    def width(self, first: int, last: int, characters: float) -> None:
        """Set the width of columns in characters."""
        for column in range(first, last + 1):
            self._widths[column + 1] = characters

    def height(self, row: int, points: float) -> None:
        """Set the height of a row in points; rows of one height share its description."""
        if points not in self._heights:
            self._heights[points] = RowDimension(self.sheet, ht=points)
        self.sheet.row_dimensions[row + 1] = self._heights[points]

    def freeze(self, row: int, column: int) -> None:
        """Keep the rows above and the columns left of a cell in sight."""
        self._cells.setdefault((row + 1, column + 1), (StyleArray(), NO_VALUE, None))
        self.sheet.freeze_panes = f"{get_column_letter(column + 1)}{row + 1}"

    def print_area(self, last_row: int, last_column: int) -> None:
        """Print the cells from the first to this one."""
        self.sheet.print_area = f"A1:{get_column_letter(last_column + 1)}{last_row + 1}"

    def fit(self, wide: int, high: int) -> None:
        """Scale the print to a number of pages; 0: as many as it takes."""
        self.sheet.page_setup.fitToWidth = wide
        self.sheet.page_setup.fitToHeight = high


class Book:
    """A workbook being written, and the looks its sheets share."""

    def __init__(
        self,
        words: Wording,
        size: tuple[float, float],
        seal: Seal | None,
        inputs: Inputs | None = None,
    ) -> None:
        self.book = Workbook()
        self.sealed = seal_line(seal, words, whole=True)
        self.told = "" if inputs is None else inputs_line(inputs, words, whole=True)
        printed = [seal_line(seal, words, whole=False)]
        printed += [inputs_line(inputs, words, whole=False)] if inputs else []
        self._printed = ". ".join(printed)
        self._scratch = self.book.worksheets[0]  # only to register looks on
        self.book.remove(self._scratch)
        self._varied: dict[tuple[bytes, str, bool], StyleArray] = {}
        self.words, self.paper = words, _PAPERS[size]
        day = words.days.cells
        formats = {
            Look.COUNT: "#,##0", Look.PERCENT: _PERCENT, Look.TENTHS: "0.0 %", Look.LEVEL: "0.0",
            Look.FINE: "0.000", Look.DAY: day, Look.MOMENT: f"{day} hh:mm",
        }  # fmt: skip
        figures = (Look.COUNT, Look.PERCENT, Look.TENTHS, Look.LEVEL, Look.FINE)
        sides = dict.fromkeys(figures, "right")
        kinds = {
            look: Alignment(sides.get(look, "left"), "top", indent=1, wrap_text=look is Look.LONG)
            for look in Look
        }
        line = under(style.HAIRLINE)
        self.looks = {
            name: self.look(
                font(), setting, border=line, number_format=formats.get(name, "General")
            )
            for name, setting in kinds.items()
        }
        self.heading = self.look(
            font(bold=True, color=style.PAPER),
            Alignment("left", "center", indent=1, wrap_text=True),
            fill=style.PLANNED,
        )
        centred, ink = Alignment("center", "top"), under(style.INK)
        self.channel = self.look(font(bold=True), centred, border=ink)
        self.permitted = self.look(font(bold=True, underlined=True), centred, border=ink)
        self.title = self.look(font(bold=True, size=16), Alignment(vertical="top"))
        self.section = self.look(
            font(bold=True, size=11, color=style.PLANNED), Alignment(vertical="top"), border=ink
        )
        wrapping = Alignment(vertical="top", wrap_text=True)
        self.note = self.look(font(color=style.MUTED), wrapping)
        self.lead = self.look(font(size=12), wrapping)

    def describe(
        self, title: str, *, subject: str | None = None, keywords: str | None = None
    ) -> None:
        """Set the properties that file managers show."""
        properties = self.book.properties
        properties.title = writable(title)[:_TITLE_LETTERS]
        properties.subject, properties.keywords = subject, keywords
        properties.creator = self.words("document.author")
        made = self.words("document.made_with", version=__version__)
        properties.description = f"{made}. {self.sealed}"

    def look(
        self,
        font: Font,
        alignment: Alignment,
        *,
        border: Border | None = None,
        fill: str | None = None,
        number_format: str = "General",
    ) -> StyleArray:
        """Register a look once for the whole workbook."""
        cell: Any = Cell(self._scratch, row=1, column=1)
        cell.font, cell.alignment, cell.number_format = font, alignment, number_format
        if border is not None:
            cell.border = border
        if fill is not None:
            cell.fill = _filled(fill)
        shared: StyleArray = cell._style  # noqa: SLF001 - see Page.put
        return shared

    def varied(self, look: StyleArray, fill: str = "", *, locked: bool = True) -> StyleArray:
        """Register a look on another ground, or for cells to fill in on a locked sheet."""
        key = (bytes(look), fill, locked)
        if key not in self._varied:
            self._varied[key] = self._vary(look, fill, locked=locked)
        return self._varied[key]

    def _vary(self, look: StyleArray, fill: str, *, locked: bool) -> StyleArray:
        cell: Any = Cell(self._scratch, row=1, column=1)
        cell._style = copy(look)  # noqa: SLF001 - see Page.put
        if fill:
            cell.fill = _filled(fill)
        cell.protection = Protection(locked=locked)
        shared: StyleArray = cell._style  # noqa: SLF001 - see Page.put
        return shared

    def sheet(self, name: str, title: str, *, landscape: bool = True) -> Page:
        """Add a sheet that prints with heading and page numbers, called by the language's text."""
        sheet = self.book.create_sheet(self.words.tab(name))
        sheet.sheet_view.showGridLines = False
        sheet.page_setup.paperSize = self.paper
        sheet.page_setup.orientation = "landscape" if landscape else "portrait"
        sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        sheet.page_margins = PageMargins(left=0.5, right=0.5, top=0.75, bottom=0.7)
        plain = writable(title)[:_HEADER_LETTERS].replace("&", "&&")
        head = _line_of(plain, sheet.title)
        foot = _line_of(self._printed, self.words("workbook.print_page"))
        sheet.HeaderFooter = HeadAndFoot(head, foot)
        page = Page(sheet)
        page.fit(1, 0)
        return page


@lru_cache(maxsize=64)  # a foot is that of all sheets of a workbook
def _line_of(left: str, right: str) -> str:
    """Return the head or foot of printed pages, as a file has it."""
    line = HeaderFooterItem()
    line.left.text, line.left.size = left, _HEADER_SIZE
    line.right.text, line.right.size = right, _HEADER_SIZE
    return str(line)


@cache  # looks of all workbooks share them
def font(
    *, bold: bool = False, size: float = 10, color: str = style.INK, underlined: bool = False
) -> Font:
    """Return the typeface of our workbooks in a weight, size and colour."""
    underline: Literal["single"] | None = "single" if underlined else None
    return Font(name="Calibri", size=size, bold=bold, color=argb(color), underline=underline)


@cache
def under(color: str) -> Border:
    """Return a thin line below."""
    return Border(bottom=Side("thin", color=argb(color)))


@cache
def _filled(color: str) -> PatternFill:
    return PatternFill("solid", fgColor=argb(color))


def argb(color: str) -> str:
    """Return a colour such as #1D2A32 as spreadsheets write it."""
    return f"FF{color.removeprefix('#')}"


@lru_cache(maxsize=8192)  # the same words stand in many cells
def text_shown(text: str) -> str:
    """Return what a cell shows of a text, as the file has it."""
    return written_text(writable(text))


def writable(text: str) -> str:
    """Return a text as a cell can hold it: no control characters, not too long."""
    return visible(text)[:LONGEST_TEXT]


def put_list(
    book: Book,
    page: Page,
    columns: Sequence[SheetColumn[Record]],
    records: Sequence[Record],
    nothing: str = "",
) -> list[list[Value]]:
    """Write a list of records with frozen headings, a filter, and a print area.

    Args:
        book: the workbook.
        page: the sheet.
        columns: what each column shows.
        records: what each row is of.
        nothing: the sentence for a list without a record; empty: there is always one.

    Returns:
        The values written, row by row.
    """
    headings = [column.title(book.words) for column in columns]
    rows = [[column.value(record, book.words) for column in columns] for record in records]
    widths = _widths(headings, columns, rows, wide=False)
    if style.pages_wide(widths, 1) > _BROKEN_ANYWAY:
        widths = _widths(headings, columns, rows, wide=True)
    for place, (heading, width) in enumerate(zip(headings, widths, strict=True)):
        page.width(place, place, width)
        page.put(0, place, heading, book.heading)
    page.height(0, heading_height(headings, widths))
    looks = [book.looks[column.look] for column in columns]
    for number, row in enumerate(rows, start=1):
        for place, value in enumerate(row):
            page.put(number, place, value, looks[place])
        texts = [(v, w) for v, w in zip(row, widths, strict=True) if isinstance(v, str)]
        page.height(number, row_height(texts))
    page.freeze(1, 1)
    page.sheet.print_title_rows = "1:1"
    page.sheet.print_title_cols = "A:A"
    page.fit(style.pages_wide(widths, 1), 0)
    page.print_area(max(1, len(rows)), len(columns) - 1)
    if rows:
        page.sheet.auto_filter.ref = f"A1:{get_column_letter(len(columns))}{len(rows) + 1}"
    elif nothing:
        _put_nothing(book, page, widths, nothing)
    return rows


def _widths(
    headings: Sequence[str],
    columns: Sequence[SheetColumn[Any]],
    rows: Sequence[Sequence[Value]],
    *,
    wide: bool,
) -> list[float]:
    return [
        column_width(heading, column, [row[place] for row in rows], wide=wide)
        for place, (heading, column) in enumerate(zip(headings, columns, strict=True))
    ]


def _put_nothing(book: Book, page: Page, widths: Sequence[float], nothing: str) -> None:
    """Write a sentence below the headings, and print no more of these than one page holds."""
    ends = [end for end in accumulate(widths) if end <= style.PAGE_LETTERS]
    page.merge(1, len(ends) - 1, nothing, book.note)
    page.height(1, row_height([(nothing, ends[-1])]))
    page.fit(1, 0)
    page.print_area(1, len(ends) - 1)
