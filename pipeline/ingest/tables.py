"""Open a found file and give its tables: one of a text, one per sheet or list of objects."""

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

from pipeline.ingest.delimited import (
    PLAIN_COLUMNS,
    DeliveredRow,
    Head,
    TableUnreadable,
    TextDialect,
    plain_lines,
    read_head,
)
from pipeline.ingest.discover import FoundExport
from pipeline.ingest.encoding import inspect, transcode
from pipeline.ingest.foreign import (
    DATABASES,
    DOCUMENT,
    Sheet,
    database_sheets,
    document_sheets,
    open_workbook,
    read_sheet_head,
    refuse_workbook,
    sheet_lines,
)
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.objects import FORMS, ObjectsUnreadable, read_objects
from pipeline.ingest.turned import by_station, laid_out, read_scans
from pipeline.ingest.words import LESSER, TableRefused, fold

_SAMPLE_ROWS = 50  # that show what a column holds
_HEADINGS_LEAST = 2  # known ones that make a table of a text
_ALIGNED_MOST = 4 << 20  # octets of a text that a person laid out
_BLANK, _BLANK_MOST = b"\xef\xbb\xbf\0 \t\r\n", 4096  # such octets alone are an empty file
_DELIMITER = re.compile(rb"[,;|\t]")
_COUNT_MOST = 64 << 20  # bytes up to which the rows of a refused text are counted one by one
_OF_KEYS = {"key of a", "in the store", "written", "named by"}  # of the quarantine workbook
_EMPTY = Head(TextDialect(",", '"', '"'), (), DeliveredRow(1, []), 1)


@dataclass(frozen=True, slots=True)
class DeliveredTable:
    """A delivered table, not yet read.

    `lines` yields its rows as plain lines, and `copy` is where these may be written. `whole` is a
    UTF-8 text that may be read at once: where that gives `rows_if_even` rows, a row's place tells
    its line. `said` is how it was opened, in words.
    """

    file: str
    sha256: str
    head: Head
    said: str
    lines: Callable[[], Iterator[str]]
    copy: Path
    whole: Path | None = None
    rows_if_even: int = -1
    counted: bool = True  # whether counting the rows of a refused table is worth the time
    suspect: bool = False
    odd_blanks: bool = True
    refused: TableRefused | None = None

    @property
    def cells(self) -> list[str]:
        """Its headings."""
        return self.head.headings.cells

    def count(self) -> int:
        """Return how many rows stand below the headings."""
        if not self.counted:
            return self.rows_if_even
        try:
            return sum(1 for _ in self.lines())
        except TableUnreadable:
            return 0

    def first_rows(self, most: int) -> list[list[str]]:
        """Return the cells of its first rows; none where the file is damaged."""
        try:
            lines = list(islice(self.lines(), most))
        except TableUnreadable:
            return []
        rows = csv.reader(lines, delimiter=self.head.dialect.delimiter)
        return [row[len(PLAIN_COLUMNS) :] for row in rows]

    def first_values(self) -> list[tuple[str, ...]]:
        """Return the first values of each column."""
        rows = self.first_rows(_SAMPLE_ROWS)
        width = range(len(self.cells))
        return [tuple(row[place] for row in rows if place < len(row)) for place in width]


@contextmanager
def open_tables(
    found: FoundExport, vocabulary: Vocabulary, room: Path
) -> Iterator[tuple[DeliveredTable, ...]]:
    """Open a file and give its tables; `room` is a folder for temporary files.

    A file that cannot be opened gives one table with `refused` set.
    """
    with _opened_tables(found, vocabulary, room) as tables:
        yield tuple(_by_station(table, vocabulary) for table in tables)


def _by_station(table: DeliveredTable, vocabulary: Vocabulary) -> DeliveredTable:
    """Return a table of which each station has a column with a row each, where a rule says so."""
    turned = by_station(table.head, table.first_values, table.lines, vocabulary)
    if turned is None:
        return table
    head, lines = turned
    said = f"{table.said}; a column a station"
    return replace(table, head=head, lines=lines, said=said, whole=None, counted=True)


@contextmanager
def _opened_tables(
    found: FoundExport, vocabulary: Vocabulary, room: Path
) -> Iterator[tuple[DeliveredTable, ...]]:
    if found.refused is not None:
        yield (_refused(found, room, found.refused),)
        return
    try:
        path = found.content(room)
    except TableUnreadable as error:
        yield (_refused(found, room, error.refused),)
        return
    if found.suffix in FORMS:
        yield _objects(found, path, vocabulary, room)
    elif found.suffix not in (".xlsx", DOCUMENT, *DATABASES):
        yield (_text(found, path, vocabulary, room),)
    elif found.suffix not in DATABASES and (why := refuse_workbook(path)):
        yield (_refused(found, room, why),)
    else:
        with ExitStack() as stack:
            try:
                sheets = stack.enter_context(_opened(path, found.suffix))
                tables = _sheets(found, sheets, vocabulary, room)
            except TableUnreadable as error:
                tables = (_refused(found, room, error.refused),)
            yield tables


def _opened(path: Path, suffix: str) -> AbstractContextManager[tuple[Sheet, ...]]:
    """Open a workbook, a spreadsheet or a database, and give its sheets."""
    if suffix == DOCUMENT:
        return nullcontext(document_sheets(path))
    return nullcontext(database_sheets(path)) if suffix in DATABASES else open_workbook(path)


