"""A review as a workbook: the same answers, and every row behind them.

The chain's has rows of regions; those of stores are in the regions' own.
"""

from collections.abc import Sequence

from pipeline.effect.windows import LeftOut
from pipeline.report.kit import style
from pipeline.report.kit.column import Look, SheetColumn, Value, worded
from pipeline.report.kit.first_sheet import FirstSheet
from pipeline.report.kit.sheet import Book, Page, put_list
from pipeline.report.quarter.content import to_do, what, where
from pipeline.report.region.answers import (
    AnswerLine,
    asked,
    follows,
    next_step,
    promise_means,
    verdict,
)
from pipeline.report.region.chain import REGIONS
from pipeline.report.region.content import (
    Astray,
    ChangeOtherwise,
    ChangeProgress,
    FindingLine,
    LateChange,
    PendingChange,
    RegionContent,
    StoreLine,
)
from pipeline.report.region.needed import NEEDED, SCANS
from pipeline.report.region.pages import FileLinks
from pipeline.report.region.proof import gains, sentences, why, word
from pipeline.wording import NOTHING, Wording
from pipeline.xlsx import workbook_bytes

_FIRST_WIDTHS = (14, 70, 36)


def _next(store: StoreLine, words: Wording) -> Value:
    """Return the day of a store's next night, or what stands in its place."""
    text = next_step(store, words)
    firm = store.next_work.date() if store.next_work else None
    if firm and text == words.day(firm):
        return firm
    return None if text == NOTHING else text


