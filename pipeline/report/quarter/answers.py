"""Sheets of an audit to fill in: what approvers answer, a row a cause; what a sample showed."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Generic

from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from pipeline.database import Database
from pipeline.forms import ANSWER_WORDS, ANSWERS, CHANGE, COPY, NO, SAMPLE, YES, Form, plain, word
from pipeline.records import Seal
from pipeline.report.kit import style
from pipeline.report.kit.column import Look, SheetColumn, Value, column_width, row_height
from pipeline.report.kit.sheet import Book, Page, Record, font, under, writable
from pipeline.report.quarter.content import QuarterContent, ToAnswer, nothing_to_answer, what, where
from pipeline.report.store.forms import fill_in_looks, lock
from pipeline.wording import Wording
from pipeline.xlsx import workbook_bytes

_TITLE, _NOTE, _KEYS, _HEADINGS, _FIRST = range(5)
_DAYS_AHEAD = 400  # that a date cell takes
_MOST_TEXT = 225  # letters of a message (Excel's limit, from memory)
_ROOM = 0.85  # of a column's width for a heading: bold letters are wider


def _answer(one: ToAnswer, words: Wording) -> Value:
    return word(one.answer, words.language) if one.answer else None


COLUMNS: Mapping[str, SheetColumn[ToAnswer]] = {
    CHANGE: SheetColumn("cause", Look.TEXT, "audit.column_cause", 14),
    "what": SheetColumn(what, Look.LONG, "audit.column_field", 34),
    "where": SheetColumn(where, Look.LONG, "audit.column_where", 34),
    "stations": SheetColumn("stations", Look.COUNT, "audit.column_how_many", 10),
    "stores": SheetColumn("stores", Look.COUNT, "audit.column_stores", 10),
    "first": SheetColumn("first_seen", Look.DAY, "audit.column_since", 12),
    "last": SheetColumn("last_seen", Look.DAY, "audit.column_last_seen", 12),
    "lost": SheetColumn("clear_air_lost", Look.PERCENT, "audit.column_lost", 10),
    "ordered": SheetColumn(
        lambda one, words: words.named("by_order", one.by_order), Look.LONG,
        "audit.column_by_order", 18,
    ),
    "answer": SheetColumn(_answer, Look.LONG, "audit.column_answer", 22),
    "by": SheetColumn("answered_by", Look.TEXT, "audit.column_answered_by", 22),
    "date": SheetColumn("answered_on", Look.DAY, "audit.column_answered_on", 14),
    "note": SheetColumn(lambda *_: None, Look.LONG, "column.remark", 34),
}  # fmt: skip
_LEAST = {"answer": 22, "by": 22, "date": 14, "note": 30}


@dataclass(frozen=True, slots=True)
class ToFill(Generic[Record]):
    """A sheet to fill in: its form and columns, the least widths, its note, and what cells take.

    `name` is the key of the field that names a row.
    """

    form: Form
    columns: Mapping[str, SheetColumn[Record]]
    least: Mapping[str, float]
    note: str
    rule: Callable[[str], DataValidation]
    name: str


def put_answers(book: Book, page: Page, content: QuarterContent, title: str) -> None:
    """Write the sheet, and the hidden one with a copy of its locked cells."""

    def rule(key: str) -> DataValidation:
        return _entry_rule(book.words, content, key)

    words = book.words
    note = words("audit.answer_note") if content.causes else nothing_to_answer(content, words)
    sheet = ToFill(ANSWERS, COLUMNS, _LEAST, note, rule, "cause")
    put_to_fill(book, page, sheet, content.causes, title)


def put_to_fill(
    book: Book, page: Page, sheet: ToFill[Record], records: Sequence[Record], title: str
) -> None:
    """Write a sheet to fill in, a row a record, and the hidden one with its locked cells."""
    words, form = book.words, sheet.form
    columns = [sheet.columns[key] for key in form.keys]
    headings = [column.title(words) for column in columns]
    rows = [[column.value(one, words) for column in columns] for one in records]
    widths = [
        max(column_width(heading, column, [row[at] for row in rows]), sheet.least.get(key, 0))
        for at, (key, heading, column) in enumerate(zip(form.keys, headings, columns, strict=True))
    ]
    _put_top(book, page, sheet, title, (headings, widths))
    free = fill_in_looks(book)
    for number, row in enumerate(rows, start=_FIRST):
        for at, (key, value) in enumerate(zip(form.keys, row, strict=True)):
            looks = free if key in form.entries else book.looks
            page.put(number, at, value, looks[columns[at].look])
        texts = [(v, w) for v, w in zip(row, widths, strict=True) if isinstance(v, str)]
        page.height(number, max(20.0, row_height(texts)))
    page.freeze(_FIRST, 2)
    page.sheet.print_title_rows = f"{_HEADINGS + 1}:{_HEADINGS + 1}"
    page.print_area(_HEADINGS + max(1, len(rows)), len(widths) - 1)
    if rows:
        last = _FIRST + len(rows)
        page.sheet.auto_filter.ref = f"A{_HEADINGS + 1}:{get_column_letter(len(widths))}{last}"
        for key in form.entries:
            letter = get_column_letter(form.keys.index(key) + 1)
            rule = sheet.rule(key)
            rule.add(f"{letter}{_FIRST + 1}:{letter}{last}")
            page.sheet.add_data_validation(rule)
    lock(page.sheet)
    _put_copy(book, sheet, records, rows)


def _put_top(
    book: Book, page: Page, sheet: ToFill[Record], title: str,
    columns: tuple[Sequence[str], Sequence[float]],
) -> None:  # fmt: skip
    """Write title, note, hidden keys and headings; `columns` are their texts and widths."""
    headings, widths = columns
    page.put(_TITLE, 0, title, book.title)
    page.height(_TITLE, 24)
    page.merge(_NOTE, len(widths) - 1, sheet.note, book.note)
    page.height(_NOTE, row_height([(sheet.note, sum(widths))]) + 4)
    entry = book.look(
        font(bold=True), Alignment("left", "center", indent=1, wrap_text=True),
        border=under(style.INK), fill=style.WASH,
    )  # fmt: skip
    for at, (key, heading) in enumerate(zip(sheet.form.keys, headings, strict=True)):
        page.width(at, at, widths[at])
        page.put(_KEYS, at, key, book.note)
        page.put(_HEADINGS, at, heading, entry if key in sheet.form.entries else book.heading)
    page.sheet.row_dimensions[_KEYS + 1].hidden = True
    bold = [(h, w * _ROOM) for h, w in zip(headings, widths, strict=True)]
    page.height(_HEADINGS, max(32.0, row_height(bold) + 2))


def _entry_rule(words: Wording, content: QuarterContent, key: str) -> DataValidation:
    """Return what a column to fill in takes, with the message beside it, for no cells yet."""
    rule = DataValidation(allow_blank=True)
    if key == "answer":
        choices = ",".join(word(meaning, words.language) for meaning in ANSWER_WORDS)
        rule = DataValidation("list", f'"{choices}"', allow_blank=True)
    elif key == "date":
        ends = content.first, content.last + timedelta(days=_DAYS_AHEAD)
        first, last = (f"DATE({day.year},{day.month},{day.day})" for day in ends)
        rule = DataValidation("date", first, last, allow_blank=True, operator="between")
    return told(rule, COLUMNS[key].title(words), words(f"prompt.{key}"), words)


def told(rule: DataValidation, title: str, prompt: str, words: Wording) -> DataValidation:
    """Return what cells take, with the message beside it."""
    rule.promptTitle, rule.prompt, rule.showInputMessage = title, prompt[:_MOST_TEXT], True
    if rule.type is not None:
        rule.errorTitle = words("input.error_title")
        rule.error = prompt[:_MOST_TEXT]
        rule.showErrorMessage = True
    return rule


def _put_copy(
    book: Book, sheet: ToFill[Record], records: Sequence[Record], rows: Sequence[Sequence[Value]]
) -> None:
    page, form = Page(book.book.create_sheet(COPY)), sheet.form
    copies = [
        (
            form.sheet, getattr(one, sheet.name), key,
            plain(writable(value) if isinstance(value, str) else value),
        )
        for one, row in zip(records, rows, strict=True)
        for key, value in zip(form.keys, row, strict=True)
        if key in form.locked
    ]  # fmt: skip
    for number, copy in enumerate(copies):
        for at, text in enumerate(copy):
            page.put(number, at, text, book.looks[Look.TEXT])
    page.sheet.sheet_state = "hidden"


_MOST_TITLE = 32  # letters of a message's title (Excel's limit, from memory)
_LEAST_TO_SEE = {
    "found_channel": 12,
    "found_pan_id": 14,
    "as_agreed": 12,
    "by": 24,
    "date": 14,
    "note": 34,
}


@dataclass(frozen=True, slots=True)
class StationToSee:
    """A row of the sheet: a station drawn, and what is agreed of it."""

    name: str  # of the row
    drawn_on: date
    region: str
    store: str
    store_name: str
    station: str
    channel: int
    pan_id: str | None


def _to_fill(heading: str, look: Look = Look.TEXT) -> SheetColumn[StationToSee]:
    return SheetColumn(lambda *_: None, look, heading)


SAMPLE_COLUMNS: Mapping[str, SheetColumn[StationToSee]] = {
    CHANGE: SheetColumn("name", Look.TEXT, "sample.column_row", 16),
    "region": SheetColumn("region", Look.TEXT, "audit.column_region"),
    "store": SheetColumn("store", Look.TEXT, "audit.column_store"),
    "name": SheetColumn("store_name", Look.LONG, "audit.column_name", 30),
    "station": SheetColumn("station", Look.LONG, "audit.column_station", 26),
    "channel": SheetColumn("channel", Look.COUNT, "sample.column_channel"),
    "pan_id": SheetColumn("pan_id", Look.TEXT, "sample.column_pan_id"),
    "found_channel": _to_fill("sample.column_found_channel"),
    "found_pan_id": _to_fill("sample.column_found_pan_id"),
    "as_agreed": _to_fill("sample.column_as_agreed"),
    "by": _to_fill("sample.column_by"),
    "date": _to_fill("sample.column_date", Look.DAY),
    "note": _to_fill("sample.column_note", Look.LONG),
}
_PROMPTS = {
    "found_channel": "sample.prompt_found_channel",
    "found_pan_id": "sample.prompt_found_pan_id",
    "as_agreed": "sample.prompt_as_agreed",
    "by": "sample.prompt_by",
    "date": "sample.prompt_date",
    "note": "sample.prompt_note",
}


def sample_workbook(database: Database, sample: str, words: Wording) -> bytes:
    """Return the sheet of a sample as .xlsx; the same sample gives the same bytes."""
    of = {"sample": sample}
    rows = database.records(StationToSee, "report", "sample_sheet", of)
    seal = next(iter(database.records(Seal, "report", "sample_seal", of)), None)
    drawn_on = rows[0].drawn_on
    title = words("sample.title", sample=sample, day=words.day(drawn_on))
    book = Book(words, style.page_size(words.country), seal)
    book.describe(title)

    def rule(key: str) -> DataValidation:
        return told(
            _taken(key, drawn_on, words), SAMPLE_COLUMNS[key].title(words)[:_MOST_TITLE],
            words(_PROMPTS[key]), words,
        )  # fmt: skip

    note = f"{words('sample.note')} {book.sealed}"
    sheet = ToFill(SAMPLE, SAMPLE_COLUMNS, _LEAST_TO_SEE, note, rule, "name")
    put_to_fill(book, book.sheet(SAMPLE.sheet, title), sheet, rows, title)
    return workbook_bytes(book.book)


def _taken(key: str, drawn_on: date, words: Wording) -> DataValidation:
    if key == "as_agreed":
        choices = ",".join(word(meaning, words.language) for meaning in (YES, NO))
        return DataValidation("list", f'"{choices}"', allow_blank=True)
    if key == "date":
        first, last = (
            f"DATE({day.year},{day.month},{day.day})"
            for day in (drawn_on, drawn_on + timedelta(days=_DAYS_AHEAD))
        )
        return DataValidation("date", first, last, allow_blank=True, operator="between")
    return DataValidation(allow_blank=True)
