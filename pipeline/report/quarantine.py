"""The quarantine as a workbook: which rows could not be taken, why, and what to do about it.

The first sheet lists every file and problem. One lists the cells that could not be read, of rows
that stand without them: mend these in the system that exports, and export again. Two more list the
keys of stores and stations that exports write otherwise than the lists do: those matched to a
listed key, and those that are not.

Each further sheet holds the rows of files that have the same headings and were read the same way.
To mend rows, correct their cells in place (write dates and numbers as the lines above the headings
say), leave the last three columns alone, delete rows that are to stay in quarantine, save, and put
the workbook into the folder of exports. The next ingest knows the sheets by those three columns. It
takes the rows like any other export, and every row they name leaves quarantine; a row that is still
wrong returns under the name of this workbook.

A file refused as a whole has no rows here: mend the file or the rules file, and run again.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import ceil
from pathlib import Path
from typing import TypeVar

from openpyxl.styles import Alignment
from openpyxl.styles.cell_style import StyleArray

from pipeline.database import Database
from pipeline.phrases import style as style_of
from pipeline.phrases import told_of
from pipeline.records import Seal
from pipeline.report.files import put_file, remove_file
from pipeline.report.kit import style
from pipeline.report.kit.column import Look, SheetColumn, heading_height, row_height
from pipeline.report.kit.sheet import Book, Page, Record, font, put_list, under
from pipeline.tables.exports import LENGTHS
from pipeline.tables.taken import KeyMatch, KeyUnmatched, QuarantinedCell
from pipeline.wording import DEFAULT_LANGUAGE, Wording, common_wording
from pipeline.xlsx import workbook_bytes

NAME = "quarantine.xlsx"
_TAKEN = "Keys matched"
_LEFT = "Keys not matched"
_CELLS = "Cells"
_LISTED_MOST = 50_000  # the findings count them all
_REASON_W = 50
_NARROWEST, _WIDEST = 16, 40  # characters, of columns to mend
_BEFORE = ("reason", "what to do")
_AFTER = ("quarantined file", "quarantined line", "quarantined content")
_BEYOND = "beyond the headings"
_SHEETS_MOST = 200
_ROWS_MOST = 500_000
# How ingest says it read a file, and the line that makes it read a sheet the same way.
_TITLES = (
    ("days day before month", "Dates: dd/mm/yyyy"),
    ("days month before day", "Dates: mm/dd/yyyy"),
    ("decimal comma", "Decimals: comma"),
    ("decimal point", "Decimals: point"),
    ("PAN IDs in hex", "PAN IDs: hex"),
    ("PAN IDs in decimal", "PAN IDs: decimal"),
    ("channels in hex", "Channels: hex"),
    *((f"positions in {unit}", f"Positions: {unit}") for unit in LENGTHS),
    ("levels in dBm", "Unit: dBm"),
    ("levels in -dBm", "Unit: -dBm"),
    ("levels in raw", "Unit: raw"),
)


@dataclass(frozen=True, slots=True)
class QuarantineGroup:
    """Rows of a file with one problem; the first of them stands for all."""

    file: str
    line: int
    rows: int
    problem: str
    reason: str
    advice: str
    faults: str | None


@dataclass(frozen=True, slots=True)
class RowToMend:
    """A row in quarantine, with its original cells as JSON, and how its file was read."""

    file: str
    sha256: str
    line: int
    problem: str
    reason: str
    advice: str
    text: str
    faults: str | None
    kind: str
    exported_on: date | None
    decisions: str


OVERVIEW: tuple[SheetColumn[QuarantineGroup], ...] = (
    SheetColumn("file", Look.LONG, "quarantine.file", 40),
    SheetColumn("line", Look.COUNT, "quarantine.line", 12),
    SheetColumn("rows", Look.COUNT, "quarantine.rows", 8),
    SheetColumn("reason", Look.LONG, "quarantine.reason", 60),
    SheetColumn("advice", Look.LONG, "quarantine.advice", 60),
)
CELLS: tuple[SheetColumn[QuarantinedCell], ...] = (
    SheetColumn("file", Look.LONG, "quarantine.file", 36),
    SheetColumn("line", Look.COUNT, "quarantine.line", 12),
    SheetColumn("heading", Look.TEXT, "quarantine.column", 20),
    SheetColumn("text", Look.TEXT, "quarantine.text", 22),
    SheetColumn("cells", Look.COUNT, "quarantine.count", 8),
    SheetColumn("reason", Look.LONG, "quarantine.reason", 52),
    SheetColumn("advice", Look.LONG, "quarantine.advice", 52),
)
Told = TypeVar("Told", QuarantineGroup, QuarantinedCell, RowToMend)
# No heading of an export stands here, so that a workbook put among the exports tells nothing new.
MATCHED: tuple[SheetColumn[KeyMatch], ...] = (
    SheetColumn("kind", Look.TEXT, "quarantine.key", 12),
    SheetColumn("store", Look.TEXT, "quarantine.store", 24),
    SheetColumn("written", Look.TEXT, "quarantine.written", 32),
    SheetColumn("taken_for", Look.TEXT, "quarantine.taken", 32),
    SheetColumn("way", Look.LONG, "quarantine.way", 32),
    SheetColumn("source", Look.TEXT, "quarantine.source", 12),
    SheetColumn("rows", Look.COUNT, "quarantine.rows", 12),
)
UNMATCHED: tuple[SheetColumn[KeyUnmatched], ...] = (
    SheetColumn("kind", Look.TEXT, "quarantine.key", 12),
    SheetColumn("store", Look.TEXT, "quarantine.store", 24),
    SheetColumn("written", Look.TEXT, "quarantine.written", 32),
    SheetColumn("cause", Look.TEXT, "quarantine.cause", 12),
    SheetColumn("likely", Look.LONG, "quarantine.likely", 32),
    SheetColumn("source", Look.TEXT, "quarantine.source", 12),
    SheetColumn("rows", Look.COUNT, "quarantine.rows", 12),
)


@dataclass(frozen=True, slots=True)
class _MendRow:
    """A row to mend: where it came from, why, and its original cells by heading."""

    place: tuple[str, int, str]
    reason: str
    advice: str
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class _Keys:
    """The keys that exports write otherwise than the lists do: matched, and not."""

    taken: Sequence[KeyMatch]
    left: Sequence[KeyUnmatched]


@dataclass(frozen=True, slots=True)
class _Layout:
    """What the rows of one sheet share."""

    kind: str
    titles: tuple[str, ...]
    headings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Looks:
    """The looks of the cells of a sheet to mend."""

    heading: StyleArray
    text: StyleArray
    wrapped: StyleArray


def write_quarantine(database: Database, out: Path) -> Path | None:
    """Write `quarantine.xlsx` into the folder `out`; return its path.

    If nothing is in quarantine and every key is a listed one, remove an older one and return None.
    The same quarantine gives the same bytes.

    Raises:
        OutputNotWritable: the folder or file cannot be written.
    """
    path = out / NAME
    words = common_wording(database.column("report", "countries"))
    found = database.records(QuarantineGroup, "report", "quarantine_groups")
    groups = [_in_words(group, group.faults, words) for group in found]
    keys = _Keys(database.every(KeyMatch), database.every(KeyUnmatched))
    cells = database.records(QuarantinedCell, "report", "quarantined_cells")
    unread = [_in_words(cell, _fault_of(cell), words) for cell in cells]
    if not (groups or unread or keys.taken or keys.left):
        remove_file(path)
        return None
    seal = next(iter(database.records(Seal, "report", "exports_seal")), None)
    put_file(path, _workbook(words, (groups, unread), _sheets(database, words), keys, seal))
    return path


def _in_words(about: Told, faults: str | None, words: Wording) -> Told:
    """Return something with its reason and advice in a language, where its faults are known."""
    if words.language == DEFAULT_LANGUAGE or faults is None:
        return about
    spoken = style_of(words.language, words.country)
    says, does = (told_of(faults, spoken, part) for part in ("says", "do"))
    return replace(about, reason=says, advice=does)


def _fault_of(cell: QuarantinedCell) -> str:
    return json.dumps([{"problem": cell.problem, "heading": cell.heading, "cell": cell.text}])


def _sheets(database: Database, words: Wording) -> Mapping[_Layout, list[_MendRow]]:
    sheets: dict[_Layout, list[_MendRow]] = {}
    for found in database.records(RowToMend, "report", "quarantined_rows"):
        row = _in_words(found, found.faults, words)
        cells = json.loads(row.text)
        headings = tuple(heading for heading in cells if heading != _BEYOND)
        layout = _Layout(row.kind, _titles(row.exported_on, row.decisions), headings)
        place = (row.file, row.line, row.sha256)
        sheets.setdefault(layout, []).append(_MendRow(place, row.reason, row.advice, cells))
    return sheets


def _titles(exported_on: date | None, decisions: str) -> tuple[str, ...]:
    said = decisions.split("; ")
    dated = (f"Exported on: {exported_on.isoformat()}",) if exported_on else ()
    return dated + tuple(title for words, title in _TITLES if words in said)


def _workbook(
    words: Wording,
    listed: tuple[Sequence[QuarantineGroup], Sequence[QuarantinedCell]],
    sheets: Mapping[_Layout, Sequence[_MendRow]],
    keys: _Keys,
    seal: Seal | None,
) -> bytes:
    book, (groups, unread) = Book(words, style.A4, seal), listed
    title = words("quarantine.title")
    book.book.properties.title = title
    book.book.properties.description = book.sealed
    plain, line = font(), under(style.HAIRLINE)
    # Cells to mend are texts, so that no program turns them into numbers and dates.
    text = book.look(plain, Alignment("left", "top", indent=1), border=line, number_format="@")
    wrapped = book.look(
        plain, Alignment("left", "top", indent=1, wrap_text=True), border=line, number_format="@"
    )
    if groups:
        page = book.sheet("Overview", title)
        put_list(book, page, OVERVIEW, groups)
        if sheets:
            _put_advice(page, len(groups) + 2, book)
    _put_listed(book, _CELLS, CELLS, unread)
    _put_listed(book, _TAKEN, MATCHED, keys.taken)
    _put_listed(book, _LEFT, UNMATCHED, keys.left)
    for number, (layout, rows) in enumerate(list(sheets.items())[:_SHEETS_MOST], start=1):
        page = book.sheet(f"{number} {layout.kind}", title)
        _put_rows(page, layout, rows[:_ROWS_MOST], _Looks(book.heading, text, wrapped))
    return workbook_bytes(book.book)


def _put_advice(page: Page, row: int, book: Book) -> None:
    """Say below the overview how rows are mended."""
    text = book.words("quarantine.how")
    page.merge(row, len(OVERVIEW) - 1, text, book.note)
    page.height(row, row_height([(text, sum(column.widest for column in OVERVIEW))]))
    page.print_area(row, len(OVERVIEW) - 1)


def _put_listed(
    book: Book, name: str, columns: Sequence[SheetColumn[Record]], records: Sequence[Record]
) -> None:
    """Put a list on a sheet of its own; no sheet where the list is empty."""
    if records:
        put_list(
            book, book.sheet(name, book.words("quarantine.title")), columns, records[:_LISTED_MOST]
        )


def _put_rows(page: Page, layout: _Layout, rows: Sequence[_MendRow], looks: _Looks) -> None:
    beyond = (_BEYOND,) if any(_BEYOND in row.cells for row in rows) else ()
    own = (*layout.headings, *beyond)
    for line, title in enumerate(layout.titles):
        page.put(line, 0, title, looks.text)
    top = len(layout.titles)
    headings = (*_BEFORE, *own, *_AFTER)
    longest = max(len(row.place[0]) for row in rows)
    widths = [
        _REASON_W, _REASON_W, *(_width(heading, rows) for heading in own),
        min(max(_NARROWEST, longest + 3), _WIDEST), 20, 20,
    ]  # fmt: skip
    for column, (heading, width) in enumerate(zip(headings, widths, strict=True)):
        page.put(top, column, heading, looks.heading)
        page.width(column, column, width)
    page.height(top, heading_height(headings, widths))
    for line, row in enumerate(rows, start=top + 1):
        cells = [row.cells.get(heading, "") for heading in own]
        page.put(line, 0, row.reason, looks.wrapped)
        page.put(line, 1, row.advice, looks.wrapped)
        for column, cell in enumerate((*cells, *map(str, row.place)), start=len(_BEFORE)):
            page.put(line, column, cell or None, looks.text)
        page.height(line, row_height([(row.reason, _REASON_W), (row.advice, _REASON_W)]))
    page.freeze(top + 1, 0)
    page.fit(ceil(sum(widths) / style.PAGE_LETTERS), 0)


def _width(heading: str, rows: Sequence[_MendRow]) -> float:
    """Return the width in characters of a column to mend, its cells on one line where they can."""
    longest = max((len(row.cells.get(heading, "")) for row in rows), default=0)
    return min(max(_NARROWEST, longest + 3), _WIDEST)
