"""The sheet of what is there and not listed, or listed and not there, to be answered."""

from collections.abc import Iterator, Mapping
from datetime import timedelta

from openpyxl.worksheet.datavalidation import DataValidation

from pipeline.forms import CHANGE, FOUND_WORDS, INVENTORY, word
from pipeline.report.kit.column import Look, SheetColumn, Value, worded
from pipeline.report.kit.sheet import Book
from pipeline.report.store.content import StoreContent
from pipeline.report.store.form_rows import FoundRow
from pipeline.report.store.forms import FilledForm, form_title
from pipeline.wording import Wording

_MOST_LIST = 250  # letters of a list to choose from (Excel's limit, from memory)
_DAYS_AHEAD = 3660  # that a date cell takes; `decide` judges


def _address(row: FoundRow, words: Wording) -> Value:
    item = row.item
    port = words("commission.port", port=item.port) if item.port else ""
    return f"{item.ip_address}{port}" if item.ip_address else None


def _sources(row: FoundRow, words: Wording) -> Value:
    """Return which exports name it, in the store's words."""
    told = row.item.sources.split(", ") if row.item.sources else ()
    return ", ".join(words.named("named_by", source) for source in told) or None


def _state(row: FoundRow, words: Wording) -> Value:
    return words("found.open" if row.item.open else "found.answered")


def _answer(row: FoundRow, words: Wording) -> Value:
    return word(row.item.decision, words.language) if row.item.decision else None


# The columns by key, in the order and number that the form says.
_COLUMNS: Mapping[str, SheetColumn[FoundRow]] = {
    CHANGE: SheetColumn("item.item", Look.LONG, "column.found_item", 30),
    "what": SheetColumn(worded("found_what", "item.what"), Look.LONG, "column.found_what", 34),
    "station": SheetColumn("item.subject", Look.LONG, "column.station", 26),
    "address": SheetColumn(_address, Look.LONG, "column.address", 22),
    "hardware_address": SheetColumn("item.eui64", Look.TEXT, "station_seen.eui64", 20),
    "device": SheetColumn("item.device", Look.LONG, "column.device", 22),
    "sources": SheetColumn(_sources, Look.LONG, "column.named_by", 22),
    "seen_on": SheetColumn("item.seen_on", Look.DAY, "column.found_on", 14),
    "likely": SheetColumn("item.likely", Look.LONG, "column.likely", 26),
    "why": SheetColumn(worded("found_why", "item.why"), Look.LONG, "column.likely_why", 24),
    "state": SheetColumn(_state, Look.TEXT, "column.state", 14),
    "answer": SheetColumn(_answer, Look.TEXT, "column.found_answer", 16),
    "matched": SheetColumn("item.station", Look.TEXT, "column.matched", 20),
    "channel": SheetColumn("item.channel", Look.TEXT, "column.found_channel", 12),
    "by": SheetColumn("item.decided_by", Look.TEXT, "column.decided_by", 24),
    "date": SheetColumn("item.decided_on", Look.DAY, "column.date", 14),
    "until": SheetColumn("item.until", Look.DAY, "column.ignored_until", 14),
    "note": SheetColumn("item.note", Look.LONG, "column.remark", 40),
}


def inventory(book: Book, content: StoreContent) -> FilledForm:
    """Return the form on which people say what is there and not listed, or the other way round."""
    words = book.words
    return FilledForm(
        INVENTORY,
        form_title(words, "found.title", content),
        words("found.note"),
        tuple(_COLUMNS[key] for key in INVENTORY.keys),
        tuple(map(FoundRow, content.found)),
        ("answer",),
        tuple(word(meaning, words.language) for meaning in FOUND_WORDS),
        dict(_takes(content, words)),
        "found_",
    )


def _takes(content: StoreContent, words: Wording) -> Iterator[tuple[str, DataValidation]]:
    """Yield what each column of its own takes; stations are offered, others may be typed."""
    choices = ",".join(word(meaning, words.language) for meaning in FOUND_WORDS)
    yield "answer", DataValidation("list", f'"{choices}"', allow_blank=True)
    yield "channel", DataValidation("whole", "11", "26", allow_blank=True, operator="between")
    names = [station.station for station in content.stations]
    listed = ",".join(names)
    fits = 0 < len(listed) <= _MOST_LIST and listed.count(",") < len(names)
    offered = DataValidation(allow_blank=True)
    if fits and '"' not in listed:
        offered = DataValidation("list", f'"{listed}"', allow_blank=True)
        offered.errorStyle = "information"
    yield "matched", offered
    first = content.store.last_seen_on
    ends = [f"DATE({d.year},{d.month},{d.day})" for d in (first, first + timedelta(_DAYS_AHEAD))]
    for key in ("date", "until"):
        ahead = DataValidation("date", ends[0], ends[1], allow_blank=True, operator="between")
        yield key, ahead


def found_lines(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    """Return how much awaits an answer, as label and value; nothing where nothing differs."""
    if not content.found:
        return []
    return [(words("summary.found"), words.number(sum(item.open for item in content.found)))]
