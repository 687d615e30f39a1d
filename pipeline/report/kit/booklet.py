"""PDF pages with a foot line and page numbers, and lists that run over several pages."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from io import BytesIO
from itertools import accumulate
from typing import Generic, TypeVar

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from pipeline import __version__
from pipeline.records import Seal
from pipeline.report.kit import style
from pipeline.report.kit.pen import (
    FIGURE,
    HEADING_H,
    NAME,
    SMALL,
    SMALL_MUTED,
    TINY_MUTED,
    TINY_STRONG,
    Align,
    Box,
    Pen,
    text_height,
    wrapped,
)
from pipeline.wording import Wording

Draw = Callable[[Pen, Box], object]
Record = TypeVar("Record")
_FOOTER_H = 16.0
_HEADINGS_H, _LINE, _PAD, _INNER = 22.0, SMALL.leading, 3.0, 6.0
_MOST_LINES = 3  # of a cell
_LEAST_ROWS = 3  # of a list at the foot of a page
_LIST_GAP, _BLOCK_GAP = 16.0, 12.0


@dataclass(frozen=True, slots=True)
class Leaf:
    """One page: what draws it, and its bookmark, if it has one."""

    draw: Draw
    bookmark: str | None = None


def page_box(size: tuple[float, float]) -> Box:
    """Return the part of a page to draw on, above its foot; `size` is in points."""
    return Box(
        style.MARGIN,
        style.MARGIN - 6,
        size[0] - 2 * style.MARGIN,
        size[1] - 2 * style.MARGIN + 6 - _FOOTER_H,
    )


def booklet(  # noqa: PLR0913 - the pages, and what stands on and about them
    leaves: Sequence[Leaf],
    size: tuple[float, float],
    words: Wording,
    *,
    title: str,
    foot: str,
    seal: Seal | None,
    subject: str | None = None,
) -> bytes:
    """Return the pages as PDF; the same content gives the same bytes."""
    buffer, page = BytesIO(), page_box(size)
    style.register()
    rl_config.useA85 = 0  # plain compressed streams: a fifth smaller, and faster
    canvas = Canvas(buffer, pagesize=size, invariant=1, pageCompression=1, lang=words.language)
    canvas.setTitle(title)
    canvas.setAuthor(words("document.author"))
    if subject is not None:
        canvas.setSubject(subject)
    canvas.setCreator(words("document.made_with", version=__version__))
    canvas.setViewerPreference("DisplayDocTitle", "true")
    sealed = seal_line(seal, words, whole=False)
    for number, leaf in enumerate(leaves, start=1):
        if leaf.bookmark is not None:
            canvas.bookmarkPage(f"page-{number}")
            canvas.addOutlineEntry(leaf.bookmark, f"page-{number}", 0)
        pen = Pen(canvas, size)
        leaf.draw(pen, page)
        _foot(pen, page, foot, words("document.page", page=number, pages=len(leaves)))
        pen.text(page.x, page.bottom + _FOOTER_H + TINY_MUTED.leading, sealed, TINY_MUTED)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def seal_line(seal: Seal | None, words: Wording, *, whole: bool) -> str:
    """Return the line that names a seal of the register, with its whole root or the beginning."""
    if seal is None:
        return words("seal.none")
    return words("seal.line", seal=seal.whole if whole else seal.short, day=words.day(seal.as_of))


def _foot(pen: Pen, page: Box, left: str, right: str) -> None:
    base = page.bottom + _FOOTER_H
    pen.line((page.x, base - 9), (page.right, base - 9))
    pen.text(page.x, base, left, TINY_MUTED, width=page.w * 0.8)
    pen.text(page.right, base, right, TINY_MUTED, align=Align.RIGHT)


def draw_kind(pen: Pen, page: Box, kind: str, note: str) -> None:
    """Draw the top line of a first page: what it is, and of which day or edition."""
    pen.text(page.x, page.y + 8, kind, SMALL_MUTED)
    pen.text(page.right, page.y + 8, note, SMALL_MUTED, align=Align.RIGHT)
    pen.line((page.x, page.y + 14), (page.right, page.y + 14), style.INK, 1.2)


def draw_name(pen: Pen, page: Box, name: str, parts: Sequence[str]) -> float:
    """Draw the name a first page is about over its particulars; return the y below."""
    pen.text(page.x, page.y + 38, name, NAME, width=page.w)
    pen.text(page.x, page.y + 52, " · ".join(parts), SMALL_MUTED, width=page.w)
    return page.y + 54


def draw_figures(pen: Pen, box: Box, figures: Sequence[tuple[str, str]]) -> None:
    """Draw key figures side by side, each a value over its label."""
    for cell, (value, label) in zip(box.split(len(figures), 8.0), figures, strict=True):
        pen.text(cell.x, cell.y + 17, value, FIGURE, width=cell.w)
        pen.paragraph(cell.below(cell.y + 21), label, TINY_MUTED, lines=2)


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


def draw_list(  # noqa: PLR0913 - where, what, and how much of it
    pen: Pen, box: Box, printed: PrintedList, start: int, end: int, *, titled: bool = True
) -> float:
    """Draw rows `start` to before `end` of a list; return the y below."""
    y = pen.heading(box, printed.title, printed.note) if titled else box.y
    if not printed.rows:
        return pen.paragraph(box.below(y), printed.nothing, SMALL, lines=3)
    columns = [
        (cell.right, Align.RIGHT, cell.w) if right else (cell.x, Align.LEFT, cell.w)
        for cell, right in zip(printed.cells(box), printed.rights, strict=True)
    ]
    for (x, align, width), heading in zip(columns, printed.headings, strict=True):
        for line, part in enumerate(reversed(wrapped(heading, TINY_STRONG, width, 2))):
            pen.text(x, y + 14 - 8.5 * line, part, TINY_STRONG, align=align)
    pen.line((box.x, y + 18), (box.right, y + 18), style.INK, 0.7)
    y += _HEADINGS_H
    for number in range(start, end):
        for (x, align, width), text in zip(columns, printed.rows[number], strict=True):
            for line, part in enumerate(wrapped(text, SMALL, width, _MOST_LINES)):
                pen.text(x, y + SMALL.size + _LINE * line, part, SMALL, align=align)
        y += printed.height(number, box.w)
        pen.line((box.x, y - 1), (box.right, y - 1), style.HAIRLINE, 0.3)
    return y


@dataclass(frozen=True, slots=True)
class _ListPart:
    """Rows of a list on one page, and how far down they begin."""

    printed: PrintedList
    start: int
    end: int
    y: float


def list_pages(  # noqa: PLR0913, PLR0917 - the lists, and what stands before and after them
    lists: Sequence[PrintedList],
    tail_h: float,
    tail: Draw,
    page: Box,
    head: Draw | None = None,
    head_h: float = 0.0,
) -> list[Draw]:
    """Return the drawings of the pages that lists take one after another, a head and a tail.

    The head takes `head_h` points of the first page.
    A list begins on the page of the one before if some of its rows fit there. The tail is drawn
    whole: below the last list if its height fits, else on a page of its own.
    """
    pages: list[list[_ListPart]] = [[]]
    y = head_h
    for printed in lists:
        start = 0
        while True:
            count = printed.fitting(start, page.w, page.h - y - HEADING_H - _HEADINGS_H)
            if y and count < min(_LEAST_ROWS, len(printed.rows) - start):
                pages.append([])
                y = 0.0
                continue
            end = start + max(count, min(1, len(printed.rows) - start))
            pages[-1].append(_ListPart(printed, start, end, y))
            part = replace(printed, rows=printed.rows[start:end])
            y += list_height(part, page.w) + _LIST_GAP
            start = end
            if start >= len(printed.rows):
                break
    draws: list[Draw] = [*map(_drawing, pages[:-1]), _with_tail(pages[-1], tail, y)]
    if y + tail_h > page.h:
        draws = [*map(_drawing, pages), tail]
    return draws if head is None else [_both(head, draws[0]), *draws[1:]]


def _both(one: Draw, other: Draw) -> Draw:
    def draw(pen: Pen, page: Box) -> None:
        one(pen, page)
        other(pen, page)

    return draw


def _drawing(parts: Sequence[_ListPart]) -> Draw:
    def draw(pen: Pen, page: Box) -> None:
        for part in parts:
            draw_list(pen, page.below(page.y + part.y), part.printed, part.start, part.end)

    return draw


def _with_tail(parts: Sequence[_ListPart], tail: Draw, y: float) -> Draw:
    def draw(pen: Pen, page: Box) -> None:
        _drawing(parts)(pen, page)
        tail(pen, page.below(page.y + y))

    return draw


@dataclass(frozen=True, slots=True)
class Block:
    """Items set in columns over as many pages as they take, and what draws some of them.

    `lead` is the height each column takes besides its items; `note` is set beside the title.
    """

    name: str
    title: str
    columns: int
    lead: float
    heights: tuple[float, ...]
    draw: Callable[[Pen, Box, Sequence[int]], None]
    note: str = ""

    def tallest(self, columns: Sequence[Sequence[int]]) -> float:
        """Return the height of the tallest of some columns of items."""
        return max((sum(self.heights[i] for i in column) for column in columns), default=0.0)


@dataclass(frozen=True, slots=True)
class BlockPart:
    """Items of a block on one page, by column, and how far down they begin."""

    block: Block
    y: float
    columns: Sequence[Sequence[int]]


def block_pages(blocks: Sequence[Block], height: float) -> list[list[BlockPart]]:
    """Lay blocks out on pages; one follows on the page of another if it fits there whole."""
    pages: list[list[BlockPart]] = []
    y = height
    for block in blocks:
        for number, columns in enumerate(_columns(block, height)):
            needed = HEADING_H + block.lead + block.tallest(columns)
            if number or not pages or y + needed > height:
                pages.append([])
                y = 0.0
            pages[-1].append(BlockPart(block, y, columns))
            y += needed + _BLOCK_GAP
    return pages


def _columns(block: Block, height: float) -> Iterator[list[list[int]]]:
    """Yield the items by column, page by page; columns are even if one page holds them all."""
    room = height - HEADING_H - block.lead
    even = _halves(block.heights) if block.columns > 1 else [list(range(len(block.heights)))]
    if block.tallest(even) <= room:
        yield even
    else:
        yield from paginate(block.heights, room, block.columns)


def _halves(heights: Sequence[float]) -> list[list[int]]:
    """Return the items in two columns of about equal height, the first the taller."""
    sums = list(accumulate(heights))
    cut = next((i + 1 for i, total in enumerate(sums) if 2 * total >= sums[-1]), len(sums))
    return [list(range(cut)), list(range(cut, len(heights)))]


def paginate(
    heights: Sequence[float], column_height: float, columns: int
) -> Iterator[list[list[int]]]:
    """Yield pages of columns of item numbers, in order, filled from the top left."""
    page: list[list[int]] = [[]]
    used = 0.0
    for number, height in enumerate(heights):
        if used + height > column_height and page[-1]:
            if len(page) == columns:
                yield page
                page = []
            page.append([])
            used = 0.0
        page[-1].append(number)
        used += height
    yield page


def draw_blocks(parts: Sequence[BlockPart]) -> Draw:
    """Return the drawing of the parts of blocks that share a page."""

    def draw(pen: Pen, box: Box) -> None:
        for part in parts:
            y = pen.heading(box.below(box.y + part.y), part.block.title, part.block.note)
            places = box.below(y).split(part.block.columns)
            for column, items in zip(places, part.columns, strict=False):
                if items:
                    part.block.draw(pen, column, items)

    return draw
