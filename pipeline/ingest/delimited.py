"""Delimited text: the dialect from the head of a file, its rows to the end of it."""

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

from pipeline.ingest.headings import Vocabulary

HEAD_LINES = 200
MOST_COLUMNS = 2_000
LINE_LIMIT = 1 << 20  # characters a line may have
_TITLES_MOST = 60  # lines above the headings
_SPAN_MOST = 200  # lines one quoted text may run over
_DELIMITERS = (",", ";", "\t", "|")
# As long as a line, so that a long cell is no broken quote.
csv.field_size_limit(LINE_LIMIT)


@dataclass(frozen=True, slots=True)
class Dialect:
    """How rows are written: delimiter, quotation mark, and what stands before one in a text."""

    delimiter: str
    quote: str
    escape: str

    def said(self) -> str:
        """Return the dialect in words, for the record of decisions."""
        names = {"\t": "tab", ",": "comma", ";": "semicolon", "|": "bar"}
        marks = "" if self.quote == '"' else f", quotes {self.quote}"
        marks += ", escape \\" if self.escape == "\\" else ""
        return f"delimiter {names[self.delimiter]}{marks}"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a text: its first physical line, its cells, and what is wrong with its form."""

    line: int
    cells: list[str]
    fault: str | None = None

    @property
    def is_blank(self) -> bool:
        """Whether it is no row: nothing is wrong with it, and no cell holds anything."""
        return self.fault is None and all(cell.isspace() for cell in self.cells if cell)

    def form(self, width: int) -> str:
        """Return what is wrong with its form in words, beside headings of this width."""
        if self.fault is None:
            return ""
        return f"{len(self.cells)} cells where the headings have {width}"


@dataclass(frozen=True, slots=True)
class Head:
    """The top of a file: dialect, rows above the headings, and the headings (line 0: none)."""

    dialect: Dialect
    titles: tuple[Row, ...]
    headings: Row
    first_line: int  # physical line after the headings


def read_head(path: Path, vocabulary: Vocabulary) -> Head:
    """Decide on dialect and row of headings from the first lines of a UTF-8 file."""
    with lines_of(path) as source:
        lines = [line for _, line in zip(range(HEAD_LINES), source, strict=False)]
    best: tuple[tuple[int, ...], Head] | None = None
    text = "".join(lines)
    for delimiter in [each for each in _DELIMITERS if each in text] or [","]:
        for quote, escape in _quotes(text):
            dialect = Dialect(delimiter, quote, escape)
            fit, head = _fit(lines, dialect, vocabulary)
            if best is None or fit > best[0]:
                best = (fit, head)
    assert best is not None  # noqa: S101 - there are always dialects to try
    return best[1]


def _quotes(text: str) -> Iterator[tuple[str, str]]:
    yield '"', '"'
    if "'" in text:
        yield "'", "'"
    if '\\"' in text:
        yield '"', "\\"


def _fit(
    lines: list[str], dialect: Dialect, vocabulary: Vocabulary
) -> tuple[tuple[int, ...], Head]:
    """Return how well a dialect explains the lines, best first by known headings, and the head."""
    rows = list(_rows(iter(lines), dialect, 1, None))
    filled = [row for row in rows if any(cell.strip() for cell in row.cells)]
    place = headings_at(filled, vocabulary)
    headings = filled[place] if filled else Row(0, [])
    below = filled[place + 1 :]
    width = len(headings.cells)
    even = sum(len(row.cells) == width and row.fault is None for row in below)
    marked = _DOUBLED if dialect.escape != "\\" else _ESCAPED
    quoted = sum(cell.strip()[:1] in ("'", '"') for row in filled[place:] for cell in row.cells)
    telling = sum(dialect.escape == "\\" and bool(marked.search(line)) for line in lines)
    fit = (
        vocabulary.score(headings.cells) if headings.cells else 0,
        even if width > 1 else 0,
        -quoted,
        telling,
        width,
    )
    after = [row.line for row in rows if row.line > headings.line]
    first_line = min(after, default=len(lines) + 1)
    return fit, Head(dialect, tuple(filled[:place]), headings, first_line)


_DOUBLED = re.compile(r'""')
_ESCAPED = re.compile(r'\\"')


def headings_at(rows: Sequence[Row], vocabulary: Vocabulary) -> int:
    """Return the place of the headings among filled rows: the first that knows most of them."""
    scores = [vocabulary.score(row.cells[:MOST_COLUMNS]) for row in rows[:_TITLES_MOST]]
    best = max(scores, default=0)
    return scores.index(best) if best >= 2 else 0  # noqa: PLR2004 - one word alone is a title


def read_rows(path: Path, head: Head) -> Iterator[Row]:
    """Yield the rows below the headings, each judged by their width; blank lines are no rows."""
    width = len(head.headings.cells)
    with lines_of(path) as lines:
        for row in _rows(below_headings(lines, head), head.dialect, head.first_line, width):
            if not row.is_blank:
                yield row


@contextmanager
def lines_of(path: Path) -> Iterator[Iterator[str]]:
    """Open a UTF-8 text and give its physical lines, none longer than one past the limit."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        yield _lines(file.readline)


