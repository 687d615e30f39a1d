"""The printed summary: two pages a store, and further ones for lists that do not fit."""

from collections.abc import Sequence
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
from pipeline.report.kit.pen import (
    HEADING_H,
    LEAD,
    NAME,
    SMALL_MUTED,
    STRONG,
    Box,
    Pen,
    Type,
    text_height,
)
from pipeline.report.kit.style import Face
from pipeline.report.kit.tags import Role
from pipeline.report.store.air import (
    AIR_ROW,
)
from pipeline.report.store.cards import (
    BAR_ROW,
    BAR_ROWS,
    BARS_KEY_H,
    CARD_GAP,
    FOOT_GAP,
    FirstPage,
    PlacedCard,
    bars_fitting,
    draw_bars,
    draw_foot,
    foot_height,
    left_cards,
    left_over,
    right_cards,
    stacked,
    weakest_first,
)
from pipeline.report.store.commission import commission_block
from pipeline.report.store.content import (
    Document,
    PlannedStation,
    StoreContent,
)
from pipeline.report.store.crowded import (
    air_h,
    crowded,
    draw_moves_across,
    draw_shown_air,
)
from pipeline.report.store.floor_plan import (
    draw_plans,
    drawn_width,
    may_stand_above,
    plan_height,
)
from pipeline.report.store.lists import (
    behind_block,
    draw_held,
    draw_move,
    draw_no_moves,
    fitting,
    held_height,
    move_height,
    no_moves_height,
)
from pipeline.report.store.verdict import across_floors, asked, foot_note, short_names, verdict
from pipeline.wording import wording

_LONG_NAME = Type(13.0, Face.STRONG)
_FIGURES_H, _ASK_GAP = 40.0, 3.0
_ASK_H = STRONG.leading + _ASK_GAP  # at the head of page two
_BLOCKS_GAP = 12.0
_ON_GAP = CARD_GAP + HEADING_H  # above changes that go on below the bars
_REASONS_LEAST = 60.0  # points for why nothing changes
_LISTS_LEAST = 150.0  # points kept for the two lists of page one


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
        foot=foot_note(content, words),
        seal=content.seal,
        inputs=content.inputs,
        subject=words("workbook.subject"),
    )


def _leaves(doc: Document, page: Box) -> list[Leaf]:
    """Return the pages; the first two say where their lists go on."""
    first = _arrange(doc, page)
    goes_on: dict[str, int] = {}
    begun_h = _second(first, doc, page).bottom - page.y + _BLOCKS_GAP
    begun, *further = block_pages(_blocks(doc, first, page, cautions=False), page.h, begun_h)
    if further:  # which the foot of page two is no longer in sight of
        blocks = _blocks(doc, first, page, cautions=True)
        begun, *further = block_pages(blocks, page.h, begun_h)
    for number, parts in enumerate([begun, *further], start=2):
        for part in parts:
            goes_on.setdefault(part.block.name, number)
    doc = replace(doc, pages=goes_on)

    def draw_second(pen: Pen, box: Box) -> None:
        _draw_second(pen, box, first, doc)
        draw_blocks(begun)(pen, box)

    return [
        Leaf(lambda pen, _: _draw_first(pen, first, doc), doc.words("document.first_page")),
        Leaf(draw_second, doc.words("document.second_page")),
        *(Leaf(draw_blocks(parts), parts[0].block.title) for parts in further),
    ]


def _arrange(doc: Document, page: Box) -> FirstPage:
    """Lay out page one; its plans stand one above the other if that fills both pages better."""
    beside = _arranged(doc, page)
    if not beside.holds(doc.content):
        tight = _arranged(doc, page, tight=True)
        if tight.holds(doc.content):
            return tight
        rows = len(_air_rows(beside, doc, page))
        return beside if rows == len(doc.content.stations) else crowded(doc, page, _top(doc, page))
    if not may_stand_above(doc.content):
        return beside
    above = _arranged(doc, page, above=True)
    wide, wider = (
        drawn_width(doc.content, one.plan.w, one.plan.h - HEADING_H, above=one.above)
        for one in (beside, above)
    )
    whole = above.holds(doc.content) and _second(above, doc, page).whole
    return above if whole and wider > wide else beside


def _arranged(doc: Document, page: Box, *, above: bool = False, tight: bool = False) -> FirstPage:
    """Lay out page one; the floor plan gets what the lists do not need."""
    content = doc.content
    head, said, figures = _top(doc, page)
    top = figures.bottom + 5
    width = page.split(2)[0].w
    lists = _wanted(doc, width) if above else max(_LISTS_LEAST, _wanted(doc, width))
    spare = page.bottom - top - 2 * HEADING_H - 4 - lists
    height = plan_height(content, page.w, spare, above=above, tight=tight)
    plan = Box(page.x, top, page.w, height + HEADING_H if height else 0)
    left, right = page.below(plan.bottom + 4).split(2)
    room = left.h - HEADING_H
    row, shown, moves, on = _listed(doc, right.w, room)
    first = FirstPage(head, said, figures, plan, left, right, row, shown, moves, on, above=above)
    return _with_cards(first, doc)


