"""The pages of a review: five questions on the first, then a row for every store or region."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import inf
from urllib.parse import quote

from pipeline.effect.verdict import Word
from pipeline.report.kit import style
from pipeline.report.kit.booklet import (
    Block,
    Leaf,
    block_pages,
    booklet,
    draw_blocks,
    draw_kind,
    draw_name,
    page_box,
)
from pipeline.report.kit.lists import draw_heading
from pipeline.report.kit.pen import (
    HEADING_H,
    LEAD,
    SMALL,
    SMALL_MUTED,
    SMALL_STRONG,
    TINY,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    Type,
    wrapped,
)
from pipeline.report.kit.style import Face
from pipeline.report.kit.tags import Role
from pipeline.report.region.answer_columns import COUNT, GRAVE, draw_asked
from pipeline.report.region.answers import (
    asked,
    named,
    next_step,
    note_asked,
    nothing_to_change,
    verdict,
)
from pipeline.report.region.chain import draw_multiples, region_rows
from pipeline.report.region.content import ChangeProgress, RegionContent, StoreLine
from pipeline.report.region.needed import needed_rows, scan_rows
from pipeline.report.region.pictures import (
    draw_helping,
    draw_progress,
    draw_run_chart,
    draw_strip,
    draw_time,
    progress_box,
    standing_mark,
)
from pipeline.report.region.proof import basis_rows, gains, why, word
from pipeline.wording import NOTHING, Wording

_VERDICTS = {Word.ROLL_ON: COUNT, Word.STOP: GRAVE, Word.NOT_YET: LEAD}
_PANELS_H, _BARE_H, _CHART_H = 168.0, 90.0, 84.0
_VERDICT_H, _FIGURES_H = 48.0, 72.0
_STRIP_H, _STRIP_MOST = 104.0, 210.0
_GAPS = 12.0 + 8.0 + 10.0
_ROW, _HEADINGS_H, _ROW_LINES = 15.0, 26.0, 4
_WORST = 10  # rows of a list at least, where not all have room
_LINK = Type(style.SMALL, Face.STRONG, style.PLANNED)
_STOP = Type(style.SMALL, Face.STRONG, style.ALERT)
# The columns of the rows by key, with their widths in points; the last gets what is left.
_WIDTHS = {
    "standing": 72, "store": 104, "changes": 64, "clear_air": 54, "settle": 32, "astray": 48,
    "next_work": 0,
}  # fmt: skip
_FIGURES = ("clear_air", "settle", "astray")  # aligned to the right
_INDENT = 8.0  # of the last column, clear of the figures before it
_LINKS_W = 66.0


@dataclass(frozen=True, slots=True)
class FileLinks:
    """A store's files, as addresses relative to the review."""

    workbook: str
    summary: str


def links_of(folder: str, workbook: str, summary: str) -> FileLinks:
    """Return the relative addresses (RFC 3986) of the two files in a store's folder."""
    return FileLinks(f"{quote(folder)}/{quote(workbook)}", f"{quote(folder)}/{quote(summary)}")


def region_pdf(content: RegionContent, links: Sequence[FileLinks], words: Wording) -> bytes:
    """Return a review as PDF; the same content gives the same bytes."""
    size = style.page_size(content.country)

    def first(pen: Pen, page: Box) -> None:
        _draw_first(pen, page, content, words)

    page = page_box(size)
    crowded = len(content.stores) * _ROW > page.h
    pages = block_pages(_blocks(content, links, page, words, short=crowded), page.h)
    if len(pages) > 1 and not crowded:
        pages = block_pages(_blocks(content, links, page, words, short=True), page.h)
    leaves = [Leaf(first), *(Leaf(draw_blocks(parts)) for parts in pages)]
    title, foot = content.titled(words), content.named(words)
    return booklet(
        leaves, size, words, title=title, foot=foot, seal=content.seal, inputs=content.inputs
    )


