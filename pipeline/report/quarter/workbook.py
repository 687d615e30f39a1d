"""The audit of a quarter as a workbook: every row behind its pages."""

from pipeline.forms import ANSWERS
from pipeline.report.kit import style
from pipeline.report.kit.column import Look, SheetColumn, Value, worded
from pipeline.report.kit.first_sheet import FirstSheet
from pipeline.report.kit.sheet import Book, Page, put_list
from pipeline.report.quarter.answers import put_answers
from pipeline.report.quarter.content import (
    Approval,
    QuarterContent,
    QuarterDeparture,
    QuarterFigures,
    RepeatStore,
    RestatedLine,
    RuleCount,
    StateCount,
    edition,
    reason_of,
    verdict,
)
from pipeline.report.quarter.sample import SAMPLES
from pipeline.tables.audit import AuditPromise, AuditStore
from pipeline.wording import Wording
from pipeline.xlsx import workbook_bytes

_FIRST_WIDTHS = (44, 60)
_SIGNERS = ("prepared", "checked", "accepted")
_SIGN_H = 30.0


def _rate(one: QuarterFigures, _: Wording) -> Value:
    return None if one.rate is None else 100 * one.rate


def _covered(store: AuditStore, words: Wording) -> Value:
    return words("answer.yes" if store.exports else "answer.no")


