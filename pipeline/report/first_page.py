"""Page one: the verdict, who hears whom, clear air before and after, the changes in order."""

from dataclasses import dataclass

from pipeline.records import Severity
from pipeline.report import fonts, style
from pipeline.report.content import StoreContent
from pipeline.report.document import Document
from pipeline.report.figures import BAR_ROW, BARS_KEY_H, TIGHT_BAR_ROW, draw_bars
from pipeline.report.floor_plan import draw_plans, plan_height
from pipeline.report.fonts import Face
from pipeline.report.move_list import draw_move, draw_no_moves, fitting, move_height, reasons_cut
from pipeline.report.pen import (
    HEADING_H,
    SMALL_MUTED,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    Type,
    text_height,
)
from pipeline.report.verdict import verdict

_NAME = Type(style.TITLE, Face.STRONG)
_LONG_NAME = Type(13.0, Face.STRONG)
_VERDICT = Type(style.LEAD)
_FIGURE = Type(style.FIGURE, Face.LIGHT, style.PLANNED)
_FIGURES_H = 40.0
_LISTS_LEAST = 150.0  # points kept for the two lists


@dataclass(frozen=True, slots=True)
class FirstPage:
    """Where the parts of page one stand, and how much of the lists fits."""

    head: Box
    verdict: Box
    figures: Box
    plan: Box
    bars: Box
    moves: Box
    bar_row: float
    bars_shown: int
    moves_shown: int
    reason_lines: int
    reasons_cut: bool


def arrange(doc: Document, page: Box) -> FirstPage:
    """Lay out page one: what the lists do not need goes to the floor plan."""
    content = doc.content
    head = Box(page.x, page.y, page.w, 30 + _name_height(content, page.w) + 12)
    verdict_h = text_height(verdict(content, doc.words), _VERDICT, page.w, 4)
    said = Box(page.x, head.bottom + 8, page.w, verdict_h)
    figures = Box(page.x, said.bottom + 10, page.w, _FIGURES_H)
    top = figures.bottom + 8
    width = page.split(2)[0].w
    spare = page.bottom - top - 2 * HEADING_H - 4 - max(_LISTS_LEAST, _wanted(content, width))
    height = plan_height(content, page.w, spare)
    plan = Box(page.x, top, page.w, height + HEADING_H if height else 0)
    left, right = page.below(plan.bottom + 4).split(2)
    room = left.h - HEADING_H
    row, shown = _bars_fitting(len(content.stations), room)
    lines, moves = fitting(content.moves, right.w, room)
    cut = reasons_cut(content.moves[:moves], right.w, lines)
    return FirstPage(head, said, figures, plan, left, right, row, shown, moves, lines, cut)


def draw_first_page(pen: Pen, parts: FirstPage, doc: Document) -> None:
    """Draw page one."""
    _head(pen, parts.head, doc)
    pen.paragraph(parts.verdict, verdict(doc.content, doc.words), _VERDICT, lines=4)
    _figures(pen, parts.figures, doc)
    if parts.plan.h:
        y = pen.heading(parts.plan, doc.words("plan.title"))
        draw_plans(pen, parts.plan.below(y), doc)
    _bars(pen, parts, doc)
    _moves(pen, parts, doc)


def _wanted(content: StoreContent, width: float) -> float:
    """Return the height in points that both lists need to be shown whole."""
    bars = BARS_KEY_H + BAR_ROW * len(content.stations)
    return max(bars, sum(move_height(move, width) for move in content.moves))


