"""The pages of a quarter's audit: what to answer, the figures, further lists, the sign-off."""

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
    Approval,
    QuarterContent,
    RepeatStore,
    RuleCount,
    ToAnswer,
    edition,
    verdict,
    what,
    where,
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
_LIST_MOST, _RULES_MOST = 9, 40
_REGIONS_MOST = 14
_HEAD_H, _FIGURES_H, _VERDICT_LINES = 54.0, 46.0, 6
_SIGN_H = 34.0
_NAMES_LINES = 12
_SIGNERS = ("prepared", "checked", "accepted")
_METHOD = ("agreed", "departure", "rate", "once", "late", "edges", "hurts")
_PRINTED_MOST = 400  # rows; the workbook has the rest


def _seen(one: ToAnswer, words: Wording) -> str:
    if one.first_seen is None:
        return NOTHING
    first = words.day(one.first_seen)
    if one.first_seen != one.last_seen:
        return words("audit.between", first=first, last=words.day(one.last_seen))
    return words.counted("audit.since", one.stood_days, day=first) if one.stood_days else first


def _agreed(one: ToAnswer, words: Wording) -> str:
    return f"{one.approved_by}, {words.day(one.approved_on)}" if one.approved_by else NOTHING


def _to_do(one: ToAnswer, words: Wording) -> str:
    """Return what was answered, else what to do."""
    if one.answer is not None:
        answered = {"by": one.answered_by or "", "day": words.day(one.answered_on)}
        return words(f"answered.{one.answer.replace(' ', '_')}", **answered)
    if one.rollout:
        return words("action.rollout")
    if one.by_order == "done differently":
        return words("action.done_differently", channel=one.agreed or NOTHING)
    return words.named("action", one.kind)


