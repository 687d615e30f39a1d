"""Printed lists: tables of text that run over several pages."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Generic, TypeVar

from pipeline.report.kit import style
from pipeline.report.kit.booklet import Block, Draw
from pipeline.report.kit.pen import (
    HEADING_H,
    SMALL,
    TINY_STRONG,
    Align,
    Box,
    Pen,
    text_height,
    wrapped,
)
from pipeline.report.kit.tags import Role
from pipeline.wording import Wording

Record = TypeVar("Record")
Piece = tuple[float, Draw]  # of a page: its height in points, and what draws it
_HEADINGS_H, _LINE, _PAD, _INNER = 22.0, SMALL.leading, 3.0, 6.0
_MOST_LINES = 3  # of a cell
_LEAST_ROWS = 3  # of a list at the foot of a page
_LIST_GAP = 16.0


@dataclass(frozen=True, slots=True)
class PrintedColumn(Generic[Record]):
    """One column of a printed list: its text for a record, its heading's key, its width.

    `share` is its part of the list's width; `right` aligns it to the right.
    """

    text: Callable[[Record, Wording], str]
    heading: str
    share: float
    right: bool = False


@dataclass(frozen=True, slots=True)
class PrintedList:
    """A list laid out as texts, with a title, a note, and what to say if it is empty."""

    title: str
    note: str
    headings: tuple[str, ...]
    shares: tuple[float, ...]
    rights: tuple[bool, ...]
    rows: tuple[tuple[str, ...], ...]
    nothing: str

    def cells(self, box: Box) -> list[Box]:
        """Return where the columns are in a box."""
        total, x, cells = sum(self.shares), box.x, []
        for share in self.shares:
            w = box.w * share / total
            cells.append(Box(x, box.y, w - _INNER, box.h))
            x += w
        return cells

    def height(self, number: int, width: float) -> float:
        """Return the height of a row in points."""
        lines = max(
            len(wrapped(text, SMALL, cell.w, _MOST_LINES))
            for text, cell in zip(self.rows[number], self.cells(Box(0, 0, width, 0)), strict=True)
        )
        return max(1, lines) * _LINE + _PAD

    def fitting(self, start: int, width: float, room: float) -> int:
        """Return how many rows from `start` on fit a height, headings apart."""
        for number in range(start, len(self.rows)):
            room -= self.height(number, width)
            if room < 0:
                return number - start
        return len(self.rows) - start


def printed_list(  # noqa: PLR0913 - what it lists, and the three texts around it
    words: Wording,
    columns: Sequence[PrintedColumn[Record]],
    records: Sequence[Record],
    *,
    title: str,
    note: str,
    nothing: str,
) -> PrintedList:
    """Return a list of records as texts."""
    return PrintedList(
        title,
        note,
        tuple(words(column.heading) for column in columns),
        tuple(column.share for column in columns),
        tuple(column.right for column in columns),
        tuple(tuple(column.text(record, words) for column in columns) for record in records),
        nothing,
    )


def rows_fitting(printed: PrintedList, box: Box) -> int:
    """Return how many rows of a list fit a box below its headings."""
    return printed.fitting(0, box.w, box.h - HEADING_H - _HEADINGS_H)


def list_height(printed: PrintedList, width: float) -> float:
    """Return the height of a whole list in points."""
    if not printed.rows:
        return HEADING_H + text_height(printed.nothing, SMALL, width, 3)
    rows = (printed.height(number, width) for number in range(len(printed.rows)))
    return HEADING_H + _HEADINGS_H + sum(rows)


def block_of(name: str, printed: PrintedList, width: float) -> Block:
    """Return a list as a block of pages, a row an item; without rows it has no heights."""
    heights = tuple(printed.height(number, width) for number in range(len(printed.rows)))
    lead = list_height(printed, width) - HEADING_H - sum(heights)

    def draw(pen: Pen, box: Box, items: Sequence[int]) -> None:
        with pen.part(Role.TABLE):
            draw_rows(pen, box, printed, items[0], items[-1] + 1)

    return Block(name, printed.title, 1, lead, heights, draw, printed.note)


def draw_list(pen: Pen, box: Box, printed: PrintedList, start: int, end: int) -> float:
    """Draw rows `start` to before `end` of a list; return the y below."""
    y = pen.heading(box, printed.title, printed.note)
    if not printed.rows:
        return pen.paragraph(box.below(y), printed.nothing, SMALL, lines=3)
    with pen.part(Role.TABLE):
        return draw_rows(pen, box.below(y), printed, start, end)


def draw_rows(pen: Pen, box: Box, printed: PrintedList, start: int, end: int) -> float:
    """Draw rows of a list below the headings of its columns; return the y below."""
    columns = [
        (cell.right, Align.RIGHT, cell.w) if right else (cell.x, Align.LEFT, cell.w)
        for cell, right in zip(printed.cells(box), printed.rights, strict=True)
    ]
    with pen.part(Role.ROW):
        for (x, align, width), heading in zip(columns, printed.headings, strict=True):
            draw_heading(pen, (x, box.y), heading, width, align)
    pen.line((box.x, box.y + 18), (box.right, box.y + 18), style.INK, 0.7)
    y = box.y + _HEADINGS_H
    for number in range(start, end):
        with pen.part(Role.ROW):
            for (x, align, width), text in zip(columns, printed.rows[number], strict=True):
                with pen.part(Role.CELL):
                    for line, part in enumerate(wrapped(text, SMALL, width, _MOST_LINES)):
                        pen.text(x, y + SMALL.size + _LINE * line, part, SMALL, align=align)
        y += printed.height(number, box.w)
        pen.line((box.x, y - 1), (box.right, y - 1), style.HAIRLINE, 0.3)
    return y


def draw_heading(
    pen: Pen, at: tuple[float, float], heading: str, width: float, align: Align = Align.LEFT
) -> None:
    """Draw the heading of a column in up to two lines, the last 14 points below `at`."""
    lines = wrapped(heading, TINY_STRONG, width, 2)
    with pen.part(Role.HEAD):
        for line, text in enumerate(lines):
            base = at[1] + 14 - 8.5 * (len(lines) - 1 - line)
            pen.text(at[0], base, text, TINY_STRONG, align=align)


def list_pages(
    lists: Sequence[PrintedList], tails: Sequence[Piece], page: Box, head: Draw, head_h: float
) -> list[tuple[Collection[str], Draw]]:
    """Return the titles of the lists on each page they take one after another, and its drawing.

    A head comes before, tails behind. The head takes `head_h` points of the first page. A list
    begins on the page of the one before if some of its rows fit there. Each tail is drawn whole:
    below what is before it if its height fits, else on a page of its own.
    """
    pages: list[list[Draw]] = [[head]]
    titles: list[list[str]] = [[]]
    y = head_h
    for printed in lists:
        start = 0
        while True:
            count = printed.fitting(start, page.w, page.h - y - HEADING_H - _HEADINGS_H)
            least = min(_LEAST_ROWS, len(printed.rows) - start)
            tall = not printed.rows and y + list_height(printed, page.w) > page.h
            if y and (count < least or tall):
                pages.append([])
                titles.append([])
                y = 0.0
                continue
            end = start + max(count, min(1, len(printed.rows) - start))
            titles[-1].append(printed.title)
            pages[-1].append(_down(y, partial(_draw_some, printed=printed, start=start, end=end)))
            part = replace(printed, rows=printed.rows[start:end])
            y += list_height(part, page.w) + _LIST_GAP
            start = end
            if start >= len(printed.rows):
                break
    for height, draw in tails:
        if y + height > page.h:
            pages.append([])
            titles.append([])
            y = 0.0
        pages[-1].append(_down(y, draw))
        y += height
    return [(told, _all(draws)) for told, draws in zip(titles, pages, strict=True)]


def _draw_some(pen: Pen, box: Box, printed: PrintedList, start: int, end: int) -> None:
    draw_list(pen, box, printed, start, end)


def _down(y: float, draw: Draw) -> Draw:
    """Return a drawing that begins `y` points further down."""
    return lambda pen, page: draw(pen, page.below(page.y + y))


def _all(draws: Sequence[Draw]) -> Draw:
    def draw(pen: Pen, page: Box) -> None:
        for one in draws:
            one(pen, page)

    return draw
