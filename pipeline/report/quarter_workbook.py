"""A quarter's audit as a workbook: every row behind its pages."""

from collections.abc import Sequence

from pipeline import __version__
from pipeline.report import style
from pipeline.report.quarter_content import QuarterContent, Trend
from pipeline.report.quarter_pages import edition, verdict
from pipeline.report.sheet import Book, Column, Look, Page, Value, put_list, row_height
from pipeline.report.wording import Wording
from pipeline.xlsx import workbook_bytes

_LABEL_W, _VALUE_W = 44, 60
_SIGNERS = ("prepared", "checked", "accepted")


def quarter_workbook(content: QuarterContent, words: Wording) -> bytes:
    """Return the audit of one quarter as .xlsx: the same content gives the same bytes."""
    title = words("audit.title", quarter=content.quarter)
    book = Book(words, style.page_size(words.country))
    properties = book.book.properties
    properties.title, properties.creator = title, words("document.author")
    properties.description = words("document.made_with", version=__version__)
    _summary(book, book.sheet("Audit", title, landscape=False), content)
    _trend(book, book.sheet("Quarters", title), content.trend)
    _trend(book, book.sheet("Regions", title), [one for one, _ in content.regions])
    _differences(book, book.sheet("Act on", title), content, only_open=True)
    _differences(book, book.sheet("Departures", title), content, only_open=False)
    _coverage(book, book.sheet("Coverage", title), content)
    _repeated(book, book.sheet("Repeated", title), content)
    _findings(book, book.sheet("Findings", title), content)
    _changes(book, book.sheet("Changes", title), content)
    _promises(book, book.sheet("Promises", title), content)
    return workbook_bytes(book.book)


def _summary(book: Book, page: Page, content: QuarterContent) -> None:
    words, now = book.words, content.now
    page.fit(1, 1)
    page.width(0, 0, _LABEL_W)
    page.width(1, 1, _VALUE_W)
    page.put(0, 0, content.quarter, book.title)
    page.height(0, 26)
    row = 1
    for text in (edition(content, words), verdict(content, words)):
        page.merge(row, 1, text, book.note)
        page.height(row, row_height([(text, _LABEL_W + _VALUE_W)]) + 2)
        row += 1
    lines: list[tuple[str, Value, Look]] = [
        (words("audit.key_rate"), now.rate, Look.LEVEL),
        (words("audit.column_stations"), now.stations, Look.COUNT),
        (words("audit.column_astray"), now.astray, Look.COUNT),
        (words("audit.column_begun"), now.begun, Look.COUNT),
        (words("audit.key_approved"), now.approved, Look.COUNT),
        (words("audit.key_deviations"), now.deviations, Look.COUNT),
        (words("audit.column_covered"), now.covered, Look.COUNT),
        (words("audit.column_stores"), now.stores, Look.COUNT),
    ]
    row = _section(book, page, row + 1, words("audit.figures_title"))
    for label, value, look in lines:
        shown = 100 * value if look is Look.LEVEL and isinstance(value, float) else value
        page.put(row, 0, f"{label}, %" if look is Look.LEVEL else label, book.looks[Look.TEXT])
        page.put(row, 1, shown, book.looks[look])
        row += 1
    row = _section(book, page, row + 1, words("audit.sign_title"))
    for signer in _SIGNERS:
        blank = f"{words('sign.name')}, {words('sign.signature')}, {words('sign.date')}:"
        page.put(row, 0, words(f"signer.{signer}"), book.looks[Look.TEXT])
        page.put(row, 1, blank, book.looks[Look.TEXT])
        page.height(row, 30)
        row += 1
    page.print_area(row - 1, 1)


def _section(book: Book, page: Page, row: int, title: str) -> int:
    page.put(row, 0, title, book.section)
    page.put(row, 1, None, book.section)
    return row + 1


def _trend(book: Book, page: Page, trend: Sequence[Trend]) -> None:
    words = book.words
    columns = (
        Column(words("audit.column_quarter")),
        Column(words("audit.column_region")),
        Column(words("audit.column_stores"), Look.COUNT),
        Column(words("audit.column_covered"), Look.COUNT),
        Column(words("audit.column_stations"), Look.COUNT),
        Column(words("audit.column_astray"), Look.COUNT),
        Column(words("audit.column_begun"), Look.COUNT),
        Column(words("audit.column_rate"), Look.LEVEL),
        Column(words("audit.key_approved"), Look.COUNT),
        Column(words("audit.key_deviations"), Look.COUNT),
        Column(words("audit.column_reverted"), Look.COUNT),
        Column(words("audit.column_clear_air"), Look.PERCENT),
        Column(words("audit.column_opened"), Look.COUNT),
        Column(words("audit.column_closed"), Look.COUNT),
        Column(words("audit.column_standing"), Look.COUNT),
    )
    rows = [
        (
            t.quarter, t.region or words("audit.everywhere"), t.stores, t.covered, t.stations,
            t.astray, t.begun, None if t.rate is None else 100 * t.rate, t.approved,
            t.deviations, t.reverted, t.clear_air, t.opened, t.closed, t.findings,
        )
        for t in trend
    ]  # fmt: skip
    put_list(book, page, columns, rows)


