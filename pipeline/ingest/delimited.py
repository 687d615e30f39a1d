"""Delimited text: the dialect from the head of a file, then its rows or a plain copy of them."""

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
QUOTE = '"'  # of the plain copy
OWN_COLUMNS = ("line_number", "row_fault", "beyond", "more")
"""Columns before the cells. `beyond`: the row's form in words; `more`: the cells too many."""
_TITLES_MOST = 60  # lines above the headings
_SPAN_MOST = 200  # lines that one quoted text may run over
_DELIMITERS = (",", ";", "\t", "|")
_DOUBLED, _ESCAPED = re.compile(r'""'), re.compile(r'\\"')
_BUFFER = 1 << 20
_PLAIN_MOST = LINE_LIMIT // 8  # characters that surely fit a line: four bytes each, quotes doubled
# As long as a line, so that a long cell is not taken for a broken quote.
csv.field_size_limit(LINE_LIMIT)


@dataclass(frozen=True, slots=True)
class TextDialect:
    """How rows are written: delimiter, quotation mark, and what precedes one inside a text."""

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
class DeliveredRow:
    """A row: its first line in the text, its cells, and the problem that its form is, if any."""

    line: int
    cells: list[str]
    fault: str | None = None

    @property
    def is_blank(self) -> bool:
        """Whether it counts for nothing: its form is sound, and all its cells are blank."""
        return self.fault is None and all(cell.isspace() for cell in self.cells if cell)

    def form(self, width: int) -> str:
        """Return in words what is wrong with its form, under headings of this width."""
        if self.fault is None:
            return ""
        return f"{len(self.cells)} cells where the headings have {width}"

    def own(self, width: int) -> tuple[str, ...]:
        """Return its `OWN_COLUMNS` as texts."""
        more = " | ".join(self.cells[width:])
        return str(self.line), self.fault or "", self.form(width), more

    def padded(self, width: int) -> list[str]:
        """Return as many cells as there are headings, empty ones in place of missing ones."""
        return [*self.cells[:width], *[""] * (width - len(self.cells))]


@dataclass(frozen=True, slots=True)
class Head:
    """The top of a file: its dialect, the rows above the headings, and the headings.

    The headings are in line 0 where no row is filled; `first_line` is the line after them.
    """

    dialect: TextDialect
    titles: tuple[DeliveredRow, ...]
    headings: DeliveredRow
    first_line: int


def read_head(path: Path, vocabulary: Vocabulary) -> Head:
    """Decide on the dialect and the row of headings from the first lines of a UTF-8 file."""
    with _lines_of(path) as source:
        lines = [line for _, line in zip(range(HEAD_LINES), source, strict=False)]
    best: tuple[tuple[int, ...], Head] | None = None
    text = "".join(lines)
    for delimiter in [each for each in _DELIMITERS if each in text] or [","]:
        for quote, escape in _quotes(text):
            dialect = TextDialect(delimiter, quote, escape)
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
    lines: list[str], dialect: TextDialect, vocabulary: Vocabulary
) -> tuple[tuple[int, ...], Head]:
    """Return how well a dialect explains the lines, known headings first, and its head."""
    rows = list(_rows(iter(lines), dialect, 1, None))
    filled = [row for row in rows if any(cell.strip() for cell in row.cells)]
    place = headings_at(filled, vocabulary)
    headings = filled[place] if filled else DeliveredRow(0, [])
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


def headings_at(rows: Sequence[DeliveredRow], vocabulary: Vocabulary) -> int:
    """Return the place of the headings among filled rows: the first row with most known ones."""
    scores = [vocabulary.score(row.cells[:MOST_COLUMNS]) for row in rows[:_TITLES_MOST]]
    best = max(scores, default=0)
    return scores.index(best) if best >= 2 else 0  # noqa: PLR2004 - one word alone is a title


def read_rows(path: Path, head: Head) -> Iterator[DeliveredRow]:
    """Yield the rows below the headings, each judged by its width; blank rows are left out."""
    width = len(head.headings.cells)
    with _lines_of(path) as lines:
        for row in _rows(_below_headings(lines, head), head.dialect, head.first_line, width):
            if not row.is_blank:
                yield row