FIGURES: tuple[SheetColumn[QuarterFigures], ...] = (
    SheetColumn("quarter", Look.TEXT, "audit.column_quarter"),
    SheetColumn(
        lambda q, words: q.region or words("audit.everywhere"), Look.TEXT, "audit.column_region"
    ),
    SheetColumn("stores", Look.COUNT, "audit.column_stores"),
    SheetColumn("covered", Look.COUNT, "audit.column_covered"),
    SheetColumn("stations", Look.COUNT, "audit.column_stations"),
    SheetColumn("astray", Look.COUNT, "audit.column_astray"),
    SheetColumn("begun", Look.COUNT, "audit.column_begun"),
    SheetColumn(_rate, Look.LEVEL, "audit.column_rate"),
    SheetColumn("rollouts", Look.COUNT, "audit.column_rollouts"),
    SheetColumn("rolled", Look.COUNT, "audit.column_rolled"),
    SheetColumn("ordered", Look.COUNT, "audit.key_ordered"),
    SheetColumn("differently", Look.COUNT, "audit.key_differently"),
    SheetColumn("undone", Look.COUNT, "audit.key_undone"),
    SheetColumn("nobody", Look.COUNT, "audit.key_nobody"),
    SheetColumn("accepted", Look.COUNT, "audit.key_accepted"),
    SheetColumn("excepted", Look.COUNT, "audit.key_excepted"),
    SheetColumn("unagreed", Look.COUNT, "audit.column_unagreed"),
    SheetColumn("clear_air", Look.PERCENT, "audit.column_clear_air"),
    SheetColumn("opened", Look.COUNT, "audit.column_opened"),
    SheetColumn("closed", Look.COUNT, "audit.column_closed"),
    SheetColumn("findings", Look.COUNT, "audit.column_standing"),
)
DEPARTURES: tuple[SheetColumn[QuarterDeparture], ...] = (
    SheetColumn("store", Look.TEXT, "audit.column_store"),
    SheetColumn("name", Look.LONG, "audit.column_name", 34),
    SheetColumn("region", Look.TEXT, "audit.column_region"),
    SheetColumn("subject", Look.LONG, "audit.column_station", 26),
    SheetColumn(lambda d, words: words.field(d.field), Look.TEXT, "audit.column_field"),
    SheetColumn("agreed", Look.LONG, "audit.column_agreed", 28),
    SheetColumn("found", Look.LONG, "audit.column_found", 28),
    SheetColumn(worded("by_order", "by_order"), Look.LONG, "audit.column_by_order", 26),
    SheetColumn(worded("kind", "kind"), Look.LONG, "audit.column_kind", 26),
    SheetColumn("meanwhile", Look.LONG, "audit.column_meanwhile", 28),
    SheetColumn("first_seen", Look.DAY, "audit.column_first_seen"),
    SheetColumn("stood_days", Look.COUNT, "audit.column_days"),
    SheetColumn("clear_air_lost", Look.PERCENT, "audit.column_lost"),
    SheetColumn("approved_by", Look.LONG, "audit.column_approved_by", 24),
    SheetColumn("approved_on", Look.DAY, "audit.column_approved_on"),
    SheetColumn("change", Look.LONG, "audit.column_change", 24),
    SheetColumn("exception", Look.LONG, "column.exception", 40),
    SheetColumn(worded("basis", "basis"), Look.LONG, "audit.column_basis", 24),
    SheetColumn(
        lambda d, words: d.answer and words(f"choice.{d.answer}"), Look.TEXT, "audit.column_answer"
    ),
    SheetColumn("answered_by", Look.TEXT, "audit.column_answered_by"),
    SheetColumn("answered_on", Look.DAY, "audit.column_answered_on"),
)
APPROVALS: tuple[SheetColumn[Approval], ...] = (
    SheetColumn("store", Look.TEXT, "audit.column_store"),
    SheetColumn("name", Look.LONG, "audit.column_name", 34),
    SheetColumn("subjects", Look.LONG, "audit.column_station", 40),
    SheetColumn("stations", Look.COUNT, "audit.column_how_many"),
    SheetColumn(lambda a, words: words.field(a.field), Look.TEXT, "audit.column_field"),
    SheetColumn("agreed", Look.LONG, "audit.column_before", 28),
    SheetColumn("found", Look.LONG, "audit.column_now", 28),
    SheetColumn(worded("by_order", "by_order"), Look.LONG, "audit.column_by_order", 26),
    SheetColumn("first_seen", Look.DAY, "audit.column_first_seen"),
    SheetColumn("approved_by", Look.LONG, "audit.column_signed", 24),
    SheetColumn("approved_on", Look.DAY, "audit.column_approved_on"),
    SheetColumn(reason_of, Look.LONG, "audit.column_reason", 40),
    SheetColumn("version", Look.COUNT, "audit.column_version"),
)
COVERAGE: tuple[SheetColumn[AuditStore], ...] = (
    SheetColumn("store", Look.TEXT, "audit.column_store"),
    SheetColumn("name", Look.LONG, "audit.column_name", 34),
    SheetColumn("region", Look.TEXT, "audit.column_region"),
    SheetColumn("store_type", Look.TEXT, "audit.column_type"),
    SheetColumn(_covered, Look.TEXT, "audit.column_covered"),
    SheetColumn("exports", Look.COUNT, "audit.column_exports"),
    SheetColumn("last_export", Look.DAY, "audit.column_last_export"),
    SheetColumn("stations", Look.COUNT, "audit.column_stations"),
    SheetColumn("scan_days", Look.COUNT, "audit.column_scan_days"),
    SheetColumn("unagreed", Look.COUNT, "audit.column_unagreed"),
    SheetColumn("version", Look.COUNT, "audit.column_version"),
    SheetColumn("agreed_on", Look.DAY, "audit.column_approved_on"),
)
REPEATED: tuple[SheetColumn[RepeatStore], ...] = (
    SheetColumn("store", Look.TEXT, "audit.column_store"),
    SheetColumn("name", Look.LONG, "audit.column_name", 34),
    SheetColumn("region", Look.TEXT, "audit.column_region"),
    SheetColumn("quarters", Look.COUNT, "audit.column_quarters"),
    SheetColumn("departures", Look.COUNT, "audit.column_departures"),
)
FINDINGS: tuple[SheetColumn[RuleCount], ...] = (
    SheetColumn("title", Look.LONG, "column.title", 50),
    SheetColumn(worded("severity", "severity"), Look.TEXT, "column.severity"),
    SheetColumn("opened", Look.COUNT, "audit.column_opened"),
    SheetColumn("closed", Look.COUNT, "audit.column_closed"),
    SheetColumn("standing", Look.COUNT, "audit.column_standing"),
    SheetColumn("rule", Look.TEXT, "column.rule"),
)
CHANGES: tuple[SheetColumn[StateCount], ...] = (
    SheetColumn(worded("outcome", "state"), Look.LONG, "audit.column_state", 40),
    SheetColumn("changes", Look.COUNT, "audit.column_changes"),
    SheetColumn("entered", Look.COUNT, "audit.column_entered"),
)
PROMISES: tuple[SheetColumn[AuditPromise], ...] = (
    SheetColumn("store", Look.TEXT, "audit.column_store"),
    SheetColumn("station", Look.LONG, "audit.column_station", 26),
    SheetColumn("change", Look.LONG, "audit.column_change", 24),
    SheetColumn(worded("sureness", "sureness"), Look.TEXT, "column.confidence"),
    SheetColumn("was", Look.PERCENT, "column.clear_before"),
    SheetColumn("promised", Look.PERCENT, "audit.column_promised"),
    SheetColumn("measured", Look.PERCENT, "audit.column_measured"),
    SheetColumn("readings", Look.COUNT, "column.readings"),
    SheetColumn("checked_on", Look.DAY, "audit.column_checked_on"),
)
RESTATED: tuple[SheetColumn[RestatedLine], ...] = (
    SheetColumn(worded("restated", "change"), Look.LONG, "restated.column_change", 40),
    SheetColumn("store", Look.TEXT, "audit.column_store"),
    SheetColumn("subject", Look.LONG, "restated.column_subject", 40),
    SheetColumn(lambda r, words: r.field and words.field(r.field), Look.TEXT, "audit.column_field"),
    SheetColumn("agreed", Look.LONG, "audit.column_agreed", 28),
    SheetColumn("found", Look.LONG, "audit.column_found", 28),
    SheetColumn(worded("kind", "kind"), Look.LONG, "audit.column_kind", 26),
    SheetColumn(worded("by_order", "by_order"), Look.LONG, "audit.column_by_order", 26),
)


