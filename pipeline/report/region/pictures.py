"""The pictures of a region's review: how far it has come, over time, its effect, its stores."""

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from itertools import pairwise

from pipeline.effect.gather import RunChart
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
    Point,
    Type,
)
from pipeline.report.kit.style import Face
from pipeline.report.kit.tags import Role, in_words
from pipeline.report.region.answers import promise_means
from pipeline.report.region.content import (
    ChangeProgress,
    OpenDeadline,
    RegionContent,
    StoreLine,
    StoreStanding,
)
from pipeline.wording import Wording

_BAR_H, _LEGEND_ROW = 15.0, 10.5
_DASH, _GAP = 3.0, 2.2
_MARGIN = timedelta(days=5)  # before the first and after the last day of a chart
_ALERT_TINY = Type(style.TINY, Face.STRONG, style.ALERT)
_BAR_MOST = 60.0  # points across
_NAMES_FROM_W = 17.0  # points a store needs in the strip for its name
_MARKS_FROM_W = 5.0
_DONE, _SOON = "#1F5F78", "#98B4C0"
# How far changes have come, from dark (done) to white (not begun); failed ones get a cross, those
# done differently a stroke.
_FILLS = {
    ChangeProgress.VERIFIED: _DONE,
    ChangeProgress.IMPLEMENTED: "#4E7B8F",
    ChangeProgress.FAILED: style.ALERT,
    ChangeProgress.DIFFERENTLY: style.ALERT,
    ChangeProgress.UNDONE: style.MUTED,
    ChangeProgress.SCHEDULED: _SOON,
    ChangeProgress.APPROVED: "#C2D3DA",
    ChangeProgress.TO_DECIDE: style.WIFI,
    ChangeProgress.UNPUT: style.PAPER,
}
_RADIUS = 3.4  # points
_TOLD_MOST = 20  # stores told in words of a picture


