"""The pages of a quarter's audit: two of figures, the lists, and the sign-off."""

from dataclasses import replace

from pipeline.report.kit import style
from pipeline.report.kit.booklet import (
    Leaf,
    PrintedColumn,
    PrintedList,
    booklet,
    draw_figures,
    draw_kind,
    draw_list,
    draw_name,
    list_pages,
    page_box,
    printed_list,
    rows_fitting,
)
from pipeline.report.kit.pen import (
    HEADING_H,
    LEAD,
    SMALL,
    SMALL_MUTED,
    TINY_MUTED,
    Box,
    Pen,
    text_height,
)
from pipeline.report.quarter.content import (
    QuarterContent,
    QuarterDeparture,
    RepeatStore,
    RuleCount,
    edition,
    rate_text,
    verdict,
)
from pipeline.report.quarter.pictures import (
    RateBar,
    draw_counts,
    draw_key,
    draw_promises,
    draw_rates,
    draw_trend,
)
from pipeline.tables.audit import AuditStore
from pipeline.wording import NOTHING, Wording

_TREND_H, _TREND_QUARTERS = 96.0, 8
_LIST_MOST = 9
_REGIONS_MOST = 14
_SIGN_H = 34.0
_NAMES_LINES = 12
_SIGNERS = ("prepared", "checked", "accepted")
_METHOD = ("agreed", "departure", "rate", "once", "late", "edges", "hurts")
_PRINTED_MOST = 400  # rows; the workbook has the rest


def _approved(one: QuarterDeparture, words: Wording) -> str:
    return f"{one.approved_by}, {words.day(one.approved_on)}" if one.approved_by else NOTHING


def _since(one: QuarterDeparture, words: Wording) -> str:
    if one.first_seen is None:
        return NOTHING
    days = words.number(one.stood_days)
    return words("audit.since", day=words.day(one.first_seen), days=days)


_ACT_ON: tuple[PrintedColumn[QuarterDeparture], ...] = (
    PrintedColumn(lambda d, _: f"{d.store} {d.name}", "audit.column_store", 13),
    PrintedColumn(lambda d, _: d.subject, "audit.column_station", 11),
    PrintedColumn(lambda d, words: words.field(d.field), "audit.column_field", 11),
    PrintedColumn(lambda d, _: d.agreed or NOTHING, "audit.column_agreed", 12),
    PrintedColumn(lambda d, _: d.found or NOTHING, "audit.column_found", 12),
    PrintedColumn(_approved, "audit.column_approved", 12),
    PrintedColumn(_since, "audit.column_since", 11),
    PrintedColumn(
        lambda d, words: words.percent(d.clear_air_lost), "audit.column_lost", 9, right=True
    ),
    PrintedColumn(lambda d, words: words.named("action", d.kind), "audit.column_do", 17),
)
_UNCOVERED: tuple[PrintedColumn[AuditStore], ...] = (
    PrintedColumn(lambda s, _: s.store, "audit.column_store", 12),
    PrintedColumn(lambda s, _: s.name, "audit.column_name", 30),
    PrintedColumn(lambda s, _: s.region, "audit.column_region", 20),
    PrintedColumn(lambda s, _: s.store_type, "audit.column_type", 20),
    PrintedColumn(lambda s, words: words.day(s.last_export), "audit.column_last_export", 18),
)
_REPEATED: tuple[PrintedColumn[RepeatStore], ...] = (
    PrintedColumn(lambda r, _: f"{r.store} {r.name}", "audit.column_store", 34),
    PrintedColumn(lambda r, _: r.region, "audit.column_region", 16),
    PrintedColumn(
        lambda r, words: words.number(r.quarters), "audit.column_quarters", 14, right=True
    ),
    PrintedColumn(
        lambda r, words: words.number(r.departures), "audit.column_departures", 14, right=True
    ),
)
_FINDINGS: tuple[PrintedColumn[RuleCount], ...] = (
    PrintedColumn(lambda r, _: r.title, "column.title", 33),
    PrintedColumn(lambda r, words: words.named("severity", r.severity), "column.severity", 14),
    PrintedColumn(lambda r, words: words.number(r.opened), "audit.column_opened", 13, right=True),
    PrintedColumn(lambda r, words: words.number(r.closed), "audit.column_closed", 13, right=True),
    PrintedColumn(
        lambda r, words: words.number(r.standing), "audit.column_standing", 15, right=True
    ),
)


def quarter_pdf(content: QuarterContent, words: Wording) -> bytes:
    """Return the audit of one quarter as PDF; the same content gives the same bytes."""
    size = style.page_size(words.country)
    page = page_box(size)

    def draw_tail(pen: Pen, box: Box) -> None:
        _draw_last(pen, box, content, words)

    lists = (_act_on(content, words), _uncovered(content, words))
    further = list_pages(lists, _last_height(content, words, page), draw_tail, page)
    leaves = [
        Leaf(lambda pen, box: _draw_first(pen, box, content, words), words("audit.kind")),
        Leaf(lambda pen, box: _draw_second(pen, box, content, words), words("audit.fields_title")),
        *(Leaf(draw, words("audit.act_title")) for draw in further[:-1]),
        Leaf(further[-1], words("audit.sign_title")),
    ]
    title = words("audit.title", quarter=content.quarter)
    return booklet(leaves, size, words, title=title, foot=f"{title} · {edition(content, words)}")


