"""Write the audit of a quarter: the pages for signing off, and the workbook behind them."""

from io import BytesIO
from pathlib import Path

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from pipeline import __version__
from pipeline.database import Database
from pipeline.report import fonts, style
from pipeline.report.files import put_file
from pipeline.report.pen import TINY_MUTED, Align, Box, Pen
from pipeline.report.quarter_content import QuarterContent
from pipeline.report.quarter_gather import quarter_content
from pipeline.report.quarter_lists import Draw, list_pages
from pipeline.report.quarter_pages import (
    draw_first,
    draw_last,
    draw_second,
    edition,
    last_height,
)
from pipeline.report.quarter_tables import act_on, uncovered
from pipeline.report.quarter_workbook import quarter_workbook
from pipeline.report.wording import Wording, wording

AUDIT = "audit"
_FOOTER_H = 16.0


def write_audit(database: Database, out: Path, quarter: str) -> tuple[Path, Path]:
    """Write `<out>/audit/<quarter>.xlsx` and `.pdf` of an audited quarter, such as 2026-Q3.

    The chain's stores are in many countries: words are English, days are written 2026-09-30.

    Returns:
        The workbook and the PDF.

    Raises:
        UnknownSelection: the quarter was not audited.
        OutputNotWritable: a file cannot be written.
    """
    content, words = quarter_content(database, quarter), wording(None)
    workbook, pages = (out / AUDIT / f"{quarter}.{kind}" for kind in ("xlsx", "pdf"))
    put_file(workbook, quarter_workbook(content, words))
    put_file(pages, quarter_pdf(content, words))
    return workbook, pages


def quarter_pdf(content: QuarterContent, words: Wording) -> bytes:
    """Return the audit of one quarter as PDF: the same content gives the same bytes."""
    size = style.page_size(words.country)
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
    canvas.setTitle(words("audit.title", quarter=content.quarter))
    canvas.setAuthor(words("document.author"))
    canvas.setCreator(words("document.made_with", version=__version__))
    canvas.setViewerPreference("DisplayDocTitle", "true")
    pages = _pages(content, words, page)
    note = f"{words('audit.title', quarter=content.quarter)} · {edition(content, words)}"
    for number, (bookmark, draw) in enumerate(pages, start=1):
        canvas.bookmarkPage(f"page-{number}")
        canvas.addOutlineEntry(bookmark, f"page-{number}", 0)
        pen = Pen(canvas, size)
        draw(pen, page)
        _footer(pen, page, note, words("document.page", page=number, pages=len(pages)))
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _pages(content: QuarterContent, words: Wording, page: Box) -> list[tuple[str, Draw]]:
    lists = (act_on(content, words), uncovered(content, words))

    def tail(pen: Pen, box: Box) -> None:
        draw_last(pen, box, content, words)

    further = list_pages(lists, last_height(content, words, page), tail, page)
    return [
        (words("audit.kind"), lambda pen, box: draw_first(pen, box, content, words)),
        (words("audit.fields_title"), lambda pen, box: draw_second(pen, box, content, words)),
        *((words("audit.act_title"), draw) for draw in further[:-1]),
        (words("audit.sign_title"), further[-1]),
    ]


def _footer(pen: Pen, page: Box, left: str, right: str) -> None:
    base = page.bottom + _FOOTER_H
    pen.line((page.x, base - 9), (page.right, base - 9))
    pen.text(page.x, base, left, TINY_MUTED, width=page.w * 0.8)
    pen.text(page.right, base, right, TINY_MUTED, align=Align.RIGHT)
