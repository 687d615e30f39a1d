"""Open a found file and give its tables: one of a text, one per filled sheet of a workbook."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from openpyxl.worksheet._read_only import ReadOnlyWorksheet

from pipeline.ingest.delimited import (
    DeliveredRow,
    Head,
    TextDialect,
    read_head,
    read_rows,
    write_plain,
)
from pipeline.ingest.discover import FoundExport
from pipeline.ingest.encoding import inspect, transcode
from pipeline.ingest.headings import Vocabulary, is_quarantine_overview
from pipeline.ingest.spreadsheet import (
    WorkbookUnreadable,
    open_workbook,
    read_sheet,
    read_sheet_head,
    refuse_workbook,
)

_COUNT_MOST = 64 << 20  # bytes up to which the rows of a refused text are counted one by one
_EMPTY = Head(TextDialect(",", '"', '"'), (), DeliveredRow(1, []), 1)


@dataclass(frozen=True, slots=True)
class DeliveredTable:
    """A delivered table, not yet read.

    `rows` reads it row by row. `whole` is a UTF-8 text that may be read at once: where that gives
    `rows_if_even` rows, a row's place tells its line. `copied` writes a text's plain copy and
    gives its path and number of rows, where it can. `said` is how it was opened, in words.
    """

    file: str
    sha256: str
    head: Head
    said: str
    rows: Callable[[], Iterator[DeliveredRow]]
    whole: Path | None = None
    copied: Callable[[], tuple[Path, int] | None] = lambda: None
    rows_if_even: int = -1
    counted: bool = True  # whether counting the rows of a refused table is worth the time
    suspect: bool = False
    odd_blanks: bool = True
    refused: str | None = None

    def count(self) -> int:
        """Return how many rows stand below the headings."""
        if not self.counted:
            return self.rows_if_even
        try:
            return sum(1 for _ in self.rows())
        except WorkbookUnreadable:
            return 0


@contextmanager
def open_tables(
    found: FoundExport, vocabulary: Vocabulary, room: Path
) -> Iterator[tuple[DeliveredTable, ...]]:
    """Open a file and give its tables; `room` is a folder for temporary files.

    A file that cannot be opened gives one table with `refused` set.
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


def _refused(found: FoundExport, why: str) -> DeliveredTable:
    return DeliveredTable(
        found.file, found.sha256, _EMPTY, "not read", lambda: iter(()), refused=why
    )


def _text(found: FoundExport, path: Path, vocabulary: Vocabulary, room: Path) -> DeliveredTable:
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
    return DeliveredTable(
        file=found.file,
        sha256=found.sha256,
        head=head,
        said=f"encoding {facts.encoding}; {head.dialect.said()}; headings in line "
        f"{head.headings.line}",
        rows=lambda: read_rows(readable, head),
        whole=readable if not facts.suspect and not facts.lone_returns else None,
        copied=lambda: _copied(readable, head, room),
        rows_if_even=max(0, facts.line_feeds - facts.blank_end - head.first_line + 1),
        counted=facts.size <= _COUNT_MOST,
        suspect=facts.suspect,
        odd_blanks=facts.odd_blanks,
    )


def _copied(readable: Path, head: Head, room: Path) -> tuple[Path, int] | None:
    copy = room / "plain.csv"
    rows = write_plain(readable, head, copy)
    return None if rows is None else (copy, rows)


def _sheets(
    found: FoundExport, sheets: Sequence[ReadOnlyWorksheet], vocabulary: Vocabulary
) -> tuple[DeliveredTable, ...]:
    heads = [(sheet, read_sheet_head(sheet, vocabulary)) for sheet in sheets]
    filled = [(sheet, head) for sheet, head in heads if head is not None]
    if not filled:
        return (_refused(found, "No sheet of the workbook holds any cell."),)
    return tuple(
        _sheet(found, sheet, head)
        for sheet, head in filled
        if not is_quarantine_overview(head.headings.cells)
    )


def _sheet(found: FoundExport, sheet: ReadOnlyWorksheet, head: Head) -> DeliveredTable:
    return DeliveredTable(
        file=f"{found.file}#{sheet.title}",
        sha256=found.sha256,
        head=head,
        said=f"workbook; headings in row {head.headings.line}",
        rows=lambda: read_sheet(sheet, head),
        suspect=True,
    )
