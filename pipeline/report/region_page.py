"""The one page for the manager: five questions, each answered by a picture or a short list."""

from collections.abc import Sequence

from pipeline.report import style
from pipeline.report.fonts import Face, width
from pipeline.report.pen import (
    HEADING_H,
    SMALL,
    SMALL_MUTED,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    Type,
    text_height,
)
from pipeline.report.region_answers import Item, decisions, delays, risks, verdict
from pipeline.report.region_content import RegionContent
from pipeline.report.region_figures import draw_helping, draw_progress, draw_strip, draw_time
from pipeline.report.wording import Wording

_NAME = Type(style.TITLE, Face.STRONG)
_VERDICT = Type(style.LEAD)
_COUNT = Type(style.LEAD, Face.STRONG, style.PLANNED)
_GRAVE = Type(style.LEAD, Face.STRONG, style.ALERT)
_PANELS_H, _STRIP_H, _STRIP_MOST = 168.0, 132.0, 210.0
_GAPS = 12.0 + 8.0 + 10.0
_COUNT_W, _COLUMN_GAP = 34.0, 14.0


def draw_region_page(pen: Pen, page: Box, content: RegionContent, words: Wording) -> None:
    """Draw the page."""
    y = _head(pen, page, content, words)
    y = pen.paragraph(page.below(y + 8), verdict(content, words), _VERDICT, lines=4)
    left, right = Box(page.x, y + 10, page.w, _PANELS_H).split(2)
    _how_far(pen, left, content, words)
    _helping(pen, right, content, words)
    answers = (
        ("decide", decisions(content, words)),
        ("late", delays(content, words)),
        ("risk", risks(content, words)),
    )
    width_each = page.split(3, _COLUMN_GAP)[0].w
    wanted = max(sum(item_height(item, width_each) for item in items) for _, items in answers)
    spare = page.bottom - left.bottom - _GAPS - HEADING_H - wanted
    strip = Box(page.x, left.bottom + 8, page.w, min(max(spare, _STRIP_H), _STRIP_MOST))
    top = pen.heading(strip, words("review.strip_title"), words("review.strip_note"))
    draw_strip(pen, strip.below(top), content, words)
    lists = page.below(strip.bottom + 12).split(3, _COLUMN_GAP)
    for box, (key, items) in zip(lists, answers, strict=True):
        top = pen.heading(box, words(f"question.{key}"))
        _items(pen, box.below(top), items, words, words(f"empty.{key}"))


def _head(pen: Pen, page: Box, content: RegionContent, words: Wording) -> float:
    pen.text(page.x, page.y + 8, words("review.kind"), SMALL_MUTED)
    day = words("review.as_of", day=words.day(content.as_of))
    pen.text(page.right, page.y + 8, day, SMALL_MUTED, align=Align.RIGHT)
    pen.line((page.x, page.y + 14), (page.right, page.y + 14), style.INK, 1.2)
    pen.text(page.x, page.y + 38, content.region, _NAME, width=page.w)
    parts = (
        words.counted("review.stores", len(content.stores)),
        words.counted("store.stations", sum(s.stations for s in content.stores)),
        words.counted("store.labels", sum(s.labels for s in content.stores)),
    )
    pen.text(page.x, page.y + 52, " · ".join(parts), SMALL_MUTED, width=page.w)
    return page.y + 54


def _how_far(pen: Pen, box: Box, content: RegionContent, words: Wording) -> None:
    y = pen.heading(box, words("question.far"))
    if not content.changes:
        pen.paragraph(box.below(y), words("review.nothing_to_change"), SMALL_MUTED, lines=3)
        return
    y = draw_progress(pen, box.below(y), content, words)
    draw_time(pen, box.below(y + 4), content, words)


def _helping(pen: Pen, box: Box, content: RegionContent, words: Wording) -> None:
    y = pen.heading(box, words("question.helping"))
    y = draw_helping(pen, box.below(y), content, words)
    now, planned = content.clear_air(planned=False), content.clear_air(planned=True)
    if now is None:
        return
    text = words("review.whole_region", now=words.percent(now), planned=words.percent(planned))
    y = pen.paragraph(box.below(y + 6), text, SMALL, lines=3)
    pen.paragraph(box.below(y + 4), words("reading.clear_air"), TINY_MUTED, lines=4)


def _items(pen: Pen, box: Box, items: Sequence[Item], words: Wording, nothing: str) -> None:
    if not items:
        pen.paragraph(box, nothing, SMALL_MUTED, lines=3)
        return
    y = box.y
    for place, item in enumerate(items):
        rest = len(items) - place - 1
        spare = SMALL_MUTED.leading if rest else 0.0
        if y + item_height(item, box.w) + spare > box.bottom:
            text = words.counted("review.more_items", rest + 1)
            pen.text(box.x, y + SMALL_MUTED.size, text, SMALL_MUTED, width=box.w)
            return
        y = _draw_item(pen, box.below(y), item)


def item_height(item: Item, room: float) -> float:
    """Return the height in points that a line of a list takes."""
    inner = room - _COUNT_W
    where = text_height(item.where, TINY_MUTED, inner, 2) if item.where else 0.0
    return max(_COUNT.leading, text_height(item.text, SMALL, inner, 4) + where) + 4


def _draw_item(pen: Pen, box: Box, item: Item) -> float:
    kind = _GRAVE if item.grave else _COUNT
    pen.text(box.x, box.y + 10.5, item.count, kind, width=_COUNT_W - 2)
    if item.grave:
        after = box.x + width(item.count, kind.face, kind.size) + 1.5
        pen.text(after, box.y + 10.5, "!", kind)
    inner = Box(box.x + _COUNT_W, box.y + 1, box.w - _COUNT_W, 0)
    y = pen.paragraph(inner, item.text, SMALL, lines=4)
    if item.where:
        pen.paragraph(Box(inner.x, y, inner.w, 0), item.where, TINY_MUTED, lines=2)
    return box.y + item_height(item, box.w)