def below_headings(lines: Iterator[str], head: Head) -> Iterator[str]:
    """Skip the lines up to the headings."""
    for _ in range(head.first_line - 1):
        next(lines, "")
    return lines


def _lines(readline: Callable[[int], str]) -> Iterator[str]:
    while line := readline(LINE_LIMIT + 1):
        if len(line) > LINE_LIMIT and not line.endswith(("\n", "\r")):
            while (more := readline(LINE_LIMIT + 1)) and not more.endswith(("\n", "\r")):
                pass
        yield line


def _rows(lines: Iterator[str], dialect: Dialect, first: int, width: int | None) -> Iterator[Row]:
    """Yield rows; a quoted text may span lines when the row then comes out whole."""
    ahead: list[str] = []
    at = first
    while line := ahead.pop(0) if ahead else next(lines, ""):
        row, taken = next_row(line, at, lines, ahead, dialect, width)
        yield row
        at += taken


def next_row(  # noqa: PLR0913, PLR0917 - the place in the text is told by three of them
    line: str,
    at: int,
    lines: Iterator[str],
    ahead: list[str],
    dialect: Dialect,
    width: int | None,
) -> tuple[Row, int]:
    """Return the row that begins with `line` and how many lines it takes.

    The lines it takes beyond the first come off `ahead`, which holds what was read of `lines`.
    """
    bare = line.rstrip("\r\n")
    if len(line) > LINE_LIMIT:
        return Row(at, [bare[:200]], "line-too-long"), 1
    if dialect.quote not in line:
        return _judged(at, bare.split(dialect.delimiter), width) if bare else Row(at, []), 1
    cells = _cells(line, dialect)
    if cells is not None:
        return _judged(at, cells, width), 1
    span, cells = _spanned(line, lines, ahead, dialect, width)
    if cells is None:
        return Row(at, bare.split(dialect.delimiter), "quote-unclosed"), 1
    del ahead[:span]
    return _judged(at, cells, width), 1 + span


def _judged(line: int, cells: list[str], width: int | None) -> Row:
    if width is None or len(cells) == width:
        return Row(line, cells)
    return Row(line, cells, "row-too-short" if len(cells) < width else "row-too-long")


def _spanned(
    line: str, lines: Iterator[str], ahead: list[str], dialect: Dialect, width: int | None
) -> tuple[int, list[str] | None]:
    """Return how many lines more make a whole row of `line`, and its cells, or none."""
    text = line
    for span in range(1, _SPAN_MOST + 1):
        if len(ahead) < span:
            more = next(lines, "")
            if not more:
                return 0, None
            ahead.append(more)
        text += ahead[span - 1]
        if len(text) > LINE_LIMIT:
            return 0, None
        if dialect.quote in ahead[span - 1] and text.count(dialect.quote) % 2 == 0:
            cells = _cells(text, dialect)
            if cells is not None:
                return (span, cells) if width is None or len(cells) == width else (0, None)
    return 0, None


def _cells(text: str, dialect: Dialect) -> list[str] | None:
    """Return the cells of one whole row, or none when its quotation marks do not come out."""
    try:
        found = list(
            csv.reader(
                StringIO(text, newline=""),
                delimiter=dialect.delimiter,
                quotechar=dialect.quote,
                doublequote=dialect.escape == dialect.quote,
                escapechar=None if dialect.escape == dialect.quote else dialect.escape,
                strict=True,
            )
        )
    except csv.Error:
        return None
    return found[0] if len(found) == 1 else None