_TO_INSTALL: SheetColumn[StoreLine] = SheetColumn(
    "to_install", Look.COUNT, "review.column_to_install"
)
_TO_ANSWER: SheetColumn[StoreLine] = SheetColumn("to_answer", Look.COUNT, "review.column_to_answer")
STORES: tuple[SheetColumn[StoreLine], ...] = (
    SheetColumn("store", Look.TEXT, "row.store"),
    SheetColumn("name", Look.LONG, "column.station_name", 36),
    SheetColumn(worded("standing", "standing"), Look.TEXT, "row.standing"),
    SheetColumn(lambda _, words: words("link.xlsx"), Look.TEXT, "review.column_plan_file"),
    SheetColumn(lambda _, words: words("link.pdf"), Look.TEXT, "review.column_summary_file"),
    *(SheetColumn(one.value, Look.COUNT, f"progress.{one.value}") for one in ChangeProgress),
    SheetColumn(_next, Look.DAY, "row.next_work", 24),
    SheetColumn("clear_air_now", Look.PERCENT, "review.column_air_now"),
    SheetColumn("clear_air_planned", Look.PERCENT, "review.column_air_planned"),
    SheetColumn("stop", Look.COUNT, "severity.stop"),
    SheetColumn("fix", Look.COUNT, "severity.fix"),
    SheetColumn("astray", Look.COUNT, "row.astray"),
    SheetColumn("unagreed", Look.COUNT, "audit.column_unagreed"),
    _TO_ANSWER,
    SheetColumn("stations", Look.COUNT, "review.column_stations"),
    _TO_INSTALL,
    SheetColumn("labels", Look.COUNT, "column.labels"),
    SheetColumn("last_seen_on", Look.DAY, "audit.column_last_export"),
)
DECIDE: tuple[SheetColumn[PendingChange], ...] = (
    SheetColumn("store", Look.TEXT, "row.store"),
    SheetColumn("name", Look.LONG, "column.station_name", 36),
    SheetColumn("station", Look.LONG, "column.station", 30),
    SheetColumn("from_channel", Look.COUNT, "column.from"),
    SheetColumn("to_channel", Look.COUNT, "column.to"),
    SheetColumn("clear_air_before", Look.PERCENT, "column.clear_before"),
    SheetColumn("clear_air_after", Look.PERCENT, "column.clear_after"),
    SheetColumn(worded("sureness", "sureness"), Look.TEXT, "column.confidence"),
    SheetColumn("proposed_on", Look.DAY, "review.column_proposed_on"),
    SheetColumn(worded("state", "state"), Look.TEXT, "review.column_state"),
)
LATE: tuple[SheetColumn[LateChange], ...] = (
    SheetColumn(worded("why", "why"), Look.LONG, "review.column_why", 40),
    SheetColumn("since", Look.DAY, "review.column_since"),
    SheetColumn("store", Look.TEXT, "row.store"),
    SheetColumn("name", Look.LONG, "column.station_name", 36),
    SheetColumn("station", Look.LONG, "column.station", 30),
    SheetColumn("from_channel", Look.COUNT, "column.from"),
    SheetColumn("to_channel", Look.COUNT, "column.to"),
    SheetColumn("reason", Look.LONG, "review.column_remark", 50),
)
OTHERWISE: tuple[SheetColumn[ChangeOtherwise], ...] = (
    SheetColumn(worded("closed", "closed"), Look.TEXT, "review.column_closed"),
    SheetColumn("closed_on", Look.DAY, "review.column_since"),
    SheetColumn("store", Look.TEXT, "row.store"),
    SheetColumn("name", Look.LONG, "column.station_name", 36),
    SheetColumn("station", Look.LONG, "column.station", 30),
    SheetColumn("from_channel", Look.COUNT, "column.from"),
    SheetColumn("ordered_channel", Look.COUNT, "review.column_ordered"),
    SheetColumn("channel_found", Look.COUNT, "review.column_found"),
    SheetColumn("decided_by", Look.TEXT, "column.decided_by"),
    SheetColumn("done_by", Look.TEXT, "column.done_by"),
    SheetColumn(follows, Look.LONG, "review.column_follows", 60),
)
ASTRAY: tuple[SheetColumn[Astray], ...] = (
    SheetColumn(lambda one, _: one.store if one.stores == 1 else None, Look.TEXT, "row.store"),
    SheetColumn(where, Look.LONG, "audit.column_where", 36),
    SheetColumn(what, Look.LONG, "review.column_field", 36),
    SheetColumn("stations", Look.COUNT, "audit.column_how_many"),
    SheetColumn("stores", Look.COUNT, "audit.column_stores"),
    SheetColumn("first_seen", Look.DAY, "review.column_first_seen"),
    SheetColumn("stood_days", Look.COUNT, "review.column_days"),
    SheetColumn("clear_air_lost", Look.PERCENT, "review.column_lost"),
    SheetColumn(to_do, Look.LONG, "audit.column_do", 40),
)
EFFECT: tuple[SheetColumn[tuple[str, str]], ...] = (
    SheetColumn(lambda told, _: told[0], Look.TEXT, "proof.column_topic"),
    SheetColumn(lambda told, _: told[1], Look.LONG, "proof.column_text", 110),
)
LEFT_OUT: tuple[SheetColumn[LeftOut], ...] = (
    SheetColumn("region", Look.TEXT, "audit.column_region"),
    SheetColumn("wave", Look.TEXT, "proof.column_wave"),
    SheetColumn("store", Look.TEXT, "row.store"),
    SheetColumn(
        lambda one, words: words(f"outcome_of.{one.outcome or 'all'}"),
        Look.TEXT,
        "proof.column_outcome",
    ),
    SheetColumn(worded("left_out", "reason"), Look.LONG, "proof.column_reason", 60),
)
FINDINGS: tuple[SheetColumn[FindingLine], ...] = (
    SheetColumn("store", Look.TEXT, "row.store"),
    SheetColumn("name", Look.LONG, "column.station_name", 28),
    SheetColumn(worded("severity", "severity"), Look.TEXT, "column.severity"),
    SheetColumn("title", Look.LONG, "column.title", 36),
    SheetColumn("subject", Look.LONG, "column.subject", 24),
    SheetColumn("detail", Look.LONG, "column.detail", 70),
    SheetColumn("rule", Look.TEXT, "column.rule"),
)