def _blocks(
    content: RegionContent,
    links: Sequence[FileLinks],
    page: Box,
    words: Wording,
    *,
    short: bool = False,
) -> list[Block]:
    """Return the lists after page one; `short` ones fit one page and say what the workbook has."""
    short = short or bool(content.parts)
    needed = needed_rows(content, page.w, words)
    scans = scan_rows(content, page.w, words, None if content.parts or not short else _WORST)
    rows = region_rows(content, page.w, words) if content.parts else None
    others = [block for block in (rows, needed, scans) if block and block.heights]
    gaps = (len(others) + (1 if rows else 2)) * HEADING_H + _GAPS
    room = page.h - gaps - sum(sum(block.heights) + block.lead for block in others)
    if rows is None:
        told = sum(basis_rows(content, page.w, words, inf if short else None).heights)
        rows = _store_rows(content, links, page.w, words, room - told if short else None)
        room -= sum(rows.heights) + rows.lead
    basis = basis_rows(content, page.w, words, room if short else None)
    return [block for block in (rows, needed, scans, basis) if block.heights]


def _draw_first(pen: Pen, page: Box, content: RegionContent, words: Wording) -> None:
    """Draw page one: what is asked of whom, how far the rollout is, whether it helps, where."""
    y = _head(pen, page, content, words)
    y = pen.paragraph(page.below(y + 8), verdict(content, words), LEAD, lines=6) + 10
    panels_h = _panels_h(content)
    room = page.bottom - y - panels_h - _STRIP_H - _GAPS
    y = draw_asked(pen, Box(page.x, y, page.w, room), asked(content, words), words)
    left, right = Box(page.x, y + 8, page.w, panels_h).split(2)
    _how_far(pen, left, content, words)
    _helping(pen, right, content, words)
    box = page.below(left.bottom + 10)
    if content.parts:
        top = pen.heading(box, words("chain.charts"), words("chain.charts_note"))
        draw_multiples(pen, box.below(top), content.parts, words)
    else:
        _strip(pen, Box(box.x, box.y, box.w, min(box.h, _STRIP_MOST)), content, words)


def _strip(pen: Pen, box: Box, content: RegionContent, words: Wording) -> None:
    unknown = [store.store for store in content.stores if store.clear_air_now is None]
    note = words("review.strip_note")
    if unknown and len(unknown) < len(content.stores):
        note = words("review.strip_unknown", note=note, stores=named(words, unknown))
    top = pen.heading(box, words("review.strip_title"), note)
    draw_strip(pen, box.below(top), content, words)


def _panels_h(content: RegionContent) -> float:
    """Return the height of the first two answers: a course, a verdict and its figures take more."""
    if not content.steps:
        return _PANELS_H if content.clear_air(planned=False) is not None else _BARE_H
    if content.proof is None:
        return _PANELS_H
    judged = any(line.found is not None for line in content.proof.lines)
    return _PANELS_H + (_FIGURES_H if judged else _VERDICT_H)


def _head(pen: Pen, page: Box, content: RegionContent, words: Wording) -> float:
    day = words("review.as_of", day=words.day(content.as_of))
    draw_kind(pen, page, words("chain.kind" if content.parts else "review.kind"), day)
    opening = sum(s.to_install for s in content.stores)
    parts = (
        *([words.counted("chain.regions", len(content.parts))] if content.parts else []),
        words.counted("review.stores", len(content.stores)),
        words.counted("store.stations", sum(s.stations for s in content.stores)),
        *([words.counted("store.to_install", opening)] if opening else []),
        words.counted("store.labels", sum(s.labels for s in content.stores)),
    )
    return draw_name(pen, page, content.named(words), parts)


def _how_far(pen: Pen, box: Box, content: RegionContent, words: Wording) -> None:
    """Draw how far the changes are, and their course; where none is, the chart of updates."""
    y = pen.heading(box, words("question.far"))
    if content.changes:
        y = draw_progress(pen, box.below(y), content, words)
        draw_time(pen, box.below(y + 4), content, words)
    else:
        pen.paragraph(box.below(y), nothing_to_change(content, words), SMALL_MUTED, lines=3)
    if not content.steps and content.proof is not None and content.proof.chart is not None:
        draw_run_chart(pen, box.below(box.bottom - _CHART_H), content.proof.chart, words)