def _differences(book: Book, page: Page, content: QuarterContent, *, only_open: bool) -> None:
    words = book.words
    columns = (
        Column(words("audit.column_store")),
        Column(words("audit.column_name"), Look.LONG, 34),
        Column(words("audit.column_region")),
        Column(words("audit.column_station"), Look.LONG, 26),
        Column(words("audit.column_field")),
        Column(words("audit.column_agreed"), Look.LONG, 28),
        Column(words("audit.column_found"), Look.LONG, 28),
        Column(words("audit.column_kind"), Look.LONG, 26),
        Column(words("audit.column_meanwhile"), Look.LONG, 28),
        Column(words("audit.column_first_seen"), Look.DAY),
        Column(words("audit.column_days"), Look.COUNT),
        Column(words("audit.column_lost"), Look.PERCENT),
        Column(words("audit.column_approved_by"), Look.LONG, 24),
        Column(words("audit.column_approved_on"), Look.DAY),
        Column(words("audit.column_change"), Look.LONG, 24),
        Column(words("column.exception"), Look.LONG, 40),
        Column(words("audit.column_basis"), Look.LONG, 24),
    )
    rows = [
        (
            d.store, d.name, d.region, d.subject, words(f"field.{d.field}"), d.agreed, d.found,
            words(f"kind.{d.kind.replace(' ', '_')}"), d.meanwhile, d.first_seen, d.stood_days,
            d.clear_air_lost, d.approved_by, d.approved_on, d.change, d.exception,
            words(f"basis.{d.basis.replace(' ', '_')}"),
        )
        for d in (content.to_act_on if only_open else content.differences)
    ]  # fmt: skip
    put_list(book, page, columns, rows)


def _coverage(book: Book, page: Page, content: QuarterContent) -> None:
    words = book.words
    columns = (
        Column(words("audit.column_store")),
        Column(words("audit.column_name"), Look.LONG, 34),
        Column(words("audit.column_region")),
        Column(words("audit.column_type")),
        Column(words("audit.column_covered")),
        Column(words("audit.column_exports"), Look.COUNT),
        Column(words("audit.column_last_export"), Look.DAY),
        Column(words("audit.column_stations"), Look.COUNT),
        Column(words("audit.column_scan_days"), Look.COUNT),
        Column(words("audit.column_version"), Look.COUNT),
        Column(words("audit.column_approved_on"), Look.DAY),
    )
    answers = {True: words("answer.yes"), False: words("answer.no")}
    rows = [
        (
            s.store, s.name, s.region, s.store_type, answers[s.exports > 0], s.exports,
            s.last_export, s.stations, s.scan_days, s.version, s.agreed_on,
        )
        for s in content.stores
    ]  # fmt: skip
    put_list(book, page, columns, rows)


def _repeated(book: Book, page: Page, content: QuarterContent) -> None:
    words = book.words
    columns = (
        Column(words("audit.column_store")),
        Column(words("audit.column_name"), Look.LONG, 34),
        Column(words("audit.column_region")),
        Column(words("audit.column_quarters"), Look.COUNT),
        Column(words("audit.column_departures"), Look.COUNT),
    )
    rows = [(r.store, r.name, r.region, r.quarters, r.departures) for r in content.repeated]
    put_list(book, page, columns, rows)


def _findings(book: Book, page: Page, content: QuarterContent) -> None:
    words = book.words
    columns = (
        Column(words("column.title"), Look.LONG, 50),
        Column(words("column.severity")),
        Column(words("audit.column_opened"), Look.COUNT),
        Column(words("audit.column_closed"), Look.COUNT),
        Column(words("audit.column_standing"), Look.COUNT),
        Column(words("column.rule")),
    )
    rows = [
        (
            r.title,
            words(f"severity.{r.severity}"),
            r.opened,
            r.closed,
            r.standing,
            r.rule,
        )
        for r in content.rules
    ]
    put_list(book, page, columns, rows)


def _changes(book: Book, page: Page, content: QuarterContent) -> None:
    words = book.words
    columns = (
        Column(words("audit.column_state")),
        Column(words("audit.column_changes"), Look.COUNT),
        Column(words("audit.column_entered"), Look.COUNT),
    )
    rows = [
        (words(f"state.{s.state.replace(' ', '_')}"), s.changes, s.entered) for s in content.states
    ]
    put_list(book, page, columns, rows)


def _promises(book: Book, page: Page, content: QuarterContent) -> None:
    words = book.words
    columns = (
        Column(words("audit.column_store")),
        Column(words("audit.column_station"), Look.LONG, 26),
        Column(words("audit.column_change"), Look.LONG, 24),
        Column(words("column.confidence")),
        Column(words("column.clear_before"), Look.PERCENT),
        Column(words("audit.column_promised"), Look.PERCENT),
        Column(words("audit.column_measured"), Look.PERCENT),
        Column(words("column.readings"), Look.COUNT),
        Column(words("audit.column_checked_on"), Look.DAY),
    )
    rows = [
        (
            m.store, m.station, m.change, words(f"sureness.{m.sureness}"), m.was, m.promised,
            m.measured, m.readings, m.checked_on,
        )
        for m in content.measured
    ]  # fmt: skip
    put_list(book, page, columns, rows)
