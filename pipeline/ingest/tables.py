"""From a found file to its tables: one for a text, one per filled sheet for a workbook."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from openpyxl.worksheet._read_only import ReadOnlyWorksheet

from pipeline.ingest.delimited import Dialect, Head, Row, read_head, read_rows
from pipeline.ingest.discover import Found
from pipeline.ingest.encoding import TextFacts, inspect, transcode
from pipeline.ingest.headings import Vocabulary, is_quarantine_overview
from pipeline.ingest.numbered import write_numbered
from pipeline.ingest.spreadsheet import (
    WorkbookUnreadable,
    open_workbook,
    read_sheet,
    read_sheet_head,
    refuse_workbook,
)

_COUNT_EXACTLY = 64 << 20  # bytes up to which the rows of a refused text are counted one by one
_EMPTY = Head(Dialect(",", '"', '"'), (), Row(1, []), 1)


@dataclass(frozen=True, slots=True)
class Table:
    """One delivered table, not yet read.

    `rows` reads it row by row. `whole` is a UTF-8 file that may be read at one go, and
    `rows_if_even` what that must give for line numbers to follow from the order of rows.
    `copied` writes a text's numbered copy and gives it with its number of rows, where it can.
    """

    file: str
    sha256: str
    head: Head
    said: str
    rows: Callable[[], Iterator[Row]]
    whole: Path | None = None
    copied: Callable[[], tuple[Path, int] | None] = lambda: None
    rows_if_even: int = -1
    count_exactly: bool = True
    suspect: bool = False
    odd_blanks: bool = True
    refused: str | None = None

    def count(self) -> int:
        """Return how many rows stand below the headings."""
        if not self.count_exactly:
            return self.rows_if_even
        try:
            return sum(1 for _ in self.rows())
        except WorkbookUnreadable:
            return 0


@contextmanager
def open_tables(found: Found, vocabulary: Vocabulary, room: Path) -> Iterator[tuple[Table, ...]]:
    """Open a file and give its tables; `room` is a folder for passing files.

    A file that cannot be opened comes as one table with `refused` set.
    """
    if found.refused is not None:
        yield (_refused(found, found.refused),)
        return
    path = found.content(room)
    if found.suffix != ".xlsx":
        yield (_text(found, path, vocabulary, room),)
    elif why := refuse_workbook(path):
        yield (_refused(found, why),)
    else:
        with ExitStack() as stack:
            try:
                sheets = stack.enter_context(open_workbook(path))
                tables = _sheets(found, sheets, vocabulary)
            except WorkbookUnreadable as error:
                tables = (_refused(found, str(error)),)
            yield tables


def _refused(found: Found, why: str) -> Table:
    return Table(found.file, found.sha256, _EMPTY, "not read", lambda: iter(()), refused=why)


def _text(found: Found, path: Path, vocabulary: Vocabulary, room: Path) -> Table:
    facts = inspect(path)
    if not facts.size:
        return _refused(found, "The file is empty.")
    readable = path
    if not facts.is_utf8 or facts.encoding == "utf-8-sig":
        readable = room / "text.csv"
        transcode(path, facts.encoding, readable)
        if facts.encoding.startswith(("utf-16", "utf-32")):
            facts = replace(inspect(readable), encoding=facts.encoding)
    head = read_head(readable, vocabulary)
    return Table(
        file=found.file,
        sha256=found.sha256,
        head=head,
        said=f"encoding {facts.encoding}; {head.dialect.said()}; headings in line "
        f"{head.headings.line}",
        rows=lambda: read_rows(readable, head),
        whole=readable if not facts.suspect and not facts.lone_returns else None,
        copied=lambda: _copied(readable, head, room),
        rows_if_even=_rows_if_even(facts, head),
        count_exactly=facts.size <= _COUNT_EXACTLY,
        suspect=facts.suspect,
        odd_blanks=facts.odd_blanks,
    )


def _copied(readable: Path, head: Head, room: Path) -> tuple[Path, int] | None:
    copy = room / "numbered.csv"
    rows = write_numbered(readable, head, copy)
    return None if rows is None else (copy, rows)


def _rows_if_even(facts: TextFacts, head: Head) -> int:
    return max(0, facts.line_feeds - facts.blank_end - head.first_line + 1)


def _sheets(
    found: Found, sheets: Sequence[ReadOnlyWorksheet], vocabulary: Vocabulary
) -> tuple[Table, ...]:
    heads = [(sheet, read_sheet_head(sheet, vocabulary)) for sheet in sheets]
    filled = [(sheet, head) for sheet, head in heads if head is not None]
    if not filled:
        return (_refused(found, "No sheet of the workbook holds any cell."),)
    return tuple(
        _sheet(found, sheet, head)
        for sheet, head in filled
        if not is_quarantine_overview(head.headings.cells)
    )


def _sheet(found: Found, sheet: ReadOnlyWorksheet, head: Head) -> Table:
    return Table(
        file=f"{found.file}#{sheet.title}",
        sha256=found.sha256,
        head=head,
        said=f"workbook; headings in row {head.headings.line}",
        rows=lambda: read_sheet(sheet, head),
        suspect=True,
    )