def _top(doc: Document, page: Box) -> tuple[Box, Box, Box]:
    """Return where the head, the verdict and the key figures stand."""
    content = doc.content
    ask_h = _ASK_GAP + text_height(asked(content, doc.words), STRONG, page.w, 2)
    head = Box(page.x, page.y, page.w, 42 + _name_height(content, page.w) + ask_h)
    verdict_h = text_height(verdict(content, doc.words), LEAD, page.w, 4)
    said = Box(page.x, head.bottom + 6, page.w, verdict_h)
    return head, said, Box(page.x, said.bottom + 7, page.w, _FIGURES_H)


def _listed(doc: Document, width: float, room: float) -> tuple[float, int, int, int]:
    """Return the height of a bar, how many bars, changes beside and below them fit into a room.

    Changes go on below the bars, tight ones if need be, where that makes room for all.
    """
    row, shown = bars_fitting(len(doc.content.stations), room)
    beside = room - held_height(doc, width)
    for one in (row, min(row, BAR_ROWS[-1])):
        below = room - BARS_KEY_H - one * shown - _ON_GAP
        moves, on = fitting(doc.content.moves, width, beside, below)
        if on:
            return one, shown, moves, on
    return row, shown, moves, 0


def _with_cards(first: FirstPage, doc: Document) -> FirstPage:
    """Let page one take what else it has room for below its two lists."""
    content, left, right = doc.content, first.bars, first.moves
    if not first.holds(content):
        return first
    bars = BARS_KEY_H + first.bar_row * len(content.stations)
    if not content.stations:
        bars = text_height(doc.words("empty.stations"), SMALL_MUTED, left.w)
    heights = [move_height(move, right.w) for move in content.moves]
    bars += (_ON_GAP + sum(heights[first.moves_shown :])) * bool(first.moves_left)
    moves = sum(heights[: first.moves_shown])
    moves = (moves or no_moves_height(doc, right.w)) + held_height(doc, right.w)
    own, others = left_cards(doc, left.w), right_cards(doc, right.w)
    room = right.h - HEADING_H - own[0].height - 2 * CARD_GAP
    if not content.moves and bars > room and room > _REASONS_LEAST:
        own, others, moves = own[1:], (own[0], *others), min(moves, room)  # reasons make way
    columns = ((left, bars, own), (right, moves, others))
    placed, low, whole = [], 0.0, True
    for box, used, cards in columns:
        y = box.y + HEADING_H + used + CARD_GAP
        some = stacked(cards, box.below(y))
        whole = whole and len(some) == len(cards)
        low = max(low, some[-1].box.bottom if some else y)
        placed += some
    height = foot_height(doc.words, first.head.w)
    fits = whole and low + CARD_GAP + height <= left.bottom
    foot = Box(first.head.x, left.bottom - height, first.head.w, height) if fits else None
    return replace(first, cards=tuple(placed), foot=foot)


def _draw_first(pen: Pen, parts: FirstPage, doc: Document) -> None:
    """Draw page one."""
    _head(pen, parts.head, doc)
    pen.paragraph(parts.verdict, verdict(doc.content, doc.words), LEAD, lines=4)
    _figures(pen, parts.figures, doc)
    if parts.plan.h:
        y = pen.heading(parts.plan, doc.words("plan.title"), across_floors(doc.content, doc.words))
        draw_plans(pen, parts.plan.below(y), doc, above=parts.above)
    if parts.crowded:
        draw_moves_across(pen, parts, doc)
    else:
        _bars(pen, parts, doc)
        _moves(pen, parts, doc)
    for placed in parts.cards:
        placed.card.draw(pen, placed.box)
    if parts.foot is not None:
        draw_foot(pen, parts.foot, doc.words)


def _wanted(doc: Document, width: float) -> float:
    """Return the height in points at which both lists are shown whole."""
    content = doc.content
    bars = BARS_KEY_H + BAR_ROW * len(content.stations)
    moves = sum(move_height(move, width) for move in content.moves)
    return max(bars, held_height(doc, width) + moves)


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
    y += SMALL_MUTED.leading + _ASK_GAP
    pen.paragraph(box.below(y), asked(doc.content, words), STRONG, lines=2)


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


def _bars(pen: Pen, parts: FirstPage, doc: Document) -> None:
    box, words, stations = parts.bars, doc.words, doc.content.stations
    hidden = len(stations) - parts.bars_shown
    y = pen.heading(box, words("bars.title"), words("bars.weakest") if hidden else "")
    if not stations:
        pen.paragraph(box.below(y), words("empty.stations"), SMALL_MUTED)
        return
    if hidden:
        stations = tuple(weakest_first(stations)[: parts.bars_shown])
    y = draw_bars(pen, box.below(y), stations, doc, parts.bar_row)
    if hidden:
        text = words.counted("more.page", hidden, page=2)
        pen.text(box.x, y + SMALL_MUTED.size, text, SMALL_MUTED)


