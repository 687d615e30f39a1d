"""Further pages, only where a list runs over: all changes, all stations, the air everywhere."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate

from pipeline.report.document import Document
from pipeline.report.figures import AIR_ROW, BAR_ROW, BARS_KEY_H, air_height, draw_air, draw_bars
from pipeline.report.first_page import FirstPage
from pipeline.report.move_list import WHOLE_REASON, draw_move, move_height
from pipeline.report.pen import HEADING_H, Box, Pen
from pipeline.report.second_page import air_rows

Draw = Callable[[Pen, Box], None]
_GAP = 12.0


@dataclass(frozen=True, slots=True)
class _Block:
    """A list that goes on: its columns, item heights, and what draws some of its items."""

    name: str
    title: str
    columns: int
    lead: float  # what each column takes beside its items
    heights: tuple[float, ...]
    draw: Callable[[Pen, Box, Sequence[int]], None]


@dataclass(frozen=True, slots=True)
class _Part:
    """Some items of a block on one page: how far down, and which items in which column."""

    block: _Block
    y: float
    columns: Sequence[Sequence[int]]


@dataclass(frozen=True, slots=True)
class FurtherPage:
    """One page: which lists go on there, its bookmark, and what draws it."""

    lists: tuple[str, ...]
    bookmark: str
    draw: Draw


def further_pages(doc: Document, first: FirstPage, page: Box) -> list[FurtherPage]:
    """Return the pages with what the first two leave out; none where they hold everything."""
    content = doc.content
    blocks = []
    if first.moves_shown < len(content.moves) or first.reasons_cut:
        blocks.append(_moves(doc, page.split(2)[0].w))
    if first.bars_shown < len(content.stations):
        blocks.append(_bars(doc))
    if len(air_rows(content)) < len(content.stations):
        blocks.append(_air(doc))
    return [
        FurtherPage(tuple(part.block.name for part in parts), parts[0].block.title, _drawing(parts))
        for parts in _laid_out(blocks, page.h)
    ]


def _bars(doc: Document) -> _Block:
    stations = doc.content.stations

    def draw(pen: Pen, box: Box, items: Sequence[int]) -> None:
        draw_bars(pen, box, [stations[i] for i in items], doc)

    heights = (BAR_ROW,) * len(stations)
    return _Block("stations", doc.words("document.more_bars"), 2, BARS_KEY_H, heights, draw)


def _moves(doc: Document, width: float) -> _Block:
    moves = doc.content.moves

    def draw(pen: Pen, box: Box, items: Sequence[int]) -> None:
        y = box.y
        for i in items:
            y = draw_move(pen, box.below(y), moves[i], doc, WHOLE_REASON)

    heights = tuple(move_height(move, width, WHOLE_REASON) for move in moves)
    return _Block("moves", doc.words("document.more_moves"), 2, 0.0, heights, draw)


def _air(doc: Document) -> _Block:
    stations = doc.content.stations

    def draw(pen: Pen, box: Box, items: Sequence[int]) -> None:
        draw_air(pen, box, [stations[i] for i in items], doc)

    heights = (AIR_ROW,) * len(stations)
    return _Block("air", doc.words("document.more_air"), 1, air_height(0), heights, draw)


def _laid_out(blocks: Sequence[_Block], height: float) -> list[list[_Part]]:
    """Return pages of parts: a block follows on the same page where it fits whole."""
    pages: list[list[_Part]] = []
    y = height
    for block in blocks:
        for number, columns in enumerate(_columns(block, height)):
            needed = HEADING_H + block.lead + _tallest(block, columns)
            if number or not pages or y + needed > height:
                pages.append([])
                y = 0.0
            pages[-1].append(_Part(block, y, columns))
            y += needed + _GAP
    return pages


def _columns(block: _Block, height: float) -> Iterator[list[list[int]]]:
    """Yield the items in columns, page by page: evened out where one page holds them all."""
    room = height - HEADING_H - block.lead
    even = _halves(block.heights) if block.columns > 1 else [list(range(len(block.heights)))]
    if _tallest(block, even) <= room:
        yield even
    else:
        yield from paginate(block.heights, room, block.columns)


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
            places = box.below(y).split(part.block.columns)
            for column, items in zip(places, part.columns, strict=False):
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
