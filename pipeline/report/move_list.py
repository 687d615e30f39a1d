"""The list of changes: what to do in which order, and why."""

from collections.abc import Sequence

from pipeline.report import style
from pipeline.report.content import Move, StoreContent
from pipeline.report.document import Document
from pipeline.report.fonts import Face
from pipeline.report.pen import (
    BODY,
    SMALL,
    SMALL_MUTED,
    STRONG,
    Align,
    Box,
    Pen,
    Type,
    text_height,
)
from pipeline.report.verdict import gap
from pipeline.report.wording import Wording

_INDENT = 20.0
_GAP = 5.0
REASON_LINES, FEW_REASON_LINES = 7, 3  # where there is room, and where there is not
WHOLE_REASON = 40  # more lines than any reason takes
_STAY_LINES = 4
_NUMBER = Type(style.SMALL, Face.STRONG, style.PAPER)


def move_height(move: Move, width: float, lines: int = REASON_LINES) -> float:
    """Return the height in points that a change takes in a column."""
    reason = text_height(move.reason, SMALL, width - _INDENT, lines)
    return STRONG.leading + reason + _GAP


def draw_move(pen: Pen, box: Box, move: Move, doc: Document, lines: int = REASON_LINES) -> float:
    """Draw one change with its number; return the y below it."""
    middle = box.y + 7
    pen.circle((box.x + 7, middle), 7, style.PLANNED, style.PLANNED, 0.5)
    pen.text(box.x + 7, middle + 2.8, str(move.position), _NUMBER, align=Align.CENTRE)
    change = doc.words.channels(move.from_channel, move.to_channel)
    if move.parking:
        change = f"{change} ({doc.words('moves.parking')})"
    head = doc.words("moves.step", station=doc.called(move.station), change=change)
    pen.text(box.x + _INDENT, box.y + STRONG.size, head, STRONG, width=box.w - _INDENT)
    rest = Box(box.x + _INDENT, box.y + STRONG.leading, box.w - _INDENT, 0)
    return pen.paragraph(rest, move.reason, SMALL, lines=lines) + _GAP


def reasons_cut(moves: Sequence[Move], width: float, lines: int) -> bool:
    """Say whether any reason takes more lines than it is given in a column."""
    room = width - _INDENT
    return any(
        text_height(move.reason, SMALL, room, lines) < text_height(move.reason, SMALL, room)
        for move in moves
    )


def draw_no_moves(pen: Pen, box: Box, doc: Document) -> None:
    """Say why nothing changes: the proof, then each station's own reason while there is room."""
    y = pen.paragraph(box, _why(doc.content, doc.words), BODY, lines=3) + _GAP
    for station in doc.content.stations:
        if station.reason is None:
            continue
        text = f"{doc.names[station.station]}: {station.reason}"
        if y + text_height(text, SMALL_MUTED, box.w, _STAY_LINES) > box.bottom:
            return
        y = pen.paragraph(box.below(y), text, SMALL_MUTED, lines=_STAY_LINES) + 2


def fitting(moves: Sequence[Move], width: float, room: float) -> tuple[int, int]:
    """Return lines per reason and how many changes fit into a column.

    A closing line is kept free if not all fit, or not all of every reason.
    """
    for lines in (WHOLE_REASON, *range(REASON_LINES, FEW_REASON_LINES - 1, -1)):
        closing = SMALL.leading if reasons_cut(moves, width, lines) else 0.0
        if sum(move_height(move, width, lines) for move in moves) + closing <= room:
            return lines, len(moves)
    used, count = 0.0, 0
    for move in moves:
        used += move_height(move, width, FEW_REASON_LINES)
        spare = 0.0 if count + 1 == len(moves) else SMALL.leading
        if used + spare > room:
            break
        count += 1
    return FEW_REASON_LINES, count


def _why(content: StoreContent, words: Wording) -> str:
    if content.proof is None:
        return words("moves.unplanned")
    if content.proof.optimal:
        return words("moves.best")
    return words("moves.near", gap=words.percent(gap(content)))
