"""The region's review as a workbook: the same answers, and every row behind them."""

from collections.abc import Sequence
from typing import Any

from openpyxl.worksheet.hyperlink import Hyperlink

from pipeline import __version__
from pipeline.report import style
from pipeline.report.region_answers import Item, decisions, delays, risks, verdict
from pipeline.report.region_content import Astray, Found, Progress, RegionContent, StoreLine
from pipeline.report.region_stores import Links
from pipeline.report.sheet import Book, Column, Look, Page, Value, put_list, row_height, writable
from pipeline.report.wording import NOTHING, Wording
from pipeline.xlsx import workbook_bytes

_COUNT_W, _TEXT_W, _WHERE_W = 14, 70, 36


def region_workbook(content: RegionContent, links: Sequence[Links], words: Wording) -> bytes:
    """Return the review of one region as .xlsx: the same content gives the same bytes."""
    title = words("review.title", region=content.region)
    book = Book(words, style.page_size(content.country))
    properties = book.book.properties
    properties.title, properties.creator = writable(title)[:250], words("document.author")
    properties.description = words("document.made_with", version=__version__)
    _review(book, book.sheet("Review", title, landscape=False), content)
    _stores(book, book.sheet("Stores", title), content, links)
    _pending(book, book.sheet("Decide", title), content)
    _late(book, book.sheet("Late", title), content)
    _astray(book, book.sheet("Astray", title), content.astray)
    _findings(book, book.sheet("Findings", title), (*content.findings, *content.anywhere))
    return workbook_bytes(book.book)


def _review(book: Book, page: Page, content: RegionContent) -> None:
    words = book.words
    page.fit(1, 1)
    for column, size in enumerate((_COUNT_W, _TEXT_W, _WHERE_W)):
        page.width(column, column, size)
    page.put(0, 0, content.region, book.title)
    page.height(0, 26)
    said = f"{words('review.as_of', day=words.day(content.as_of))}. {verdict(content, words)}"
    page.merge(1, 2, said, book.note)
    page.height(1, row_height([(said, _COUNT_W + _TEXT_W + _WHERE_W)]) + 4)
    row = _section(book, page, 3, words("question.far"))
    for progress in Progress:
        if count := content.count(progress):
            row = _line(book, page, row, (count, words(f"progress.{progress.value}"), ""))
    row = _section(book, page, row + 1, words("question.helping"))
    for share, text in _clear_air(content, words):
        row = _line(book, page, row, (share, text, ""))
    for key, items in (
        ("decide", decisions(content, words)),
        ("late", delays(content, words)),
        ("risk", risks(content, words)),
    ):
        row = _section(book, page, row + 1, words(f"question.{key}"))
        for item in items or [Item(NOTHING, words(f"empty.{key}"))]:
            shown = f"{item.count} !" if item.grave else item.count
            row = _line(book, page, row, (shown, item.text, item.where))
    page.print_area(row - 1, 2)


def _clear_air(content: RegionContent, words: Wording) -> list[tuple[str, str]]:
    lines = [
        (words.percent(content.clear_air(planned=False)), words("clear.now")),
        (words.percent(content.clear_air(planned=True)), words("clear.planned")),
    ]
    if content.promises:
        count = len(content.promises)
        lines += [
            (words.percent(sum(getattr(p, key) for p in content.promises) / count),
             f"{words(f'clear.{key}')} ({words.counted('review.measured_changes', count)})")
            for key in ("was", "promised", "measured")
        ]  # fmt: skip
    return lines


def _section(book: Book, page: Page, row: int, title: str) -> int:
    for column in range(3):
        page.put(row, column, title if column == 0 else None, book.section)
    return row + 1


def _line(book: Book, page: Page, row: int, cells: tuple[Value, str, str]) -> int:
    count, text, where = cells
    shown = book.words.number(count) if isinstance(count, int) else count
    page.put(row, 0, shown, book.looks[Look.TEXT])
    page.put(row, 1, text, book.looks[Look.LONG])
    page.put(row, 2, where, book.looks[Look.LONG])
    page.height(row, row_height([(text, _TEXT_W), (where, _WHERE_W)]))
    return row + 1


