"""Write workbooks whose bytes depend on their content only, not on the time or the machine."""
# ruff: noqa: SLF001 - the library has no public way to write a sheet's cells otherwise

import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache, lru_cache
from io import BytesIO
from math import isfinite
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, SubElement
from xml.sax.saxutils import escape

from openpyxl import Workbook
from openpyxl.compat import safe_string
from openpyxl.drawing.spreadsheet_drawing import SpreadsheetDrawing
from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import to_excel
from openpyxl.worksheet._writer import WorksheetWriter
from openpyxl.writer.excel import ExcelWriter

MADE_AT = datetime(2000, 1, 1)  # noqa: DTZ001 - fixed, in place of the time of saving
_KINDS = {"s": "inlineStr", "n": "n", "d": "n", "b": "b"}  # kinds of cells, as files name them
_letter = cache(get_column_letter)
NO_VALUE = 'n" />'
WrittenCell = tuple[Any, str, Any]
"""A cell as the file has it: its look, its kind with its value, and where it leads, if anywhere."""
_ZIP_STAMP = (1980, 1, 1, 0, 0, 0)


def workbook_bytes(book: Workbook, made_at: datetime = MADE_AT) -> bytes:
    """Return a workbook as .xlsx, with `made_at` in place of the time of saving.

    It has no cells afterwards.
    """
    book.properties.created = book.properties.modified = made_at
    members = _Members()
    # `book.save` would write the current time.
    _BookWriter(book, members).write_data()  # type: ignore[arg-type] # an archive by its methods
    return zip_bytes(members)


def zip_bytes(members: Mapping[str, bytes]) -> bytes:
    """Return a zip archive that names neither the time nor the operating system."""
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in members.items():
            entry = zipfile.ZipInfo(name, date_time=_ZIP_STAMP)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            archive.writestr(entry, content)
    return out.getvalue()


class _Members(dict[str, bytes]):
    """Takes what goes into an archive."""

    def writestr(self, name: str, content: str | bytes) -> None:
        """Take one of its files."""
        self[name] = content.encode() if isinstance(content, str) else content

    def write(self, path: str, name: str) -> None:
        """Take a file of the disk."""
        self[name] = Path(path).read_bytes()

    def namelist(self) -> list[str]:
        """Return what its files are called."""
        return list(self)


class Widths(dict[int, float]):
    """The widths of a sheet's columns, counted from 1, in characters."""

    max_outline = None

    def to_tree(self) -> Element | None:
        """Return them as the library writes its own, of which each takes many objects."""
        columns = Element("cols")
        for column, width in sorted(self.items()):
            place = str(column)
            SubElement(columns, "col", width=f"{width:.16g}", customWidth="1", min=place, max=place)
        return columns if self else None


@dataclass(frozen=True, slots=True)
class HeadAndFoot:
    """What stands above and below every printed page of a sheet, in the codes of the format."""

    head: str
    foot: str

    def to_tree(self) -> Element:
        """Return them as the library writes its own."""
        both = Element("headerFooter")
        SubElement(both, "oddHeader").text = self.head
        SubElement(both, "oddFooter").text = self.foot
        for other in ("evenHeader", "evenFooter", "firstHeader", "firstFooter"):
            SubElement(both, other)
        return both


class _BookWriter(ExcelWriter):
    """Writes a workbook whose sheets have neither charts nor images, without temporary files."""

    def write_worksheet(self, ws: Any) -> None:  # noqa: ANN401 - one of several classes
        """Write a sheet into the archive."""
        if ws.parent.write_only:  # its rows were written as they came
            super().write_worksheet(ws)
            return
        ws._drawing = SpreadsheetDrawing()
        writer: Any = _SheetWriter(ws, BytesIO())
        writer.write()
        ws._rels = writer._rels
        members: _Members = vars(self)["_archive"]
        members.writestr(ws.path[1:], writer.read())
        self.manifest.append(ws)
        ws._cells.clear()  # else they wait for the collector


class _SheetWriter(WorksheetWriter):
    """Writes cells as text, the very bytes the library makes of elements in three times the time.

    Rows with cells of a kind that is rare in our sheets are left to the library.
    """

    def write_rows(self) -> None:
        """Write all rows, those without a cell as well where they have a height."""
        sheet: Any = self.ws
        rows: dict[int, list[Any]] = {number: [] for number in sheet.row_dimensions}
        for (number, column), cell in sorted(sheet._cells.items()):
            rows.setdefault(number, []).append((column, cell))
        xf: Any = self.xf.send(True)
        with xf.element("sheetData"):
            for number, cells in sorted(rows.items()):
                self.write_row(xf, cells, number)
        self.xf.send(None)

    def write_row(self, xf: Any, row: Iterable[Any], row_idx: int) -> None:  # noqa: ANN401 - the same
        """Write a row of cells, each with its column."""
        sheet: Any = self.ws
        looks: dict[int, str] = vars(self).setdefault("looks", {})
        cells = []
        for column, cell in row:
            if type(cell) is tuple:
                style, shown, link = cell
                if link is not None:
                    sheet._hyperlinks.append(link)
            elif cell._comment or cell.hyperlink or cell.data_type not in _KINDS:
                super().write_row(xf, [each for _, each in row], row_idx)
                return
            else:
                style, shown = cell._style, cell_shown(cell)
            # Many cells share a style, and a look-up by what it holds is slow.
            look = looks.get(id(style))
            if look is None:
                styles = sheet.parent._cell_styles
                look = looks[id(style)] = f' s="{styles.add(style)}"' if any(style or ()) else ""
            if look or shown != NO_VALUE:
                cells.append(f'<c r="{_letter(column)}{row_idx}"{look} t="{shown}')
        xf._file(f'<row r="{row_idx}"{self._shape(row_idx)}>{"".join(cells)}</row>')

    def _shape(self, row_idx: int) -> str:
        """Return what describes a row; rows of one height share their description."""
        shapes: dict[int, str] = vars(self).setdefault("shapes", {})
        sheet: Any = self.ws
        dimension = sheet.row_dimensions.get(row_idx)
        if dimension is None:
            return ""
        if id(dimension) not in shapes:
            shapes[id(dimension)] = "".join(f' {k}="{v}"' for k, v in dict(dimension).items())
        return shapes[id(dimension)]


def written_text(value: str) -> str:
    """Return a text as a cell of a file holds it."""
    if not value:
        return 'inlineStr" />'
    space = ' xml:space="preserve"' if value != value.strip() != "" else ""
    return f'inlineStr"><is><t{space}>{escape(value)}</t></is></c>'


_kept_text = lru_cache(maxsize=4096)(written_text)  # the same words stand in many cells


def number_shown(value: float) -> str:
    """Return a number as a cell of a file holds it."""
    shown = f"{value:.16g}" if isfinite(value) else safe_string(value)
    return f'n"><v>{shown}</v></c>'


def cell_shown(cell: Any) -> str:  # noqa: ANN401 - the same
    """Return the value of one of the library's cells as a cell of a file holds it."""
    value, kind = cell._value, cell.data_type
    if kind == "s" and value:
        return _kept_text(value)
    if value is None or value == "":
        return f'{_KINDS[kind]}" />'
    if type(value) in {int, float}:
        return number_shown(value)
    if kind == "d":
        value = to_excel(value, cell.parent.parent.epoch)  # type: ignore[no-untyped-call] # no types
    return f'{_KINDS[kind]}"><v>{safe_string(value)}</v></c>'
