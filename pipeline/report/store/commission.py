"""The printed commissioning sheet: per station where it hangs, what to set, what to check."""

from collections.abc import Sequence
from dataclasses import replace
from math import ceil

from pipeline.forms import ACCEPTED, CHECKS
from pipeline.report.kit import style
from pipeline.report.kit.booklet import Block
from pipeline.report.kit.pen import (
    SMALL,
    SMALL_MUTED,
    SMALL_STRONG,
    STRONG,
    TINY,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    text_height,
)
from pipeline.report.store.content import CAUTIONS, Document
from pipeline.report.store.form_rows import (
    FormRow,
    address,
    commission_rows,
    housing,
    pan_id,
    place,
)
from pipeline.wording import NOTHING, Wording

_LINE = SMALL.leading + 2
_HEAD, _SIGN, _GAP = STRONG.leading + SMALL_MUTED.leading + 4, 19.0, 6.0
_TICK, _INDENT = 7.0, 13.0  # a box to tick, and the text beside it
_OVER = frozenset({"refused", "lapsed", "backed out", "verified"})
_LABEL = 0.36  # of a column's width
_ABREAST, _SETTINGS = 2, 0.58  # stations; the share of a station's width for what is set


def commission_block(doc: Document, width: float, *, cautions: bool) -> Block | None:
    """Return the sheet as a list of its own pages; None where no station is to be set first."""
    rows, words = _open(doc), doc.words
    if not rows:
        return None
    lead = _cautions_height(words, width) + _GAP if cautions else 0.0
    lines = max(len(_settings(rows[0], words)), len(CHECKS))
    head = _HEAD + (SMALL_STRONG.leading if any(housing(row, words) for row in rows) else 0)
    height = head + lines * _LINE + _SIGN + _GAP

    def draw(pen: Pen, box: Box, items: Sequence[int]) -> None:
        y = _draw_cautions(pen, box, words) + _GAP if cautions else box.y
        for item in items:
            some = rows[_ABREAST * item : _ABREAST * (item + 1)]
            for half, row in zip(box.below(y).split(_ABREAST), some, strict=False):
                _draw_station(pen, half, row, doc, head)
            y += height

    title, note = words("commission.page"), words("commission.how")
    pairs = (height,) * ceil(len(rows) / _ABREAST)
    return Block("commission", title, 1, lead, pairs, draw, note)


def _open(doc: Document) -> list[FormRow]:
    """Return the rows of stations that nobody has accepted yet, or refused."""
    return [
        row
        for row in commission_rows(doc.content)
        if row.change.outcome != ACCEPTED and row.change.state not in _OVER
    ]


def _cautions(words: Wording) -> str:
    told = " ".join(words(f"cautions.{key}") for key in CAUTIONS)
    return f"{words('cautions.title')}: {told}"


def _cautions_height(words: Wording, width: float) -> float:
    return text_height(_cautions(words), TINY, width)


def _draw_cautions(pen: Pen, box: Box, words: Wording) -> float:
    return pen.paragraph(box, _cautions(words), TINY)


def _settings(row: FormRow, words: Wording) -> list[tuple[str, str]]:
    """Return what is set at a station, as label and value."""
    change = row.change
    power = words.number(change.tx_power_dbm, 1)
    return [
        (words("column.channel"), str(change.ordered_channel)),
        (words("station_seen.pan_id"), str(pan_id(row, words))),
        (words("station_seen.tx_power_dbm"), power),
        (words("column.station_name"), change.name or NOTHING),
        (words("column.address"), str(address(row, words) or NOTHING)),
    ]


def _draw_station(pen: Pen, box: Box, row: FormRow, doc: Document, head: float) -> None:
    words, station = doc.words, row.station
    where = [station.mounted if station else None, place(row, words)]
    pen.line((box.x, box.y), (box.right, box.y), style.MUTED, 0.6)
    state, room = words.named("state", row.change.state), box.w * _LABEL
    pen.text(box.x, box.y + STRONG.size + 4, doc.called(row.change.station), STRONG, width=room)
    pen.text(box.right, box.y + STRONG.size + 4, state, SMALL_MUTED, align=Align.RIGHT)
    hangs = " · ".join(str(part) for part in where if part) or words("commission.nowhere")
    y = box.y + STRONG.leading + 4
    pen.text(box.x, y + SMALL_MUTED.size, hangs, SMALL_MUTED, width=box.w)
    if beside := housing(row, words):
        y += SMALL_MUTED.leading
        pen.text(box.x, y + SMALL_STRONG.size, beside, SMALL_STRONG, width=box.w)
    below = box.below(box.y + head + 4)
    left = replace(below, w=below.w * _SETTINGS - _GAP)
    right = Box(left.right + _GAP, below.y, below.w * (1 - _SETTINGS), below.h)
    for at, (label, value) in enumerate(_settings(row, words)):
        y = left.y + at * _LINE + SMALL.size
        pen.text(left.x, y, label, SMALL_MUTED, width=left.w * _LABEL)
        pen.text(left.x + left.w * _LABEL, y, value, SMALL_STRONG, width=left.w * (1 - _LABEL))
    for at, key in enumerate(CHECKS):
        y = right.y + at * _LINE
        pen.rectangle(Box(right.x, y, _TICK, _TICK), style.PAPER, style.INK, 0.7)
        text = words(f"commission.{key}")
        pen.text(right.x + _INDENT, y + SMALL.size - 1, text, SMALL, width=right.w - _INDENT)
    y = right.y + max(len(CHECKS), len(_settings(row, words))) * _LINE + 10
    pen.line((right.x, y), (right.right, y), style.MUTED, 0.6)
    pen.text(right.right, y + 8, words("commission.signed"), TINY_MUTED, align=Align.RIGHT)