def _stores(book: Book, page: Page, content: RegionContent, links: Sequence[Links]) -> None:
    words = book.words
    columns = (
        Column(words("row.store")),
        Column(words("column.station_name"), Look.LONG, 36),
        Column(words("row.standing")),
        Column(words("review.column_plan_file")),
        Column(words("review.column_summary_file")),
        *(Column(words(f"progress.{progress.value}"), Look.COUNT) for progress in Progress),
        Column(words("row.next_work"), Look.DAY),
        Column(words("review.column_air_now"), Look.PERCENT),
        Column(words("review.column_air_planned"), Look.PERCENT),
        Column(words("severity.stop"), Look.COUNT),
        Column(words("severity.fix"), Look.COUNT),
        Column(words("row.astray"), Look.COUNT),
        Column(words("review.column_stations"), Look.COUNT),
        Column(words("column.labels"), Look.COUNT),
        Column(words("review.column_last_seen"), Look.DAY),
        Column(words("review.column_remark"), Look.LONG, 50),
    )
    rows = [_store(store, words) for store in content.stores]
    put_list(book, page, columns, rows)
    for number, files in enumerate(links, start=2):
        for column, target in (("D", files.workbook), ("E", files.summary)):
            cell: Any = page.sheet[f"{column}{number}"]
            look = cell._style  # noqa: SLF001 - a link would bring a look of its own
            cell.hyperlink = Hyperlink(ref=cell.coordinate, target=target)
            cell._style = look  # noqa: SLF001 - as above


def _store(store: StoreLine, words: Wording) -> tuple[Value, ...]:
    return (
        store.store,
        store.name,
        words(f"standing.{store.standing.value}"),
        words("link.xlsx"),
        words("link.pdf"),
        *(store.count(progress) for progress in Progress),
        store.next_work.date() if store.next_work else None,
        store.clear_air_now,
        store.clear_air_planned,
        store.stop,
        store.fix,
        store.astray,
        store.stations,
        store.labels,
        store.last_seen_on,
        store.unplanned,
    )


def _pending(book: Book, page: Page, content: RegionContent) -> None:
    words = book.words
    columns = (
        Column(words("row.store")),
        Column(words("column.station_name"), Look.LONG, 36),
        Column(words("column.station"), Look.LONG, 30),
        Column(words("column.from"), Look.COUNT),
        Column(words("column.to"), Look.COUNT),
        Column(words("column.clear_before"), Look.PERCENT),
        Column(words("column.clear_after"), Look.PERCENT),
        Column(words("column.confidence")),
        Column(words("review.column_proposed_on"), Look.DAY),
        Column(words("review.column_state")),
    )
    rows = [
        (
            p.store, p.name, p.station, p.from_channel, p.to_channel, p.clear_air_before,
            p.clear_air_after, words(f"sureness.{p.sureness}"), p.proposed_on,
            words(f"state.{p.state}"),
        )
        for p in content.pending
    ]  # fmt: skip
    put_list(book, page, columns, rows)


def _late(book: Book, page: Page, content: RegionContent) -> None:
    words = book.words
    columns = (
        Column(words("review.column_why"), Look.LONG, 40),
        Column(words("review.column_since"), Look.DAY),
        Column(words("row.store")),
        Column(words("column.station_name"), Look.LONG, 36),
        Column(words("column.station"), Look.LONG, 30),
        Column(words("column.from"), Look.COUNT),
        Column(words("column.to"), Look.COUNT),
        Column(words("review.column_remark"), Look.LONG, 50),
    )
    rows = [
        (
            words(f"why.{one.why}"), one.since, one.store, one.name, one.station,
            one.from_channel, one.to_channel, one.reason,
        )
        for one in content.late
    ]  # fmt: skip
    put_list(book, page, columns, rows)


def _astray(book: Book, page: Page, astray: Sequence[Astray]) -> None:
    words = book.words
    columns = (
        Column(words("row.store")),
        Column(words("column.station_name"), Look.LONG, 36),
        Column(words("column.station"), Look.LONG, 30),
        Column(words("review.column_field")),
        Column(words("review.column_agreed"), Look.LONG, 30),
        Column(words("review.column_found"), Look.LONG, 30),
        Column(words("review.column_kind")),
        Column(words("review.column_first_seen"), Look.DAY),
        Column(words("review.column_days"), Look.COUNT),
        Column(words("review.column_lost"), Look.PERCENT),
    )
    rows = [
        (
            a.store, a.name, a.subject, words(f"field.{a.field}"), a.agreed, a.found,
            words(f"kind.{a.kind.replace(' ', '_')}"), a.first_seen, a.stood_days,
            a.clear_air_lost,
        )
        for a in astray
    ]  # fmt: skip
    put_list(book, page, columns, rows)


def _findings(book: Book, page: Page, findings: Sequence[Found]) -> None:
    words = book.words
    columns = (
        Column(words("row.store")),
        Column(words("column.station_name"), Look.LONG, 36),
        Column(words("column.severity")),
        Column(words("column.title"), Look.LONG, 36),
        Column(words("column.subject"), Look.LONG, 24),
        Column(words("column.detail"), Look.LONG, 70),
        Column(words("column.rule")),
    )
    rows = [
        (
            f.store, f.name, words(f"severity.{f.severity}"), f.title, f.subject,
            f.detail, f.rule,
        )
        for f in findings
    ]  # fmt: skip
    put_list(book, page, columns, rows)
