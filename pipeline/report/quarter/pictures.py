"""The pictures of a quarter's audit: rates over time and side by side, promises kept."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.report.kit import style
from pipeline.report.kit.pen import (
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
from pipeline.report.kit.tags import Role, in_words
from pipeline.report.quarter.content import QuarterFigures, rate_text
from pipeline.tables.audit import AuditPromise
from pipeline.wording import NOTHING, Wording

_LABEL_W, _ROW = 104.0, 11.0
BAR_ROW = 14.0
_LEAST_SCALE = 0.02  # the finest scale of a chart of rates
_STEPS = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0)


@dataclass(frozen=True, slots=True)
class RateBar:
    """A bar: its label, its share 0..1, the share before, and a note of the counts."""

    label: str
    share: float
    before: float | None
    note: str


def draw_trend(pen: Pen, box: Box, trend: Sequence[QuarterFigures], words: Wording) -> float:
    """Draw the share of stations astray by quarter, over its figures; return the y below.

    In a box without height the figures alone.
    """
    if box.h:
        told = [f"{one.quarter}: {rate_text(words, one.rate)}" for one in trend]
        with pen.picture(box, in_words(words("trend.astray"), told)):
            _draw_chart(pen, box, trend, words)
    columns = _columns(box, trend)
    with pen.part(Role.TABLE):
        return _figures(pen, Box(box.x, box.y + 10 + box.h, box.w, 0), columns, trend, words)


def _columns(box: Box, trend: Sequence[QuarterFigures]) -> Sequence[Box]:
    chart = Box(box.x + _LABEL_W, box.y + 6, box.w - _LABEL_W, box.h)
    return chart.split(max(4, len(trend)), 6.0)[: len(trend)]


def _draw_chart(pen: Pen, box: Box, trend: Sequence[QuarterFigures], words: Wording) -> None:
    chart = Box(box.x + _LABEL_W, box.y + 6, box.w - _LABEL_W, box.h)
    most = _scale([one.rate or 0.0 for one in trend])
    for share in (0.0, most / 2, most):
        y = chart.bottom - chart.h * share / most
        pen.line((chart.x, y), (chart.right, y), style.HAIRLINE, 0.4)
        pen.text(chart.x - 5, y + 2.5, rate_text(words, share), TINY_MUTED, align=Align.RIGHT)
    pen.paragraph(Box(box.x, box.y + 8, _LABEL_W - 36, 60), words("trend.astray"), SMALL, lines=5)
    for column, one in zip(_columns(box, trend), trend, strict=True):
        _column(pen, column, one, most)


def _scale(shares: Sequence[float]) -> float:
    """Return the top of a chart of shares: a round figure above them."""
    most = max([_LEAST_SCALE, *shares])
    return next(step for step in _STEPS if most <= step)


def _column(pen: Pen, column: Box, one: QuarterFigures, most: float) -> None:
    """Draw a quarter: what stood before in grey, what began in it on top."""
    bar = Box(column.x + column.w * 0.22, column.y, column.w * 0.56, column.h)
    if one.rate is None:
        pen.text(bar.x + bar.w / 2, bar.bottom - 3, NOTHING, SMALL_MUTED, align=Align.CENTRE)
        return
    begun = column.h * (one.begun / one.stations) / most
    stood = column.h * ((one.astray - one.begun) / one.stations) / most
    pen.rectangle(Box(bar.x, bar.bottom - stood, bar.w, stood), style.NOW)
    pen.rectangle(Box(bar.x, bar.bottom - stood - begun, bar.w, begun), style.PLANNED)


def _figures(
    pen: Pen, box: Box, columns: Sequence[Box], trend: Sequence[QuarterFigures], words: Wording
) -> float:
    y = box.y
    figures = [_by_key(one, words) for one in trend]
    with pen.part(Role.ROW):
        with pen.part(Role.HEAD):
            pass  # over the labels
        for column, one in zip(columns, trend, strict=True):
            kind = TINY_STRONG if one is trend[-1] else TINY
            with pen.part(Role.HEAD):
                middle = column.x + column.w / 2
                pen.text(middle, y + 8, one.quarter, kind, align=Align.CENTRE)
    for line, key in enumerate(figures[-1], start=1):
        base = y + 9 + _ROW * line
        with pen.part(Role.ROW):
            with pen.part(Role.SIDE):
                pen.text(box.x, base, words(f"trend.{key}"), SMALL, width=_LABEL_W)
            for column, one, of in zip(columns, trend, figures, strict=True):
                kind, middle = SMALL_STRONG if one is trend[-1] else SMALL, column.x + column.w / 2
                with pen.part(Role.CELL):
                    pen.text(middle, base, of[key], kind, align=Align.CENTRE, width=column.w)
    return y + 12 + _ROW * len(figures[-1])


def trend_height(height: float, trend: Sequence[QuarterFigures], words: Wording) -> float:
    """Return the height in points that `draw_trend` takes with a chart of some height."""
    return 6 + height + 16 + _ROW * len(_by_key(trend[-1], words))


def _by_key(one: QuarterFigures, words: Wording) -> Mapping[str, str]:
    """Return the figures of a quarter by the key of their label, in the order they are printed."""
    return {
        "rate": rate_text(words, one.rate),
        "begun": words.number(one.begun),
        "rolled": words.number(one.rolled),
        "ordered": words.number(one.ordered),
        "differently": words.number(one.differently),
        "excepted": words.number(one.excepted),
        "findings": words.number(one.findings),
        "clear_air": words.percent(one.clear_air),
        "coverage": words("trend.of", n=words.number(one.covered), all=words.number(one.stores)),
    }


def draw_rates(pen: Pen, box: Box, rates: Sequence[RateBar], words: Wording) -> float:
    """Draw shares as bars, with a tick at the share before; return the y below."""
    most = _scale([r.share for r in rates] + [r.before or 0.0 for r in rates])
    y = box.y
    for rate in rates:
        with pen.part(Role.TEXT):
            _rate(pen, box.below(y), rate, most, words)
        y += BAR_ROW
    return y


def _rate(pen: Pen, box: Box, rate: RateBar, most: float, words: Wording) -> None:
    base = box.y + 9
    pen.text(box.x, base, rate.label, SMALL, width=92)
    bar = Box(box.x + 96, box.y + 2, box.w - 186, 8)
    pen.line((bar.x, bar.bottom), (bar.right, bar.bottom), style.HAIRLINE, 0.4)
    if rate.share:
        filled = max(0.6, bar.w * rate.share / most)
        pen.rectangle(Box(bar.x, bar.y, filled, bar.h), style.PLANNED)
    if rate.before is not None:
        x = bar.x + bar.w * rate.before / most
        pen.line((x, bar.y - 1.5), (x, bar.bottom + 1.5), style.INK, 1.2)
    share = rate_text(words, rate.share)
    pen.text(bar.right + 34, base, share, SMALL_STRONG, align=Align.RIGHT)
    pen.text(box.right, base, rate.note, TINY_MUTED, align=Align.RIGHT, width=54)


def draw_counts(
    pen: Pen, box: Box, counts: Sequence[tuple[str, int, int]], words: Wording
) -> float:
    """Draw counts as bars, with how many of them are new; return the y below."""
    most = max([1, *(count for _, count, _ in counts)])
    y = box.y
    for label, count, begun in counts:
        bar = Box(box.x + 136, y + 2, box.w - 200, 8)
        stood = bar.w * (count - begun) / most
        text = words("trend.of_new", all=words.number(count), n=words.number(begun))
        with pen.part(Role.TEXT):
            pen.text(box.x, y + 9, label, SMALL, width=132)
            pen.line((bar.x, bar.bottom), (bar.right, bar.bottom), style.HAIRLINE, 0.4)
            pen.rectangle(Box(bar.x, bar.y, stood, bar.h), style.NOW)
            pen.rectangle(Box(bar.x + stood, bar.y, bar.w * begun / most, bar.h), style.PLANNED)
            pen.text(box.right, y + 9, text, SMALL, align=Align.RIGHT, width=62)
        y += BAR_ROW
    return y


def draw_key(pen: Pen, box: Box, words: Wording) -> float:
    """Draw what the two colours of a bar mean; return the y below."""
    pen.rectangle(Box(box.x, box.y + 2, 8, 6), style.NOW)
    pen.text(box.x + 11, box.y + 8, words("trend.stood"), TINY_MUTED)
    pen.rectangle(Box(box.x + 110, box.y + 2, 8, 6), style.PLANNED)
    pen.text(box.x + 121, box.y + 8, words("trend.begun_key"), TINY_MUTED)
    return box.y + 13


def _kept(one: AuditPromise) -> bool:
    """Tell whether the interval of clear air measured reaches the promise."""
    return max(one.measured, one.measured_high or 0.0) >= one.promised


def draw_promises(pen: Pen, box: Box, measured: Sequence[AuditPromise], words: Wording) -> None:
    """Draw measured over promised clear air; changes on or above the line kept the promise."""
    kept = sum(map(_kept, measured))
    told = (
        words("promise.kept", n=words.number(kept)),
        words("promise.missed", n=words.number(len(measured) - kept)),
    )
    with pen.picture(box, in_words(words("audit.promise_title"), told)):
        _draw_promises(pen, box, measured, words)


def _draw_promises(pen: Pen, box: Box, measured: Sequence[AuditPromise], words: Wording) -> None:
    side = min(box.w - 40, box.h - 24)
    chart = Box(box.x + 26, box.y + 4, side, side)
    for share in (0.0, 0.5, 1.0):
        y = chart.bottom - side * share
        pen.line((chart.x, y), (chart.right, y), style.HAIRLINE, 0.4)
        pen.text(chart.x - 3, y + 2.5, words.percent(share), TINY_MUTED, align=Align.RIGHT)
        x = chart.x + side * share
        pen.text(x, chart.bottom + 9, words.percent(share), TINY_MUTED, align=Align.CENTRE)
    pen.line((chart.x, chart.bottom), (chart.right, chart.y), style.MUTED, 0.8)
    for one in measured:
        x = chart.x + side * one.promised
        y = chart.bottom - side * one.measured
        if _kept(one):
            pen.circle((x, y), 2.2, style.PLANNED, style.PAPER, 0.4)
        else:
            corners = ((x - 2.4, y - 2), (x + 2.4, y - 2), (x, y + 2.6))
            pen.polygon(corners, style.ALERT, style.PAPER, 0.4)
    pen.text(chart.x + 4, chart.y + 7, words("promise.measured_axis"), TINY_MUTED)
    pen.text(chart.right - 2, chart.bottom - 4, words("promise.promised_axis"), TINY_MUTED,
             align=Align.RIGHT)  # fmt: skip
    _promise_notes(pen, Box(chart.right + 12, chart.y, box.right - chart.right - 12, side),
                   measured, words)  # fmt: skip


def _promise_notes(pen: Pen, box: Box, measured: Sequence[AuditPromise], words: Wording) -> None:
    kept = sum(map(_kept, measured))
    pen.circle((box.x + 3, box.y + 6), 2.2, style.PLANNED, style.PAPER, 0.4)
    pen.paragraph(Box(box.x + 9, box.y, box.w - 9, 0),
                  words("promise.kept", n=words.number(kept)), TINY, lines=2)  # fmt: skip
    y = box.y + 20
    pen.polygon(
        ((box.x + 0.6, y + 3), (box.x + 5.4, y + 3), (box.x + 3, y + 7.6)), style.ALERT, None
    )
    pen.paragraph(Box(box.x + 9, y, box.w - 9, 0),
                  words("promise.missed", n=words.number(len(measured) - kept)), TINY,
                  lines=2)  # fmt: skip
