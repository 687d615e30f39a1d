"""The lists of a quarter's audit as they are printed: their columns, and what each shows."""

from collections.abc import Sequence
from typing import TypeVar

from pipeline.report.kit.lists import PrintedColumn, PrintedList, printed_list
from pipeline.report.quarter.content import (
    Approval,
    QuarterContent,
    RepeatStore,
    RestatedLine,
    RuleCount,
    ToAnswer,
    nothing_to_answer,
    reason_of,
    to_do,
    what,
    where,
)
from pipeline.report.quarter.sample import SampleOutcome, outcome_sentence
from pipeline.tables.audit import AuditStore
from pipeline.wording import NOTHING, Wording

Row = TypeVar("Row")
_LIST_MOST, _RULES_MOST = 9, 16
_PRINTED_MOST = 120  # rows; the workbook has the rest


def _seen(one: ToAnswer, words: Wording) -> str:
    if one.first_seen is None:
        return NOTHING
    first = words.day(one.first_seen)
    if one.first_seen != one.last_seen:
        return words("audit.between", first=first, last=words.day(one.last_seen))
    return words.counted("audit.since", one.stood_days, day=first) if one.stood_days else first


def _agreed(one: ToAnswer, words: Wording) -> str:
    return f"{one.approved_by}, {words.day(one.approved_on)}" if one.approved_by else NOTHING


_ANSWER: tuple[PrintedColumn[ToAnswer], ...] = (
    PrintedColumn(what, "audit.column_field", 24),
    PrintedColumn(where, "audit.column_where", 22),
    PrintedColumn(_agreed, "audit.column_approved", 14),
    PrintedColumn(_seen, "audit.column_since", 17),
    PrintedColumn(
        lambda c, words: words.percent(c.clear_air_lost), "audit.column_lost", 10, right=True
    ),
    PrintedColumn(to_do, "audit.column_do", 22),
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
    PrintedColumn(reason_of, "audit.column_reason", 17),
)
_UNCOVERED: tuple[PrintedColumn[AuditStore], ...] = (
    PrintedColumn(lambda s, _: s.store, "audit.column_store", 12),
    PrintedColumn(lambda s, _: s.name, "audit.column_name", 30),
    PrintedColumn(lambda s, _: s.region, "audit.column_region", 20),
    PrintedColumn(lambda s, _: s.store_type, "audit.column_type", 20),
    PrintedColumn(lambda s, words: words.day(s.last_export), "audit.column_last_export", 18),
)
_REPEATED: tuple[PrintedColumn[RepeatStore], ...] = (
    PrintedColumn(lambda r, _: f"{r.store} {r.name}", "audit.column_store", 30),
    PrintedColumn(lambda r, _: r.region, "audit.column_region", 14),
    PrintedColumn(
        lambda r, words: words.number(r.quarters), "audit.column_quarters", 15, right=True
    ),
    PrintedColumn(
        lambda r, words: words.number(r.departures), "audit.column_departures", 20, right=True
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
_RESTATED: tuple[PrintedColumn[RestatedLine], ...] = (
    PrintedColumn(lambda r, words: words.named("restated", r.change), "restated.column_change", 18),
    PrintedColumn(lambda r, _: r.store or NOTHING, "audit.column_store", 10),
    PrintedColumn(lambda r, _: r.subject, "restated.column_subject", 22),
    PrintedColumn(
        lambda r, words: words.field(r.field) if r.field else "", "audit.column_field", 14
    ),
    PrintedColumn(lambda r, _: r.agreed or NOTHING, "audit.column_agreed", 12),
    PrintedColumn(lambda r, _: r.found or NOTHING, "audit.column_found", 12),
    PrintedColumn(
        lambda r, words: words.named("kind", r.kind) if r.kind else "", "audit.column_kind", 12
    ),
)
_SAMPLES: tuple[PrintedColumn[SampleOutcome], ...] = (
    PrintedColumn(lambda s, _: s.sample, "sample.column_sample", 14),
    PrintedColumn(lambda s, words: words.day(s.drawn_on), "sample.column_drawn_on", 14),
    PrintedColumn(lambda s, _: s.seed, "sample.column_seed", 16),
    PrintedColumn(outcome_sentence, "sample.column_showed", 56),
)


def to_answer(content: QuarterContent, words: Wording) -> PrintedList:
    """Return what somebody must answer, one row a cause, what harms the air first."""
    shown, more = _cut(content.causes, _PRINTED_MOST, "audit.more_rows", words)
    return printed_list(
        words,
        _ANSWER,
        shown,
        title=words("audit.act_title"),
        note=more or (words("audit.act_note") if shown else ""),
        nothing=nothing_to_answer(content, words),
    )


def approvals(content: QuarterContent, words: Wording) -> PrintedList:
    """Return what each baseline approved in the quarter had departed before."""
    shown, more = _cut(content.approvals, _PRINTED_MOST, "audit.more_rows", words)
    return printed_list(
        words,
        _APPROVED,
        shown,
        title=words("audit.approved_title"),
        note=more or words("audit.approved_note"),
        nothing=words("audit.approved_none"),
    )


def uncovered(content: QuarterContent, words: Wording) -> PrintedList:
    """Return the stores that no export of the quarter describes."""
    return printed_list(
        words,
        _UNCOVERED,
        content.uncovered,
        title=words("audit.uncovered_title"),
        note=words("audit.uncovered_note"),
        nothing=words("audit.uncovered_none"),
    )


def repeated(content: QuarterContent, words: Wording) -> PrintedList:
    """Return the stores in which something went astray repeatedly."""
    shown, more = _cut(content.repeated, _LIST_MOST, "audit.more_stores", words)
    return printed_list(
        words,
        _REPEATED,
        shown,
        title=words("audit.repeat_title"),
        note=more or words("audit.repeat_note"),
        nothing=words("audit.repeat_none"),
    )


def restated(content: QuarterContent, words: Wording) -> PrintedList:
    """Return what this edition tells otherwise than the one before, and what came between."""
    shown, more = _cut(content.restated, _PRINTED_MOST, "audit.more_rows", words)
    before = words.number((content.edition or 1) - 1)
    return printed_list(
        words,
        _RESTATED,
        shown,
        title=words("restated.title", before=before),
        note=more or words("restated.note"),
        nothing=words("restated.none"),
    )


def samples(content: QuarterContent, words: Wording) -> PrintedList:
    """Return what the samples looked at in the quarter showed."""
    return printed_list(
        words,
        _SAMPLES,
        content.samples,
        title=words("sample.list_title"),
        note=words("sample.list_note"),
        nothing="",
    )


def findings(content: QuarterContent, words: Wording) -> PrintedList:
    """Return findings opened, closed and standing by rule."""
    shown, more = _cut(content.rules, _RULES_MOST, "audit.more_rules", words)
    return printed_list(
        words,
        _FINDINGS,
        shown,
        title=words("audit.findings_title"),
        note=more,
        nothing=words("audit.findings_none"),
    )


def _cut(rows: Sequence[Row], most: int, more: str, words: Wording) -> tuple[Sequence[Row], str]:
    """Return the rows to print, and how many more there are by the text `more`; empty for none."""
    rest = len(rows) - most
    return rows[:most], words.counted(more, rest) if rest > 0 else ""
