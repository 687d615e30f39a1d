"""Page two: the air, what the plan rests on, findings, cautions, sign-off, how to read."""

from collections.abc import Sequence

from pipeline.report import style
from pipeline.report.content import Station, StoreContent
from pipeline.report.document import Document
from pipeline.report.evidence_lines import evidence_lines
from pipeline.report.figures import AIR_ROW, air_height, draw_air
from pipeline.report.finding_list import draw_findings
from pipeline.report.pen import (
    HEADING_H,
    SMALL,
    SMALL_MUTED,
    SMALL_STRONG,
    TINY,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    Type,
    text_height,
)
from pipeline.report.wording import Wording

AIR_ROWS = 14  # stations; more go to a page of their own
_SIGNING = ("proposed", "approved", "done")
_SIGNING_H, _ITEM_GAP, _ITEM_INDENT = 47.0, 2.0, 8.0
_COUNT_W = 40.0
_CAUTIONS = ("ladders", "mains", "voids", "lone", "public", "radio", "defer")
_READING = ("clear_air", "earshot", "bound", "parking")


def air_rows(content: StoreContent) -> tuple[Station, ...]:
    """Return the stations drawn on page two: all, or the weakest where there are many."""
    if len(content.stations) <= AIR_ROWS:
        return content.stations
    weakest = sorted(
        content.stations, key=lambda s: (s.clear_air_now is None, s.clear_air_now or 0, s.station)
    )
    return tuple(weakest[: AIR_ROWS - 2])


def draw_second_page(pen: Pen, page: Box, doc: Document) -> None:
    """Draw page two."""
    content, words = doc.content, doc.words
    shown = air_rows(content)
    y = pen.heading(page, words("air.title"), words("air.note"))
    y = draw_air(pen, Box(page.x, y, page.w, air_height(len(shown))), shown, doc)
    if hidden := len(content.stations) - len(shown):
        rest = words.counted("more.page", hidden, page=doc.pages["air"])
        text = f"{words('bars.weakest')} {rest}"
        pen.text(page.x, y + TINY.size, text, TINY_MUTED)
        y += AIR_ROW
    foot_h = _foot_height(page, words)
    foot = Box(page.x, page.bottom - foot_h, page.w, foot_h)
    left, right = Box(page.x, y + 8, page.w, foot.y - y - 18).split(2)
    below = _evidence(pen, left, content, words)
    _labels(pen, left.below(below + 6), doc)
    draw_findings(pen, right, content.findings, words)
    _foot(pen, foot, words)


def _evidence(pen: Pen, box: Box, content: StoreContent, words: Wording) -> float:
    blind = not (content.figures.measured or content.figures.inferred)
    y = pen.heading(box, words("evidence.title"), words("evidence.none") if blind else "")
    for label, value in evidence_lines(content, words):
        pen.text(box.x, y + SMALL.size, label, SMALL, width=box.w * 0.6)
        width = box.w * 0.39
        pen.text(box.right, y + SMALL.size, value, SMALL_STRONG, align=Align.RIGHT, width=width)
        y += SMALL.leading + 1
    return y


def _labels(pen: Pen, box: Box, doc: Document) -> None:
    words, figures, stations = doc.words, doc.content.figures, doc.content.stations
    if not figures.labels:
        y = pen.heading(box, words("labels.title"))
        pen.paragraph(box.below(y), words("labels.none"), SMALL_MUTED, lines=2)
        return
    y = pen.heading(box, words("labels.title"), words("labels.note"))
    y = _label_heads(pen, box.below(y), words)
    rows = int((box.bottom - y) // SMALL.leading) - 1
    totals = (figures.labels, figures.weak_labels, figures.silent_labels, figures.lone_labels)
    y = _label_row(
        pen, box.below(y), words("labels.all"), [*map(words.number, totals)], SMALL_STRONG
    )
    shown = _label_stations(stations, rows)
    for s in shown:
        counts = [*map(words.number, (s.labels, s.weak_labels, s.silent_labels, s.lone_labels))]
        y = _label_row(pen, box.below(y), doc.called(s.station), counts, SMALL)
    if hidden := len(stations) - len(shown):
        text = words.counted("more.workbook", hidden)
        pen.text(box.x, y + SMALL.size, text, SMALL_MUTED)


def _label_heads(pen: Pen, box: Box, words: Wording) -> float:
    for place, key in enumerate(("labels", "weak", "silent", "lone")):
        x = box.right - _COUNT_W * (3 - place)
        text = words(f"labels.{key}")
        pen.text(x, box.y + TINY.size, text, TINY_MUTED, align=Align.RIGHT, width=_COUNT_W - 3)
    y = box.y + TINY.leading + 2
    pen.line((box.x, y - 1), (box.right, y - 1))
    return y


def _label_stations(stations: Sequence[Station], rows: int) -> Sequence[Station]:
    if len(stations) <= rows:
        return stations
    troubled = sorted(
        stations, key=lambda s: (-(s.weak_labels + s.silent_labels + s.lone_labels), s.station)
    )
    return troubled[: max(0, rows - 1)]


def _label_row(pen: Pen, box: Box, name: str, counts: Sequence[str], kind: Type) -> float:
    base = box.y + kind.size
    pen.text(box.x, base, name, kind, width=box.w - 4 * _COUNT_W)
    for place, count in enumerate(counts):
        pen.text(box.right - _COUNT_W * (3 - place), base, count, kind, align=Align.RIGHT)
    return box.y + kind.leading


def _foot_height(page: Box, words: Wording) -> float:
    """Return the height of the longest of the three columns at the foot of the page."""
    width = page.split(3)[0].w - _ITEM_INDENT
    columns = (("cautions", _CAUTIONS), ("reading", _READING))
    texts = [[words(f"{group}.{key}") for key in keys] for group, keys in columns]
    heights = [sum(text_height(t, TINY, width) + _ITEM_GAP for t in column) for column in texts]
    return HEADING_H + max(*heights, _SIGNING_H * len(_SIGNING))


def _foot(pen: Pen, box: Box, words: Wording) -> None:
    cautions, reading, signing = box.split(3)
    y = pen.heading(cautions, words("cautions.title"))
    for key in _CAUTIONS:
        y = _item(pen, cautions.below(y), words(f"cautions.{key}"))
    y = pen.heading(reading, words("reading.title"))
    for key in _READING:
        y = _item(pen, reading.below(y), words(f"reading.{key}"))
    y = pen.heading(signing, words("signoff.title"))
    for key in _SIGNING:
        pen.text(signing.x, y + TINY.size, words(f"signoff.{key}"), TINY)
        pen.line((signing.x, y + 34), (signing.right, y + 34), style.MUTED, 0.6)
        note = words("signoff.name_date")
        pen.text(signing.right, y + 42, note, TINY_MUTED, align=Align.RIGHT)
        y += _SIGNING_H


def _item(pen: Pen, box: Box, text: str) -> float:
    pen.line((box.x, box.y + 4.6), (box.x + 4, box.y + 4.6), style.MUTED, 0.9)
    indented = Box(box.x + _ITEM_INDENT, box.y, box.w - _ITEM_INDENT, box.h)
    return pen.paragraph(indented, text, TINY) + _ITEM_GAP
