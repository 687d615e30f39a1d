"""Many stations on two pages: changes side by side, the air of the channels that matter."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.report.kit import style
from pipeline.report.kit.pen import (
    HEADING_H,
    SMALL,
    SMALL_MUTED,
    SMALL_STRONG,
    TINY,
    TINY_MUTED,
    TINY_STRONG,
    Align,
    Box,
    Pen,
)
from pipeline.report.kit.tags import Role
from pipeline.report.store.air import (
    AIR_LABEL_W,
    CHANNELS,
    LEGEND_H,
    TIGHT_AIR_ROW,
    WIFI_H,
    air_height,
    air_legend,
    air_names,
    air_rows,
    air_told,
    draw_air,
    draw_wifi,
)
from pipeline.report.store.cards import CARD_GAP, FirstPage, left_cards, right_cards, stacked
from pipeline.report.store.content import Document, PlannedMove, PlannedStation, StoreContent
from pipeline.report.store.floor_plan import plan_height
from pipeline.report.store.lists import (
    draw_held,
    draw_move,
    draw_no_moves,
    held_height,
    move_height,
    move_step,
    move_worth,
)

_INDENT, _GAP = 20.0, 4.0
_REASONS_LEAST = 60.0  # points for why nothing changes
_HALF_HEAD, _HALF_CELL, _HALF_CLEAR_W, _HALF_NAME_AT = 12.0, 16.4, 46.0, 54.0  # points
_HALF_CHANNELS = 6  # that leave room for names in half a page
MOVE_ROW = SMALL.leading  # points, of a change without its reason
FULL = -2  # columns: two, of changes with their reasons
_MOST_FULL = 150.0  # points that changes with their reasons may take in two columns


def crowded(doc: Document, page: Box, over: tuple[Box, Box, Box]) -> FirstPage:
    """Lay out page one of many stations: changes side by side; the air's table has the bars."""
    content, (head, said, figures) = doc.content, over
    top, (one, other) = figures.bottom + 5, page.split(2)
    listed, columns = halved(content.moves, page.w, doc)
    listed = listed if content.moves else _REASONS_LEAST
    listed += HEADING_H + held_height(doc, page.w)
    cards = (left_cards(doc, one.w)[:1], right_cards(doc, other.w)[:1])
    high = cards[0][0].height + CARD_GAP  # the evidence; findings where they fit beside it
    for kept in (high, 0.0):
        spare = page.bottom - top - HEADING_H - 4 - listed - kept - CARD_GAP
        height = plan_height(content, page.w, spare, tight=True)
        if height <= spare:
            break
    plan = Box(page.x, top, page.w, height + HEADING_H if height else 0)
    moves = page.below(plan.bottom + 4)
    moves = replace(moves, h=min(listed, moves.h))
    rows = int((moves.bottom - moves.y - HEADING_H - held_height(doc, page.w)) // MOVE_ROW)
    fits = listed <= page.bottom - moves.y
    shown = len(content.moves) if fits else abs(columns) * max(0, rows - 1)
    below = page.below(moves.bottom + CARD_GAP)
    placed = [
        placed
        for column, some in zip(below.split(2), cards, strict=True)
        for placed in (stacked(some, column) if kept else ())
    ]
    nothing = replace(page, h=0.0)
    return FirstPage(
        head, said, figures, plan, nothing, moves, 0.0, 0, shown, 0, placed, crowded=True
    )


def draw_moves_across(pen: Pen, parts: FirstPage, doc: Document) -> None:
    """Draw the changes in two columns, or why nothing changes."""
    box, words, moves = parts.moves, doc.words, doc.content.moves
    shown = moves[: parts.moves_shown]
    reasons = halved(shown, box.w, doc)[1] == FULL
    note = "" if reasons else words("moves.reasons", sheet=words("tab.moves"))
    y = pen.heading(box, words("moves.title" if moves else "moves.none_title"), note)
    y = draw_held(pen, box.below(y), doc)
    if not moves:
        draw_no_moves(pen, replace(box, y=y, h=box.bottom - y), doc)
        return
    draw_halves(pen, box.below(y), shown, doc)
    if hidden := len(moves) - len(shown):
        text = words.counted("more.page", hidden, page=doc.pages["moves"])
        pen.text(box.x, box.bottom - 3, text, SMALL_MUTED)


def halved(moves: Sequence[PlannedMove], width: float, doc: Document) -> tuple[float, int]:
    """Return the height of changes set side by side, and their columns: `FULL`, or of rows.

    Rows are a line each, without reasons; three columns where every row fits a third.
    """
    half, third = (Box(0, 0, width, 0).split(columns)[0].w for columns in (2, 3))
    parts = _split(moves, 2)
    full = max(sum(move_height(move, half) for move in part) for part in parts)
    if full <= _MOST_FULL:
        return full, FULL
    widest = max(
        SMALL_STRONG.width(move_step(move, doc))
        + SMALL_MUTED.width(move_worth(move, doc, short=True))
        for move in moves
    )
    columns = 3 if widest + _INDENT + 2 * _GAP <= third else 2
    return MOVE_ROW * len(_split(moves, columns)[0]), columns


def _split(moves: Sequence[PlannedMove], columns: int) -> list[Sequence[PlannedMove]]:
    """Return changes in so many columns, one after the other, about equally many in each."""
    each = -(-len(moves) // columns)
    return [moves[each * n : each * (n + 1)] for n in range(columns)]


def draw_halves(pen: Pen, box: Box, moves: Sequence[PlannedMove], doc: Document) -> None:
    """Draw changes side by side, with their reasons where there is room for all."""
    columns = halved(moves, box.w, doc)[1]
    parts = _split(moves, columns if columns != FULL else 2)
    for column, some in zip(box.split(len(parts)), parts, strict=True):
        if columns != FULL:
            if some:
                _draw_rows(pen, column, some, doc)
            continue
        y = column.y
        for move in some:
            y = draw_move(pen, column.below(y), move, doc)


def _draw_rows(pen: Pen, box: Box, moves: Sequence[PlannedMove], doc: Document) -> None:
    """Draw changes a line each: number, station and channels, what it brings."""
    with pen.part(Role.TABLE):
        for place, move in enumerate(moves):
            base, worth = box.y + place * MOVE_ROW + SMALL.size, move_worth(move, doc, short=True)
            room = box.w - _INDENT - SMALL_MUTED.width(worth) - _GAP
            with pen.part(Role.ROW):
                with pen.part(Role.SIDE):
                    pen.text(box.x, base, str(move.position), SMALL_MUTED)
                with pen.part(Role.CELL):
                    pen.text(box.x + _INDENT, base, move_step(move, doc), SMALL_STRONG, width=room)
                with pen.part(Role.CELL):
                    pen.text(box.right, base, worth, SMALL_MUTED, align=Align.RIGHT)


def in_halves(content: StoreContent) -> bool:
    """Tell whether the channels that matter are few enough to set stations in two columns."""
    return len(_that_matter(content)) <= _HALF_CHANNELS


def _that_matter(content: StoreContent) -> list[int]:
    """Return the channels permitted, in use or proposed."""
    used = {c for s in content.stations for c in (s.channel, s.final_channel) if c in CHANNELS}
    return sorted({*content.permitted, *(c for c in used if c is not None)})


def halves_height(rows: int) -> float:
    """Return the height of the picture of the air at so many stations in two columns, in points."""
    return WIFI_H + _HALF_HEAD + (rows + 1) // 2 * TIGHT_AIR_ROW + LEGEND_H


def draw_air_halves(pen: Pen, box: Box, stations: Sequence[PlannedStation], doc: Document) -> float:
    """Draw how busy the channels that matter are, stations in two columns; return the y below."""
    height, cut = halves_height(len(stations)), (len(stations) + 1) // 2
    grid = Box(box.x + AIR_LABEL_W, box.y, box.w - AIR_LABEL_W, height)
    with pen.picture(replace(box, h=height), air_told(stations, doc, clear=True)):
        draw_wifi(pen, box, grid, doc.content, doc.words)
        halves = box.below(box.y + WIFI_H).split(2)
        for half, some in zip(halves, (stations[:cut], stations[cut:]), strict=True):
            _half(pen, half, some, doc)
        air_legend(pen, Box(box.x, box.y + height - LEGEND_H, box.w, LEGEND_H), doc.words)
    return box.y + height


def _half(pen: Pen, box: Box, stations: Sequence[PlannedStation], doc: Document) -> None:
    """Draw one column of stations, with the numbers of its channels above."""
    channels, row = _that_matter(doc.content), TIGHT_AIR_ROW
    width = _HALF_CELL * len(channels)
    grid = Box(box.right - _HALF_CLEAR_W - width, box.y + _HALF_HEAD, width, 0)
    base = grid.y - 3.5
    for column, channel in zip(grid.split(len(channels), 0.0), channels, strict=True):
        middle = column.x + column.w / 2
        pen.text(middle, base, str(channel), TINY_STRONG, align=Align.CENTRE)
        if channel in doc.content.permitted:
            pen.line((middle - 5, base + 1.8), (middle + 5, base + 1.8), style.INK, 0.8)
    at = box.x + _HALF_NAME_AT
    air_names(pen, Box(at, grid.y, grid.x - at - 4, 0), box.right, stations, doc, row=row)
    air_rows(
        pen, grid, stations, doc,
        row=row, left=box.x, channels=channels, label_w=_HALF_NAME_AT - 2,
    )  # fmt: skip


def air_h(first: FirstPage, doc: Document, rows: int) -> float:
    """Return the height of the air of so many stations below that page one, in points."""
    halves = first.crowded and in_halves(doc.content)
    return halves_height(rows) if halves else air_height(rows)


def draw_shown_air(
    pen: Pen, box: Box, shown: Sequence[PlannedStation], first: FirstPage, doc: Document
) -> float:
    """Draw the air at some stations, and where the others are; return the y below."""
    content, words = doc.content, doc.words
    halves, sheet = first.crowded and in_halves(content), words("tab.channels")
    note = words("air.note_some", sheet=sheet) if halves else words("air.note")
    y = pen.heading(box, words("air.title"), note)
    where = Box(box.x, y, box.w, air_h(first, doc, len(shown)))
    if halves:
        y = draw_air_halves(pen, where, shown, doc)
    else:
        y = draw_air(pen, where, shown, doc, clear=first.bars_shown < len(content.stations))
    if hidden := len(content.stations) - len(shown):
        text = words.counted("air.others", hidden, sheet=sheet)
        pen.text(box.x, y + TINY.size, text, TINY_MUTED)
    return y
