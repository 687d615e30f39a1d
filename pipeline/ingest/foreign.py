"""Read the sheets of OpenDocument spreadsheets and the tables of SQLite files as rows of texts.

Sources: ISO/IEC 26300-1 (OpenDocument 1.2, section 9, tables); the SQLite documentation, "SQLite
Keywords", on quoted names. Both are read with the standard library: what repeats cells has to be
counted before it is made, or a small file fills the memory.
"""

import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import chain, repeat
from pathlib import Path
from xml.etree import ElementTree as ET

from pipeline.ingest.delimited import MOST_COLUMNS, DeliveredRow, TableUnreadable
from pipeline.ingest.spreadsheet import Sheet, cell_text

DOCUMENT = ".ods"
DATABASES = (".sqlite", ".sqlite3", ".db")
_SPACES = "{urn:oasis:names:tc:opendocument:xmlns:%s:1.0}"
_TABLE, _OFFICE, _TEXT = (_SPACES % name for name in ("table", "office", "text"))
_CELLS = (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell")
# Where a cell keeps its value, by its type; a text stands in its paragraphs.
_VALUES = {"float": "value", "percentage": "value", "currency": "value", "date": "date-value"}
_CELLS_MOST = 20_000_000  # filled ones, repeated ones counted as often
_BLANKS = {f"{_TEXT}tab": "\t", f"{_TEXT}line-break": "\n"}


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
