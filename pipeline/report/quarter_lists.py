"""Lists over as many pages as they take: columns of texts under headings that come again."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pipeline.report import style
from pipeline.report.fonts import Face
from pipeline.report.pen import HEADING_H, SMALL, Align, Box, Pen, Type, wrapped

Draw = Callable[[Pen, Box], None]
_HEADING = Type(style.TINY, Face.STRONG)
_HEAD_H, _LINE, _PAD = 22.0, SMALL.leading, 3.0
_MOST_LINES = 3
_LEAST_ROWS = 3  # of a list at the foot of a page
_GAP = 16.0
_INNER = 6.0


@dataclass(frozen=True, slots=True)
class ListColumn:
    """A column: heading, share of the width, and whether its texts stand to the right."""

    heading: str
    share: float
    right: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A list with its title, an aside and what is said where it is empty."""

    title: str
    note: str
    columns: tuple[ListColumn, ...]
    rows: Sequence[tuple[str, ...]]
    nothing: str


@dataclass(frozen=True, slots=True)
class _Part:
    """Some rows of a list on a page, and how far down."""

    table: Table
    start: int
    end: int
    y: float


def list_pages(tables: Sequence[Table], tail_h: float, tail: Draw, page: Box) -> list[Draw]:
    """Return the drawings of the pages that lists take one after the other, the tail at their end.

    A list begins on the page of the one before where some of its rows have room; `tail` is drawn
    whole, below the last list where its height fits.
    """
    pages: list[list[_Part]] = [[]]
    y = 0.0
    for table in tables:
        start = 0
        while True:
            count = _fitting(table, start, page.w, page.h - y - HEADING_H - _HEAD_H)
            if y and count < min(_LEAST_ROWS, len(table.rows) - start):
                pages.append([])
                y = 0.0
                continue
            count = max(count, min(1, len(table.rows) - start))
            pages[-1].append(_Part(table, start, start + count, y))
            rows = table.rows[start : start + count]
            y += HEADING_H + _HEAD_H + sum(_height(table, row, page.w) for row in rows) + _GAP
            start += count
            if start >= len(table.rows):
                break
    if y + tail_h <= page.h:
        return [*map(_drawing, pages[:-1]), _with_tail(pages[-1], tail, y)]
    return [*map(_drawing, pages), tail]


def _with_tail(parts: Sequence[_Part], tail: Draw, y: float) -> Draw:
    def draw(pen: Pen, page: Box) -> None:
        _drawing(parts)(pen, page)
        tail(pen, page.below(page.y + y))

    return draw


def rows_fitting(table: Table, box: Box) -> int:
    """Return how many rows of a list fit a box below its headings."""
    return _fitting(table, 0, box.w, box.h - HEADING_H - _HEAD_H)


def _fitting(table: Table, start: int, width: float, room: float) -> int:
    for number, row in enumerate(table.rows[start:]):
        room -= _height(table, row, width)
        if room < 0:
            return number
    return len(table.rows) - start


def draw_table(pen: Pen, box: Box, table: Table, start: int, end: int) -> float:
    """Draw rows `start` to before `end` of a list; return the y below."""
    y = pen.heading(box, table.title, table.note)
    if not table.rows:
        return pen.paragraph(box.below(y), table.nothing, SMALL, lines=3)
    cells = _cells(table, box)
    for column, cell in zip(table.columns, cells, strict=True):
        for line, part in enumerate(reversed(wrapped(column.heading, _HEADING, cell.w, 2))):
            _put(
                pen, (_edge(column, cell), y + 14 - 8.5 * line), part, _HEADING, right=column.right
            )
    pen.line((box.x, y + 18), (box.right, y + 18), style.INK, 0.7)
    y += _HEAD_H
    for row in table.rows[start:end]:
        y = _draw_row(pen, box, y, table, row)
    return y


def _draw_row(pen: Pen, box: Box, y: float, table: Table, row: tuple[str, ...]) -> float:
    for column, cell, text in zip(table.columns, _cells(table, box), row, strict=True):
        for line, part in enumerate(wrapped(text, SMALL, cell.w, _MOST_LINES)):
            _put(
                pen,
                (_edge(column, cell), y + SMALL.size + _LINE * line),
                part,
                SMALL,
                right=column.right,
            )
    bottom = y + _height(table, row, box.w)
    pen.line((box.x, bottom - 1), (box.right, bottom - 1), style.HAIRLINE, 0.3)
    return bottom


def _put(pen: Pen, at: tuple[float, float], text: str, kind: Type, *, right: bool) -> None:
    pen.text(at[0], at[1], text, kind, align=Align.RIGHT if right else Align.LEFT)


def _edge(column: ListColumn, cell: Box) -> float:
    """Return the edge of a cell that its texts stand at."""
    return cell.right if column.right else cell.x


def _cells(table: Table, box: Box) -> list[Box]:
    total, x, cells = sum(column.share for column in table.columns), box.x, []
    for column in table.columns:
        w = box.w * column.share / total
        cells.append(Box(x, box.y, w - _INNER, box.h))
        x += w
    return cells


def _height(table: Table, row: tuple[str, ...], width: float) -> float:
    cells = _cells(table, Box(0, 0, width, 0))
    lines = max(
        len(wrapped(text, SMALL, cell.w, _MOST_LINES))
        for text, cell in zip(row, cells, strict=True)
    )
    return max(1, lines) * _LINE + _PAD


def _drawing(parts: Sequence[_Part]) -> Draw:
    def draw(pen: Pen, page: Box) -> None:
        for part in parts:
            draw_table(pen, page.below(page.y + part.y), part.table, part.start, part.end)

    return draw