def _refused(found: FoundExport, room: Path, why: TableRefused) -> DeliveredTable:
    return DeliveredTable(
        found.file, found.sha256, _EMPTY, "not read", lambda: iter(()), room, refused=why
    )


def _text(found: FoundExport, path: Path, vocabulary: Vocabulary, room: Path) -> DeliveredTable:
    facts = inspect(path)
    if not facts.size or (facts.size <= _BLANK_MOST and not path.read_bytes().strip(_BLANK)):
        return _refused(found, room, TableRefused.of("file-empty"))
    readable = path
    if not facts.is_utf8 or facts.encoding == "utf-8-sig":
        readable = room / "text.csv"
        transcode(path, facts.encoding, readable)
        if facts.encoding.startswith(("utf-16", "utf-32")):
            facts = replace(inspect(readable), encoding=facts.encoding)
    readable = _parted(readable, room)
    head = read_head(readable, vocabulary)
    if facts.size <= _ALIGNED_MOST:
        whole, readable = readable, laid_out(readable, head, vocabulary, room)
        head = head if whole == readable else read_head(readable, vocabulary)
    if vocabulary.score(head.headings.cells) < _HEADINGS_LEAST and (scans := read_scans(readable)):
        return DeliveredTable(
            found.file, found.sha256, scans.head, "lines of a scan", scans.lines,
            room / "plain.csv", suspect=True,
        )  # fmt: skip
    return DeliveredTable(
        file=found.file,
        sha256=found.sha256,
        head=head,
        said=f"encoding {facts.encoding}; {head.dialect.said()}; headings in line "
        f"{head.headings.line}",
        lines=lambda: plain_lines(readable, head),
        copy=room / "plain.csv",
        whole=readable if head.even and not facts.suspect and not facts.lone_returns else None,
        rows_if_even=max(0, facts.lines - head.first_line + 1),
        counted=facts.size <= _COUNT_MOST,
        suspect=facts.suspect,
        odd_blanks=facts.odd_blanks,
    )


def _parted(path: Path, room: Path) -> Path:
    """Return a text of which blanks align the cells with tabs between these; any other as it is."""
    if path.stat().st_size > _ALIGNED_MOST or _DELIMITER.search(path.read_bytes()):
        return path
    lines = path.read_text(encoding="utf-8-sig", errors="replace").splitlines()
    rows = [re.split(" {2,}", line.strip()) for line in lines]
    widths = {len(row) for row in rows if row != [""]}
    if len(widths) != 1 or widths == {1}:
        return path
    out = room / "parted.csv"
    out.write_text("".join("\t".join(row) + "\n" for row in rows), encoding="utf-8")
    return out


def _bared(head: Head, vocabulary: Vocabulary) -> Head:
    """Return headings of objects without the key around them, where only the inner one is known."""
    cells = list(head.headings.cells)
    for place, cell in enumerate(cells):
        around, _, inner = cell.partition(" ")
        if inner and fold(around) in LESSER["around"] and inner not in cells:
            known = vocabulary.score([inner]) and not vocabulary.score([cell])
            cells[place] = inner if known else cell
    return replace(head, headings=replace(head.headings, cells=cells))


def _objects(
    found: FoundExport, path: Path, vocabulary: Vocabulary, room: Path
) -> tuple[DeliveredTable, ...]:
    try:
        tables = read_objects(path, found.suffix)
    except ObjectsUnreadable as error:
        return (_refused(found, room, error.refused),)
    return tuple(
        DeliveredTable(
            file=found.file if table.name is None else f"{found.file}#{table.name}",
            sha256=found.sha256,
            head=_bared(table.head, vocabulary),
            said="objects; their keys are the headings",
            lines=table.lines,
            copy=room / "plain.csv",
            suspect=True,
        )
        for table in tables
    )


def _sheets(
    found: FoundExport, sheets: Sequence[Sheet], vocabulary: Vocabulary, room: Path
) -> tuple[DeliveredTable, ...]:
    heads = [(sheet, read_sheet_head(sheet, vocabulary)) for sheet in sheets]
    filled = [(sheet, head) for sheet, head in heads if head is not None]
    if not filled:
        return (_refused(found, room, TableRefused.of("workbook-empty")),)
    return tuple(
        _sheet(found, sheet, head, room)
        for sheet, head in filled
        if not _is_quarantine_overview(head.headings.cells) and not _lists_keys(head)
    )


def _is_quarantine_overview(cells: Sequence[str]) -> bool:
    """Whether a row of headings is that of the program's own overview of quarantine."""
    folded = {fold(cell) for cell in cells}
    return {"quarantined file", "quarantined line"} <= folded and (
        "quarantined content" not in folded
    )


def _lists_keys(head: Head) -> bool:
    """Say whether a sheet is the program's own list of keys that were matched, or were not.

    A row of it may look more like headings than its own do.
    """
    return any(set(row.cells) >= _OF_KEYS for row in (*head.titles, head.headings))


def _sheet(found: FoundExport, sheet: Sheet, head: Head, room: Path) -> DeliveredTable:
    return DeliveredTable(
        file=f"{found.file}#{sheet.title}",
        sha256=found.sha256,
        head=head,
        said=f"workbook; headings in row {head.headings.line}",
        lines=lambda: sheet_lines(sheet, head),
        copy=room / "plain.csv",
        suspect=True,
    )