_ANSWER: tuple[PrintedColumn[ToAnswer], ...] = (
    PrintedColumn(what, "audit.column_field", 25),
    PrintedColumn(where, "audit.column_where", 25),
    PrintedColumn(_agreed, "audit.column_approved", 14),
    PrintedColumn(_seen, "audit.column_since", 13),
    PrintedColumn(
        lambda c, words: words.percent(c.clear_air_lost), "audit.column_lost", 8, right=True
    ),
    PrintedColumn(_to_do, "audit.column_do", 22),
)
_APPROVED: tuple[PrintedColumn[Approval], ...] = (
    PrintedColumn(lambda a, _: f"{a.store} {a.name or ''}", "audit.column_store", 15),
    PrintedColumn(lambda a, _: a.subjects, "audit.column_station", 18),
    PrintedColumn(lambda a, words: words.field(a.field), "audit.column_field", 12),
    PrintedColumn(lambda a, _: a.agreed or NOTHING, "audit.column_before", 12),
    PrintedColumn(lambda a, _: a.found or NOTHING, "audit.column_now", 12),
    PrintedColumn(
        lambda a, words: f"{a.approved_by}, {words.day(a.approved_on)}", "audit.column_signed", 14
    ),
    PrintedColumn(lambda a, _: a.reason, "audit.column_reason", 17),
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

    answer = _to_answer(content, words)
    first = rows_fitting(answer, page.below(_first_bottom(content, words, page)))
    lists = [_approvals(content, words), _uncovered(content, words), _findings(content, words)]
    if first < len(answer.rows):  # the rest of page one's list, and not from its beginning again
        lists.insert(0, replace(answer, rows=answer.rows[first:], note=words("audit.act_rest")))
    further = list_pages(lists, _last_height(content, words, page), draw_tail, page)
    leaves = [
        Leaf(lambda pen, box: _draw_first(pen, box, content, words), words("audit.kind")),
        Leaf(lambda pen, box: _draw_second(pen, box, content, words), words("audit.trend_title")),
        *(Leaf(draw, lists[0].title if draw is further[0] else None) for draw in further[:-1]),
        Leaf(further[-1], words("audit.sign_title")),
    ]
    title = words("audit.title", quarter=content.quarter)
    return booklet(leaves, size, words, title=title, foot=f"{title} · {edition(content, words)}")


def _to_answer(content: QuarterContent, words: Wording) -> PrintedList:
    """Return what somebody must answer, one row a cause, what harms the air first."""
    shown = content.causes[:_PRINTED_MOST]
    rest = len(content.causes) - len(shown)
    return printed_list(
        words,
        _ANSWER,
        shown,
        title=words("audit.act_title"),
        note=words.counted("audit.more_rows", rest) if rest else words("audit.act_note"),
        nothing=words("audit.act_none"),
    )


def _approvals(content: QuarterContent, words: Wording) -> PrintedList:
    """Return what each baseline approved in the quarter had departed before."""
    shown = content.approvals[:_PRINTED_MOST]
    rest = len(content.approvals) - len(shown)
    return printed_list(
        words,
        _APPROVED,
        shown,
        title=words("audit.approved_title"),
        note=words.counted("audit.more_rows", rest) if rest else words("audit.approved_note"),
        nothing=words("audit.approved_none"),
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
    shown = content.rules[:_RULES_MOST]
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
    """Draw page one: what is asked, the figures, and what to answer as far as there is room."""
    y = _head(pen, page, content, words)
    y = pen.paragraph(page.below(y + 8), verdict(content, words), LEAD, lines=_VERDICT_LINES)
    _key_figures(pen, page.below(y + 10), content, words)
    box = page.below(_first_bottom(content, words, page))
    printed = _to_answer(content, words)
    fitting = rows_fitting(printed, box)
    if rest := len(content.causes) - fitting:
        printed = replace(printed, note=words.counted("audit.further_rows", rest))
    draw_list(pen, box, printed, 0, fitting)


def _first_bottom(content: QuarterContent, words: Wording, page: Box) -> float:
    """Return the y at which page one's list begins."""
    text_h = text_height(verdict(content, words), LEAD, page.w, _VERDICT_LINES)
    return page.y + _HEAD_H + 8 + text_h + 10 + _FIGURES_H + 6


def _head(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> float:
    draw_kind(pen, page, words("audit.kind"), edition(content, words))
    parts = (
        words("audit.days", first=words.day(content.first), last=words.day(content.last)),
        words.counted("audit.stores", content.now.stores),
        words.counted("store.stations", content.now.stations),
    )
    return draw_name(pen, page, content.quarter, parts)


def _key_figures(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> None:
    """Draw the five counts by order; of what nobody ordered, likely rollouts are counted apart."""
    now = content.now
    nobody = words("audit.key_nobody")
    if now.rollouts:
        rolled = words.number(now.rolled)
        nobody = words.counted("audit.key_nobody_and", now.rollouts, rolled=rolled)
    figures = (
        (words.number(now.ordered), words("audit.key_ordered")),
        (words.number(now.differently), words("audit.key_differently")),
        (words.number(now.nobody), nobody),
        (words.number(now.excepted), words("audit.key_excepted")),
        (words.number(now.unagreed), words("audit.key_unagreed")),
    )
    draw_figures(pen, box, figures)


def _draw_second(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> None:
    """Draw page two: over the quarters, by region and store type, the orders, promises."""
    top = pen.heading(page, words("audit.trend_title"))
    draw_key(pen, Box(page.right - 230, page.y + 4, 230, 12), words)
    trend = content.trend[-_TREND_QUARTERS:]
    y = draw_trend(pen, Box(page.x, top, page.w, _TREND_H), trend, words)
    y = _regions(pen, page.below(y + 10), content, words)
    left, right = page.below(y + 10).split(2)
    y = _states(pen, left, content, words)
    y = _types(pen, left.below(y + 10), content, words)
    _whole(pen, left.below(y + 10), _repeated(content, words))
    _promises(pen, Box(right.x, right.y, right.w, 190), content, words)


def _regions(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> float:
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
        pen.text(box.x, y + SMALL_MUTED.size, text, SMALL_MUTED)
        y += SMALL_MUTED.leading
    return y


def _whole(pen: Pen, box: Box, printed: PrintedList) -> None:
    draw_list(pen, box, printed, 0, len(printed.rows))


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
    counts = [(words.named("outcome", s.state), s.changes, s.entered) for s in content.states]
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