def _moves(pen: Pen, parts: FirstPage, doc: Document) -> None:
    box, words, moves = parts.moves, doc.words, doc.content.moves
    y = pen.heading(box, words("moves.title" if moves else "moves.none_title"))
    y = draw_held(pen, box.below(y), doc)
    if not moves:
        below = min((p.box.y for p in parts.cards if p.box.x == box.x), default=box.bottom)
        draw_no_moves(pen, replace(box, y=y, h=below - y), doc)
        return
    for move in moves[: parts.moves_shown]:
        y = draw_move(pen, box.below(y), move, doc)
    if parts.moves_left:
        y = parts.bars.y + HEADING_H + BARS_KEY_H + parts.bar_row * parts.bars_shown + CARD_GAP
        y = pen.heading(parts.bars.below(y), words("moves.goes_on"))
        for move in moves[parts.moves_shown :]:
            y = draw_move(pen, parts.bars.below(y), move, doc)
    elif hidden := len(moves) - parts.moves_shown:
        text = words.counted("more.page", hidden, page=doc.pages["moves"])
        pen.text(box.x, y + SMALL_MUTED.size, text, SMALL_MUTED)


def _air_rows(first: FirstPage, doc: Document, page: Box) -> Sequence[PlannedStation]:
    """Return the stations drawn on page two: all where there is room, else those to watch."""
    stations = doc.content.stations
    width = page.split(2)[0].w
    columns = (left_cards(doc, width), right_cards(doc, width))
    middle = max(
        sum(card.least + CARD_GAP for card in cards if first.lacks(card.name)) for cards in columns
    )
    room = page.h - foot_height(doc.words, page.w) - FOOT_GAP - middle - HEADING_H - _ASK_H
    rows = next(n for n in range(len(stations), -1, -1) if air_h(first, doc, n) <= room or not n)
    if rows == len(stations):
        return stations
    rows = next(n for n in range(rows, -1, -1) if air_h(first, doc, n) + AIR_ROW <= room or not n)
    return sorted(weakest_first(stations), key=lambda one: not one.moved)[:rows]


@dataclass(frozen=True, slots=True)
class _SecondPage:
    """What page two draws below the air, and down to where."""

    cards: Sequence[PlacedCard]
    foot: Box | None
    bottom: float
    whole: bool  # no card makes do with less than it wants


def _second(first: FirstPage, doc: Document, page: Box) -> _SecondPage:
    """Lay out page two below the air: the cards page one has not taken, then the foot."""
    shown = _air_rows(first, doc, page)
    note = AIR_ROW if len(shown) < len(doc.content.stations) else 0.0
    y = page.y + _ASK_H + HEADING_H + 1 + air_h(first, doc, len(shown)) + note
    foot_h = 0.0 if first.foot else FOOT_GAP + foot_height(doc.words, page.w)
    room = Box(page.x, y + 8, page.w, page.bottom - foot_h - y - 8)
    cards = left_over(room, doc, {placed.card.name for placed in first.cards})
    low = max((placed.box.bottom for placed in cards), default=y)
    foot = Box(page.x, low + FOOT_GAP, page.w, foot_h - FOOT_GAP) if foot_h else None
    whole = all(placed.box.h >= placed.card.height for placed in cards)
    return _SecondPage(cards, foot, foot.bottom if foot else low, whole)


def _draw_second(pen: Pen, page: Box, first: FirstPage, doc: Document) -> None:
    """Draw page two: the air, and what page one has not taken."""
    words = doc.words
    shown, second = _air_rows(first, doc, page), _second(first, doc, page)
    ask = words("wanted.second" if first.foot is None else "wanted.second_read")
    y = pen.paragraph(page, ask, STRONG, lines=1) + _ASK_GAP
    y = draw_shown_air(pen, page.below(y), shown, first, doc)
    for placed in second.cards:
        placed.card.draw(pen, placed.box)
    if second.foot is not None:
        draw_foot(pen, second.foot, words)


def _blocks(doc: Document, first: FirstPage, page: Box, *, cautions: bool) -> list[Block]:
    """Return the lists that the first two pages cut short; sheets to work by say `cautions`."""
    content, words = doc.content, doc.words
    moves = content.moves

    def draw_some_moves(pen: Pen, box: Box, items: Sequence[int]) -> None:
        y = box.y
        for i in items:
            y = draw_move(pen, box.below(y), moves[i], doc)

    blocks, note = [], words("wanted.further")
    if first.moves_shown + first.moves_left < len(moves):
        width = page.split(2)[0].w
        heights = tuple(move_height(move, width) for move in moves)
        title = words("document.more_moves")
        blocks.append(Block("moves", title, 2, 0.0, heights, draw_some_moves, note))
    more = (behind_block(doc, page.w), commission_block(doc, page.w, cautions=cautions))
    return blocks + [one for one in more if one is not None]
