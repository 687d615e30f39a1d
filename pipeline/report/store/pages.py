"""The printed summary: two pages a store, and further ones for lists that do not fit."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from pipeline.records import Severity
from pipeline.report.kit import style
from pipeline.report.kit.booklet import (
    Block,
    Leaf,
    block_pages,
    booklet,
    draw_blocks,
    draw_figures,
    draw_kind,
    page_box,
)
from pipeline.report.kit.lists import draw_rows, list_height
from pipeline.report.kit.pen import (
    HEADING_H,
    LEAD,
    NAME,
    SMALL,
    SMALL_MUTED,
    SMALL_STRONG,
    TINY,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    Type,
    text_height,
)
from pipeline.report.kit.style import Face
from pipeline.report.kit.tags import Role
from pipeline.report.store.air import (
    AIR_ROW,
    BAR_ROW,
    BARS_KEY_H,
    TIGHT_BAR_ROW,
    air_height,
    draw_air,
    draw_bars,
)
from pipeline.report.store.asked_block import draw_asked, draw_weak, picture_height
from pipeline.report.store.commission import commission_block
from pipeline.report.store.content import (
    CAUTIONS,
    READING,
    Document,
    PlannedStation,
    StoreContent,
    short_names,
)
from pipeline.report.store.floor_plan import draw_plans, plan_height
from pipeline.report.store.followed import FEW, behind_list
from pipeline.report.store.lists import (
    draw_findings,
    draw_held,
    draw_labels,
    draw_move,
    draw_no_moves,
    fitting,
    held_height,
    move_height,
)
from pipeline.report.store.verdict import across_floors, evidence_lines, verdict
from pipeline.wording import Wording, wording

_FIRST_FURTHER = 3  # the number of the first further page
_LONG_NAME = Type(13.0, Face.STRONG)
_FIGURES_H = 40.0
_LISTS_LEAST = 150.0  # points kept for the two lists of page one
_AIR_ROWS = 14  # stations on page two; more get a page of their own
_SIGNING = ("proposed", "approved", "done")
_SIGNING_H, _ITEM_GAP, _ITEM_INDENT = 47.0, 2.0, 8.0


def summary(content: StoreContent) -> bytes:
    """Return the summary of one store as PDF; the same content gives the same bytes."""
    words, store = wording(content.store.country), content.store
    size = style.page_size(store.country)
    names = short_names([station.station for station in content.stations])
    return booklet(
        _leaves(Document(content, words, names), page_box(size)),
        size,
        words,
        title=words("document.title", store=store.store, name=store.name),
        foot=_note(content, words),
        seal=content.seal,
        subject=words("workbook.subject"),
    )


def _leaves(doc: Document, page: Box) -> list[Leaf]:
    """Return the pages; the first two say where their lists go on."""
    first = _arrange(doc, page)
    further = block_pages(_blocks(doc, first, page), page.h)
    goes_on: dict[str, int] = {}
    for number, parts in enumerate(further, start=_FIRST_FURTHER):
        for part in parts:
            goes_on.setdefault(part.block.name, number)
    doc = replace(doc, pages=goes_on)
    return [
        Leaf(lambda pen, _: _draw_first(pen, first, doc), doc.words("document.first_page")),
        Leaf(lambda pen, box: _draw_second(pen, box, doc), doc.words("document.second_page")),
        *(Leaf(draw_blocks(parts), parts[0].block.title) for parts in further),
    ]


def _note(content: StoreContent, words: Wording) -> str:
    """Return the foot line: the store, and what was done about letters the typeface lacks."""
    printed = tuple(_printed(content))
    parts = [f"{content.store.store} · {content.store.name}"]
    if any(map(style.lacks, printed)):
        parts = [words("document.unknown_letters", mark=style.MISSING)]
    if any(map(style.borrows, printed)):
        parts.append(words("document.eastern_letters"))
    return "  ".join(parts)


def _printed(content: StoreContent) -> Iterator[str]:
    """Yield the printed texts that come from outside."""
    store = content.store
    yield from (store.name, store.store, store.region, store.store_type or "")
    for station in content.stations:
        yield from (station.station, station.name or "", station.reason or "")
    for move in content.moves:
        yield move.why
    for finding in content.findings:
        yield from (finding.subject, finding.detail, finding.excepted or "")


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


def _arrange(doc: Document, page: Box) -> FirstPage:
    """Lay out page one; the floor plan gets what the lists do not need."""
    content = doc.content
    head = Box(page.x, page.y, page.w, 30 + _name_height(content, page.w) + 12)
    verdict_h = text_height(verdict(content, doc.words), LEAD, page.w, 4)
    said = Box(page.x, head.bottom + 8, page.w, verdict_h)
    figures = Box(page.x, said.bottom + 10, page.w, _FIGURES_H)
    top = figures.bottom + 8
    width = page.split(2)[0].w
    spare = page.bottom - top - 2 * HEADING_H - 4 - max(_LISTS_LEAST, _wanted(doc, width))
    height = plan_height(content, page.w, spare)
    plan = Box(page.x, top, page.w, height + HEADING_H if height else 0)
    left, right = page.below(plan.bottom + 4).split(2)
    room = left.h - HEADING_H
    row, shown = _bars_fitting(len(content.stations), room)
    moves = fitting(content.moves, right.w, room - held_height(doc, right.w))
    return FirstPage(head, said, figures, plan, left, right, row, shown, moves)


def _draw_first(pen: Pen, parts: FirstPage, doc: Document) -> None:
    """Draw page one."""
    _head(pen, parts.head, doc)
    pen.paragraph(parts.verdict, verdict(doc.content, doc.words), LEAD, lines=4)
    _figures(pen, parts.figures, doc)
    if parts.plan.h:
        y = pen.heading(parts.plan, doc.words("plan.title"), across_floors(doc.content, doc.words))
        draw_plans(pen, parts.plan.below(y), doc)
    _bars(pen, parts, doc)
    _moves(pen, parts, doc)


def _wanted(doc: Document, width: float) -> float:
    """Return the height in points at which both lists are shown whole."""
    content = doc.content
    bars = BARS_KEY_H + BAR_ROW * len(content.stations)
    moves = sum(move_height(move, width) for move in content.moves)
    return max(bars, held_height(doc, width) + moves)


def _bars_fitting(stations: int, room: float) -> tuple[float, int]:
    """Return the row height and how many rows fit, with a closing line unless all do."""
    for row in (BAR_ROW, TIGHT_BAR_ROW):
        if BARS_KEY_H + row * stations <= room:
            return row, stations
    shown = int((room - BARS_KEY_H - SMALL_MUTED.leading) // BAR_ROW)
    return BAR_ROW, max(0, min(shown, stations))


def _name_height(content: StoreContent, width: float) -> float:
    if NAME.width(content.store.name) <= width:
        return NAME.leading
    return text_height(content.store.name, _LONG_NAME, width, 2)


def _head(pen: Pen, box: Box, doc: Document) -> None:
    store, words = doc.content.store, doc.words
    seen = words("document.as_seen", day=words.day(store.last_seen_on))
    draw_kind(pen, box, words("document.kind"), seen)
    fits = NAME.width(store.name) <= box.w
    kind, at = NAME if fits else _LONG_NAME, box.below(box.y + 22)
    y = pen.paragraph(at, store.name, kind, lines=2, role=Role.TITLE)
    parts = [store.store, store.region, store.country, store.store_type]
    parts.append(words.counted("store.stations", doc.content.figures.stations))
    if doc.content.figures.to_install:
        parts.append(words.counted("store.to_install", doc.content.figures.to_install))
    parts.append(words.counted("store.labels", doc.content.figures.labels))
    line = " · ".join(part for part in parts if part)
    pen.text(box.x, y + SMALL_MUTED.size, line, SMALL_MUTED, width=box.w)


def _figures(pen: Pen, box: Box, doc: Document) -> None:
    figures, words = doc.content.figures, doc.words
    before, after = figures.weakest_now, figures.weakest_planned
    weakest = words.change(before.value if before else None, after.value if after else None)
    settle = figures.findings[Severity.STOP] + figures.findings[Severity.FIX]
    moved = words("key.moved_value", moved=figures.stations_moved, all=figures.stations)
    opening = (words.number(figures.to_install), "to_install")
    cells = (
        (moved, "moved") if figures.stations or not figures.to_install else opening,
        (words.change(figures.clear_air_now, figures.clear_air_planned), "clear_air"),
        (weakest, "weakest"),
        (words.counts(len(figures.shared_now), len(figures.shared_planned)), "shared"),
        (words.number(settle), "findings"),
    )
    draw_figures(pen, box, [(value, words(f"key.{key}")) for value, key in cells])


def _weakest_first(stations: Sequence[PlannedStation]) -> list[PlannedStation]:
    return sorted(
        stations, key=lambda s: (s.clear_air_now is None, s.clear_air_now or 0, s.station)
    )


def _bars(pen: Pen, parts: FirstPage, doc: Document) -> None:
    box, words, stations = parts.bars, doc.words, doc.content.stations
    hidden = len(stations) - parts.bars_shown
    y = pen.heading(box, words("bars.title"), words("bars.weakest") if hidden else "")
    if not stations:
        return
    if hidden:
        stations = tuple(_weakest_first(stations)[: parts.bars_shown])
    y = draw_bars(pen, box.below(y), stations, doc, parts.bar_row)
    if hidden:
        text = words.counted("more.page", hidden, page=doc.pages["stations"])
        pen.text(box.x, y + SMALL_MUTED.size, text, SMALL_MUTED)


def _moves(pen: Pen, parts: FirstPage, doc: Document) -> None:
    box, words, moves = parts.moves, doc.words, doc.content.moves
    y = pen.heading(box, words("moves.title" if moves else "moves.none_title"))
    y = draw_held(pen, box.below(y), doc)
    if not moves:
        draw_no_moves(pen, box.below(y), doc)
        return
    for move in moves[: parts.moves_shown]:
        y = draw_move(pen, box.below(y), move, doc)
    if hidden := len(moves) - parts.moves_shown:
        text = words.counted("more.page", hidden, page=doc.pages["moves"])
        pen.text(box.x, y + SMALL_MUTED.size, text, SMALL_MUTED)


def _air_rows(content: StoreContent) -> Sequence[PlannedStation]:
    """Return the stations drawn on page two: all, or the weakest of many."""
    if len(content.stations) <= _AIR_ROWS:
        return content.stations
    fewer = 4 if content.asked.needed else 0  # which have to stand on this page
    return _weakest_first(content.stations)[: _AIR_ROWS - 2 - fewer]


def _draw_second(pen: Pen, page: Box, doc: Document) -> None:
    """Draw page two."""
    content, words = doc.content, doc.words
    shown = _air_rows(content)
    y = pen.heading(page, words("air.title"), words("air.note"))
    y = draw_air(pen, Box(page.x, y, page.w, air_height(len(shown))), shown, doc)
    if hidden := len(content.stations) - len(shown):
        rest = words.counted("more.page", hidden, page=doc.pages["air"])
        text = f"{words('bars.weakest')} {rest}"
        pen.text(page.x, y + TINY.size, text, TINY_MUTED)
        y += AIR_ROW
    foot_h = _foot_height(page, words)
    foot = Box(page.x, page.bottom - foot_h, page.w, foot_h)
    left, right = Box(page.x, y + 8, page.w, foot.y - y - 18).split(2)
    below = _evidence(pen, left, content, words)
    below = draw_asked(pen, left.below(below + 6), doc)
    draw_labels(pen, left.below(below), doc)
    picture_h = picture_height(doc)
    draw_findings(pen, replace(right, h=right.h - picture_h), content.findings, words)
    if picture_h:
        draw_weak(pen, right.below(right.bottom - picture_h + 4), doc)
    _foot(pen, foot, words)


def _evidence(pen: Pen, box: Box, content: StoreContent, words: Wording) -> float:
    blind = not (content.figures.measured or content.figures.inferred)
    y = pen.heading(box, words("evidence.title"), words("evidence.none") if blind else "")
    for label, value in evidence_lines(content, words):
        width = box.w * 0.39
        with pen.part(Role.TEXT):
            pen.text(box.x, y + SMALL.size, label, SMALL, width=box.w * 0.6)
            pen.text(box.right, y + SMALL.size, value, SMALL_STRONG, align=Align.RIGHT, width=width)
        y += SMALL.leading + 1
    return y


def _foot_height(page: Box, words: Wording) -> float:
    """Return the height of the tallest of the three columns at the foot of page two."""
    width = page.split(3)[0].w - _ITEM_INDENT
    columns = (("cautions", CAUTIONS), ("reading", READING))
    texts = [[words(f"{group}.{key}") for key in keys] for group, keys in columns]
    heights = [sum(text_height(t, TINY, width) + _ITEM_GAP for t in column) for column in texts]
    return HEADING_H + max(*heights, _SIGNING_H * len(_SIGNING))


def _foot(pen: Pen, box: Box, words: Wording) -> None:
    cautions, reading, signing = box.split(3)
    for column, group, keys in ((cautions, "cautions", CAUTIONS), (reading, "reading", READING)):
        y = pen.heading(column, words(f"{group}.title"))
        for key in keys:
            y = _item(pen, column.below(y), words(f"{group}.{key}"))
    y = pen.heading(signing, words("signoff.title"))
    for key in _SIGNING:
        pen.text(signing.x, y + TINY.size, words(f"signoff.{key}"), TINY)
        pen.line((signing.x, y + 34), (signing.right, y + 34), style.MUTED, 0.6)
        note = words("signoff.name_date")
        pen.text(signing.right, y + 42, note, TINY_MUTED, align=Align.RIGHT)
        y += _SIGNING_H


def _item(pen: Pen, box: Box, text: str) -> float:
    pen.line((box.x, box.y + 4.6), (box.x + 4, box.y + 4.6), style.MUTED, 0.9)
    indented = Box(box.x + _ITEM_INDENT, box.y, box.w - _ITEM_INDENT, box.h)
    return pen.paragraph(indented, text, TINY) + _ITEM_GAP


def _blocks(doc: Document, first: FirstPage, page: Box) -> list[Block]:
    """Return the lists that the first two pages cut short."""
    content, words = doc.content, doc.words
    stations, moves = content.stations, content.moves

    def draw_some_moves(pen: Pen, box: Box, items: Sequence[int]) -> None:
        y = box.y
        for i in items:
            y = draw_move(pen, box.below(y), moves[i], doc)

    def draw_some_bars(pen: Pen, box: Box, items: Sequence[int]) -> None:
        draw_bars(pen, box, [stations[i] for i in items], doc)

    def draw_some_air(pen: Pen, box: Box, items: Sequence[int]) -> None:
        draw_air(pen, box, [stations[i] for i in items], doc)

    blocks = []
    if first.moves_shown < len(moves):
        width = page.split(2)[0].w
        heights = tuple(move_height(move, width) for move in moves)
        title = words("document.more_moves")
        blocks.append(Block("moves", title, 2, 0.0, heights, draw_some_moves))
    if first.bars_shown < len(stations):
        heights, title = (BAR_ROW,) * len(stations), words("document.more_bars")
        blocks.append(Block("stations", title, 2, BARS_KEY_H, heights, draw_some_bars))
    if len(_air_rows(content)) < len(stations):
        heights, title = (AIR_ROW,) * len(stations), words("document.more_air")
        blocks.append(Block("air", title, 1, air_height(0), heights, draw_some_air))
    more = (_behind_block(doc, page.w), commission_block(doc, page.w))
    return blocks + [one for one in more if one is not None]


def _behind_block(doc: Document, width: float) -> Block | None:
    """Return the labels that did not follow as one item, since they fit a page; None if few."""
    if len(doc.content.behind) <= FEW:
        return None
    printed = behind_list(doc.content.behind, doc.words)

    def draw(pen: Pen, box: Box, _: Sequence[int]) -> None:
        with pen.part(Role.TABLE):
            draw_rows(pen, box, printed, 0, len(printed.rows))

    height = list_height(printed, width) - HEADING_H
    return Block("behind", printed.title, 1, 0.0, (height,), draw, printed.note)
