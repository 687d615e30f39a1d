"""The pages of a quarter's audit: what to answer, the figures, further lists, the sign-off."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import accumulate

from pipeline.report.kit import style
from pipeline.report.kit.booklet import (
    Draw,
    Leaf,
    booklet,
    draw_figures,
    draw_kind,
    draw_name,
    page_box,
)
from pipeline.report.kit.lists import (
    Piece,
    PrintedList,
    draw_list,
    list_height,
    list_pages,
    rows_fitting,
)
from pipeline.report.kit.pen import (
    HEADING_H,
    LEAD,
    SMALL,
    SMALL_MUTED,
    STRONG,
    TINY_MUTED,
    Box,
    Pen,
    text_height,
)
from pipeline.report.quarter.content import QuarterContent, asked_of, edition, verdict
from pipeline.report.quarter.lists import (
    approvals,
    findings,
    repeated,
    restated,
    samples,
    to_answer,
    uncovered,
)
from pipeline.report.quarter.pictures import (
    BAR_ROW,
    RateBar,
    draw_counts,
    draw_key,
    draw_promises,
    draw_rates,
    draw_trend,
    trend_height,
)
from pipeline.wording import Wording

_TREND_H, _TREND_QUARTERS = 96.0, 8
_REGIONS_MOST = 14
_HEAD_H, _FIGURES_H, _VERDICT_LINES = 54.0, 46.0, 6
_SIGN_H = 20.0
_ASK_H = STRONG.leading + 3.0
_GAP, _PROMISES_H = 10.0, 190.0
_NAMES_LINES = 12
_SIGNERS = ("prepared", "checked", "accepted")
_SIGNED_H = HEADING_H + 22.0 + len(_SIGNERS) * (_SIGN_H + 8)
_METHOD = ("agreed", "departure", "rate", "once", "late", "edges", "hurts")


def quarter_pdf(content: QuarterContent, words: Wording) -> bytes:
    """Return the audit of one quarter as PDF; the same content gives the same bytes."""
    size = style.page_size(words.country)
    page = page_box(size)

    answer = to_answer(content, words)
    first = rows_fitting(answer, page.below(_first_bottom(content, words, page)))
    lists = [approvals(content, words), uncovered(content, words), findings(content, words)]
    lists += [samples(content, words)] if content.samples else []
    if (content.edition or 1) > 1:
        lists.insert(0, restated(content, words))
    if first < len(answer.rows):  # the rest of page one's list, and not from its beginning again
        lists.insert(0, replace(answer, rows=answer.rows[first:], note=words("audit.act_rest")))
    parts = _parts(content, words, page)
    early = _fitting(parts, _room(content, words, page))
    late_h = sum(height for height, _ in parts[early:])
    tails = [
        (_method_height(content, words, page), lambda pen, box: _method(pen, box, content, words)),
        (_SIGNED_H, lambda pen, box: _signatures(pen, box, content, words)),
    ]
    listed = list_pages(
        lists,
        tails,
        page.below(page.y + _ASK_H),
        lambda pen, box: _stack(pen, box, parts[early:]),
        late_h,
    )
    further = [
        _under(_asks(content, words, rest=answer.title in titles, sign=n == len(listed)), draw)
        for n, (titles, draw) in enumerate(listed, start=1)
    ]

    def draw_first(pen: Pen, box: Box) -> None:
        _stack(pen, _draw_first(pen, box, content, words), parts[:early])

    second = None if early == len(parts) else words("audit.states_title")
    leaves = [
        Leaf(draw_first, words("audit.kind")),
        *(Leaf(draw, second if draw is further[0] else None) for draw in further[:-1]),
        Leaf(further[-1], words("audit.sign_title")),
    ]
    title = words("audit.title", quarter=content.quarter)
    foot = f"{title} · {edition(content, words)}"
    return booklet(
        leaves, size, words, title=title, foot=foot, seal=content.seal, inputs=content.inputs
    )


def _asks(content: QuarterContent, words: Wording, *, rest: bool, sign: bool) -> str:
    """Return what a page after the first asks of whom, in a line."""
    if rest and sign:
        return words("audit.asked_both")
    if rest:
        return words("audit.asked_rest", whom=asked_of(content, words))
    return words("audit.asked_sign" if sign else "audit.asked_none")


def _under(ask: str, draw: Draw) -> Draw:
    """Return a drawing of a page that begins with what it asks."""

    def drawn(pen: Pen, box: Box) -> None:
        pen.paragraph(box, ask, STRONG, lines=1)
        draw(pen, box.below(box.y + _ASK_H))

    return drawn


def _parts(content: QuarterContent, words: Wording, page: Box) -> list[Piece]:
    """Return what follows the list to answer: on page one if it fits there, else on the next."""
    return [
        (_course_height(content, words), lambda pen, box: _draw_course(pen, box, content, words)),
        (
            _second_height(content, words, page),
            lambda pen, box: _draw_second(pen, box, content, words),
        ),
    ]


def _fitting(parts: Sequence[Piece], room: float) -> int:
    """Return how many of the parts fit a height one below the other."""
    ends = accumulate(height for height, _ in parts)
    return sum(end <= room for end in ends)


def _stack(pen: Pen, box: Box, parts: Sequence[Piece]) -> None:
    for height, draw in parts:
        draw(pen, box)
        box = box.below(box.y + height)


def _draw_first(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> Box:
    """Draw what is asked, the figures, and what to answer while there is room; return the rest."""
    y = _head(pen, page, content, words)
    y = pen.paragraph(page.below(y + 8), verdict(content, words), LEAD, lines=_VERDICT_LINES)
    _key_figures(pen, page.below(y + 10), content, words)
    box = page.below(_first_bottom(content, words, page))
    printed = to_answer(content, words)
    fitting = rows_fitting(printed, box)
    if rest := len(printed.rows) - fitting:
        further = words.counted("audit.further_rows", rest)
        more = printed.note if len(printed.rows) < len(content.causes) else ""
        printed = replace(printed, note=", ".join(filter(None, (further, more))))
    return page.below(draw_list(pen, box, printed, 0, fitting) + _GAP)


def _room(content: QuarterContent, words: Wording, page: Box) -> float:
    """Return the height left on page one below what is to be answered; below 0 if it goes on."""
    box = page.below(_first_bottom(content, words, page))
    return box.h - list_height(to_answer(content, words), page.w) - _GAP


def _course_height(content: QuarterContent, words: Wording) -> float:
    """Return the height in points of what `_draw_course` draws."""
    trend = trend_height(_chart_h(content), content.trend[-_TREND_QUARTERS:], words)
    regions = SMALL.leading
    if _regions_ask(content):
        regions += min(_REGIONS_MOST, len(content.regions)) * BAR_ROW
    return HEADING_H + trend + _GAP + HEADING_H + regions + _GAP


def _chart_h(content: QuarterContent) -> float:
    """Return the height of the chart of quarters in points: none where all shares are nothing."""
    return _TREND_H if any(one.astray for one in content.trend[-_TREND_QUARTERS:]) else 0.0


def _draw_course(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> None:
    """Draw the course over the quarters and the regions."""
    top = pen.heading(page, words("audit.trend_title"))
    height = _chart_h(content)
    if height:
        draw_key(pen, Box(page.right - 230, page.y + 4, 230, 12), words)
    trend = content.trend[-_TREND_QUARTERS:]
    y = draw_trend(pen, Box(page.x, top, page.w, height), trend, words)
    _regions(pen, page.below(y + _GAP), content, words)


def _first_bottom(content: QuarterContent, words: Wording, page: Box) -> float:
    """Return the y at which page one's list begins."""
    text_h = text_height(verdict(content, words), LEAD, page.w, _VERDICT_LINES)
    return page.y + _HEAD_H + 8 + text_h + 10 + _FIGURES_H + 6