def region_workbook(content: RegionContent, links: Sequence[FileLinks], words: Wording) -> bytes:
    """Return a review as .xlsx; the same content gives the same bytes."""
    title = content.titled(words)
    book = Book(words, style.page_size(content.country), content.seal, content.inputs)
    book.describe(title)
    _review(book, book.sheet("Review", title, landscape=False), content)
    if content.parts:
        put_list(book, book.sheet("Regions", title), REGIONS, content.parts)
    else:
        _put_rows(book, title, content, links)
    if content.scans:
        put_list(book, book.sheet("Scan next", title), SCANS, content.scans)
    if content.needed:
        put_list(book, book.sheet("Order and ask", title), NEEDED, content.needed)
    if content.proof is not None:
        told = sentences(content.proof, content.chain, content.costs, content.offer, words)
        put_list(book, book.sheet("Effect", title), EFFECT, told)
        nothing = words("empty.left_out")
        put_list(book, book.sheet("Left out", title), LEFT_OUT, content.proof.left_out, nothing)
    findings = content.anywhere if content.parts else (*content.findings, *content.anywhere)
    nothing = words("empty.chain_findings" if content.parts else "findings.none")
    put_list(book, book.sheet("Findings", title), FINDINGS, findings, nothing)
    return workbook_bytes(book.book)


def _put_rows(book: Book, title: str, content: RegionContent, links: Sequence[FileLinks]) -> None:
    """Write the sheets that have a row a store, change or station."""
    words = book.words
    stores = book.sheet("Stores", title)
    left_out = [
        column
        for column, name in ((_TO_INSTALL, "to_install"), (_TO_ANSWER, "to_answer"))
        if not any(getattr(store, name) for store in content.stores)
    ]
    columns = [column for column in STORES if column not in left_out]
    put_list(book, stores, columns, content.stores)
    _link(stores, links)
    put_list(book, book.sheet("Decide", title), DECIDE, content.pending, words("empty.decide"))
    put_list(book, book.sheet("Late", title), LATE, content.late, words("empty.late"))
    put_list(
        book, book.sheet("Otherwise", title), OTHERWISE, content.otherwise, words("empty.otherwise")
    )
    put_list(book, book.sheet("Astray", title), ASTRAY, content.astray, words("empty.astray"))


def _review(book: Book, page: Page, content: RegionContent) -> None:
    words = book.words
    sheet = FirstSheet(book, page, content.named(words), _FIRST_WIDTHS)
    as_of = words("review.as_of", day=words.day(content.as_of))
    sheet.note(as_of)
    sheet.note(verdict(content, words), spare=4, lead=True)
    _asked(sheet, content, words)
    sheet.section(words("question.far"))
    for progress in ChangeProgress:
        if count := content.count(progress):
            _line(sheet, words.number(count), words(f"progress.{progress.value}"))
    sheet.section(words("question.helping"))
    if content.proof is not None:
        told = [why(content.proof, words), *gains(content.proof, words)]
        _line(sheet, word(content.proof, words), " ".join(told))
    for share, text in _clear_air(content, words):
        _line(sheet, words.percent(share), text)
    sheet.end()


def _asked(sheet: FirstSheet, content: RegionContent, words: Wording) -> None:
    for one in asked(content, words):
        sheet.section(f"{one.title} {one.of}".strip())
        for line in one.lines or [AnswerLine(NOTHING, one.nothing)]:
            count_text = f"{line.count} !" if line.grave else line.count
            _line(sheet, count_text, line.text, line.where)


def _line(sheet: FirstSheet, count: str, text: str, where: str = "") -> None:
    sheet.line((count, Look.TEXT), (text, Look.LONG), (where, Look.LONG))


def _clear_air(content: RegionContent, words: Wording) -> list[tuple[float | None, str]]:
    lines = [
        (content.clear_air(planned=False), words("clear.now")),
        (content.clear_air(planned=True), words("clear.planned")),
    ]
    if content.promises:
        counted = words.counted("review.measured_changes", len(content.promises))
        means = promise_means(content).items()
        lines += [(mean, f"{words(f'clear.{key}')} ({counted})") for key, mean in means]
    return lines


def _link(page: Page, links: Sequence[FileLinks]) -> None:
    """Link the stores' rows to their files."""
    for number, files in enumerate(links, start=1):
        for column, target in ((3, files.workbook), (4, files.summary)):
            page.link(number, column, target)