def draw_progress(pen: Pen, box: Box, content: RegionContent, words: Wording) -> float:
    """Draw all changes in one bar, those done first, with a legend; return the y below."""
    total, x = content.changes, box.x
    met = [progress for progress in ChangeProgress if content.count(progress)]
    for progress in met:
        part = box.w * content.count(progress) / total
        progress_box(pen, Box(x, box.y, part, _BAR_H), progress)
        x += part
    y = box.y + _BAR_H + 4
    columns = box.split(2, 6.0)
    for place, progress in enumerate(met):
        column = columns[place % 2]
        base = y + _LEGEND_ROW * (place // 2)
        count = words.number(content.count(progress))
        after = column.x + 15 + TINY_STRONG.width(count)
        text = words(f"progress.{progress.value}")
        with pen.part(Role.TEXT):
            progress_box(pen, Box(column.x, base + 1, 8, 6.5), progress)
            pen.text(column.x + 12, base + 7.4, count, TINY_STRONG)
            pen.text(after, base + 7.4, text, TINY, width=column.right - after)
    return y + _LEGEND_ROW * -(-len(met) // 2)


def draw_time(pen: Pen, box: Box, content: RegionContent, words: Wording) -> None:
    """Draw the changes over the days, done and scheduled, and the deadlines."""
    if not content.steps:
        text = words("review.no_steps")
        pen.paragraph(Box(box.x, box.y + 8, box.w, box.h), text, SMALL_MUTED, lines=3)
        return
    told = [
        words(f"review.time_{'done' if step.done else 'to_come'}",
              day=words.day(step.day), n=words.number(step.count))
        for step in content.steps
    ]  # fmt: skip
    with pen.picture(box, in_words(words("review.time_in_words"), told)):
        _draw_time(pen, box, content, words)


def _draw_time(pen: Pen, box: Box, content: RegionContent, words: Wording) -> None:
    chart = Box(box.x, box.y + 10, box.w - 22, box.h - 22)
    first = min(step.day for step in content.steps) - _MARGIN
    dues = [due.by for due in _common(content)]
    last = max([content.as_of, *(step.day for step in content.steps), *dues])
    scale = _Scale(chart, first, last + _MARGIN, max(1, content.changes))
    pen.line((chart.x, chart.bottom), (chart.right, chart.bottom), style.INK, 0.6)
    pen.line((chart.x, chart.y), (chart.right, chart.y), style.HAIRLINE, 0.5)
    pen.text(chart.right + 3, chart.y + 2.5, words.number(content.changes), TINY_MUTED)
    _days(pen, scale, content, words)
    done = _steps(pen, scale, content, 0, done=True)
    _steps(pen, scale, content, done, done=False)


class _Scale:
    """Where a day and a count are in a chart."""

    def __init__(self, box: Box, first: date, last: date, most: int) -> None:
        self.box, self.first, self.most = box, first, most
        self.days = max(1, (last - first).days)
        self.last = last

    def at(self, day: date, count: float) -> Point:
        """Return the point of a day and a count."""
        share = min(max((day - self.first).days / self.days, 0.0), 1.0)
        return (self.box.x + self.box.w * share, self.box.bottom - self.box.h * count / self.most)


def _days(pen: Pen, scale: _Scale, content: RegionContent, words: Wording) -> None:
    """Draw today and the deadlines, and the first and last day below the chart."""
    box = scale.box
    base = box.bottom + 9
    today = scale.at(content.as_of, 0)[0]
    pen.line((today, box.y - 4), (today, box.bottom), style.MUTED, 0.7)
    pen.text(min(today + 2, box.right - 14), box.y - 3, words("review.today"), TINY_MUTED)
    pen.text(box.x, base, words.day(scale.first), TINY_MUTED)
    pen.text(box.right, base, words.day(scale.last), TINY_MUTED, align=Align.RIGHT)
    for due in _common(content)[:3]:
        x = scale.at(due.by, 0)[0]
        pen.line((x, box.y), (x, box.bottom), style.ALERT, 1.1)
        pen.text(x - 2, box.y + 8, words("review.due"), _ALERT_TINY, align=Align.RIGHT)


def _common(content: RegionContent) -> list[OpenDeadline]:
    """Return the deadlines of the whole region."""
    return [due for due in content.deadlines if due.store is None]


def _steps(pen: Pen, scale: _Scale, content: RegionContent, start: int, *, done: bool) -> int:
    """Draw one staircase from a count; return the count it ends at."""
    count = start
    at = scale.at(content.as_of if not done else scale.first, count)
    for step in content.steps:
        if step.done is not done:
            continue
        x, _ = scale.at(step.day, 0)
        _stroke(pen, at, (x, at[1]), done=done)
        count += step.count
        up = scale.at(step.day, count)
        _stroke(pen, (x, at[1]), up, done=done)
        at = up
    if done:
        end = scale.at(content.as_of, count)
        _stroke(pen, at, end, done=True)
        at = end
    if count > start:
        label = Type(style.TINY, Face.STRONG, style.PLANNED if done else style.MUTED)
        pen.text(at[0] + 2, at[1] + 2.5, str(count), label)
    return count


def _stroke(pen: Pen, start: Point, end: Point, *, done: bool) -> None:
    """Draw a stretch of a staircase: solid if done, dashed if to come."""
    if done:
        pen.line(start, end, style.PLANNED, 2.0)
        return
    length = abs(end[0] - start[0]) + abs(end[1] - start[1])
    along = 0.0
    while along < length:
        upto = min(along + _DASH, length)
        pen.line(_between(start, end, along / length), _between(start, end, upto / length),
                 style.MUTED, 1.2)  # fmt: skip
        along += _DASH + _GAP


def _between(start: Point, end: Point, share: float) -> Point:
    return (start[0] + (end[0] - start[0]) * share, start[1] + (end[1] - start[1]) * share)


def draw_helping(pen: Pen, box: Box, content: RegionContent, words: Wording) -> float:
    """Draw clear air before, promised and measured, else as planned; return the y below."""
    if content.promises:
        bars = promise_means(content)
        note = words.counted("review.measured_changes", len(content.promises))
    else:
        planned = {"now": False, "planned": True}
        airs = {key: content.clear_air(planned=then) for key, then in planned.items()}
        bars = {key: air for key, air in airs.items() if air is not None}
        note = words("review.none_measured")
    inks = {"was": style.NOW, "now": style.NOW, "promised": _SOON, "planned": _SOON}
    y = box.y
    for key, value in bars.items():
        bar = Box(box.x + 62, y + 1, box.w - 100, 11)
        filled, ink = max(0.6, bar.w * value), inks.get(key, style.PLANNED)
        with pen.part(Role.TEXT):
            pen.text(box.x, y + 9.5, words(f"clear.{key}"), SMALL)
            pen.line((bar.x, bar.bottom), (bar.right, bar.bottom), style.HAIRLINE, 0.4)
            pen.rectangle(Box(bar.x, bar.y, filled, bar.h), ink)
            pen.text(box.right, y + 10, words.percent(value), SMALL_STRONG, align=Align.RIGHT)
        y += 16
    return pen.paragraph(Box(box.x, y + 2, box.w, 20), note, TINY_MUTED, lines=2)


def draw_run_chart(pen: Pen, box: Box, chart: RunChart, words: Wording, title: str = "") -> None:
    """Draw an outcome day by day, with its limits from twelve days on, and the waves.

    One of many has a title of its own, and no note below.
    """
    with pen.picture(box, _chart_in_words(chart, words, title)):
        _draw_run_chart(pen, box, chart, words, title)


def _chart_in_words(chart: RunChart, words: Wording, title: str) -> str:
    """Say what a run chart shows: each day's value, and how many are outside the limits."""
    days = [f"{words.day(day)} {words.percent(value, 1)}" for day, value in chart.points]
    limits = chart.limits
    outside = sum(limits.outside(value) for _, value in chart.points) if limits else 0
    said = [words.counted("proof.chart_outside", outside)] if limits else []
    outcome = words("proof.chart", outcome=words(f"outcome_of.{chart.outcome.value}"))
    return in_words(f"{title}. {outcome}" if title else outcome, [*said, *days])


def _draw_run_chart(pen: Pen, box: Box, chart: RunChart, words: Wording, title: str) -> None:
    single = not title
    outcome = words(f"outcome_of.{chart.outcome.value}")
    title = title or words("proof.chart", outcome=outcome[:1].upper() + outcome[1:])
    pen.text(box.x, box.y + 8, title, TINY_STRONG, width=box.w)
    area = Box(box.x + 34, box.y + 16, box.w - 40, max(24.0, box.h - (44 if single else 36)))
    at = _chart_scale(area, chart)
    first, last, limits = chart.points[0][0], chart.points[-1][0], chart.limits
    values = sorted(value for _, value in chart.points)
    lines = (limits.low, limits.centre, limits.high) if limits else (values[0], values[-1])
    free = area.bottom + TINY_MUTED.leading
    for value in lines:
        y = at(first, value)[1]
        pen.line((area.x, y), (area.right, y), style.HAIRLINE, 0.6)
        if free - y >= TINY_MUTED.leading:  # else it would stand on the one below
            pen.text(area.x - 3, y + 2.5, words.percent(value, 1), TINY_MUTED, align=Align.RIGHT)
            free = y
    for wave, day in chart.waves:
        x = at(day, values[0])[0]
        pen.line((x, area.y - 2), (x, area.bottom), style.PLANNED, 0.8)
        pen.text(x + 2, area.y + 4, wave, TINY_MUTED)
    _chart_points(pen, at, chart)
    pen.text(area.x, area.bottom + 9, words.day(first), TINY_MUTED)
    pen.text(area.right, area.bottom + 9, words.day(last), TINY_MUTED, align=Align.RIGHT)
    if not single:
        return
    short = words.counted("proof.chart_short", len(chart.points))
    note = words("proof.chart_limits") if limits else short
    pen.text(box.x, area.bottom + 19, note, TINY_MUTED, width=box.w)


def _chart_scale(area: Box, chart: RunChart) -> Callable[[date, float], Point]:
    """Return where a day and a value are in a run chart."""
    shown = [value for _, value in chart.points]
    if chart.limits is not None:
        shown += [chart.limits.low, chart.limits.high]
    pad = max(0.002, (max(shown) - min(shown)) * 0.1)
    low, high = min(shown) - pad, max(shown) + pad
    first, last = chart.points[0][0], chart.points[-1][0]
    span = max(1, (last - first).days)

    def at(day: date, value: float) -> Point:
        x = area.x + area.w * min(max((day - first).days / span, 0.0), 1.0)
        return x, area.bottom - area.h * (value - low) / (high - low)

    return at


def _chart_points(pen: Pen, at: Callable[[date, float], Point], chart: RunChart) -> None:
    """Draw the points, those outside the limits larger and in red."""
    dots = [at(*point) for point in chart.points]
    for start, end in pairwise(dots):
        pen.line(start, end, style.MUTED, 0.7)
    for dot, (_, value) in zip(dots, chart.points, strict=True):
        off = chart.limits is not None and chart.limits.outside(value)
        pen.circle(dot, 2.0 if off else 1.3, style.ALERT if off else _DONE, _DONE)


def draw_strip(pen: Pen, box: Box, content: RegionContent, words: Wording) -> None:
    """Draw a bar of clear air for every store, least first, with a tick at what is planned."""
    stores = sorted(
        (s for s in content.stores if s.clear_air_now is not None),
        key=lambda s: (s.clear_air_now or 0.0, s.store),
    )
    if not stores:
        pen.text(box.x, box.y + 12, words("review.no_air"), SMALL_MUTED, width=box.w)
        return
    told = [f"{s.store} {words.change(s.clear_air_now, s.clear_air_planned)}" for s in stores]
    with pen.picture(box, in_words(words("review.strip_title"), told[:_TOLD_MOST])):
        _draw_strip(pen, box, stores, words)


def _draw_strip(pen: Pen, box: Box, stores: Sequence[StoreLine], words: Wording) -> None:
    each = (box.w - 22) / len(stores)
    named, marked = each >= _NAMES_FROM_W, each >= _MARKS_FROM_W
    foot = (10.0 if named else 0.0) + (10.0 if marked else 0.0) + 10.0
    chart = Box(box.x + 22, box.y + 4, each * len(stores), box.h - foot - 4)
    for share in (0.0, 0.5, 1.0):
        y = chart.bottom - chart.h * share
        pen.line((chart.x, y), (box.right, y), style.HAIRLINE, 0.4)
        pen.text(chart.x - 3, y + 2.5, words.percent(share), TINY_MUTED, align=Align.RIGHT)
    for place, store in enumerate(stores):
        column = Box(chart.x + each * place, chart.y, each, chart.h)
        _store_bar(pen, column, store)
        if marked:
            standing_mark(pen, (column.x + each / 2, chart.bottom + 6), store.standing, 2.6)
        if named:
            pen.text(column.x + each / 2, chart.bottom + 18, store.store, TINY_MUTED,
                     align=Align.CENTRE, width=each - 1)  # fmt: skip
    _strip_legend(pen, Box(box.x, box.bottom - 10, box.w, 10), words, marked=marked)


def _store_bar(pen: Pen, column: Box, store: StoreLine) -> None:
    gap = max(column.w - _BAR_MOST, min(2.0, column.w * 0.2))
    now, planned = store.clear_air_now or 0.0, store.clear_air_planned
    height = max(0.6, column.h * now)
    bar = Box(column.x + gap / 2, column.bottom - height, column.w - gap, height)
    pen.rectangle(bar, style.NOW)
    if planned is not None and planned > now:
        y = column.bottom - column.h * planned
        pen.line((bar.x, y), (bar.right, y), style.PLANNED, 1.6)
        if column.w > 3:  # noqa: PLR2004 - points; narrower columns have no room for a stem
            middle = bar.x + bar.w / 2
            pen.line((middle, bar.y), (middle, y), style.PLANNED, 0.5)


def _strip_legend(pen: Pen, box: Box, words: Wording, *, marked: bool) -> None:
    base, x = box.bottom, box.x + 22
    pen.rectangle(Box(x, base - 6, 8, 6), style.NOW)
    x = _label(pen, x + 11, base, words("review.strip_now"))
    pen.line((x, base - 3), (x + 8, base - 3), style.PLANNED, 1.6)
    x = _label(pen, x + 11, base, words("review.strip_planned"))
    if marked:
        for standing in StoreStanding:
            if standing is not StoreStanding.NOTHING:
                standing_mark(pen, (x + 3, base - 2.6), standing, 2.6)
                x = _label(pen, x + 9, base, words(f"standing.{standing.value}"))


def _label(pen: Pen, x: float, base: float, text: str) -> float:
    pen.text(x, base, text, TINY_MUTED)
    return x + TINY_MUTED.width(text) + 10


def standing_mark(pen: Pen, at: Point, standing: StoreStanding, radius: float = _RADIUS) -> None:
    """Draw where a store stands: disc, ring, triangle, cross or dash; nothing if none is due."""
    x, y = at
    if standing is StoreStanding.DONE:
        pen.circle(at, radius, _DONE, _DONE)
    elif standing is StoreStanding.UNDER_WAY:
        pen.circle(at, radius, style.PAPER, _DONE, 1.0)
    elif standing is StoreStanding.TO_DECIDE:
        corners = ((x, y - radius), (x + radius, y + radius), (x - radius, y + radius))
        pen.polygon(corners, style.WIFI, style.INK, 0.6)
    elif standing is StoreStanding.UNDONE:
        pen.line((x - radius, y), (x + radius, y), style.MUTED, 1.6)
    elif standing is StoreStanding.UNPLANNED:
        pen.line((x - radius, y - radius), (x + radius, y + radius), style.ALERT, 1.2)
        pen.line((x - radius, y + radius), (x + radius, y - radius), style.ALERT, 1.2)


def progress_box(pen: Pen, box: Box, progress: ChangeProgress) -> None:
    """Draw a stretch of a bar of changes."""
    pen.rectangle(box, _FILLS[progress], style.INK, 0.4)
    if progress in {ChangeProgress.FAILED, ChangeProgress.DIFFERENTLY} and box.w > 1:
        pen.line((box.x, box.bottom), (box.right, box.y), style.PAPER, 0.8)
        if progress is ChangeProgress.FAILED:
            pen.line((box.x, box.y), (box.right, box.bottom), style.PAPER, 0.8)
