"""Pages with one title, one foot line and page numbers: the audit's and the reviews' PDF."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from io import BytesIO

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from pipeline import __version__
from pipeline.report import fonts, style
from pipeline.report.pen import TINY_MUTED, Align, Box, Pen
from pipeline.report.wording import Wording

Draw = Callable[[Pen, Box], object]
_FOOTER_H = 16.0


@dataclass(frozen=True, slots=True)
class Leaf:
    """One page: what draws it, and the name under which a reader jumps to it, where it has one."""

    draw: Draw
    bookmark: str | None = None


def page_box(size: tuple[float, float]) -> Box:
    """Return the part of a page of that size in points that is drawn on; the foot lies below."""
    return Box(
        style.MARGIN,
        style.MARGIN - 6,
        size[0] - 2 * style.MARGIN,
        size[1] - 2 * style.MARGIN + 6 - _FOOTER_H,
    )


def booklet(
    leaves: Sequence[Leaf], size: tuple[float, float], words: Wording, *, title: str, foot: str
) -> bytes:
    """Return the pages as PDF: the same content gives the same bytes."""
    buffer, page = BytesIO(), page_box(size)
    fonts.register()
    rl_config.useA85 = 0  # plain compressed streams: a fifth smaller, and faster
    canvas = Canvas(buffer, pagesize=size, invariant=1, pageCompression=1, lang=words.language)
    canvas.setTitle(title)
    canvas.setAuthor(words("document.author"))
    canvas.setCreator(words("document.made_with", version=__version__))
    canvas.setViewerPreference("DisplayDocTitle", "true")
    for number, leaf in enumerate(leaves, start=1):
        if leaf.bookmark is not None:
            canvas.bookmarkPage(f"page-{number}")
            canvas.addOutlineEntry(leaf.bookmark, f"page-{number}", 0)
        pen = Pen(canvas, size)
        leaf.draw(pen, page)
        _foot(pen, page, foot, words("document.page", page=number, pages=len(leaves)))
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _foot(pen: Pen, page: Box, left: str, right: str) -> None:
    base = page.bottom + _FOOTER_H
    pen.line((page.x, base - 9), (page.right, base - 9))
    pen.text(page.x, base, left, TINY_MUTED, width=page.w * 0.8)
    pen.text(page.right, base, right, TINY_MUTED, align=Align.RIGHT)