def quarter_workbook(content: QuarterContent, words: Wording) -> bytes:
    """Return the audit of one quarter as .xlsx; the same content gives the same bytes."""
    title = words("audit.title", quarter=content.quarter)
    book = Book(words, style.page_size(words.country), content.seal, content.inputs)
    book.describe(title)
    _audit(book, book.sheet("Audit", title, landscape=False), content)
    answer = book.sheet(ANSWERS.sheet, title)
    regions = [now for now, _ in content.regions]
    put_list(book, book.sheet("Quarters", title), FIGURES, content.trend)
    put_list(book, book.sheet("Regions", title), FIGURES, regions)
    put_list(
        book,
        book.sheet("Departures", title),
        DEPARTURES,
        content.differences,
        words("audit.act_none"),
    )
    put_list(
        book,
        book.sheet("Approvals", title),
        APPROVALS,
        content.approvals,
        words("audit.approved_none"),
    )
    put_list(book, book.sheet("Coverage", title), COVERAGE, content.stores)
    put_list(
        book, book.sheet("Repeated", title), REPEATED, content.repeated, words("audit.repeat_none")
    )
    put_list(
        book, book.sheet("Findings", title), FINDINGS, content.rules, words("audit.findings_none")
    )
    put_list(book, book.sheet("Orders", title), CHANGES, content.states, words("audit.states_none"))
    put_list(
        book, book.sheet("Promises", title), PROMISES, content.measured, words("audit.promise_none")
    )
    put_list(book, book.sheet("Samples", title), SAMPLES, content.samples, words("empty.samples"))
    later = content.edition is not None and content.edition > 1
    restated = words("restated.none" if later else "empty.restated")
    put_list(book, book.sheet("Restated", title), RESTATED, content.restated, restated)
    put_answers(book, answer, content, title)
    return workbook_bytes(book.book)


def _audit(book: Book, page: Page, content: QuarterContent) -> None:
    words, now = book.words, content.now
    sheet = FirstSheet(book, page, content.quarter, _FIRST_WIDTHS)
    sheet.note(edition(content, words), spare=2)
    sheet.note(verdict(content, words), spare=2, lead=True)
    sheet.section(words("audit.figures_title"))
    for key, count in (
        ("audit.key_ordered", now.ordered),
        ("audit.key_differently", now.differently),
        ("audit.key_nobody", now.nobody),
        ("audit.column_rollouts", now.rollouts),
        ("audit.column_rolled", now.rolled),
        ("audit.key_excepted", now.excepted),
        ("audit.key_undone", now.undone),
        ("audit.key_accepted", now.accepted),
        ("audit.key_unagreed", now.unagreed),
        ("audit.column_stations", now.stations),
        ("audit.column_astray", now.astray),
        ("audit.column_begun", now.begun),
        ("audit.column_covered", now.covered),
        ("audit.column_stores", now.stores),
    ):
        sheet.line((words(key), Look.TEXT), (count, Look.COUNT))
    sheet.section(words("audit.sign_title"))
    blank = f"{words('sign.name')}, {words('sign.signature')}, {words('sign.date')}:"
    for signer in _SIGNERS:
        sheet.line((words(f"signer.{signer}"), Look.TEXT), (blank, Look.TEXT), height=_SIGN_H)
    sheet.end()
