"""Further pages, only where a list runs over: all stations and changes, the air everywhere."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate

from pipeline.report.document import Document
from pipeline.report.figures import AIR_ROW, BAR_ROW, BARS_KEY_H, air_height, draw_air, draw_bars
from pipeline.report.first_page import FirstPage
from pipeline.report.move_list import draw_move, move_height
from pipeline.report.pen import HEADING_H, Box, Pen
from pipeline.report.second_page import air_rows

Draw = Callable[[Pen, Box], None]
_GAP = 12.0


@dataclass(frozen=True, slots=True)
class _Block:
    """A list set in two columns: its heading, item heights, and what draws some of its items."""

    title: str
    lead: float  # what each column takes above its first item
    heights: tuple[float, ...]
    draw: Callable[[Pen, Box, Sequence[int]], None]


@dataclass(frozen=True, slots=True)
class _Part:
    """Some items of a block on one page: how far down, and which items in which column."""

    block: _Block
    y: float
    columns: Sequence[Sequence[int]]


def list_pages(doc: Document, first: FirstPage, page: Box) -> list[Draw]:
    """Return the pages with all stations and changes; none where page one holds both lists."""
    content = doc.content
    blocks = []
    if first.moves_shown < len(content.moves):
        blocks.append(_moves(doc, page.split(2)[0].w))
    if first.bars_shown < len(content.stations):
        blocks.append(_bars(doc))
    return [_drawing(parts) for parts in _laid_out(blocks, page.h)]


def air_pages(doc: Document, page: Box) -> list[Draw]:
    """Return the pages with the air at every station; none where page two holds all."""
    stations = doc.content.stations
    if len(air_rows(doc.content)) == len(stations):
        return []
    rows = int((page.h - HEADING_H - air_height(0)) // AIR_ROW)
    count = -(-len(stations) // rows)
    each = -(-len(stations) // count)  # pages of equal length

    def drawing(start: int) -> Draw:
        def draw(pen: Pen, box: Box) -> None:
            y = pen.heading(box, doc.words("document.more_air"), doc.words("air.note"))
            draw_air(pen, box.below(y), stations[start : start + each], doc)

        return draw

    return [drawing(start) for start in range(0, len(stations), each)]


def _bars(doc: Document) -> _Block:
    stations = doc.content.stations

    def draw(pen: Pen, box: Box, items: Sequence[int]) -> None:
        draw_bars(pen, box, [stations[i] for i in items], doc)

    return _Block(doc.words("bars.title"), BARS_KEY_H, (BAR_ROW,) * len(stations), draw)


def _moves(doc: Document, width: float) -> _Block:
    moves = doc.content.moves

    def draw(pen: Pen, box: Box, items: Sequence[int]) -> None:
        y = box.y
        for i in items:
            y = draw_move(pen, box.below(y), moves[i], doc)

    heights = tuple(move_height(move, width) for move in moves)
    return _Block(doc.words("moves.title"), 0.0, heights, draw)


def _laid_out(blocks: Sequence[_Block], height: float) -> list[list[_Part]]:
    """Return pages of parts: a block follows on the same page where it fits whole."""
    pages: list[list[_Part]] = []
    y = height
    for block in blocks:
        for number, columns in enumerate(_columns(block, height - y - HEADING_H - _GAP, height)):
            if number or not pages or columns is None or not _fits(block, columns, height - y):
                pages.append([])
                y = 0.0
            pages[-1].append(_Part(block, y, columns))
            y += HEADING_H + block.lead + _tallest(block, columns) + _GAP
    return pages


def _columns(block: _Block, left: float, height: float) -> Iterator[list[list[int]]]:
    """Yield the items in pairs of columns: one balanced pair if it fits what is left."""
    half = _halves(block.heights)
    if block.lead + _tallest(block, half) <= max(left, height - HEADING_H):
        yield half
        return
    yield from paginate(block.heights, height - HEADING_H - block.lead, 2)


def _fits(block: _Block, columns: Sequence[Sequence[int]], left: float) -> bool:
    return HEADING_H + block.lead + _tallest(block, columns) <= left


def _halves(heights: Sequence[float]) -> list[list[int]]:
    """Return the items in two columns of about equal height, the first the taller."""
    sums = list(accumulate(heights))
    cut = next((i + 1 for i, total in enumerate(sums) if 2 * total >= sums[-1]), len(sums))
    return [list(range(cut)), list(range(cut, len(heights)))]


def _tallest(block: _Block, columns: Sequence[Sequence[int]]) -> float:
    return max((sum(block.heights[i] for i in column) for column in columns), default=0.0)


def _drawing(parts: Sequence[_Part]) -> Draw:
    def draw(pen: Pen, box: Box) -> None:
        for part in parts:
            y = pen.heading(box.below(box.y + part.y), part.block.title)
            for column, items in zip(box.below(y).split(2), part.columns, strict=False):
                if items:
                    part.block.draw(pen, column, items)

    return draw


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
