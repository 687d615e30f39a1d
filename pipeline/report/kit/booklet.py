"""PDF pages with a foot line and page numbers, and blocks that run over several of them."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from io import BytesIO
from itertools import accumulate

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from pipeline import __version__
from pipeline.records import Inputs, Seal
from pipeline.report.kit import style
from pipeline.report.kit.pen import (
    FIGURE,
    HEADING_H,
    NAME,
    SMALL_MUTED,
    TINY_MUTED,
    Align,
    Box,
    Pen,
)
from pipeline.report.kit.tags import Role, Tags
from pipeline.wording import Wording

Draw = Callable[[Pen, Box], object]
_FOOTER_H = 16.0
_DIGEST_SHOWN = 16  # digits: no other files have them by chance
_BLOCK_GAP = 12.0
_LEAST_BEGUN = 36.0  # points of a block that begins on the page of another


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
    inputs: Inputs | None = None,
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
    made = words("document.made_with", version=__version__)
    canvas.setCreator(made)
    canvas.setViewerPreference("DisplayDocTitle", "true")
    sealed = seal_line(seal, words, whole=False)
    told = inputs_line(inputs, words, whole=False)
    tags = Tags(canvas)
    for number, leaf in enumerate(leaves, start=1):
        if leaf.bookmark is not None:
            canvas.bookmarkPage(f"page-{number}")
            canvas.addOutlineEntry(leaf.bookmark, f"page-{number}", 0)
        pen = Pen(canvas, size, tags)
        leaf.draw(pen, page)
        with tags.aside():
            _foot(pen, page, foot, words("document.page", page=number, pages=len(leaves)))
            base = page.bottom + _FOOTER_H + TINY_MUTED.leading
            pen.text(page.x, base, sealed, TINY_MUTED)
            pen.text(page.right, base, words("document.explained", made=made), TINY_MUTED,
                     align=Align.RIGHT)  # fmt: skip
            pen.text(page.x, base + TINY_MUTED.leading, told, TINY_MUTED)
        tags.end_page()
        canvas.showPage()
    tags.write(title)
    canvas.save()
    return buffer.getvalue()


def seal_line(seal: Seal | None, words: Wording, *, whole: bool) -> str:
    """Return the line that names a seal of the register, with its whole root or the beginning."""
    if seal is None:
        return words("seal.none")
    return words("seal.line", seal=seal.whole if whole else seal.short, day=words.day(seal.as_of))


def inputs_line(inputs: Inputs | None, words: Wording, *, whole: bool) -> str:
    """Return the line that says from which files a page was made, with all of the digest or not."""
    if inputs is None:
        return words("inputs.none")
    digest = inputs.digest if whole else inputs.digest[:_DIGEST_SHOWN]
    return words.counted("inputs.line", inputs.files, digest=digest)


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
    with pen.part(Role.TITLE):
        pen.text(page.x, page.y + 38, name, NAME, width=page.w)
    pen.text(page.x, page.y + 52, " · ".join(parts), SMALL_MUTED, width=page.w)
    return page.y + 54


def draw_figures(pen: Pen, box: Box, figures: Sequence[tuple[str, str]]) -> None:
    """Draw key figures side by side, each a value over its label."""
    for cell, (value, label) in zip(box.split(len(figures), 8.0), figures, strict=True):
        with pen.part(Role.TEXT):
            pen.text(cell.x, cell.y + 17, value, FIGURE, width=cell.w)
            pen.paragraph(cell.below(cell.y + 21), label, TINY_MUTED, lines=2)


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


def block_pages(
    blocks: Sequence[Block], height: float, begun: float | None = None
) -> list[list[BlockPart]]:
    """Lay blocks out on pages; one follows on the page of another if it fits there whole.

    One of a single column begins there too if some of its items fit, and goes on on the next page.
    The first page is one that something else has `begun`, so many points of it, if that is given.
    """
    pages: list[list[BlockPart]] = [] if begun is None else [[]]
    y = height if begun is None else begun
    for block in blocks:
        for number, columns in enumerate(_columns(block, height, height - y)):
            needed = HEADING_H + block.lead + block.tallest(columns)
            if number or not pages or y + needed > height:
                pages.append([])
                y = 0.0
            pages[-1].append(BlockPart(block, y, columns))
            y += needed + _BLOCK_GAP
    return pages


def _columns(block: Block, height: float, left: float) -> Iterator[list[list[int]]]:
    """Yield the items by column, page by page; columns are even if one page holds them all.

    `left` is what the page begun has left.
    """
    room = height - HEADING_H - block.lead
    even = _halves(block.heights) if block.columns > 1 else [list(range(len(block.heights)))]
    if block.tallest(even) <= left - HEADING_H - block.lead:
        yield even
        return
    first = _beginning(block, left - HEADING_H - block.lead)
    if first:
        yield [list(range(first))]
        rest = (list(range(first, len(block.heights))),)
        if block.tallest(rest) <= room:
            yield [*rest]
            return
    elif block.tallest(even) <= room:
        yield even
        return
    for page in paginate(block.heights[first:], room, block.columns):
        yield [[item + first for item in column] for column in page]


def _beginning(block: Block, room: float) -> int:
    """Return how many items of a single column begin on the page before; none if but a few."""
    if block.columns > 1:
        return 0
    begins = [total for total in accumulate(block.heights) if total <= room]
    return len(begins) if begins and begins[-1] >= _LEAST_BEGUN else 0


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