def _head(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> float:
    draw_kind(pen, page, words("audit.kind"), edition(content, words))
    parts = (
        words("audit.days", first=words.day(content.first), last=words.day(content.last)),
        words(
            "audit.covered",
            n=words.number(content.now.covered),
            all=words.number(content.now.stores),
        ),
        words.counted("store.stations", content.now.stations),
    )
    return draw_name(pen, page, content.quarter, parts)


def _key_figures(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> None:
    """Draw the five counts by order; of what nobody ordered, likely rollouts are counted apart."""
    now = content.now
    nobody = words("audit.key_nobody")
    if content.settled:
        nobody = words.counted("audit.key_nobody_settled", content.settled, label=nobody)
    elif now.rollouts:
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
    """Draw the orders and promises, store types, and stores that had something repeatedly."""
    left, right = page.split(2)
    y = _states(pen, left, content, words)
    y = _types(pen, left.below(y + _GAP), content, words)
    _whole(pen, left.below(y + _GAP), repeated(content, words))
    _promises(pen, Box(right.x, right.y, right.w, _PROMISES_H), content, words)


def _second_height(content: QuarterContent, words: Wording, page: Box) -> float:
    """Return the height in points of what `_draw_second` draws, and of the gap below."""
    bars = max(2, len(content.states)) + len(content.types)
    again = list_height(repeated(content, words), page.split(2)[0].w)
    left = 2 * (HEADING_H + _GAP) + bars * BAR_ROW + again
    return max(left, _PROMISES_H if content.measured else 0.0) + _GAP


def _regions_ask(content: QuarterContent) -> bool:
    return any(one.astray or (before and before.astray) for one, before in content.regions)


def _regions(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> None:
    asked = _regions_ask(content)
    note = words("audit.tick_note") if asked else ""
    top = pen.heading(box, words("audit.regions_title"), note)
    if not asked:
        pen.paragraph(box.below(top), words("audit.rates_none"), SMALL, lines=1)
        return
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


def _whole(pen: Pen, box: Box, printed: PrintedList) -> None:
    draw_list(pen, box, printed, 0, len(printed.rows))


def _types(pen: Pen, box: Box, content: QuarterContent, words: Wording) -> float:
    y = pen.heading(box, words("audit.types_title"))
    if not any(t.astray for t in content.types):
        return pen.paragraph(box.below(y), words("audit.rates_none"), SMALL, lines=1)
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


def _method_height(content: QuarterContent, words: Wording, page: Box) -> float:
    """Return the height in points of what `_method` draws, and of the gap below."""
    texts = [words(f"method.{key}") for key in _METHOD]
    method = sum(text_height(text, SMALL, page.w) + 4 for text in texts)
    names = _nothing_agreed(content, words)
    without = 6 + text_height(names, SMALL, page.w, _NAMES_LINES) if names else 0.0
    return HEADING_H + method + without + 14


def _nothing_agreed(content: QuarterContent, words: Wording) -> str:
    if not content.without_baseline:
        return ""
    names = ", ".join(store.store for store in content.without_baseline)
    return words("audit.without_baseline", stores=names)


def _method(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> None:
    y = pen.heading(page, words("audit.method_title"))
    for key in _METHOD:
        y = pen.paragraph(page.below(y + 2), words(f"method.{key}"), SMALL) + 2
    text = _nothing_agreed(content, words)
    pen.paragraph(page.below(y + 6), text, SMALL, lines=_NAMES_LINES)


def _signatures(pen: Pen, page: Box, content: QuarterContent, words: Wording) -> None:
    y = pen.heading(page, words("audit.sign_title"))
    pen.paragraph(page.below(y), words("audit.sign_note", quarter=content.quarter), SMALL, lines=3)
    y += 22
    for signer in _SIGNERS:
        pen.text(page.x, y + _SIGN_H - 6, words(f"signer.{signer}"), SMALL)
        for share, key in ((0.2, "name"), (0.55, "signature"), (0.85, "date")):
            x = page.x + page.w * share
            end = page.x + page.w * {"name": 0.52, "signature": 0.82, "date": 1.0}[key]
            pen.line((x, y + _SIGN_H - 4), (end, y + _SIGN_H - 4), style.INK, 0.6)
            pen.text(x, y + _SIGN_H + 5, words(f"sign.{key}"), TINY_MUTED)
        y += _SIGN_H + 8