def _helping(pen: Pen, box: Box, content: RegionContent, words: Wording) -> None:
    y = pen.heading(box, words("question.helping"))
    y = _verdict(pen, box.below(y), content, words)
    y = draw_helping(pen, box.below(y), content, words)
    if content.steps and content.proof is not None and content.proof.chart is not None:
        draw_run_chart(pen, box.below(y + 6), content.proof.chart, words)
        return
    now, planned = content.clear_air(planned=False), content.clear_air(planned=True)
    if now is None:
        return
    if content.promises:
        key = "review.whole_region_now" if planned is None else "review.whole_region"
        text = words(key, now=words.percent(now), planned=words.percent(planned))
        y = pen.paragraph(box.below(y + 6), text, SMALL, lines=3)
    pen.paragraph(box.below(y + 4), words("reading.clear_air"), TINY_MUTED, lines=4)


def _verdict(pen: Pen, box: Box, content: RegionContent, words: Wording) -> float:
    """Draw the verdict on the rollout, what it rests on, and each effect; return the y below."""
    proof = content.proof
    if proof is None:
        return box.y
    y = pen.paragraph(box, word(proof, words), _VERDICTS[proof.verdict.word], lines=1)
    y = pen.paragraph(box.below(y + 1), why(proof, words), SMALL, lines=5)
    for text in gains(proof, words):
        y = pen.paragraph(box.below(y + 1), text, SMALL_STRONG, lines=2)
    if content.chain is not None:
        text = words("proof.chain_word", word=word(content.chain, words))
        y = pen.paragraph(box.below(y + 1), text, SMALL_MUTED, lines=1)
    return y + 4


