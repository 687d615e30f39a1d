"""The sheet on which a planner asks "what if": a scan taken, a station added, Wi-Fi moved."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from openpyxl.worksheet.datavalidation import DataValidation

from pipeline.forms import (
    BEST,
    CHANGE,
    SCAN_TAKEN,
    STATION_ADDED,
    WHAT_IF,
    WIFI_MOVED,
    WISH_WORDS,
    word,
)
from pipeline.report.kit.column import Look, SheetColumn, Value
from pipeline.report.kit.sheet import Book
from pipeline.report.store.content import StoreContent
from pipeline.report.store.forms import FilledForm, form_title
from pipeline.report.store.scans import turns
from pipeline.wording import Wording

_FREE = 4  # rows for what the program does not propose
_OF_A_WISH = re.compile("[@,=]")  # what a place's name may not hold


@dataclass(frozen=True, slots=True)
class WishRow:
    """A row: what, where, and what would be found or done there; the last two None in free ones."""

    number: int
    what: str | None
    where: str | None
    suggested: Value
    band: None = None


def _what(row: WishRow, words: Wording) -> Value:
    return word(row.what, words.language) if row.what else None


_COLUMNS: dict[str, SheetColumn[WishRow]] = {
    CHANGE: SheetColumn("number", Look.COUNT, "column.wish", 8),
    "what": SheetColumn(_what, Look.TEXT, "column.wish_what", 22),
    "station": SheetColumn("where", Look.LONG, "column.wish_where", 44),
    "suggested": SheetColumn("suggested", Look.LONG, "column.wish_suggested", 40),
    "value": SheetColumn(lambda *_: None, Look.TEXT, "column.wish_value", 20),
}


def what_if_form(book: Book, content: StoreContent) -> FilledForm | None:
    """Return the form, with a row for each scan, place and network told of; None without any."""
    words = book.words
    told = list(_told(content, words))
    if not told:
        return None
    rows = [*told, *[(None, None, None)] * _FREE]
    listed = ",".join(word(meaning, words.language) for meaning in WISH_WORDS)
    return FilledForm(
        WHAT_IF,
        form_title(words, "what_if.title", content),
        words("what_if.note"),
        tuple(_COLUMNS[key] for key in WHAT_IF.keys),
        tuple(WishRow(at, *row) for at, row in enumerate(rows, start=1)),
        (),
        (),
        {
            "what": DataValidation("list", f'"{listed}"', allow_blank=True),
            "station": DataValidation(allow_blank=True),
            "value": DataValidation(allow_blank=True),
        },
        "wish_",
    )


def _told(content: StoreContent, words: Wording) -> Iterator[tuple[str, str, Value]]:
    """Yield what is asked for elsewhere: what, where, and what would turn the plan or is asked."""
    for scan in content.scans:
        yield SCAN_TAKEN, f"{scan.station}:{scan.channel}", turns(scan, words)
    for place in content.asked.places:
        name = " ".join(_OF_A_WISH.sub(" ", place.place).split())
        where = f"{name}@{place.x_m:.1f},{place.y_m:.1f},{place.floor}"
        yield STATION_ADDED, where, word(BEST, words.language)
    for one in content.asked.requests:
        for network in one.networks.split("; "):
            yield WIFI_MOVED, network, one.to_channel
