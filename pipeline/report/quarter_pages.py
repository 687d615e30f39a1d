"""The first two pages of a quarter's audit, and the last one with the sign-off."""

from dataclasses import replace

from pipeline.report import style
from pipeline.report.fonts import Face
from pipeline.report.pen import (
    HEADING_H,
    SMALL,
    SMALL_MUTED,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    Type,
    text_height,
)
from pipeline.report.quarter_content import QuarterContent
from pipeline.report.quarter_figures import (
    Rate,
    draw_counts,
    draw_key,
    draw_promises,
    draw_rates,
    draw_trend,
    rate_text,
)
from pipeline.report.quarter_lists import draw_table, rows_fitting
from pipeline.report.quarter_tables import act_on, findings, repeated
from pipeline.report.wording import Wording

_NAME = Type(style.TITLE, Face.STRONG)
_VERDICT = Type(style.LEAD)
_FIGURE = Type(style.FIGURE, Face.LIGHT, style.PLANNED)
_TREND_H, _TREND_QUARTERS = 96.0, 8
_LIST_MOST = 9
_REGIONS_MOST = 14
_SIGN_H = 34.0
_NAMES_LINES = 12
_SIGNERS = ("prepared", "checked", "accepted")
_METHOD = ("agreed", "departure", "rate", "once", "late", "edges", "hurts")


def verdict(content: QuarterContent, words: Wording) -> str:
    """Return the audit in a few sentences."""
    now = content.now
    if not now.stations:
        return words("audit.verdict_nothing", stores=words.number(now.stores))
    parts = [
        words.counted(
            "audit.verdict", now.astray, all=words.number(now.stations),
            rate=rate_text(words, now.rate), begun=words.number(now.begun),
        )
        if now.astray else words("audit.verdict_clean", all=words.number(now.stations))
    ]  # fmt: skip
    if now.approved:
        parts.append(words.counted("audit.verdict_approved", now.approved))
    if missing := now.stores - now.covered:
        parts.append(words.counted("audit.verdict_missing", missing, all=words.number(now.stores)))
    if content.without_baseline:
        parts.append(words.counted("audit.verdict_baseline", len(content.without_baseline)))
    return " ".join(parts)


def edition(content: QuarterContent, words: Wording) -> str:
    """Return which edition this is."""
    if content.edition is None:
        return words("audit.provisional", day=words.day(content.made_on))
    if content.edition == 1:
        return words("audit.edition_first")
    return words(
        "audit.edition_restated", n=words.number(content.edition),
        before=words.number(content.edition - 1), day=words.day(content.made_on),
    )  # fmt: skip


