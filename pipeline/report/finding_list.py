"""The list of findings: one by one where there is room, else those of one rule together."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline.records import Finding, Severity
from pipeline.report import style
from pipeline.report.fonts import Face
from pipeline.report.pen import (
    SMALL,
    SMALL_MUTED,
    SMALL_STRONG,
    TINY_MUTED,
    Box,
    Pen,
    Type,
    text_height,
)
from pipeline.report.wording import Wording

_INDENT = 52.0
_GAP = 2.5
_TEXT_LINES = 2
_ALERT_STRONG = Type(style.SMALL, Face.STRONG, style.ALERT)


@dataclass(frozen=True, slots=True)
class _Entry:
    """What is printed of one finding, or of several of one rule; the first stands for all."""

    finding: Finding
    count: int
    title: str
    text: str

    def height(self, width: float) -> float:
        """Return the height in points it takes."""
        text = text_height(self.text, TINY_MUTED, width - _INDENT, _TEXT_LINES)
        return SMALL.leading + text + _GAP


def draw_findings(pen: Pen, box: Box, findings: Sequence[Finding], words: Wording) -> None:
    """Draw the findings, gravest first; what finds no room is counted."""
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
            pen.text(box.x + _INDENT, y + SMALL.size, rest, SMALL_MUTED)
            return
        _draw(pen, box.below(y), entry, words)
        y += entry.height(box.w)
        left -= entry.count


def _groups(findings: Sequence[Finding]) -> Iterator[list[Finding]]:
    """Yield the findings of one rule and severity together; excepted ones by their reason."""
    groups: dict[tuple[str, str, str | None], list[Finding]] = {}
    for finding in findings:
        key = (finding.rule, finding.severity, finding.excepted)
        groups.setdefault(key, []).append(finding)
    yield from groups.values()


def _one(finding: Finding, words: Wording) -> _Entry:
    title = finding.title
    if finding.excepted is not None:
        reason = words("findings.excepted_note", reason=finding.excepted)
        return _Entry(finding, 1, title, reason)
    said = not finding.subject or finding.subject in finding.detail
    text = finding.detail if said else f"{finding.subject}: {finding.detail}"
    return _Entry(finding, 1, title, text)


def _together(group: Sequence[Finding], words: Wording) -> _Entry:
    alone = _one(group[0], words)
    if len(group) == 1:
        return alone
    title = words("findings.together", title=alone.title, n=words.number(len(group)))
    subjects = ", ".join(sorted({finding.subject for finding in group}))
    text = alone.text if group[0].excepted is not None else subjects
    return _Entry(group[0], len(group), title, text)


def _draw(pen: Pen, box: Box, entry: _Entry, words: Wording) -> None:
    finding = entry.finding
    grave = finding.severity in (Severity.STOP, Severity.FIX) and finding.excepted is None
    key = "findings.excepted" if finding.excepted is not None else f"severity.{finding.severity}"
    _shape(pen, box.x + 4, box.y + 5, finding)
    kind = _ALERT_STRONG if grave else SMALL_MUTED
    base = box.y + SMALL.size
    pen.text(box.x + 11, base, words(key), kind, width=_INDENT - 12)
    pen.text(box.x + _INDENT, base, entry.title, SMALL_STRONG, width=box.w - _INDENT)
    rest = Box(box.x + _INDENT, box.y + SMALL.leading, box.w - _INDENT, 0)
    pen.paragraph(rest, entry.text, TINY_MUTED, lines=_TEXT_LINES)


def _shape(pen: Pen, x: float, y: float, finding: Finding) -> None:
    """Draw the severity's own outline, so that it can be told without colour or word."""
    if finding.excepted is not None or finding.severity is Severity.NOTE:
        pen.line((x - 3, y), (x + 3, y), style.MUTED, 1)
    elif finding.severity is Severity.STOP:
        pen.rectangle(Box(x - 3, y - 3, 6, 6), style.ALERT)
    elif finding.severity is Severity.FIX:
        pen.polygon(((x - 3.4, y + 3), (x + 3.4, y + 3), (x, y - 3.4)), style.ALERT, None)
    else:
        pen.circle((x, y), 2.6, style.PAPER, style.MUTED, 0.9)
