"""The printed summary: two pages a store, further ones only where lists run over."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from io import BytesIO

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from pipeline import __version__
from pipeline.report import fonts, style
from pipeline.report.content import StoreContent
from pipeline.report.figures import AIR_ROW, BAR_ROW, air_height, draw_air, draw_bars
from pipeline.report.first_page import FirstPage, arrange, draw_first_page
from pipeline.report.move_list import draw_move, move_height
from pipeline.report.pen import TINY_MUTED, Align, Box, Pen
from pipeline.report.second_page import air_rows, draw_second_page
from pipeline.report.short_names import short_names
from pipeline.report.wording import Wording, wording

_FOOTER_H = 16.0
_HEADING_H = 20.0
_BARS_KEY_H = 11.0

_Draw = Callable[[Pen, Box], None]
_Page = tuple[str, _Draw]  # the bookmark, and what draws the page


def summary(content: StoreContent) -> bytes:
    """Return the PDF of one store: the same content gives the same bytes."""
    words = wording(content.store.country)
    size = style.page_size(content.store.country)
    page = Box(
        style.MARGIN,
        style.MARGIN - 6,
        size[0] - 2 * style.MARGIN,
        size[1] - 2 * style.MARGIN + 6 - _FOOTER_H,
    )
    pages = _pages(content, words, page)
    buffer = BytesIO()
    canvas = _canvas(buffer, content, words, size)
    pen = Pen(canvas, size)
    for number, (bookmark, draw) in enumerate(pages, start=1):
        canvas.bookmarkPage(f"page-{number}")
        canvas.addOutlineEntry(bookmark, f"page-{number}", 0)
        draw(pen, page)
        _footer(pen, page, content, words, (number, len(pages)))
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _canvas(
    buffer: BytesIO, content: StoreContent, words: Wording, size: tuple[float, float]
) -> Canvas:
    fonts.register()
    rl_config.useA85 = 0  # plain compressed streams: a fifth smaller and faster
    canvas = Canvas(buffer, pagesize=size, invariant=1, pageCompression=1, lang=words.language)
    store = content.store
    canvas.setTitle(words("document.title", store=store.store, name=store.name))
    canvas.setAuthor(words("document.author"))
    canvas.setSubject(words("workbook.subject"))
    canvas.setCreator(words("document.made_with", version=__version__))
    canvas.setViewerPreference("DisplayDocTitle", "true")
    return canvas


def _pages(content: StoreContent, words: Wording, page: Box) -> Sequence[_Page]:
    """Return the pages in order; page numbers of the further ones are known to the first two."""
    names = short_names([station.station for station in content.stations])
    first = arrange(content, words, page)
    more: dict[str, int] = {}
    further: list[_Page] = []
    for part, pages in (
        ("stations", _station_pages(content, first, names, words, page)),
        ("moves", _move_pages(content, first, names, words, page)),
        ("air", _air_pages(content, names, words, page)),
    ):
        if pages:
            more[part] = 3 + len(further)
            further.extend(pages)

    def draw_first(pen: Pen, _: Box) -> None:
        draw_first_page(pen, first, content, names, words, more)

    def draw_second(pen: Pen, box: Box) -> None:
        draw_second_page(pen, box, content, names, words, more)

    return (
        (words("document.first_page"), draw_first),
        (words("document.second_page"), draw_second),
        *further,
    )


def _station_pages(
    content: StoreContent,
    first: FirstPage,
    names: Mapping[str, str],
    words: Wording,
    page: Box,
) -> list[_Page]:
    if first.bars_shown == len(content.stations):
        return []
    title = words("document.more_stations")
    column = int((page.h - _HEADING_H - _BARS_KEY_H) // BAR_ROW)

    def drawn(columns: Sequence[Sequence[int]]) -> _Draw:
        def draw(pen: Pen, box: Box) -> None:
            y = pen.heading(box, title)
            for part, rows in zip(box.below(y).split(2), columns, strict=False):
                draw_bars(pen, part, [content.stations[i] for i in rows], names, words)

        return draw

    return [
        (title, drawn(columns)) for columns in paginate([1.0] * len(content.stations), column, 2)
    ]


def _move_pages(
    content: StoreContent,
    first: FirstPage,
    names: Mapping[str, str],
    words: Wording,
    page: Box,
) -> list[_Page]:
    if first.moves_shown == len(content.moves):
        return []
    title = words("document.more_moves")
    width = page.split(2)[0].w
    heights = [move_height(move, width) for move in content.moves]

    def drawn(columns: Sequence[Sequence[int]]) -> _Draw:
        def draw(pen: Pen, box: Box) -> None:
            top = pen.heading(box, title)
            for part, rows in zip(box.below(top).split(2), columns, strict=False):
                y = part.y
                for i in rows:
                    draw_move(pen, part.below(y), content.moves[i], names, words)
                    y += heights[i]

        return draw

    return [(title, drawn(columns)) for columns in paginate(heights, page.h - _HEADING_H, 2)]


def _air_pages(
    content: StoreContent, names: Mapping[str, str], words: Wording, page: Box
) -> list[_Page]:
    if len(air_rows(content)) == len(content.stations):
        return []
    title = words("document.more_air")
    rows = (page.h - _HEADING_H - air_height(0)) / AIR_ROW

    def drawn(shown: Sequence[int]) -> _Draw:
        def draw(pen: Pen, box: Box) -> None:
            y = pen.heading(box, title, words("air.note"))
            stations = [content.stations[i] for i in shown]
            draw_air(pen, box.below(y), content, stations, names, words)

        return draw

    return [
        (title, drawn(columns[0])) for columns in paginate([1.0] * len(content.stations), rows, 1)
    ]


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


def _footer(
    pen: Pen, page: Box, content: StoreContent, words: Wording, number: tuple[int, int]
) -> None:
    base = page.bottom + _FOOTER_H
    pen.line(page.x, base - 9, page.right, base - 9)
    left = f"{content.store.store} · {content.store.name}"
    if any(map(fonts.lacks, _printed(content))):
        left = words("document.unknown_letters", mark=fonts.MISSING)
    pen.text(page.x, base, left, TINY_MUTED, width=page.w * 0.72)
    text = words("document.page", page=number[0], pages=number[1])
    pen.text(page.right, base, text, TINY_MUTED, align=Align.RIGHT)


def _printed(content: StoreContent) -> Iterator[str]:
    """Yield the texts of the store that come from outside."""
    store = content.store
    yield from (store.name, store.store, store.region, store.store_type or "")
    for station in content.stations:
        yield station.station
        yield station.name or ""
    for finding in content.findings:
        yield finding.detail