def draw_first(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> None:
    """Draw page one: the verdict, the figures, the course over the quarters, the regions."""
    y = _head(pen, page, content, words)
    y = pen.paragraph(page.below(y + 8), verdict(content, words), _VERDICT, lines=5)
    y = _key_figures(pen, page.below(y + 10), content, words)
    box = page.below(y + 6)
    top = pen.heading(box, words("audit.trend_title"))
    draw_key(pen, Box(box.right - 230, box.y + 4, 230, 12), words)
    trend = content.trend[-_TREND_QUARTERS:]
    y = draw_trend(pen, Box(page.x, top, page.w, _TREND_H), trend, words)
    box = page.below(y + 10)
    top = pen.heading(box, words("audit.regions_title"), words("audit.tick_note"))
    shown = content.regions[:_REGIONS_MOST]
    rates = [
        Rate(one.region or "", one.rate or 0.0, before.rate if before else None,
             words("trend.of", n=words.number(one.astray), all=words.number(one.stations)))
        for one, before in shown
    ]  # fmt: skip
    y = draw_rates(pen, box.below(top), rates, words)
    if rest := len(content.regions) - len(shown):
        text = words.counted("audit.more_regions", rest)
        pen.text(page.x, y + SMALL_MUTED.size, text, SMALL_MUTED)
        y += SMALL_MUTED.leading
    _act_on_first(pen, page.below(y + 10), content, words)


def _act_on_first(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> None:
    """Draw as much of the list to act on as there is room for."""
    table = act_on(content, words)
    fitting = rows_fitting(table, box)
    if rest := len(content.to_act_on) - fitting:
        table = replace(table, note=words.counted("audit.further_rows", rest))
    if fitting or not table.rows:
        draw_table(pen, box, table, 0, fitting)


def _head(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> float:
    pen.text(page.x, page.y + 8, words("audit.kind"), SMALL_MUTED)
    pen.text(page.right, page.y + 8, edition(content, words), SMALL_MUTED, align=Align.RIGHT)
    pen.line((page.x, page.y + 14), (page.right, page.y + 14), style.INK, 1.2)
    pen.text(page.x, page.y + 38, content.quarter, _NAME, width=page.w)
    parts = (
        words("audit.days", first=words.day(content.first), last=words.day(content.last)),
        words.counted("audit.stores", content.now.stores),
        words.counted("store.stations", content.now.stations),
    )
    pen.text(page.x, page.y + 52, " · ".join(parts), SMALL_MUTED, width=page.w)
    return page.y + 54


def _key_figures(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> float:
    now, before = content.now, content.before
    was = rate_text(words, before.rate) if before else None
    coverage = words("trend.of", n=words.number(now.covered), all=words.number(now.stores))
    cells = (
        (rate_text(words, now.rate), words("audit.key_rate")),
        (was or words.number(None), words("audit.key_before")),
        (words.number(now.approved), words("audit.key_approved")),
        (words.number(now.deviations), words("audit.key_deviations")),
        (coverage, words("audit.key_coverage")),
    )
    for cell, (value, label) in zip(box.split(len(cells), 8.0), cells, strict=True):
        pen.text(cell.x, cell.y + 17, value, _FIGURE, width=cell.w)
        pen.paragraph(cell.below(cell.y + 21), label, TINY_MUTED, lines=2)
    return box.y + 42


def draw_second(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> None:
    """Draw page two: what went astray where, the register, promises and findings."""
    left, right = page.split(2)
    y = _fields_and_kinds(pen, left, content, words)
    y = _types(pen, left.below(y + 10), content, words)
    table = repeated(content, words, _LIST_MOST)
    draw_table(pen, left.below(y + 10), table, 0, len(table.rows))
    y = _states(pen, right, content, words)
    y = _promises(pen, Box(right.x, y + 10, right.w, 170), content, words)
    table = findings(content, words, 2 * _LIST_MOST)
    draw_table(pen, right.below(y + 10), table, 0, len(table.rows))


def _fields_and_kinds(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> float:
    y = pen.heading(box, words("audit.fields_title"), words("audit.fields_note"))
    y = draw_key(pen, box.below(y), words)
    counts = [(words(f"field.{f.field}"), f.departures, f.begun) for f in content.fields]
    if not counts:
        y = pen.paragraph(box.below(y), words("audit.act_none"), SMALL_MUTED, lines=2)
    y = draw_counts(pen, box.below(y), counts, words)
    if not content.kinds:
        return y
    y = pen.heading(box.below(y + 10), words("audit.kinds_title"), words("audit.kinds_note"))
    kinds = [
        (words(f"kind.{k.kind.replace(' ', '_')}"), k.departures, k.begun) for k in content.kinds
    ]
    return draw_counts(pen, box.below(y), kinds, words)


def _types(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> float:
    y = pen.heading(box, words("audit.types_title"))
    rates = [
        Rate(t.store_type, t.astray / t.stations if t.stations else 0.0, None,
             words("trend.of", n=words.number(t.astray), all=words.number(t.stations)))
        for t in content.types
    ]  # fmt: skip
    return draw_rates(pen, box.below(y), rates, words)


def _states(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> float:
    y = pen.heading(box, words("audit.states_title"), words("audit.states_note"))
    if not content.states:
        return pen.paragraph(box.below(y), words("audit.states_none"), SMALL_MUTED, lines=2)
    counts = [
        (words(f"state.{s.state.replace(' ', '_')}"), s.changes, s.entered) for s in content.states
    ]
    return draw_counts(pen, box.below(y), counts, words)


def _promises(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> float:
    y = pen.heading(box, words("audit.promise_title"))
    if not content.measured:
        return pen.paragraph(box.below(y), words("audit.promise_none"), SMALL_MUTED, lines=3)
    count = len(content.measured)
    text = words.counted(
        "audit.promise", count,
        was=words.percent(sum(m.was for m in content.measured) / count),
        promised=words.percent(sum(m.promised for m in content.measured) / count),
        measured=words.percent(sum(m.measured for m in content.measured) / count),
    )  # fmt: skip
    y = pen.paragraph(box.below(y), text, SMALL, lines=3)
    draw_promises(pen, box.below(y + 4), content.measured, words)
    return box.bottom


def last_height(content: QuarterContent, words: Wording, page: Box) -> float:
    """Return the height in points that the method and the sign-off take."""
    texts = [words(f"method.{key}") for key in _METHOD]
    method = sum(text_height(text, SMALL, page.w) + 4 for text in texts)
    without = text_height(_nothing_agreed(content, words), SMALL, page.w, _NAMES_LINES) + 6
    signers = len(_SIGNERS) * (_SIGN_H + 8)
    return 2 * HEADING_H + method + without + 14 + 30 + signers


def _nothing_agreed(content: QuarterContent, words: Wording) -> str:
    if not content.without_baseline:
        return ""
    names = ", ".join(store.store for store in content.without_baseline)
    return words("audit.without_baseline", stores=names)


def draw_last(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> None:
    """Draw the end: how it was done, and who stands for it."""
    y = pen.heading(page, words("audit.method_title"))
    for key in _METHOD:
        y = pen.paragraph(page.below(y + 2), words(f"method.{key}"), SMALL) + 2
    text = _nothing_agreed(content, words)
    y = pen.paragraph(page.below(y + 6), text, SMALL, lines=_NAMES_LINES)
    y = pen.heading(page.below(y + 14), words("audit.sign_title"))
    pen.paragraph(page.below(y), words("audit.sign_note", quarter=content.quarter), SMALL, lines=3)
    y += 30
    for signer in _SIGNERS:
        pen.text(page.x, y + _SIGN_H - 6, words(f"signer.{signer}"), SMALL)
        for share, key in ((0.2, "name"), (0.55, "signature"), (0.85, "date")):
            x = page.x + page.w * share
            end = page.x + page.w * {"name": 0.52, "signature": 0.82, "date": 1.0}[key]
            pen.line((x, y + _SIGN_H - 4), (end, y + _SIGN_H - 4), style.INK, 0.6)
            pen.text(x, y + _SIGN_H + 5, words(f"sign.{key}"), TINY_MUTED)
        y += _SIGN_H + 8