def _store_rows(
    content: RegionContent,
    links: Sequence[FileLinks],
    width: float,
    words: Wording,
    room: float | None,
) -> Block:
    """Return a row for every store, linked to its files; with a height given the worst only."""
    stores = list(zip(content.stores, links, strict=True))
    note = note_asked(content, words, ("review.stores_note", "review.stores_note_read"))
    if room is not None and len(stores) * _ROW > room - _HEADINGS_H:
        stores = sorted(stores, key=lambda one: _grave(one[0]))
        most = max(_WORST, int((room - _HEADINGS_H) // _ROW))
        ends = accumulate(_row_height(store, width, words) for store, _ in stores[:most])
        shown = max(_WORST, sum(end <= room - _HEADINGS_H for end in ends))
        more = words.counted("more.workbook", len(stores) - shown)
        note = note_asked(
            content, words, ("review.worst_note", "review.worst_note_read"), more=more
        )
        stores = stores[:shown]
    heights = tuple(_row_height(store, width, words) for store, _ in stores)

    def draw(pen: Pen, box: Box, items: Sequence[int]) -> None:
        with pen.part(Role.TABLE):
            _headings(pen, box, words)
            y = box.y + _HEADINGS_H
            for i in items:
                with pen.part(Role.ROW):
                    _row(pen, Box(box.x, y, box.w, heights[i]), *stores[i], words)
                y += heights[i]

    return Block("stores", words("review.stores_title"), 1, _HEADINGS_H, heights, draw, note)


def _row_height(store: StoreLine, width: float, words: Wording) -> float:
    """Return the height of a store's row in points: its name, or why it has no night, may wrap."""
    name, last = _name_box(store, Box(0, 0, width, 0), words)
    lines = max(
        len(wrapped(store.name, SMALL, name.w, _ROW_LINES)),
        len(wrapped(next_step(store, words), TINY, last.w, _ROW_LINES)),
    )
    return _ROW + SMALL.leading * (max(1, lines) - 1)


def _name_box(store: StoreLine, box: Box, words: Wording) -> tuple[Box, Box]:
    """Return where a row has the name of its store, and its next night or why there is none."""
    cells = _cells(box, words)
    name, last = cells["store"], cells["next_work"]
    used = min(name.w - 24, SMALL_STRONG.width(store.store) + 5)
    return (
        Box(name.x + used, box.y + 2, name.w - used - 6, 0),
        Box(last.x + _INDENT, box.y + 3, last.w - 10, 0),
    )


def _grave(store: StoreLine) -> tuple[float, ...]:
    """Return what a store's place among the worst goes by: stops, failures, lateness, air."""
    air = 1.0 if store.clear_air_now is None else store.clear_air_now
    return (-store.stop, -store.failed, -store.overdue, -store.fix, air)


def _cells(box: Box, words: Wording) -> Mapping[str, Box]:
    """Return where each column of a row is."""
    links_w = sum(_LINK.width(words(f"link.{key}")) + _INDENT for key in ("pdf", "xlsx"))
    cells, x = {}, box.x
    for key, width in _WIDTHS.items():
        w = width or box.right - x - links_w
        cells[key] = Box(x, box.y, w, box.h)
        x += w
    return cells


def _headings(pen: Pen, box: Box, words: Wording) -> None:
    with pen.part(Role.ROW):
        for key, cell in _cells(box, words).items():
            at, align = cell.x + (_INDENT if key == "next_work" else 0.0), Align.LEFT
            if key in _FIGURES:
                at, align = cell.right - 4, Align.RIGHT
            draw_heading(pen, (at, box.y + 2), words(f"row.{key}"), cell.w - 6, align)
        draw_heading(pen, (box.right, box.y + 2), words("row.files"), _LINKS_W, Align.RIGHT)
    pen.line((box.x, box.y + 20), (box.right, box.y + 20), style.INK, 0.7)


def _row(pen: Pen, box: Box, store: StoreLine, files: FileLinks, words: Wording) -> None:
    base = box.y + 9.8
    cells = _cells(box, words)
    with pen.part(Role.CELL):
        standing_mark(pen, (box.x + 4, base - 2.8), store.standing)
        pen.text(box.x + 12, base, words(f"standing.{store.standing.value}"), TINY, width=58)
    name, last = _name_box(store, box, words)
    with pen.part(Role.SIDE):
        at = cells["store"].x
        pen.text(at, base, store.store, SMALL_STRONG, width=name.x - at - 3)
        pen.paragraph(name, store.name, SMALL, lines=_ROW_LINES)
    with pen.part(Role.CELL):
        _changes(pen, cells["changes"], store, words, base)
    figures = {
        "clear_air": words.change(store.clear_air_now, store.clear_air_planned),
        "settle": words.number(store.stop + store.fix),
        "astray": words.number(store.astray),
    }
    for key, text in figures.items():
        with pen.part(Role.CELL):
            pen.text(cells[key].right - 4, base, text, SMALL, align=Align.RIGHT)
            if key == "settle" and store.stop:
                pen.text(cells[key].x + 2, base, "!", _STOP)
    with pen.part(Role.CELL):
        pen.paragraph(last, next_step(store, words), TINY, lines=_ROW_LINES)
    with pen.part(Role.CELL):
        _links(pen, box, store, files, words)
    pen.line((box.x, box.bottom), (box.right, box.bottom), style.HAIRLINE, 0.3)


def _changes(pen: Pen, cell: Box, store: StoreLine, words: Wording, base: float) -> None:
    if not store.changes:
        pen.text(cell.x, base, NOTHING, TINY_MUTED)
        return
    text = words("review.done_of", done=store.done, all=store.changes)
    pen.text(cell.x, base, text, SMALL, width=34)
    x, room = cell.x + 36, cell.w - 42
    for progress in ChangeProgress:
        part = room * store.count(progress) / store.changes
        if part:
            progress_box(pen, Box(x, cell.y + 3.5, part, 7), progress)
            x += part


def _links(pen: Pen, box: Box, store: StoreLine, files: FileLinks, words: Wording) -> None:
    x, base = box.right, box.y + 9.8
    for key, target in (("pdf", files.summary), ("xlsx", files.workbook)):
        text = words(f"link.{key}")
        length = _LINK.width(text)
        area = (x - length, pen.height - base - 2, x, pen.height - base + 8)
        with pen.part(Role.LINK):
            pen.text(x, base, text, _LINK, align=Align.RIGHT)
            pen.tags.link(target, area, f"{store.store} {store.name}: {text}")
        x -= length + 8
