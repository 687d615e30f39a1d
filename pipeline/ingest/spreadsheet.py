"""Read the sheets of workbooks as rows of texts; refuse unsafe workbooks before they are opened."""

import re
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from functools import partial
from itertools import islice
from pathlib import Path

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
