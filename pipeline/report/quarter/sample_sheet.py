"""The sheet that an auditor takes along to the stations of a sample."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from openpyxl.worksheet.datavalidation import DataValidation

from pipeline.database import Database
from pipeline.forms import CHANGE, NO, SAMPLE, YES, word
from pipeline.records import Seal
from pipeline.report.kit import style
from pipeline.report.kit.sheet import Book, Look, SheetColumn
from pipeline.report.quarter.answers import ToFill, put_to_fill, told
from pipeline.wording import Wording
from pipeline.xlsx import workbook_bytes

_DAYS_AHEAD = 400  # that a date cell takes
_MOST_TITLE = 32  # letters of a message's title (Excel's limit, from memory)
_LEAST = {
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


COLUMNS: Mapping[str, SheetColumn[StationToSee]] = {
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
            _taken(key, drawn_on, words), COLUMNS[key].title(words)[:_MOST_TITLE],
            words(_PROMPTS[key]), words,
        )  # fmt: skip

    note = f"{words('sample.note')} {book.sealed}"
    sheet = ToFill(SAMPLE, COLUMNS, _LEAST, note, rule, "name")
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
