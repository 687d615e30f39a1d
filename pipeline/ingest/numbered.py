"""A copy of a text in one plain form, for texts in which some rows are of another form.

Every row comes out as a line: its physical line in the text, what is wrong with its form, and its
cells. So the database reads millions of rows at one go though a few have to be judged one by one.
"""

from collections.abc import Iterator
from pathlib import Path

from pipeline.ingest.delimited import LINE_LIMIT, Head, Row, below_headings, lines_of, next_row

# The columns that stand before the cells. `beyond`: the form in words; `more`: cells too many.
OWN = ("line_number", "row_fault", "beyond", "more")
QUOTE = '"'
_BUFFER = 1 << 20
_LETTERS_MOST = LINE_LIMIT // 8  # of a row that surely fits a line: four bytes each, quotes twice


def write_numbered(path: Path, head: Head, out: Path) -> int | None:
    """Write the rows below the headings of a UTF-8 text; return how many there are.

    None: a row is longer than the database reads; the text must be read row by row.
    """
    rows = 0
    with (
        lines_of(path) as source,
        out.open("w", encoding="utf-8", newline="", buffering=_BUFFER) as target,
    ):
        for line in _written(below_headings(source, head), head):
            if len(line) > _LETTERS_MOST and len(line.encode()) > LINE_LIMIT:
                return None
            target.write(line)
            rows += 1
    return rows


def _written(lines: Iterator[str], head: Head) -> Iterator[str]:
    """Yield each row as a line of the copy: plain lines as they are, others taken apart first."""
    dialect, width = head.dialect, len(head.headings.cells)
    delimiter, quote, marks = dialect.delimiter, dialect.quote, width - 1
    none_wrong = delimiter * len(OWN)
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
            yield f"{at}{none_wrong}{bare}\n"
            at += 1
        else:
            row, taken = next_row(line, at, lines, ahead, dialect, width)
            if not row.is_blank:
                yield _line(row, width, delimiter)
            at += taken


def _line(row: Row, width: int, delimiter: str) -> str:
    own = (str(row.line), row.fault or "", row.form(width), " | ".join(row.cells[width:]))
    cells = [*row.cells[:width], *[""] * (width - len(row.cells))]
    return delimiter.join(map(_quoted, (*own, *cells))) + "\n"


def _quoted(cell: str) -> str:
    return QUOTE + cell.replace(QUOTE, QUOTE + QUOTE) + QUOTE if cell else ""
