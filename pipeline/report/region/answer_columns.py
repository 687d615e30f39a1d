"""What a review asks, drawn side by side: a column an answer, the longest over more of them."""

from collections.abc import Sequence

from pipeline.report.kit import style
from pipeline.report.kit.pen import (
    HEADING_H,
    SMALL,
    SMALL_MUTED,
    TINY_MUTED,
    Box,
    Pen,
    Type,
    text_height,
)
from pipeline.report.kit.style import Face
from pipeline.report.kit.tags import Role
from pipeline.report.region.answers import AnswerLine, AskedColumn
from pipeline.wording import Wording

COUNT = Type(style.LEAD, Face.STRONG, style.PLANNED)
GRAVE = Type(style.LEAD, Face.STRONG, style.ALERT)
_COLUMNS, _COUNT_W, _COLUMN_GAP = 3, 34.0, 14.0
# The heights in points kept free for an answer below another: with nothing to say, and with lines.
_EMPTY_H, _LEAST_H = HEADING_H + SMALL_MUTED.leading + 6.0, HEADING_H + 100.0


def draw_asked(pen: Pen, box: Box, answers: Sequence[AskedColumn], words: Wording) -> float:
    """Draw the answers that ask something side by side; return the y below.

    Around one with nothing to say they stand one below the other, over its columns too.
    """
    columns, x, bottoms = box.split(_COLUMNS, _COLUMN_GAP), 0, []
    for group, across in _grouped(answers, columns[0].w):
        first, last = columns[x], columns[x + across - 1]
        y = box.y
        for place, one in enumerate(group):
            below = sum(_LEAST_H if one.lines else _EMPTY_H for one in group[place + 1 :])
            part = Box(first.x, y, last.right - first.x, box.bottom - y - below)
            y = _answer(pen, part, one, columns[x : x + across], words) + 4
        bottoms.append(y)
        x += across
    return max(bottoms)


def _grouped(
    answers: Sequence[AskedColumn], width: float
) -> Sequence[tuple[Sequence[AskedColumn], int]]:
    """Return which answers stand one below the other, and over how many columns."""
    groups: list[list[AskedColumn]] = []
    for one in answers:
        if groups and not (one.lines and groups[-1][-1].lines):
            groups[-1].append(one)
        else:
            groups.append([one])
    heights = [
        sum(_item_height(line, width) for one in group for line in one.lines) for group in groups
    ]
    longest = heights.index(max(heights))
    spare = _COLUMNS - len(groups)
    return [(group, 1 + spare * (n == longest)) for n, group in enumerate(groups)]


def _answer(pen: Pen, box: Box, one: AskedColumn, columns: Sequence[Box], words: Wording) -> float:
    """Draw an answer over some columns, its lines spread evenly; return the y below."""
    y = pen.heading(box, one.title)
    if not one.lines:
        return pen.paragraph(box.below(y), one.nothing, SMALL_MUTED, lines=2)
    if one.of:
        y = pen.paragraph(box.below(y), one.of, SMALL_MUTED, lines=2) + 3
    heights = [_item_height(item, columns[0].w) for item in one.lines]
    spread, height = _spread(heights, len(columns), box.bottom - y)
    for column, items in zip(columns, spread, strict=False):
        at = y
        for i in items:
            at = _draw_item(pen, Box(column.x, at, column.w, 0), one.lines[i])
    if rest := len(heights) - sum(map(len, spread)):
        text = words.counted("review.more_items", rest)
        pen.text(columns[-1].x, y + height + SMALL_MUTED.size, text, SMALL_MUTED)
        height += SMALL_MUTED.leading
    return y + height


def _spread(
    heights: Sequence[float], columns: int, room: float
) -> tuple[Sequence[Sequence[int]], float]:
    """Return which lines stand in which column, as even as their order lets them, and the height.

    Where not all fit the height given, the last are left out and a line is kept free below.
    """
    height, most = min(sum(heights) / columns, room), room - SMALL_MUTED.leading
    while True:
        spread: list[list[int]] = [[]]
        y = 0.0
        for place, each in enumerate(heights):
            if y and y + each > height:
                spread.append([])
                y = 0.0
            spread[-1].append(place)
            y += each
        if len(spread) <= columns or height == most:
            shown = spread[:columns]
            return shown, max(sum(heights[i] for i in items) for items in shown)
        height = min(height + SMALL_MUTED.leading, most)


def _item_height(item: AnswerLine, room: float) -> float:
    """Return the height of a line of an answer in points."""
    inner = room - _COUNT_W
    where = text_height(item.where, TINY_MUTED, inner, 2) if item.where else 0.0
    return max(COUNT.leading, text_height(item.text, SMALL, inner, 4) + where) + 4


def _draw_item(pen: Pen, box: Box, item: AnswerLine) -> float:
    with pen.part(Role.TEXT):
        _draw_asked(pen, box, item)
    return box.y + _item_height(item, box.w)


def _draw_asked(pen: Pen, box: Box, item: AnswerLine) -> None:
    kind = GRAVE if item.grave else COUNT
    pen.text(box.x, box.y + 10.5, item.count, kind, width=_COUNT_W - 2)
    if item.grave:
        pen.text(box.x + kind.width(item.count) + 1.5, box.y + 10.5, "!", kind)
    inner = Box(box.x + _COUNT_W, box.y + 1, box.w - _COUNT_W, 0)
    y = pen.paragraph(inner, item.text, SMALL, lines=4)
    if item.where:
        pen.paragraph(Box(inner.x, y, inner.w, 0), item.where, TINY_MUTED, lines=2)