def _bars_fitting(stations: int, room: float) -> tuple[float, int]:
    """Return the height of a row and how many rows fit, a closing line kept if not all do."""
    for row in (BAR_ROW, TIGHT_BAR_ROW):
        if BARS_KEY_H + row * stations <= room:
            return row, stations
    shown = int((room - BARS_KEY_H - SMALL_MUTED.leading) // BAR_ROW)
    return BAR_ROW, max(0, min(shown, stations))


def _name_height(content: StoreContent, width: float) -> float:
    if fonts.width(content.store.name, _NAME.face, _NAME.size) <= width:
        return _NAME.leading
    return text_height(content.store.name, _LONG_NAME, width, 2)


def _head(pen: Pen, box: Box, doc: Document) -> None:
    store, words = doc.content.store, doc.words
    pen.text(box.x, box.y + 8, words("document.kind"), SMALL_MUTED)
    seen = words("document.as_seen", day=words.day(store.last_seen_on))
    pen.text(box.right, box.y + 8, seen, SMALL_MUTED, align=Align.RIGHT)
    pen.line((box.x, box.y + 14), (box.right, box.y + 14), style.INK, 1.2)
    fits = fonts.width(store.name, _NAME.face, _NAME.size) <= box.w
    y = pen.paragraph(box.below(box.y + 22), store.name, _NAME if fits else _LONG_NAME, lines=2)
    parts = [store.store, store.region, store.country, store.store_type]
    parts.append(words.counted("store.stations", doc.content.figures.stations))
    parts.append(words.counted("store.labels", doc.content.figures.labels))
    line = " · ".join(part for part in parts if part)
    pen.text(box.x, y + SMALL_MUTED.size, line, SMALL_MUTED, width=box.w)


def _figures(pen: Pen, box: Box, doc: Document) -> None:
    figures, words = doc.content.figures, doc.words
    before, after = figures.weakest_now, figures.weakest_planned
    weakest = words.change(before.value if before else None, after.value if after else None)
    settle = figures.findings[Severity.STOP] + figures.findings[Severity.FIX]
    moved = words("key.moved_value", moved=figures.stations_moved, all=figures.stations)
    cells = (
        (moved, "moved"),
        (words.change(figures.clear_air_now, figures.clear_air_planned), "clear_air"),
        (weakest, "weakest"),
        (words.counts(len(figures.shared_now), len(figures.shared_planned)), "shared"),
        (words.number(settle), "findings"),
    )
    for cell, (value, key) in zip(box.split(len(cells), 8.0), cells, strict=True):
        pen.text(cell.x, cell.y + 17, value, _FIGURE, width=cell.w)
        pen.paragraph(cell.below(cell.y + 21), words(f"key.{key}"), TINY_MUTED, lines=2)


def _bars(pen: Pen, parts: FirstPage, doc: Document) -> None:
    box, words, stations = parts.bars, doc.words, doc.content.stations
    hidden = len(stations) - parts.bars_shown
    y = pen.heading(box, words("bars.title"), words("bars.weakest") if hidden else "")
    if not stations:
        return
    if hidden:
        weakest = sorted(stations, key=lambda s: (s.clear_air_now is None, s.clear_air_now or 0))
        stations = tuple(weakest[: parts.bars_shown])
    y = draw_bars(pen, box.below(y), stations, doc, parts.bar_row)
    if hidden:
        text = words.counted("more.page", hidden, page=doc.pages["stations"])
        pen.text(box.x, y + SMALL_MUTED.size, text, SMALL_MUTED)


def _moves(pen: Pen, parts: FirstPage, doc: Document) -> None:
    box, words, moves = parts.moves, doc.words, doc.content.moves
    y = pen.heading(box, words("moves.title" if moves else "moves.none_title"))
    if not moves:
        draw_no_moves(pen, box.below(y), doc)
        return
    for move in moves[: parts.moves_shown]:
        y = draw_move(pen, box.below(y), move, doc, parts.reason_lines)
    if hidden := len(moves) - parts.moves_shown:
        text = words.counted("more.page", hidden, page=doc.pages["moves"])
    elif parts.reasons_cut:
        text = words("more.reasons", page=doc.pages["moves"])
    else:
        return
    pen.text(box.x, y + SMALL_MUTED.size, text, SMALL_MUTED)
