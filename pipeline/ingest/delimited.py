"""Delimited text: the dialect from the head of a file, then its rows in one plain form."""

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from io import StringIO
from itertools import islice
from pathlib import Path

from pipeline.errors import QuietaisleError
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.words import TableRefused
from pipeline.tables.cells import unit_named

HEAD_LINES = 200
MOST_COLUMNS = 2_000
LINE_LIMIT = 1 << 20  # characters a line may have
PLAIN_QUOTE = '"'
PLAIN_COLUMNS = ("line_number", "row_fault", "beyond", "more")
"""What a plain line says before its cells: `beyond` is the row's form in words, `more` holds the
cells too many."""
_TITLES_MOST = 60  # lines above the headings
_WIDE = 0.8  # of the cells of the widest row that headings fill
_SPAN_MOST = 200  # lines that one quoted text may run over
_DELIMITERS = (",", ";", "\t", "|")
_DOUBLED, _ESCAPED = re.compile(r'""'), re.compile(r'\\"')
# As long as a line, so that a long cell is not taken for a broken quote.
csv.field_size_limit(LINE_LIMIT)


class TableUnreadable(QuietaisleError):
    """A file turns out to be damaged, at once or only while its rows are read."""

    def __init__(self, problem: str, **values: object) -> None:
        self.refused = TableRefused.of(problem, **values)
        super().__init__(self.refused.reason)


@dataclass(frozen=True, slots=True)
class TextDialect:
    """How rows are written: delimiter, quotation mark, and what precedes one inside a text.

    `spaced`: blanks may stand between a delimiter and the quotation mark after it.
    """

    delimiter: str
    quote: str
    escape: str
    spaced: bool = False

    def said(self) -> str:
        """Return the dialect in words, for the record of decisions."""
        names = {"\t": "tab", ",": "comma", ";": "semicolon", "|": "bar"}
        marks = "" if self.quote == '"' else f", quotes {self.quote}"
        marks += ", escape \\" if self.escape == "\\" else ""
        marks += ", blanks before quotes" if self.spaced else ""
        return f"delimiter {names[self.delimiter]}{marks}"


@dataclass(frozen=True, slots=True)
class DeliveredRow:
    """A row: its first line in the text, its cells, and the problem that its form is, if any."""

    line: int
    cells: list[str]
    fault: str | None = None

    @property
    def is_blank(self) -> bool:
        """Whether it counts for nothing: all its cells are blank, however many there are."""
        return self.fault != "line-too-long" and not any(cell.strip() for cell in self.cells)

    def form(self, width: int) -> str:
        """Return its number of cells and that of the headings, if its form is wrong."""
        if self.fault is None:
            return ""
        return f"{len(self.cells)}, {width}"

    def plain(self, width: int, delimiter: str) -> str:
        """Return it as a plain line: `PLAIN_COLUMNS`, then as many cells as there are headings."""
        more = " | ".join(self.cells[width:])
        cells = [*self.cells[:width], *[""] * (width - len(self.cells))]
        texts = (str(self.line), self.fault or "", self.form(width), more, *cells)
        return delimiter.join(map(_quoted, texts)) + "\n"


@dataclass(frozen=True, slots=True)
class Head:
    """The top of a file: its dialect, the rows above the headings, and the headings.

    The headings are in line 0 where no row is filled; `first_line` is the line after them.
    `even`: no row of it runs over lines, however its quotation marks are counted.
    """

    dialect: TextDialect
    titles: tuple[DeliveredRow, ...]
    headings: DeliveredRow
    first_line: int
    even: bool = True


