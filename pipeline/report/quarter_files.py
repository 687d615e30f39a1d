"""Write the audit of a quarter: the pages for signing off, and the workbook behind them."""

from pathlib import Path

from pipeline.database import Database
from pipeline.report import style
from pipeline.report.booklet import Leaf, booklet, page_box
from pipeline.report.files import put_file
from pipeline.report.pen import Box, Pen
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
    title = words("audit.title", quarter=content.quarter)
    leaves = [Leaf(draw, name) for name, draw in _pages(content, words, page_box(size))]
    foot = f"{title} · {edition(content, words)}"
    return booklet(leaves, size, words, title=title, foot=foot)


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
