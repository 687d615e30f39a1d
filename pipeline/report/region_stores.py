"""The pages after the first: a row per store, linked to its two files."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from urllib.parse import quote

from pipeline.report import style
from pipeline.report.fonts import Face, width
from pipeline.report.pen import (
    SMALL,
    SMALL_STRONG,
    TINY,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    Type,
    wrapped,
)
from pipeline.report.region_content import Progress, RegionContent, StoreLine
from pipeline.report.region_marks import progress_box, standing_mark
from pipeline.report.wording import NOTHING, Wording

Draw = Callable[[Pen, Box], None]
_ROW, _HEAD_H = 15.0, 26.0
_LINK = Type(style.SMALL, Face.STRONG, style.PLANNED)
_HEADING = Type(style.TINY, Face.STRONG)


@dataclass(frozen=True, slots=True)
class Links:
    """A store's files, as relative addresses from the review beside its folder."""

    workbook: str
    summary: str


def links_of(folder: str, workbook: str, summary: str) -> Links:
    """Return the relative addresses (RFC 3986) of the two files in a store's folder."""
    return Links(f"{quote(folder)}/{quote(workbook)}", f"{quote(folder)}/{quote(summary)}")


@dataclass(frozen=True, slots=True)
class _Column:
    """A column: its heading's text, its width in points, whether figures stand to the right."""

    key: str
    width: float
    right: bool = False


_COLUMNS = (
    _Column("standing", 64),
    _Column("store", 106),
    _Column("changes", 80),
    _Column("clear_air", 56, right=True),
    _Column("settle", 32, right=True),
    _Column("astray", 36, right=True),
    _Column("next_work", 0),
)
_LINKS_W = 66.0


def store_pages(
    content: RegionContent, links: Sequence[Links], words: Wording, height: float
) -> list[Draw]:
    """Return the drawings of the pages with a row per store."""
    rows = list(zip(content.stores, links, strict=True))
    each = max(1, int((height - 20 - _HEAD_H) // _ROW))

    def drawing(start: int) -> Draw:
        def draw(pen: Pen, page: Box) -> None:
            y = pen.heading(page, words("review.stores_title"), words("review.stores_note"))
            _headings(pen, page.below(y), words)
            y += _HEAD_H
            for store, files in rows[start : start + each]:
                _row(pen, Box(page.x, y, page.w, _ROW), store, files, words)
                y += _ROW

        return draw

    return [drawing(start) for start in range(0, len(rows), each)]


def _cells(box: Box) -> list[Box]:
    """Return where each column of a row stands; the last takes what is left."""
    cells, x = [], box.x
    for column in _COLUMNS:
        w = column.width or box.right - x - _LINKS_W
        cells.append(Box(x, box.y, w, box.h))
        x += w
    return cells


def _headings(pen: Pen, box: Box, words: Wording) -> None:
    for column, cell in zip(_COLUMNS, _cells(box), strict=True):
        text = words(f"row.{column.key}")
        lines = wrapped(text, _HEADING, cell.w - 6, 2)
        for line, part in enumerate(reversed(lines)):
            base = box.y + 16 - 8.5 * line
            if column.right:
                pen.text(cell.right - 4, base, part, _HEADING, align=Align.RIGHT)
            else:
                pen.text(cell.x + _indent(column), base, part, _HEADING)
    pen.text(box.right, box.y + 16, words("row.files"), _HEADING, align=Align.RIGHT)
    pen.line((box.x, box.y + 20), (box.right, box.y + 20), style.INK, 0.7)


def _indent(column: _Column) -> float:
    """Keep a text column clear of the figures before it."""
    return 8.0 if column is _COLUMNS[-1] else 0.0


def _row(pen: Pen, box: Box, store: StoreLine, files: Links, words: Wording) -> None:
    base = box.y + 9.8
    cells = _cells(box)
    standing_mark(pen, (box.x + 4, base - 2.8), store.standing)
    pen.text(box.x + 12, base, words(f"standing.{store.standing.value}"), TINY, width=50)
    pen.text(cells[1].x, base, store.store, SMALL_STRONG, width=cells[1].w - 6)
    used = min(cells[1].w - 10, width(store.store, Face.STRONG, style.SMALL) + 5)
    pen.text(cells[1].x + used, base, store.name, SMALL, width=cells[1].w - used - 6)
    _changes(pen, cells[2], store, words, base)
    air = words.change(store.clear_air_now, store.clear_air_planned)
    settle = words.number(store.stop + store.fix)
    for cell, text in zip(cells[3:6], (air, settle, words.number(store.astray)), strict=True):
        pen.text(cell.right - 4, base, text, SMALL, align=Align.RIGHT)
    if store.stop:
        pen.text(cells[4].x + 2, base, "!", Type(style.SMALL, Face.STRONG, style.ALERT))
    pen.text(
        cells[6].x + _indent(_COLUMNS[6]), base, _next(store, words), TINY, width=cells[6].w - 10
    )
    _links(pen, box, files, words, base)
    pen.line((box.x, box.bottom), (box.right, box.bottom), style.HAIRLINE, 0.3)


def _changes(pen: Pen, cell: Box, store: StoreLine, words: Wording, base: float) -> None:
    if not store.changes:
        pen.text(cell.x, base, NOTHING, TINY_MUTED)
        return
    text = words("review.done_of", done=store.done, all=store.changes)
    pen.text(cell.x, base, text, SMALL, width=34)
    x, room = cell.x + 36, cell.w - 42
    for progress in Progress:
        part = room * store.count(progress) / store.changes
        if part:
            progress_box(pen, Box(x, cell.y + 3.5, part, 7), progress)
            x += part


def _next(store: StoreLine, words: Wording) -> str:
    """Return what comes next in a store: a missed night, the next one, or the reason of none."""
    if store.unplanned is not None:
        return store.unplanned
    if store.overdue:
        return words("review.overdue", n=words.number(store.overdue))
    return words.day(store.next_work.date()) if store.next_work else NOTHING


def _links(pen: Pen, box: Box, files: Links, words: Wording, base: float) -> None:
    x = box.right
    for key, target in (("pdf", files.summary), ("xlsx", files.workbook)):
        text = words(f"link.{key}")
        length = width(text, _LINK.face, _LINK.size)
        pen.text(x, base, text, _LINK, align=Align.RIGHT)
        area = (x - length, pen.height - base - 2, x, pen.height - base + 8)
        pen.canvas.linkURL(target, area)
        x -= length + 8
