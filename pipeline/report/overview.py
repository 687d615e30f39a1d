"""The first sheet: the verdict, the store in numbers, what it rests on, cautions."""

from collections.abc import Iterator

from pipeline.records import Severity
from pipeline.report.content import Rated, StoreContent
from pipeline.report.evidence_lines import evidence_lines
from pipeline.report.sheet import Book, Look, Page, row_height
from pipeline.report.verdict import verdict
from pipeline.report.wording import NOTHING, Wording

_LABEL_W, _VALUE_W = 40, 62
_CAUTIONS = ("ladders", "mains", "voids", "lone", "public", "radio", "defer")
_READING = ("clear_air", "earshot", "bound", "parking")
_SHEETS = ("Moves", "Decisions", "Results", "Channels", "Findings", "Evidence", "Stations")


def put_overview(book: Book, page: Page, content: StoreContent) -> None:
    """Write the sheet, section by section."""
    words = book.words
    page.fit(1, 1)
    page.width(0, 0, _LABEL_W)
    page.width(1, 1, _VALUE_W)
    page.put(0, 0, words("summary.title"), book.title)
    page.height(0, 26)
    row = _note(book, page, 1, verdict(content, words))
    row = _pairs(book, page, row + 1, words("summary.store"), _store(content, words))
    row = _pairs(book, page, row + 1, words("summary.figures"), _figures(content, words))
    lines = [*evidence_lines(content, words), *_cost(content, words)]
    row = _pairs(book, page, row + 1, words("evidence.title"), lines)
    sheets = [(name, words(f"summary.sheet_{name.lower()}")) for name in _SHEETS]
    row = _pairs(book, page, row + 1, words("summary.sheets"), sheets)
    row = _notes(book, page, row + 1, "cautions", _CAUTIONS)
    row = _notes(book, page, row + 1, "reading", _READING)
    page.print_area(row - 1, 1)


def _pairs(book: Book, page: Page, row: int, title: str, pairs: list[tuple[str, str]]) -> int:
    row = _section(book, page, row, title)
    for label, value in pairs:
        page.put(row, 0, label, book.looks[Look.TEXT])
        page.put(row, 1, value, book.looks[Look.LONG])
        page.height(row, row_height([(label, _LABEL_W), (value, _VALUE_W)]))
        row += 1
    return row


def _notes(book: Book, page: Page, row: int, group: str, keys: tuple[str, ...]) -> int:
    row = _section(book, page, row, book.words(f"{group}.title"))
    for key in keys:
        row = _note(book, page, row, book.words(f"{group}.{key}"))
    return row


def _section(book: Book, page: Page, row: int, title: str) -> int:
    page.put(row, 0, title, book.section)
    page.put(row, 1, None, book.section)
    return row + 1


def _note(book: Book, page: Page, row: int, text: str) -> int:
    page.merge(row, 1, text, book.note)
    page.height(row, row_height([(text, _LABEL_W + _VALUE_W)]))
    return row + 1


def _store(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    store = content.store
    return [
        (words("summary.store"), store.store),
        (words("summary.name"), store.name),
        (words("summary.region"), store.region),
        (words("summary.country"), store.country or NOTHING),
        (words("summary.store_type"), store.store_type or NOTHING),
        (words("summary.time_zone"), store.time_zone or NOTHING),
        (words("summary.seen"), words.day(store.last_seen_on)),
        (words("summary.permitted"), ", ".join(map(str, content.permitted)) or NOTHING),
    ]


def _figures(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    figures = content.figures
    labels = (figures.labels, figures.weak_labels, figures.silent_labels, figures.lone_labels)
    return [
        (words("summary.stations"), words.number(figures.stations)),
        (words("summary.moved"), words.number(figures.stations_moved)),
        (words("summary.steps"), words.number(figures.steps)),
        (words("summary.parking"), words.number(figures.parking_steps)),
        (words("summary.clear_now"), words.percent(figures.clear_air_now)),
        (words("summary.clear_planned"), words.percent(figures.clear_air_planned)),
        (words("summary.weakest_now"), _rated(figures.weakest_now, words)),
        (words("summary.weakest_planned"), _rated(figures.weakest_planned, words)),
        (words("summary.shared_now"), words.number(len(figures.shared_now))),
        (words("summary.shared_planned"), words.number(len(figures.shared_planned))),
        (
            words("summary.findings"),
            _joined(words.number(figures.findings[grade]) for grade in Severity),
        ),
        (words("summary.excepted"), words.number(figures.excepted)),
        (words("summary.labels"), _joined(words.number(count) for count in labels)),
    ]


def _cost(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    proof = content.proof
    if proof is None:
        return []
    costs = (proof.cost_now, proof.cost, proof.bound)
    return [
        (words("summary.solver"), proof.solver),
        (words("summary.cost"), _joined(words.number(cost, 3) for cost in costs)),
        *([(words("summary.ask"), proof.ask)] if proof.ask else []),
    ]


def _rated(rated: Rated | None, words: Wording) -> str:
    if rated is None:
        return NOTHING
    return words("summary.weakest_value", station=rated.station, clear=words.percent(rated.value))


def _joined(texts: Iterator[str]) -> str:
    return " · ".join(texts)