@contextmanager
def _lines_of(path: Path) -> Iterator[Iterator[str]]:
    """Open a UTF-8 text and give its lines, cut where they exceed the limit."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        yield _lines(file.readline)


def _below_headings(lines: Iterator[str], head: Head) -> Iterator[str]:
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


def _rows(
    lines: Iterator[str], dialect: TextDialect, first: int, width: int | None
) -> Iterator[DeliveredRow]:
    """Yield rows; a quoted text may span lines where that gives the row the right width."""
    ahead: list[str] = []
    at = first
    while line := ahead.pop(0) if ahead else next(lines, ""):
        row, taken = _next_row(line, at, lines, ahead, dialect, width)
        yield row
        at += taken


def _next_row(  # noqa: PLR0913, PLR0917 - three of them say where in the text it is
    line: str,
    at: int,
    lines: Iterator[str],
    ahead: list[str],
    dialect: TextDialect,
    width: int | None,
) -> tuple[DeliveredRow, int]:
    """Return the row that begins with `line`, and how many lines it takes.

    Lines beyond the first come off `ahead`, which holds what was read from `lines` already.
    """
    bare = line.rstrip("\r\n")
    if len(line) > LINE_LIMIT:
        return DeliveredRow(at, [bare[:200]], "line-too-long"), 1
    if dialect.quote not in line:
        return _judged(at, bare.split(dialect.delimiter), width) if bare else DeliveredRow(
            at, []
        ), 1
    cells = _cells(line, dialect)
    if cells is not None:
        return _judged(at, cells, width), 1
    span, cells = _spanned(line, lines, ahead, dialect, width)
    if cells is None:
        return DeliveredRow(at, bare.split(dialect.delimiter), "quote-unclosed"), 1
    del ahead[:span]
    return _judged(at, cells, width), 1 + span


def _judged(line: int, cells: list[str], width: int | None) -> DeliveredRow:
    if width is None or len(cells) == width:
        return DeliveredRow(line, cells)
    return DeliveredRow(line, cells, "row-too-short" if len(cells) < width else "row-too-long")


def _spanned(
    line: str, lines: Iterator[str], ahead: list[str], dialect: TextDialect, width: int | None
) -> tuple[int, list[str] | None]:
    """Return how many more lines make `line` a whole row, and its cells; none if it is broken."""
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


def _cells(text: str, dialect: TextDialect) -> list[str] | None:
    """Return the cells of one whole row; none where its quotation marks do not match."""
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


def write_plain(path: Path, head: Head, out: Path) -> int | None:
    """Write the rows below the headings in one plain form; return how many there are.

    Each row is one line: `OWN_COLUMNS`, then its cells. So the database reads millions of rows
    at once although a few must be judged one by one. None: a row is longer than the database
    reads, so the text must be read row by row.
    """
    rows = 0
    with (
        _lines_of(path) as source,
        out.open("w", encoding="utf-8", newline="", buffering=_BUFFER) as target,
    ):
        for line in _plain_lines(_below_headings(source, head), head):
            if len(line) > _PLAIN_MOST and len(line.encode()) > LINE_LIMIT:
                return None
            target.write(line)
            rows += 1
    return rows


def _plain_lines(lines: Iterator[str], head: Head) -> Iterator[str]:
    """Yield each row as a line of the copy; lines that are plain already are not taken apart."""
    dialect, width = head.dialect, len(head.headings.cells)
    delimiter, quote, marks = dialect.delimiter, dialect.quote, width - 1
    nothing_wrong = delimiter * len(OWN_COLUMNS)
    ahead: list[str] = []
    at = head.first_line
    while line := ahead.pop(0) if ahead else next(lines, ""):
        if (
            line.count(delimiter) == marks
            and quote not in line
            and QUOTE not in line
            and len(line) <= LINE_LIMIT
            and line[0] != delimiter
            and not line[0].isspace()
        ):
            bare = line.rstrip("\r\n")
            yield f"{at}{nothing_wrong}{bare}\n"
            at += 1
        else:
            row, taken = _next_row(line, at, lines, ahead, dialect, width)
            if not row.is_blank:
                yield delimiter.join(map(_quoted, (*row.own(width), *row.padded(width)))) + "\n"
            at += taken


def _quoted(cell: str) -> str:
    return QUOTE + cell.replace(QUOTE, QUOTE + QUOTE) + QUOTE if cell else ""
