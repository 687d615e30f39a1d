"""What the chain's review has of its regions: a row each, and their run charts side by side."""

from collections.abc import Sequence
from math import isfinite

from pipeline.effect.gather import EffectLine
from pipeline.effect.verdict import Word
from pipeline.effect.windows import Measure
from pipeline.report.kit.booklet import Block
from pipeline.report.kit.column import Look, SheetColumn
from pipeline.report.kit.lists import PrintedColumn, block_of, printed_list
from pipeline.report.kit.pen import SMALL_MUTED, Box, Pen
from pipeline.report.region.answers import note_asked, promise_means
from pipeline.report.region.content import RegionContent
from pipeline.report.region.pictures import draw_run_chart
from pipeline.report.region.proof import gain, points, word
from pipeline.wording import NOTHING, Wording

_ACROSS, _CHART_H = 3, 84.0
_FIRST = {Word.STOP: 0, Word.NOT_YET: 1, Word.ROLL_ON: 2}


def verdict_word(part: RegionContent, words: Wording) -> str:
    """Return the verdict on a region in a word."""
    return NOTHING if part.proof is None else word(part.proof, words)


def effect_on(part: RegionContent, words: Wording, *, air: bool) -> str:
    """Return the effect of all waves judged in a region, on clear air or on labels."""
    lines: Sequence[EffectLine] = part.proof.lines if part.proof else ()
    for line in lines:
        if line.days is None and (line.outcome is Measure.CLEAR_AIR) is air and line.found:
            return gain(line.found, words)
    return words("chain.unknown")


def _short(part: RegionContent, words: Wording, *, air: bool) -> str:
    """Return the same for a narrow column; the note above says what the interval is."""
    whole = [line for line in part.proof.lines if line.days is None] if part.proof else []
    for line in whole:
        found = line.found
        meant = (line.outcome is Measure.CLEAR_AIR) is air
        if meant and found is not None and isfinite(found.low + found.high):
            ends = {"mean": found.effect, "low": found.low, "high": found.high}
            told = {key: points(share, words) for key, share in ends.items()}
            return words("review.gain", **told)
    return effect_on(part, words, air=air)


def _means(part: RegionContent, words: Wording) -> str:
    """Return clear air promised and measured of the changes measured."""
    if not part.promises:
        return NOTHING
    found = promise_means(part)
    return words.change(found.get("promised"), found.get("measured"))


ROWS: tuple[PrintedColumn[RegionContent], ...] = (
    PrintedColumn(lambda p, _: p.region, "audit.column_region", 1.3),
    PrintedColumn(lambda p, w: w.number(len(p.stores)), "audit.column_stores", 0.6, right=True),
    PrintedColumn(
        lambda p, w: w("review.done_of", done=p.done, all=p.changes) if p.changes else NOTHING,
        "row.changes", 0.9,
    ),
    PrintedColumn(
        lambda p, w: w.change(p.clear_air(planned=False), p.clear_air(planned=True)),
        "row.clear_air", 1.0,
    ),
    PrintedColumn(_means, "chain.column_means", 1.0),
    PrintedColumn(
        lambda p, w: w.number(sum(s.stop + s.fix for s in p.stores)), "row.settle", 0.6, right=True
    ),
    PrintedColumn(verdict_word, "chain.column_verdict", 1.2),
    PrintedColumn(lambda p, w: _short(p, w, air=True), "chain.column_air", 1.6),
    PrintedColumn(lambda p, w: _short(p, w, air=False), "chain.column_labels", 1.6),
)  # fmt: skip
REGIONS: tuple[SheetColumn[RegionContent], ...] = (
    SheetColumn("region", Look.TEXT, "audit.column_region"),
    SheetColumn(lambda p, _: len(p.stores), Look.COUNT, "audit.column_stores"),
    SheetColumn("changes", Look.COUNT, "chain.column_changes"),
    SheetColumn("done", Look.COUNT, "row.changes"),
    SheetColumn(lambda p, _: p.clear_air(planned=False), Look.PERCENT, "review.column_air_now"),
    SheetColumn(lambda p, _: p.clear_air(planned=True), Look.PERCENT, "review.column_air_planned"),
    SheetColumn(lambda p, _: promise_means(p).get("promised"), Look.PERCENT, "clear.promised"),
    SheetColumn(lambda p, _: promise_means(p).get("measured"), Look.PERCENT, "clear.measured"),
    SheetColumn(lambda p, _: sum(s.stop for s in p.stores), Look.COUNT, "severity.stop"),
    SheetColumn(lambda p, _: sum(s.fix for s in p.stores), Look.COUNT, "severity.fix"),
    SheetColumn(lambda p, _: sum(s.astray for s in p.stores), Look.COUNT, "row.astray"),
    SheetColumn(verdict_word, Look.TEXT, "chain.column_verdict"),
    SheetColumn(lambda p, w: effect_on(p, w, air=True), Look.LONG, "chain.column_air", 40),
    SheetColumn(lambda p, w: effect_on(p, w, air=False), Look.LONG, "chain.column_labels", 40),
)


def region_rows(content: RegionContent, width: float, words: Wording) -> Block:
    """Return a row for every region, those that must stop first."""
    printed = printed_list(
        words, ROWS, _stops_first(content.parts), title=words("audit.regions_title"),
        note=note_asked(content, words, ("chain.rows_note", "chain.rows_note_read")), nothing="",
    )  # fmt: skip
    return block_of("regions", printed, width)


def draw_multiples(pen: Pen, box: Box, parts: Sequence[RegionContent], words: Wording) -> None:
    """Draw the run charts of regions side by side, as many as fit, those that must stop first."""
    shown = [part for part in _stops_first(parts) if part.proof and part.proof.chart]
    if not shown:
        pen.paragraph(box, words("chain.no_charts"), SMALL_MUTED, lines=3)
        return
    rows = max(1, int((box.h - SMALL_MUTED.leading) // _CHART_H))
    fitting = shown[: rows * _ACROSS]
    for place, part in enumerate(fitting):
        cell = Box(box.x, box.y + _CHART_H * (place // _ACROSS), box.w, _CHART_H).split(
            _ACROSS, 14.0
        )[place % _ACROSS]
        title = f"{part.region}: {verdict_word(part, words)}"
        if part.proof and part.proof.chart:
            draw_run_chart(pen, cell, part.proof.chart, words, title)
    if more := len(shown) - len(fitting):
        text = words.counted("audit.more_regions", more)
        pen.text(box.x, box.bottom, text, SMALL_MUTED, width=box.w)


def _stops_first(parts: Sequence[RegionContent]) -> list[RegionContent]:
    return sorted(
        parts, key=lambda p: (_FIRST[p.proof.verdict.word] if p.proof else len(_FIRST), p.region)
    )
