"""The printed summary: two pages a store, further ones only where lists run over."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from io import BytesIO

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from pipeline import __version__
from pipeline.report import fonts, style
from pipeline.report.content import StoreContent
from pipeline.report.document import Document, document
from pipeline.report.first_page import arrange, draw_first_page
from pipeline.report.further_pages import Draw, further_pages
from pipeline.report.pen import TINY_MUTED, Align, Box, Pen
from pipeline.report.second_page import draw_second_page

_FOOTER_H = 16.0
_FIRST_FURTHER = 3


def summary(content: StoreContent) -> bytes:
    """Return the PDF of one store: the same content gives the same bytes."""
    doc = document(content)
    size = style.page_size(content.store.country)
    page = Box(
        style.MARGIN,
        style.MARGIN - 6,
        size[0] - 2 * style.MARGIN,
        size[1] - 2 * style.MARGIN + 6 - _FOOTER_H,
    )
    buffer = BytesIO()
    canvas = _canvas(buffer, doc, size)
    pages = _pages(doc, page)
    note = _note(content, doc)
    for number, (bookmark, draw) in enumerate(pages, start=1):
        canvas.bookmarkPage(f"page-{number}")
        canvas.addOutlineEntry(bookmark, f"page-{number}", 0)
        pen = Pen(canvas, size)
        draw(pen, page)
        _footer(pen, page, note, doc.words("document.page", page=number, pages=len(pages)))
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _canvas(buffer: BytesIO, doc: Document, size: tuple[float, float]) -> Canvas:
    fonts.register()
    rl_config.useA85 = 0  # plain compressed streams: a fifth smaller, and faster
    words, store = doc.words, doc.content.store
    canvas = Canvas(buffer, pagesize=size, invariant=1, pageCompression=1, lang=words.language)
    canvas.setTitle(words("document.title", store=store.store, name=store.name))
    canvas.setAuthor(words("document.author"))
    canvas.setSubject(words("workbook.subject"))
    canvas.setCreator(words("document.made_with", version=__version__))
    canvas.setViewerPreference("DisplayDocTitle", "true")
    return canvas


def _pages(doc: Document, page: Box) -> Sequence[tuple[str, Draw]]:
    """Return bookmark and drawing of each page; the first two know where their lists go on."""
    first = arrange(doc, page)
    further = further_pages(doc, first, page)
    goes_on: dict[str, int] = {}
    for number, more in enumerate(further, start=_FIRST_FURTHER):
        for name in more.lists:
            goes_on.setdefault(name, number)
    doc = replace(doc, pages=goes_on)
    return (
        (doc.words("document.first_page"), lambda pen, _: draw_first_page(pen, first, doc)),
        (doc.words("document.second_page"), lambda pen, box: draw_second_page(pen, box, doc)),
        *((more.bookmark, more.draw) for more in further),
    )


def _footer(pen: Pen, page: Box, note: str, number: str) -> None:
    base = page.bottom + _FOOTER_H
    pen.line((page.x, base - 9), (page.right, base - 9))
    pen.text(page.x, base, note, TINY_MUTED, width=page.w * 0.8)
    pen.text(page.right, base, number, TINY_MUTED, align=Align.RIGHT)


def _note(content: StoreContent, doc: Document) -> str:
    """Return the foot line: which store, and what this print does with letters it lacks."""
    printed = tuple(_printed(content))
    parts = [f"{content.store.store} · {content.store.name}"]
    if any(map(fonts.lacks, printed)):
        parts = [doc.words("document.unknown_letters", mark=fonts.MISSING)]
    if any(map(fonts.borrows, printed)):
        parts.append(doc.words("document.eastern_letters"))
    return "  ".join(parts)


def _printed(content: StoreContent) -> Iterator[str]:
    """Yield the texts of the store that come from outside."""
    store = content.store
    yield from (store.name, store.store, store.region, store.store_type or "")
    for station in content.stations:
        yield station.station
        yield station.name or ""
        yield station.reason or ""
    for move in content.moves:
        yield move.reason
    for finding in content.findings:
        yield from (finding.subject, finding.detail, finding.excepted or "")