def _act_on(content: QuarterContent, words: Wording) -> PrintedList:
    """Return what nobody approved, with what to do about each."""
    shown = content.to_act_on[:_PRINTED_MOST]
    rest = len(content.to_act_on) - len(shown)
    return printed_list(
        words,
        _ACT_ON,
        shown,
        title=words("audit.act_title"),
        note=words.counted("audit.more_rows", rest) if rest else words("audit.act_note"),
        nothing=words("audit.act_none"),
    )


def _uncovered(content: QuarterContent, words: Wording) -> PrintedList:
    """Return the stores that no export of the quarter describes."""
    return printed_list(
        words,
        _UNCOVERED,
        content.uncovered,
        title=words("audit.uncovered_title"),
        note=words("audit.uncovered_note"),
        nothing=words("audit.uncovered_none"),
    )


def _repeated(content: QuarterContent, words: Wording) -> PrintedList:
    """Return the stores in which something went astray repeatedly."""
    shown = content.repeated[:_LIST_MOST]
    rest = len(content.repeated) - len(shown)
    return printed_list(
        words,
        _REPEATED,
        shown,
        title=words("audit.repeat_title"),
        note=words.counted("audit.more_stores", rest) if rest else words("audit.repeat_note"),
        nothing=words("audit.repeat_none"),
    )


def _findings(content: QuarterContent, words: Wording) -> PrintedList:
    """Return findings opened, closed and standing by rule."""
    shown = content.rules[: 2 * _LIST_MOST]
    rest = len(content.rules) - len(shown)
    return printed_list(
        words,
        _FINDINGS,
        shown,
        title=words("audit.findings_title"),
        note=words.counted("audit.more_rules", rest) if rest else "",
        nothing=words("audit.findings_none"),
    )


def _draw_first(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> None:
    """Draw page one: verdict, figures, the quarters, the regions, the first rows to act on."""
    y = _head(pen, page, content, words)
    y = pen.paragraph(page.below(y + 8), verdict(content, words), LEAD, lines=5)
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
        RateBar(one.region or "", one.rate or 0.0, before.rate if before else None,
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
    """Draw as many rows to act on as there is room for."""
    printed = _act_on(content, words)
    fitting = rows_fitting(printed, box)
    if rest := len(content.to_act_on) - fitting:
        printed = replace(printed, note=words.counted("audit.further_rows", rest))
    if fitting or not printed.rows:
        draw_list(pen, box, printed, 0, fitting)


def _head(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> float:
    draw_kind(pen, page, words("audit.kind"), edition(content, words))
    parts = (
        words("audit.days", first=words.day(content.first), last=words.day(content.last)),
        words.counted("audit.stores", content.now.stores),
        words.counted("store.stations", content.now.stations),
    )
    return draw_name(pen, page, content.quarter, parts)


def _key_figures(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> float:
    now, before = content.now, content.before
    coverage = words("trend.of", n=words.number(now.covered), all=words.number(now.stores))
    figures = (
        (rate_text(words, now.rate), words("audit.key_rate")),
        (rate_text(words, before.rate if before else None), words("audit.key_before")),
        (words.number(now.approved), words("audit.key_approved")),
        (words.number(now.deviations), words("audit.key_deviations")),
        (coverage, words("audit.key_coverage")),
    )
    draw_figures(pen, box, figures)
    return box.y + 42


def _draw_second(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> None:
    """Draw page two: what went astray where, the register, promises, findings."""
    left, right = page.split(2)
    y = _fields_and_kinds(pen, left, content, words)
    y = _types(pen, left.below(y + 10), content, words)
    _whole(pen, left.below(y + 10), _repeated(content, words))
    y = _states(pen, right, content, words)
    y = _promises(pen, Box(right.x, y + 10, right.w, 170), content, words)
    _whole(pen, right.below(y + 10), _findings(content, words))


def _whole(pen: Pen, box: Box, printed: PrintedList) -> None:
    draw_list(pen, box, printed, 0, len(printed.rows))


def _fields_and_kinds(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> float:
    y = pen.heading(box, words("audit.fields_title"), words("audit.fields_note"))
    y = draw_key(pen, box.below(y), words)
    counts = [(words.field(f.field), f.departures, f.begun) for f in content.fields]
    if not counts:
        y = pen.paragraph(box.below(y), words("audit.act_none"), SMALL_MUTED, lines=2)
    y = draw_counts(pen, box.below(y), counts, words)
    if not content.kinds:
        return y
    y = pen.heading(box.below(y + 10), words("audit.kinds_title"), words("audit.kinds_note"))
    kinds = [(words.named("kind", k.kind), k.departures, k.begun) for k in content.kinds]
    return draw_counts(pen, box.below(y), kinds, words)


def _types(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> float:
    y = pen.heading(box, words("audit.types_title"))
    rates = [
        RateBar(t.store_type, t.astray / t.stations if t.stations else 0.0, None,
             words("trend.of", n=words.number(t.astray), all=words.number(t.stations)))
        for t in content.types
    ]  # fmt: skip
    return draw_rates(pen, box.below(y), rates, words)


def _states(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> float:
    y = pen.heading(box, words("audit.states_title"), words("audit.states_note"))
    if not content.states:
        return pen.paragraph(box.below(y), words("audit.states_none"), SMALL_MUTED, lines=2)
    counts = [(words.named("state", s.state), s.changes, s.entered) for s in content.states]
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


def _last_height(content: QuarterContent, words: Wording, page: Box) -> float:
    """Return the height of method and sign-off in points."""
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


def _draw_last(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> None:
    """Draw the end: the method, and the sign-off."""
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
