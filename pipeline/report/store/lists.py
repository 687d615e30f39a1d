"""The lists of a summary: changes, findings, label health."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate

from pipeline.records import Severity
from pipeline.report.kit import style
from pipeline.report.kit.booklet import Block
from pipeline.report.kit.lists import draw_rows, list_height
from pipeline.report.kit.pen import (
    BODY,
    HEADING_H,
    SMALL,
    SMALL_MUTED,
    SMALL_STRONG,
    STRONG,
    TINY,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    Type,
    text_height,
)
from pipeline.report.kit.style import Face
from pipeline.report.kit.tags import Role
from pipeline.report.store.content import (
    Document,
    KeyFigures,
    PlannedMove,
    PlannedStation,
    StoreContent,
    StoreFinding,
)
from pipeline.report.store.followed import FEW, behind_line, behind_list, outcome_lines
from pipeline.report.store.verdict import gap, side_lines
from pipeline.wording import Wording

_INDENT = 20.0
_GAP = 4.0
_STAY_LINES = 4
_HELD_LINES, _SIDE_LINES = 3, 10  # the second with stores next door
_COUNT_W = 40.0
_OUTCOMES, _OUTCOME_LINES = 3, 4
_NUMBER = Type(style.SMALL, Face.STRONG, style.PAPER)


def move_height(move: PlannedMove, width: float) -> float:
    """Return the height of a change in a column, in points."""
    return STRONG.leading + text_height(move.reason, SMALL, width - _INDENT) + _GAP


def draw_move(pen: Pen, box: Box, move: PlannedMove, doc: Document) -> float:
    """Draw a change with its number, what it brings and why; return the y below it."""
    with pen.part(Role.TEXT):
        _draw_step(pen, box, move, doc)
    rest = Box(box.x + _INDENT, box.y + STRONG.leading, box.w - _INDENT, 0)
    return pen.paragraph(rest, move.reason, SMALL) + _GAP


def _draw_step(pen: Pen, box: Box, move: PlannedMove, doc: Document) -> None:
    middle = box.y + 7
    pen.circle((box.x + 7, middle), 7, style.PLANNED, style.PLANNED, 0.5)
    pen.text(box.x + 7, middle + 2.8, str(move.position), _NUMBER, align=Align.CENTRE)
    head = move_step(move, doc)
    worth = move_worth(move, doc)
    room = box.w - _INDENT - SMALL_MUTED.width(worth) - _GAP
    pen.text(box.x + _INDENT, box.y + STRONG.size, head, STRONG, width=room)
    pen.text(box.right, box.y + STRONG.size, worth, SMALL_MUTED, align=Align.RIGHT)


def move_step(move: PlannedMove, doc: Document) -> str:
    """Return the station of a change, and its channels."""
    change = doc.words.channels(move.from_channel, move.to_channel)
    if move.kind == "first":
        change = doc.words("moves.first_channel", channel=move.to_channel)
    return doc.words("moves.step", station=doc.called(move.station), change=change)


def move_worth(move: PlannedMove, doc: Document, *, short: bool = False) -> str:
    """Return the clear air before and after, how sure that is, and the night, if it has one."""
    words = doc.words
    if move.parking:
        parts = [words("moves.parking")]
    else:
        station = next(s for s in doc.content.stations if s.station == move.station)
        parts = [words.change(station.clear_air_now, station.clear_air_planned)]
        if station.sureness is not None:
            sure = words(f"sureness.{station.sureness}")
            parts.append(sure if short else words("moves.sure", sureness=sure))
    if move.starts_at is not None:
        parts.append(words.day(move.starts_at.date()))
    return " · ".join(parts)


def held_height(doc: Document, width: float) -> float:
    """Return the height of what is said of stations held and next door, in points; 0 of none."""
    said = side_lines(doc.content, doc.words)
    return text_height(said, SMALL_MUTED, width, _lines(doc)) + _GAP if said else 0.0


def draw_held(pen: Pen, box: Box, doc: Document) -> float:
    """Draw which stations are held and who is next door, if any; return the y below."""
    if not (said := side_lines(doc.content, doc.words)):
        return box.y
    return pen.paragraph(box, said, SMALL_MUTED, lines=_lines(doc)) + _GAP


def _lines(doc: Document) -> int:
    return _SIDE_LINES if doc.content.neighbours.stores else _HELD_LINES


def draw_no_moves(pen: Pen, box: Box, doc: Document) -> None:
    """Draw why nothing changes: the proof, then the reasons of stations; count those without room.

    The workbook has them all.
    """
    y = pen.paragraph(box, _why(doc.content, doc.words), BODY, lines=3) + _GAP
    reasons = [
        f"{doc.names[station.station]}: {station.reason}"
        for station in doc.content.stations
        if station.reason is not None
    ]
    for place, text in enumerate(reasons):
        left = len(reasons) - place
        height = text_height(text, SMALL_MUTED, box.w, _STAY_LINES)
        if y + height + (SMALL_MUTED.leading if left > 1 else 0.0) > box.bottom:
            rest = doc.words.counted("more.workbook", left)
            pen.text(box.x, y + SMALL_MUTED.size, rest, SMALL_MUTED)
            return
        y = pen.paragraph(box.below(y), text, SMALL_MUTED, lines=_STAY_LINES) + 2


def no_moves_height(doc: Document, width: float) -> float:
    """Return the height at which all reasons to change nothing are shown, in points."""
    reasons = (
        text_height(f"{doc.names[one.station]}: {one.reason}", SMALL_MUTED, width, _STAY_LINES) + 2
        for one in doc.content.stations
        if one.reason is not None
    )
    return text_height(_why(doc.content, doc.words), BODY, width, 3) + _GAP + sum(reasons)


def fitting(
    moves: Sequence[PlannedMove], width: float, room: float, below: float
) -> tuple[int, int]:
    """Return how many changes fit into a column, and how many go on in the room of another.

    They go on there only if all have room in the two; else room is kept for a closing line.
    """
    heights = [move_height(move, width) for move in moves]
    own = sum(end <= room for end in accumulate(heights))
    if own < len(moves) and sum(heights[own:]) <= below:
        return own, len(moves) - own
    return _fitting(moves, width, room), 0


def _fitting(moves: Sequence[PlannedMove], width: float, room: float) -> int:
    """Return how many changes fit into a column with a closing line, unless all do."""
    used = 0.0
    for count, move in enumerate(moves):
        used += move_height(move, width)
        spare = 0.0 if count + 1 == len(moves) else SMALL.leading
        if used + spare > room:
            return count
    return len(moves)


def _why(content: StoreContent, words: Wording) -> str:
    if content.proof is None:
        return words("moves.unplanned")
    if content.proof.optimal:
        return words("moves.best")
    return words("moves.near", gap=words.percent(gap(content)))


_FINDING_INDENT = 52.0
_FINDING_GAP = 2.5
_TEXT_LINES = 4  # the longest sentence of a rule, in half a page
_ALERT_STRONG = Type(style.SMALL, Face.STRONG, style.ALERT)


@dataclass(frozen=True, slots=True)
class _Entry:
    """What is printed of a finding, or of several of one rule, of which it is the first."""

    finding: StoreFinding
    count: int
    title: str
    text: str

    def height(self, width: float) -> float:
        """Return its height in points."""
        text = text_height(self.text, TINY_MUTED, width - _FINDING_INDENT, _TEXT_LINES)
        return SMALL.leading + text + _FINDING_GAP


def findings_height(findings: Sequence[StoreFinding], width: float, words: Wording) -> float:
    """Return the height at which every finding stands alone, in points."""
    entries = (_one(finding, words).height(width) for finding in findings)
    return HEADING_H + 1 + (sum(entries) if findings else SMALL_MUTED.leading)


def draw_findings(pen: Pen, box: Box, findings: Sequence[StoreFinding], words: Wording) -> None:
    """Draw the findings, gravest first, one by one or by rule; count those without room."""
    y = pen.heading(box, words("findings.title"))
    if not findings:
        pen.text(box.x, y + SMALL.size, words("findings.none"), SMALL_MUTED)
        return
    entries = [_one(finding, words) for finding in findings]
    if sum(entry.height(box.w) for entry in entries) > box.bottom - y:
        entries = [_together(group, words) for group in _groups(findings)]
    left = len(findings)
    for place, entry in enumerate(entries, start=1):
        spare = 0.0 if place == len(entries) else SMALL.leading
        if y + entry.height(box.w) + spare > box.bottom:
            rest = words.counted("more.workbook", left)
            pen.text(box.x + _FINDING_INDENT, y + SMALL.size, rest, SMALL_MUTED)
            return
        _draw(pen, box.below(y), entry, words)
        y += entry.height(box.w)
        left -= entry.count


def _groups(findings: Sequence[StoreFinding]) -> Iterator[list[StoreFinding]]:
    """Yield the findings of one rule and severity together, excepted ones by their reason."""
    groups: dict[tuple[str, str, str | None], list[StoreFinding]] = {}
    for finding in findings:
        key = (finding.rule, finding.severity, finding.excepted)
        groups.setdefault(key, []).append(finding)
    yield from groups.values()


def _one(finding: StoreFinding, words: Wording) -> _Entry:
    if finding.excepted is not None:
        reason = words("findings.excepted_note", reason=finding.excepted)
        return _Entry(finding, 1, finding.title, reason)
    known = finding.place in finding.detail
    text = finding.detail if known else f"{finding.place}: {finding.detail}"
    return _Entry(finding, 1, finding.title, text)


def _together(group: Sequence[StoreFinding], words: Wording) -> _Entry:
    alone = _one(group[0], words)
    if len(group) == 1:
        return alone
    title = words("findings.together", title=alone.title, n=words.number(len(group)))
    subjects = ", ".join(sorted({finding.place for finding in group}))
    text = alone.text if group[0].excepted is not None else subjects
    return _Entry(group[0], len(group), title, text)


def _draw(pen: Pen, box: Box, entry: _Entry, words: Wording) -> None:
    with pen.part(Role.TEXT):
        _draw_entry(pen, box, entry, words)


def _draw_entry(pen: Pen, box: Box, entry: _Entry, words: Wording) -> None:
    finding = entry.finding
    grave = finding.severity in (Severity.STOP, Severity.FIX) and finding.excepted is None
    key = "findings.excepted" if finding.excepted is not None else f"severity.{finding.severity}"
    _shape(pen, box.x + 4, box.y + 5, finding)
    kind = _ALERT_STRONG if grave else SMALL_MUTED
    base = box.y + SMALL.size
    pen.text(box.x + 11, base, words(key), kind, width=_FINDING_INDENT - 12)
    pen.text(
        box.x + _FINDING_INDENT, base, entry.title, SMALL_STRONG, width=box.w - _FINDING_INDENT
    )
    rest = Box(box.x + _FINDING_INDENT, box.y + SMALL.leading, box.w - _FINDING_INDENT, 0)
    pen.paragraph(rest, entry.text, TINY_MUTED, lines=_TEXT_LINES)


def _shape(pen: Pen, x: float, y: float, finding: StoreFinding) -> None:
    """Draw the outline of the severity, which can be told without colour or words."""
    if finding.excepted is not None or finding.severity is Severity.NOTE:
        pen.line((x - 3, y), (x + 3, y), style.MUTED, 1)
    elif finding.severity is Severity.STOP:
        pen.rectangle(Box(x - 3, y - 3, 6, 6), style.ALERT)
    elif finding.severity is Severity.FIX:
        pen.polygon(((x - 3.4, y + 3), (x + 3.4, y + 3), (x, y - 3.4)), style.ALERT, None)
    else:
        pen.circle((x, y), 2.6, style.PAPER, style.MUTED, 0.9)


def labels_height(doc: Document, width: float) -> float:
    """Return the height at which the labels of every station are shown, in points."""
    words = doc.words
    if not doc.content.figures.labels:
        return HEADING_H + 1 + text_height(words("labels.none"), SMALL_MUTED, width, 2)
    lines = outcome_lines(doc.content.outcomes, words)
    told = [text_height(line, SMALL, width, _OUTCOME_LINES) + 2 for line in lines[:_OUTCOMES]]
    if line := behind_line(doc.content.behind, words):
        told.append(text_height(line, SMALL_STRONG, width, _OUTCOME_LINES) + 2)
    if len(lines) > _OUTCOMES:
        told.append(SMALL_MUTED.leading)
    rows = SMALL.leading * (2 + len(doc.content.stations))
    return HEADING_H + 1 + sum(told) + (_GAP if lines else 0) + TINY.leading + 2 + rows


def draw_labels(pen: Pen, box: Box, doc: Document) -> None:
    """Draw the label counts of the store, then of its stations while there is room."""
    words, figures, stations = doc.words, doc.content.figures, doc.content.stations
    if not figures.labels:
        y = pen.heading(box, words("labels.title"))
        pen.paragraph(box.below(y), words("labels.none"), SMALL_MUTED, lines=2)
        return
    y = pen.heading(box, words("labels.title"), words("labels.note"))
    y = _outcomes(pen, box.below(y), doc)
    with pen.part(Role.TABLE):
        y = _label_heads(pen, box.below(y), words)
        rows = int((box.bottom - y) // SMALL.leading) - 1
        y = _label_row(pen, box.below(y), words("labels.all"), figures, words)
        shown = _label_stations(stations, rows)
        for station in shown:
            y = _label_row(pen, box.below(y), doc.called(station.station), station, words)
    if hidden := len(stations) - len(shown):
        text = words.counted("more.workbook", hidden)
        pen.text(box.x, y + SMALL.size, text, SMALL_MUTED)


def labels_least(doc: Document, width: float) -> float:
    """Return the least height of label health in points: outcomes, and the store's own counts."""
    if not doc.content.figures.labels:
        return HEADING_H + 2 * SMALL_MUTED.leading
    lines = outcome_lines(doc.content.outcomes, doc.words)
    told = [text_height(line, SMALL, width, _OUTCOME_LINES) + 2 for line in lines[:_OUTCOMES]]
    if line := behind_line(doc.content.behind, doc.words):
        told.append(text_height(line, SMALL_STRONG, width, _OUTCOME_LINES) + 2)
    if len(lines) > _OUTCOMES:
        told.append(SMALL_MUTED.leading)
    rows = TINY.leading + 2 + 3 * SMALL.leading
    return HEADING_H + sum(told) + (_GAP if lines else 0.0) + rows


