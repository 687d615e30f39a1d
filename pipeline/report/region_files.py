"""Write each region's review: one page for the manager, rows for every store, and the workbook."""

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from pipeline import __version__
from pipeline.database import Database
from pipeline.errors import QuietaisleError
from pipeline.records import Selection
from pipeline.report import fonts, style
from pipeline.report.files import put_file
from pipeline.report.pen import TINY_MUTED, Align, Box, Pen
from pipeline.report.region_content import RegionContent
from pipeline.report.region_gather import region_contents
from pipeline.report.region_page import draw_region_page
from pipeline.report.region_stores import Links, links_of, store_pages
from pipeline.report.region_workbook import region_workbook
from pipeline.report.safe_names import safe_names
from pipeline.report.standing import SUMMARY, WORKBOOK
from pipeline.report.wording import Wording, wording
from pipeline.settings import Settings

REVIEW = "review"
_FOOTER_H = 16.0


def write_reviews(
    database: Database, settings: Settings, out: Path, selection: Selection
) -> tuple[tuple[Path, ...], tuple[tuple[str, str], ...]]:
    """Write `<out>/<region>/review.pdf` and `.xlsx` of every region the selection touches.

    To be called after the stores' reports; the links point at their files.

    Returns:
        The files written (or found written already), and the regions whose review could not be,
        each with the sentence why.
    """
    known = database.rows("report", "stores")
    regions = sorted({region for store, _, region in known if selection.takes(store, region)})
    region_folders = safe_names([region for _, _, region in known])
    store_folders = safe_names([store for store, _, _ in known])
    written: list[Path] = []
    failed: list[tuple[str, str]] = []
    for content in region_contents(database, settings, regions):
        links = [links_of(store_folders[s.store], WORKBOOK, SUMMARY) for s in content.stores]
        folder = out / region_folders[content.region]
        try:
            for name, octets in _files(content, links):
                put_file(folder / name, octets)
                written.append(folder / name)
        except QuietaisleError as error:
            failed.append((content.region, str(error)))
    return tuple(written), tuple(failed)


def _files(content: RegionContent, links: Sequence[Links]) -> list[tuple[str, bytes]]:
    words = wording(content.country)
    return [
        (f"{REVIEW}.xlsx", region_workbook(content, links, words)),
        (f"{REVIEW}.pdf", region_pdf(content, links, words)),
    ]


def region_pdf(content: RegionContent, links: Sequence[Links], words: Wording) -> bytes:
    """Return the review of one region as PDF: the same content gives the same bytes."""
    size = style.page_size(content.country)
    page = Box(
        style.MARGIN,
        style.MARGIN - 6,
        size[0] - 2 * style.MARGIN,
        size[1] - 2 * style.MARGIN + 6 - _FOOTER_H,
    )
    buffer = BytesIO()
    fonts.register()
    rl_config.useA85 = 0  # plain compressed streams: a fifth smaller, and faster
    canvas = Canvas(buffer, pagesize=size, invariant=1, pageCompression=1, lang=words.language)
    canvas.setTitle(words("review.title", region=content.region))
    canvas.setAuthor(words("document.author"))
    canvas.setCreator(words("document.made_with", version=__version__))
    canvas.setViewerPreference("DisplayDocTitle", "true")
    rows = store_pages(content, links, words, page.h)
    for number in range(1, len(rows) + 2):
        pen = Pen(canvas, size)
        if number == 1:
            draw_region_page(pen, page, content, words)
        else:
            rows[number - 2](pen, page)
        note = words("document.page", page=number, pages=len(rows) + 1)
        _footer(pen, page, content.region, note)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _footer(pen: Pen, page: Box, left: str, right: str) -> None:
    base = page.bottom + _FOOTER_H
    pen.line((page.x, base - 9), (page.right, base - 9))
    pen.text(page.x, base, left, TINY_MUTED, width=page.w * 0.8)
    pen.text(page.right, base, right, TINY_MUTED, align=Align.RIGHT)
