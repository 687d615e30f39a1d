"""Read sheets of workbooks and OpenDocument files, and tables of SQLite files, as rows of texts.

Sources: ISO/IEC 26300-1 (OpenDocument 1.2, section 9, tables); the SQLite documentation, "SQLite
Keywords", on quoted names. Both are read with the standard library: what repeats cells has to be
counted before it is made, or a small file fills the memory.
"""

import re
import sqlite3
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from functools import partial
from itertools import chain, islice, repeat
from pathlib import Path
from xml.etree import ElementTree as ET

import openpyxl
from openpyxl.worksheet._read_only import ReadOnlyWorksheet

from pipeline.ingest.delimited import (
    HEAD_LINES,
    LINE_LIMIT,
    MOST_COLUMNS,
    DeliveredRow,
    Head,
    TableUnreadable,
    TextDialect,
    headings_of,
)
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.words import TableRefused

_PARTS_MOST = 2_000
_TOTAL_MOST = 4 << 30
_SHEET_MOST = 2 << 30
_TEXTS_MOST = 128 << 20
_OTHER_MOST = 32 << 20
_ROW_MOST = 4 << 20  # bytes of one row's markup
_ROWS_MOST = 1_048_576  # of a sheet, in common programs that write ECMA-376 workbooks
_CHUNK = 1 << 20
_WORKBOOK_DIALECT = TextDialect("\t", '"', '"')
_ROW_NUMBER = re.compile(rb'<(?:\w+:)?row\b[^>]*?\br="(\d+)"')
_FAR_COLUMN = re.compile(rb'\br="[A-Za-z]{4,}\d*"')
DOCUMENT = ".ods"
DATABASES = (".sqlite", ".sqlite3", ".db")
_SPACES = "{urn:oasis:names:tc:opendocument:xmlns:%s:1.0}"
_TABLE, _OFFICE, _TEXT = (_SPACES % name for name in ("table", "office", "text"))
_CELLS = (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell")
# Where a cell keeps its value, by its type; a text stands in its paragraphs.
_VALUES = {"float": "value", "percentage": "value", "currency": "value", "date": "date-value"}
_CELLS_MOST = 20_000_000  # filled ones, repeated ones counted as often
_BLANKS = {f"{_TEXT}tab": "\t", f"{_TEXT}line-break": "\n"}


class WorkbookUnreadable(TableUnreadable):
    """A workbook cannot be read."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet: its name, and its filled rows, read anew each time."""

    title: str
    rows: Callable[[], Iterator[DeliveredRow]]


@contextmanager
def open_workbook(path: Path) -> Iterator[tuple[Sheet, ...]]:
    """Open a workbook for reading in order, and give its sheets.

    Raises:
        WorkbookUnreadable: it cannot be read.
    """
    with _sound():
        book = openpyxl.load_workbook(path, read_only=True, data_only=True, keep_links=False)
    with closing(book):
        sheets = (sheet for sheet in book.worksheets if isinstance(sheet, ReadOnlyWorksheet))
        yield tuple(Sheet(sheet.title, partial(_filled, sheet)) for sheet in sheets)


@contextmanager
def _sound() -> Iterator[None]:
    """Turn whatever the library raises over a damaged workbook into WorkbookUnreadable."""
    try:
        yield
    except (GeneratorExit, TableUnreadable):
        raise
    except Exception as error:
        raise WorkbookUnreadable(
            "workbook-unreadable", why=f"{type(error).__name__} {error}"[:200]
        ) from error


def refuse_workbook(path: Path) -> TableRefused | None:
    """Return why a workbook must not be opened, or none. Reads it in bounded memory."""
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
            if len(parts) > _PARTS_MOST or sum(part.file_size for part in parts) > _TOTAL_MOST:
                return TableRefused.of("workbook-large")
            for part in parts:
                if why := _refuse_part(archive, part):
                    return why
    except (
        zipfile.BadZipFile, OSError, EOFError, NotImplementedError, RuntimeError, ValueError,
        zlib.error,
    ):  # fmt: skip
        return TableRefused.of("workbook-damaged")
    return None


def _refuse_part(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> TableRefused | None:
    sheet = "worksheets/" in part.filename
    texts = part.filename.endswith("sharedStrings.xml")
    markup = part.filename.lower().endswith((".xml", ".rels", ".vml"))
    most = _SHEET_MOST if sheet else _TEXTS_MOST if texts else _OTHER_MOST
    if not markup:
        return None
    size = since_row = 0
    rest = b""
    with archive.open(part) as file:
        while chunk := file.read(_CHUNK):
            size += len(chunk)
            if size > most:
                return TableRefused.of("workbook-part", part=part.filename[:80])
            window = rest + chunk
            flat = window.replace(b"\0", b"")
            if b"<!DOCTYPE" in flat or b"<!ENTITY" in flat:
                return TableRefused.of("workbook-entities")
            if sheet:
                cut = chunk.rfind(b"</row>")
                since_row = since_row + len(chunk) if cut < 0 else len(chunk) - cut
                if since_row > _ROW_MOST or _too_far(window):
                    return TableRefused.of("workbook-row")
            rest = window[-64:]
    return None


def _too_far(markup: bytes) -> bool:
    rows = (int(number[:12]) for number in _ROW_NUMBER.findall(markup))
    return any(row > _ROWS_MOST for row in rows) or bool(_FAR_COLUMN.search(markup))


def read_sheet_head(sheet: Sheet, vocabulary: Vocabulary) -> Head | None:
    """Return the rows above the headings and the headings; none where no cell is filled."""
    with _sound():
        rows = list(islice(sheet.rows(), HEAD_LINES))
    if not rows:
        return None
    top, headings = headings_of(rows, vocabulary)
    return Head(_WORKBOOK_DIALECT, tuple(rows[:top]), headings, headings.line + 1)


def sheet_lines(sheet: Sheet, head: Head) -> Iterator[str]:
    """Yield the filled rows below the headings as plain lines; a shorter row is filled up."""
    width = len(head.headings.cells)
    with _sound():
        for row in sheet.rows():
            if row.line > head.headings.line:
                yield _judged(row, width).plain(width, head.dialect.delimiter)


def _judged(row: DeliveredRow, width: int) -> DeliveredRow:
    if sum(map(len, row.cells)) > LINE_LIMIT:
        return DeliveredRow(row.line, [row.cells[0][:200]], "line-too-long")
    return replace(row, fault="row-too-long") if len(row.cells) > width else row


def _filled(sheet: ReadOnlyWorksheet) -> Iterator[DeliveredRow]:
    # The dimension a sheet declares may be false; without it rows are as long as they are.
    sheet.reset_dimensions()
    rows = sheet.iter_rows(values_only=True)  # type: ignore[misc]  # the stubs lack this class
    for line, values in enumerate(rows, start=1):
        cells = [cell_text(value) for value in values[:MOST_COLUMNS]]
        while cells and not cells[-1].strip():
            cells.pop()
        if cells:
            yield DeliveredRow(line, cells)


def cell_text(value: object) -> str:
    """Return a cell as text: dates year first, numbers with a decimal point."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)  # noqa: PLR2004 - whole numbers are exact below
    if isinstance(value, datetime):
        return value.replace(tzinfo=None).isoformat(sep=" ")
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value)


class ForeignUnreadable(TableUnreadable):
    """A spreadsheet or database of another program cannot be read."""


def document_sheets(path: Path) -> tuple[Sheet, ...]:
    """Return the sheets of an OpenDocument spreadsheet.

    Raises:
        ForeignUnreadable: it is damaged, protected, or repeats more cells than any sheet holds.
    """
    try:
        with zipfile.ZipFile(path) as archive, archive.open("content.xml") as content:
            return tuple(_sheets(ET.iterparse(content)))  # noqa: S314 - no entities: looked before
    except (
        KeyError,
        ValueError,
        RuntimeError,
        zipfile.BadZipFile,
        ET.ParseError,
    ) as error:
        raise ForeignUnreadable("spreadsheet-unreadable", why=str(error)[:200]) from error


def _sheets(events: Iterator[tuple[str, ET.Element]]) -> Iterator[Sheet]:
    rows: list[DeliveredRow] = []
    line, made = 1, 0
    for _, element in events:
        if element.tag == f"{_TABLE}table-row":
            times = int(element.get(f"{_TABLE}number-rows-repeated", 1))
            cells = _cells(element)
            made += times * len(cells)
            if made > _CELLS_MOST:
                raise ForeignUnreadable("spreadsheet-repeats")
            rows += (DeliveredRow(line + n, cells) for n in range(times if cells else 0))
            line += times
            element.clear()
        elif element.tag == f"{_TABLE}table":
            yield Sheet(element.get(f"{_TABLE}name", ""), rows.__iter__)
            rows, line = [], 1


def _cells(row: ET.Element) -> list[str]:
    """Return the cells of a row up to the last filled one."""
    cells: list[str] = []
    for cell in row:
        if cell.tag in _CELLS and len(cells) < MOST_COLUMNS:
            times = int(cell.get(f"{_TABLE}number-columns-repeated", 1))
            cells += repeat(_written(cell), min(times, MOST_COLUMNS - len(cells)))
    while cells and not cells[-1].strip():
        cells.pop()
    return cells


def _written(cell: ET.Element) -> str:
    """Return a cell as text: numbers with a decimal point, days year first."""
    kind = cell.get(f"{_OFFICE}value-type", "")
    if kind == "boolean":
        return cell.get(f"{_OFFICE}boolean-value", "")
    if kind in _VALUES:
        value = cell.get(f"{_OFFICE}{_VALUES[kind]}", "")
        return value.replace("T", " ") if kind == "date" else _number(value)
    return "\n".join("".join(_words(line)) for line in cell.findall(f"{_TEXT}p"))


def _number(written: str) -> str:
    try:
        return cell_text(float(written))
    except ValueError:
        return written


def _words(element: ET.Element) -> Iterator[str]:
    blanks = " " * int(element.get(f"{_TEXT}c", 1)) if element.tag == f"{_TEXT}s" else ""
    yield _BLANKS.get(element.tag, blanks)
    yield element.text or ""
    for inner in element:
        yield from _words(inner)
        yield inner.tail or ""


@dataclass(frozen=True, slots=True)
class _TableRows:
    """The rows of a table of a database, read anew each time."""

    path: Path
    table: str

    def __call__(self) -> Iterator[DeliveredRow]:
        """Yield the names of the columns as the first row, then the rows."""
        # A name cannot be a parameter: it is quoted as the documentation says.
        quoted = self.table.replace('"', '""')
        with _opened(self.path) as connection:
            found = connection.execute(f'select * from "{quoted}"')  # noqa: S608 - quoted
            headings = tuple(column[0] for column in found.description)
            for line, row in enumerate(chain([headings], found), start=1):
                yield DeliveredRow(line, [cell_text(_plain(cell)) for cell in row[:MOST_COLUMNS]])


def database_sheets(path: Path) -> tuple[Sheet, ...]:
    """Return the tables of an SQLite file; views, which may run anything, are left alone.

    Raises:
        ForeignUnreadable: it is no such file, or damaged.
    """
    try:
        with _opened(path) as connection:
            found = connection.execute("pragma table_list").fetchall()
    except sqlite3.Error as error:
        raise ForeignUnreadable("database-unreadable", why=str(error)[:200]) from error
    names = sorted(
        name for schema, name, kind, *_ in found
        if schema == "main" and kind == "table" and not name.startswith("sqlite_")
    )  # fmt: skip
    return tuple(Sheet(name, _TableRows(path, name)) for name in names)


def _opened(path: Path) -> closing[sqlite3.Connection]:
    """Open a file for reading only; nothing that it holds is run."""
    connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)
    connection.execute("pragma trusted_schema = off")
    connection.text_factory = lambda octets: octets.decode("utf-8", "replace")
    return closing(connection)


def _plain(value: object) -> object:
    return value.hex() if isinstance(value, bytes) else value