def _outcomes(pen: Pen, box: Box, doc: Document) -> float:
    """Draw what became of the labels of changes made, those that lack most first."""
    lines, y = outcome_lines(doc.content.outcomes, doc.words), box.y
    for line in lines[:_OUTCOMES]:
        y = pen.paragraph(box.below(y), line, SMALL, lines=_OUTCOME_LINES) + 2
    if line := behind_line(doc.content.behind, doc.words):
        y = pen.paragraph(box.below(y), line, SMALL_STRONG, lines=_OUTCOME_LINES) + 2
    if len(lines) > _OUTCOMES:
        text = doc.words.counted("more.workbook", len(lines) - _OUTCOMES)
        y = pen.paragraph(box.below(y), text, SMALL_MUTED, lines=1)
    return y + _GAP if lines else y


def _label_heads(pen: Pen, box: Box, words: Wording) -> float:
    base, width = box.y + TINY.size, _COUNT_W - 3
    with pen.part(Role.ROW):
        with pen.part(Role.HEAD):
            pass  # over the names
        for place, key in enumerate(("labels", "weak", "silent", "lone")):
            x, text = box.right - _COUNT_W * (3 - place), words(f"labels.{key}")
            with pen.part(Role.HEAD):
                pen.text(x, base, text, TINY_MUTED, align=Align.RIGHT, width=width)
    y = box.y + TINY.leading + 2
    pen.line((box.x, y - 1), (box.right, y - 1))
    return y


