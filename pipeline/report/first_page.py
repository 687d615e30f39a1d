"""Page one: the verdict, who hears whom, clear air before and after, the changes in order."""

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.records import Severity
from pipeline.report import fonts, style
from pipeline.report.content import StoreContent
from pipeline.report.figures import BAR_ROW, draw_bars
from pipeline.report.floor_plan import draw_plans, plan_height
from pipeline.report.fonts import Face
from pipeline.report.move_list import draw_move, draw_no_moves, fitting, move_height
from pipeline.report.pen import (
    SMALL_MUTED,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    Type,
    text_height,
)
from pipeline.report.verdict import verdict
from pipeline.report.wording import Wording

_NAME = Type(style.TITLE, Face.STRONG)
_LONG_NAME = Type(13.0, Face.STRONG)
_VERDICT = Type(style.LEAD)
_FIGURE = Type(style.FIGURE, Face.LIGHT, style.PLANNED)
_FIGURES_H = 40.0
_HEADING_H = 20.0
_BARS_KEY_H = 11.0


@dataclass(frozen=True, slots=True)
class FirstPage:
    """Where the parts of page one stand, and how much of the lists fits."""

    head: Box
    verdict: Box
    figures: Box
    plan: Box
    bars: Box
    moves: Box
    bars_shown: int
    moves_shown: int


def arrange(content: StoreContent, words: Wording, page: Box) -> FirstPage:
    """Lay out page one."""
    head = Box(page.x, page.y, page.w, 30 + _name_height(content, page.w) + 12)
    verdict_h = text_height(verdict(content, words), _VERDICT, page.w, 4)
    said = Box(page.x, head.bottom + 8, page.w, verdict_h)
    figures = Box(page.x, said.bottom + 10, page.w, _FIGURES_H)
    height = plan_height(content)
    plan = Box(page.x, figures.bottom + 8, page.w, height + _HEADING_H if height else 0)
    left, right = page.below(plan.bottom + 4).split(2)
    room = left.h - _HEADING_H
    bars = int((room - _BARS_KEY_H) // BAR_ROW)
    if bars < len(content.stations):
        bars = max(0, int((room - _BARS_KEY_H - SMALL_MUTED.leading) // BAR_ROW))
    return FirstPage(
        head,
        said,
        figures,
        plan,
        left,
        right,
        min(bars, len(content.stations)),
        fitting(content.moves, right.w, room),
    )


def draw_first_page(  # noqa: PLR0913 - what is drawn, where, and on which pages the rest stands
    pen: Pen,
    parts: FirstPage,
    content: StoreContent,
    names: Mapping[str, str],
    words: Wording,
    more: Mapping[str, int],
) -> None:
    """Draw page one; `more` holds the pages on which lists go on, by list."""
    _head(pen, parts.head, content, words)
    pen.paragraph(parts.verdict, verdict(content, words), _VERDICT, lines=4)
    _figures(pen, parts.figures, content, words)
    if parts.plan.h:
        y = pen.heading(parts.plan, words("plan.title"))
        draw_plans(pen, parts.plan.below(y), content, names, words)
    _bars(pen, parts, content, names, words, more)
    _moves(pen, parts, content, names, words, more)


def _name_height(content: StoreContent, width: float) -> float:
    if fonts.width(content.store.name, _NAME.face, _NAME.size) <= width:
        return _NAME.leading
    return text_height(content.store.name, _LONG_NAME, width, 2)


def _head(pen: Pen, box: Box, content: StoreContent, words: Wording) -> None:
    store = content.store
    pen.text(box.x, box.y + 8, words("document.kind"), SMALL_MUTED)
    seen = words("document.as_seen", day=words.day(store.last_seen_on))
    pen.text(box.right, box.y + 8, seen, SMALL_MUTED, align=Align.RIGHT)
    pen.line(box.x, box.y + 14, box.right, box.y + 14, style.INK, 1.2)
    fits = fonts.width(store.name, _NAME.face, _NAME.size) <= box.w
    y = pen.paragraph(box.below(box.y + 22), store.name, _NAME if fits else _LONG_NAME, lines=2)
    parts = [store.store, store.region, store.country, store.store_type]
    parts.append(words.counted("store.stations", content.figures.stations))
    parts.append(words.counted("store.labels", content.figures.labels))
    line = " · ".join(part for part in parts if part)
    pen.text(box.x, y + SMALL_MUTED.size, line, SMALL_MUTED, width=box.w)


def _figures(pen: Pen, box: Box, content: StoreContent, words: Wording) -> None:
    figures = content.figures
    before, after = figures.weakest_now, figures.weakest_planned
    shared_now, shared_planned = len(figures.shared_now), len(figures.shared_planned)
    settle = figures.findings[Severity.STOP] + figures.findings[Severity.FIX]
    cells = (
        (
            words("key.moved_value", moved=figures.stations_moved, all=figures.stations),
            words("key.moved"),
        ),
        (
            words.change(figures.clear_air_now, figures.clear_air_planned),
            words("key.clear_air"),
        ),
        (
            words.change(before and before.value, after and after.value),
            words("key.weakest"),
        ),
        (words.counts(shared_now, shared_planned), words("key.shared")),
        (words.number(settle), words("key.findings")),
    )
    for cell, (value, caption) in zip(box.split(len(cells), 8.0), cells, strict=True):
        pen.text(cell.x, cell.y + 17, value, _FIGURE, width=cell.w)
        pen.paragraph(cell.below(cell.y + 21), caption, TINY_MUTED, lines=2)


def _bars(  # noqa: PLR0913 - as draw_first_page
    pen: Pen,
    parts: FirstPage,
    content: StoreContent,
    names: Mapping[str, str],
    words: Wording,
    more: Mapping[str, int],
) -> None:
    box = parts.bars
    hidden = len(content.stations) - parts.bars_shown
    y = pen.heading(box, words("bars.title"), words("bars.weakest") if hidden else "")
    if not content.stations:
        return
    shown = content.stations
    if hidden:
        weakest = sorted(shown, key=lambda s: (s.clear_air_now is None, s.clear_air_now or 0))
        shown = tuple(weakest[: parts.bars_shown])
    y = draw_bars(pen, box.below(y), shown, names, words)
    if hidden:
        text = words.counted("more.page", hidden, page=more["stations"])
        pen.text(box.x, y + SMALL_MUTED.size, text, SMALL_MUTED)


def _moves(  # noqa: PLR0913 - as draw_first_page
    pen: Pen,
    parts: FirstPage,
    content: StoreContent,
    names: Mapping[str, str],
    words: Wording,
    more: Mapping[str, int],
) -> None:
    box = parts.moves
    y = pen.heading(box, words("moves.title" if content.moves else "moves.none_title"))
    if not content.moves:
        draw_no_moves(pen, box.below(y), content, names, words)
        return
    for move in content.moves[: parts.moves_shown]:
        draw_move(pen, box.below(y), move, names, words)
        y += move_height(move, box.w)
    if hidden := len(content.moves) - parts.moves_shown:
        text = words.counted("more.page", hidden, page=more["moves"])
        pen.text(box.x, y + SMALL_MUTED.size, text, SMALL_MUTED)