def read_head(path: Path, vocabulary: Vocabulary) -> Head:
    """Decide on the dialect and the row of headings from the first lines of a UTF-8 file."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        lines = list(islice(_cut_lines(file.readline), HEAD_LINES))
    best: tuple[tuple[int, ...], Head] | None = None
    text = "".join(lines)
    for delimiter in [each for each in _DELIMITERS if each in text] or [","]:
        for dialect in _dialects(text, delimiter):
            fit, head = _fit(lines, dialect, vocabulary)
            if best is None or fit > best[0]:
                best = (fit, head)
    assert best is not None  # noqa: S101 - there are always dialects to try
    return best[1]


def _dialects(text: str, delimiter: str) -> Iterator[TextDialect]:
    """Yield the dialects with this delimiter that the text may have.

    Apostrophes count as quotation marks only where they enclose whole cells, and more cells than
    begin with a double quote: one stray mark and one apostrophe must not change how the rest of
    the file reads.
    """
    before, behind = rf"(?:^|{re.escape(delimiter)})", rf"(?={re.escape(delimiter)}|$)"
    text = re.sub(r"\r\n?", "\n", text)
    begun = re.compile(rf'{before}([^\S\n]*)"', re.MULTILINE).findall(text)
    single = re.compile(rf"{before}'(?:[^'\n]|'')*'{behind}", re.MULTILINE).findall(text)
    spaced = any(begun)
    yield TextDialect(delimiter, '"', '"', spaced)
    if len(single) > len(begun):
        yield TextDialect(delimiter, "'", "'")
    if '\\"' in text:
        yield TextDialect(delimiter, '"', "\\", spaced)


def _fit(
    lines: list[str], dialect: TextDialect, vocabulary: Vocabulary
) -> tuple[tuple[int, ...], Head]:
    """Return how well a dialect explains the lines, known headings first, and its head."""
    rows = list(_rows(iter(lines), dialect))
    filled = [row for row in rows if any(cell.strip() for cell in row.cells)]
    top, headings = headings_of(filled, vocabulary)
    place = next((n for n, row in enumerate(filled) if row.line == headings.line), 0)
    below = filled[place + 1 :]
    width = len(headings.cells)
    sound = sum(len(row.cells) == width and row.fault is None for row in below)
    marked = _DOUBLED if dialect.escape != "\\" else _ESCAPED
    quoted = sum(cell.strip()[:1] in ("'", '"') for row in filled[place:] for cell in row.cells)
    telling = sum(dialect.escape == "\\" and bool(marked.search(line)) for line in lines)
    fit = (
        vocabulary.score(headings.cells) if headings.cells else 0,
        sound if width > 1 else 0,
        -quoted,
        telling,
        width,
    )
    after = [row.line for row in rows if row.line > headings.line]
    first_line = min(after, default=len(lines) + 1)
    # The database takes a quotation mark after a blank for text.
    even = (
        not dialect.spaced
        and sum(row.line < first_line for row in rows) == first_line - 1
        and not any(line.count(dialect.quote) % 2 for line in lines[: first_line - 1])
    )
    return fit, Head(dialect, tuple(filled[:top]), headings, first_line, even)


def headings_of(rows: Sequence[DeliveredRow], vocabulary: Vocabulary) -> tuple[int, DeliveredRow]:
    """Return how many filled rows stand above the headings, and these; two rows of them as one."""
    if not rows:
        return 0, DeliveredRow(0, [])
    place = headings_at(rows, vocabulary)
    for top in (place - 1, place):
        pair = [row.cells for row in rows[top : top + 2]] if top >= 0 else []
        if len(pair) == 2 and _paired(pair[0], pair[1], vocabulary):  # noqa: PLR2004 - a pair
            cells = _joined(pair[0], pair[1], vocabulary)
            if vocabulary.score(cells) > vocabulary.score(rows[place].cells):
                return top, DeliveredRow(rows[top + 1].line, cells)
    return place, rows[place]


def _paired(upper: Sequence[str], lower: Sequence[str], vocabulary: Vocabulary) -> bool:
    """Say whether two rows may be headings together: the upper spans columns, or units follow."""
    said = [cell.strip() for cell in upper if cell.strip()]
    spans = len(upper) <= len(lower) and len(set(said)) < len(lower)
    if spans and vocabulary.score(lower) >= 2:  # noqa: PLR2004 - one may be a cell of data
        return True
    return all(unit_named(cell.strip().casefold()) for cell in lower if cell.strip())


def _joined(upper: Sequence[str], lower: Sequence[str], vocabulary: Vocabulary) -> list[str]:
    """Return headings over two rows as one: the lower, both, or the upper, as they are known.

    An empty cell of the upper row belongs to the one left of it, as where cells are merged.
    """
    cells: list[str] = []
    above = ""
    for place, below in enumerate(lower):
        above = (upper[place] if place < len(upper) else "").strip() or above
        forms = (below, f"{above} {below}".strip(), above)
        cells.append(next((each for each in forms if vocabulary.score([each])), forms[1]))
    return cells


def headings_at(rows: Sequence[DeliveredRow], vocabulary: Vocabulary) -> int:
    """Return the place of the headings among filled rows: the first row with most known ones.

    Where none holds two, it is the first that is about as wide as the widest: titles are narrow.
    """
    scores = [vocabulary.score(row.cells[:MOST_COLUMNS]) for row in rows[:_TITLES_MOST]]
    best = max(scores, default=0)
    if best >= 2:  # noqa: PLR2004 - one word alone is a title
        return scores.index(best)
    widths = [sum(bool(cell.strip()) for cell in row.cells) for row in rows[:_TITLES_MOST]]
    wide = (place for place, width in enumerate(widths) if width >= _WIDE * max(widths))
    return next(wide, 0)


class _Lines:
    """The lines of a text, with a look ahead; `at` is the line that comes next, from 1."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines
        self._ahead: list[str] = []
        self.at = 1

    def take(self) -> str:
        """Return the next line; an empty text where there is none."""
        self.at += 1
        return self._ahead.pop(0) if self._ahead else next(self._lines, "")

    def ahead(self, place: int) -> str:
        """Return the line `place` lines after the next; an empty text where there is none."""
        if place == len(self._ahead):
            self._ahead.append(next(self._lines, ""))
        return self._ahead[place]