def _label_stations(stations: Sequence[PlannedStation], rows: int) -> Sequence[PlannedStation]:
    if len(stations) <= rows:
        return stations
    troubled = sorted(
        stations, key=lambda s: (-(s.weak_labels + s.silent_labels + s.lone_labels), s.station)
    )
    return troubled[: max(0, rows - 1)]


def _label_row(
    pen: Pen, box: Box, name: str, of: KeyFigures | PlannedStation, words: Wording
) -> float:
    kind = SMALL_STRONG if isinstance(of, KeyFigures) else SMALL
    base = box.y + kind.size
    counts = (of.labels, of.weak_labels, of.silent_labels, of.lone_labels)
    with pen.part(Role.ROW):
        with pen.part(Role.SIDE):
            pen.text(box.x, base, name, kind, width=box.w - 4 * _COUNT_W)
        for place, count in enumerate(map(words.number, counts)):
            with pen.part(Role.CELL):
                pen.text(box.right - _COUNT_W * (3 - place), base, count, kind, align=Align.RIGHT)
    return box.y + kind.leading


def behind_block(doc: Document, width: float) -> Block | None:
    """Return the labels that did not follow as one item, since they fit a page; None if few."""
    if len(doc.content.behind) <= FEW:
        return None
    printed = behind_list(doc.content.behind, doc.words)

    def draw(pen: Pen, box: Box, _: Sequence[int]) -> None:
        with pen.part(Role.TABLE):
            draw_rows(pen, box, printed, 0, len(printed.rows))

    height = list_height(printed, width) - HEADING_H
    return Block("behind", printed.title, 1, 0.0, (height,), draw, printed.note)
