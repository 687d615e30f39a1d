"""From a found file to its tables: one for a text, one per filled sheet for a workbook."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.ingest.delimited import Dialect, Head, Row, read_head, read_rows
from pipeline.ingest.discover import Found
from pipeline.ingest.encoding import TextFacts, inspect, transcode
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.spreadsheet import (
    WorkbookUnreadable,
    read_sheet,
    read_sheet_head,
    refuse_workbook,
    sheet_names,
)

_COUNT_EXACTLY = 64 << 20  # bytes up to which the rows of a refused text are counted one by one
_EMPTY = Head(Dialect(",", '"', '"'), (), Row(1, []), 1)


@dataclass(frozen=True, slots=True)
class Table:
    """One delivered table, not yet read.

    `rows` reads it row by row. `whole` is a UTF-8 file that may be read at one go, and
    `rows_if_even` what that must give for line numbers to follow from the order of rows.
    """

    file: str
    sha256: str
    head: Head
    said: str
    rows: Callable[[], Iterator[Row]]
    whole: Path | None = None
    rows_if_even: int = -1
    count_exactly: bool = True
    suspect: bool = False
    refused: str | None = None

    def count(self) -> int:
        """Return how many rows stand below the headings."""
        if not self.count_exactly:
            return self.rows_if_even
        try:
            return sum(1 for _ in self.rows())
        except WorkbookUnreadable:
            return 0


def open_tables(found: Found, vocabulary: Vocabulary, room: Path) -> tuple[Table, ...]:
    """Return the tables of a file; `room` is a folder for passing files.

    A file that cannot be opened comes back as one table with `refused` set.
    """
    if found.refused is not None:
        return (_refused(found, found.refused),)
    path = found.content(room)
    try:
        if found.suffix == ".xlsx":
            return _workbook(found, path, vocabulary)
        return (_text(found, path, vocabulary, room),)
    except WorkbookUnreadable as error:
        return (_refused(found, str(error)),)


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
            facts = _again(facts, readable)
    head = read_head(readable, vocabulary)
    return Table(
        file=found.file,
        sha256=found.sha256,
        head=head,
        said=f"encoding {facts.encoding}; {head.dialect.said()}; headings in line "
        f"{head.headings.line}",
        rows=lambda: read_rows(readable, head),
        whole=readable if not facts.suspect and not facts.lone_returns else None,
        rows_if_even=_rows_if_even(facts, head),
        count_exactly=facts.size <= _COUNT_EXACTLY,
        suspect=facts.suspect,
    )


def _again(facts: TextFacts, readable: Path) -> TextFacts:
    """Return the facts of the transcoded text under the encoding of the original."""
    text = inspect(readable)
    return TextFacts(
        facts.encoding, text.size, text.line_feeds, text.lone_returns, text.quotes, text.suspect,
        text.blank_end,
    )  # fmt: skip


def _rows_if_even(facts: TextFacts, head: Head) -> int:
    return max(0, facts.line_feeds - facts.blank_end - head.first_line + 1)


def _workbook(found: Found, path: Path, vocabulary: Vocabulary) -> tuple[Table, ...]:
    if why := refuse_workbook(path):
        return (_refused(found, why),)
    names = sheet_names(path)
    if not names:
        return (_refused(found, "No sheet of the workbook holds any cell."),)
    return tuple(_sheet(found, path, name, vocabulary) for name in names)


def _sheet(found: Found, path: Path, name: str, vocabulary: Vocabulary) -> Table:
    head = read_sheet_head(path, name, vocabulary)
    return Table(
        file=f"{found.file}#{name}",
        sha256=found.sha256,
        head=head,
        said=f"workbook; headings in row {head.headings.line}",
        rows=lambda: read_sheet(path, name, head),
        suspect=True,
    )