def _cut_lines(readline: Callable[[int], str]) -> Iterator[str]:
    """Yield the lines of a text, cut where they exceed the limit."""
    while line := readline(LINE_LIMIT + 1):
        if len(line) > LINE_LIMIT and not line.endswith(("\n", "\r")):
            while (more := readline(LINE_LIMIT + 1)) and not more.endswith(("\n", "\r")):
                pass
        yield line


def _rows(lines: Iterator[str], dialect: TextDialect) -> Iterator[DeliveredRow]:
    """Yield the rows of a text from its first line, whatever their width."""
    text = _Lines(lines)
    while line := text.take():
        yield _row(line, text, dialect, None)


def _row(line: str, lines: _Lines, dialect: TextDialect, width: int | None) -> DeliveredRow:
    """Return the row that begins with a line just taken.

    A quoted text may span lines where that gives the row its `width` (none: any).
    """
    at = lines.at - 1
    bare = line.rstrip("\r\n")
    if len(line) > LINE_LIMIT:
        return DeliveredRow(at, [bare[:200]], "line-too-long")
    if not bare:
        return DeliveredRow(at, [])
    cells: list[str] | None = bare.split(dialect.delimiter)
    if dialect.quote in line:
        cells = _cells(line, dialect) or _spanned(line, lines, dialect, width)
    if cells is None:
        return DeliveredRow(at, bare.split(dialect.delimiter), "quote-unclosed")
    if width is None or len(cells) == width:
        return DeliveredRow(at, cells)
    return DeliveredRow(at, cells, "row-too-short" if len(cells) < width else "row-too-long")


def _spanned(line: str, lines: _Lines, dialect: TextDialect, width: int | None) -> list[str] | None:
    """Take the lines that make `line` a whole row; return its cells, none if it is broken."""
    text = line
    for place in range(_SPAN_MOST):
        more = lines.ahead(place)
        text += more
        if not more or len(text) > LINE_LIMIT:
            return None
        if dialect.quote in more and text.count(dialect.quote) % 2 == 0:
            cells = _cells(text, dialect)
            if cells is not None:
                if width is not None and len(cells) != width:
                    return None
                for _ in range(place + 1):
                    lines.take()
                return cells
    return None


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
                skipinitialspace=dialect.spaced,
                strict=True,
            )
        )
    except csv.Error:
        return None
    return found[0] if len(found) == 1 else None


def plain_lines(path: Path, head: Head) -> Iterator[str]:
    """Yield the rows below the headings of a UTF-8 text as plain lines; blank rows are left out.

    Lines that are plain already are not taken apart, so that millions of rows are fast although
    a few must be judged one by one.
    """
    dialect, width = head.dialect, len(head.headings.cells)
    delimiter, quote = dialect.delimiter, dialect.quote
    nothing_wrong = delimiter * len(PLAIN_COLUMNS)
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        lines = _Lines(_cut_lines(file.readline))
        while lines.at < head.first_line:
            lines.take()
        while line := lines.take():
            if (
                line.count(delimiter) == width - 1
                and quote not in line
                and PLAIN_QUOTE not in line
                and len(line) <= LINE_LIMIT
                and line[0] != delimiter
                and not line[0].isspace()
            ):
                bare = line.rstrip("\r\n")
                yield f"{lines.at - 1}{nothing_wrong}{bare}\n"
            elif not (row := _row(line, lines, dialect, width)).is_blank:
                yield row.plain(width, delimiter)


def _quoted(cell: str) -> str:
    doubled = cell.replace(PLAIN_QUOTE, PLAIN_QUOTE + PLAIN_QUOTE)
    return f"{PLAIN_QUOTE}{doubled}{PLAIN_QUOTE}" if cell else ""
