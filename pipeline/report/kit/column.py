"""Columns of worksheets: what each shows and how, how wide they are, and how high their rows."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from functools import lru_cache
from math import ceil
from typing import Any, Generic, TypeVar

from pipeline.report.kit.pen import Type, wrapped
from pipeline.wording import Wording

Record = TypeVar("Record")
Value = str | int | float | bool | date | datetime | None

WIDEST = 60  # characters, unless a column says otherwise
_NARROWEST = 6
_LINE = 15.0  # points, the height of a row of one line
_FURTHER = 13.0  # and of each line more
_TALLEST = 409.0  # points, the height of the highest row there can be
_CELL = Type(10.0)
_POINTS_PER_WIDTH = 5.25  # one digit of the font in which spreadsheets count widths
_INDENT = 9.0
_WIDEST_LETTER = 2.0  # in digits
_BOLD_ROOM = 0.85  # of a column's width, beside the filter button and for bold letters


class Look(StrEnum):
    """How the cells of a column are set."""

    TEXT = "text"
    LONG = "long"  # a text that wraps
    COUNT = "count"
    PERCENT = "percent"
    TENTHS = "tenths"  # per cent with one decimal
    LEVEL = "level"  # one decimal
    FINE = "fine"  # three decimals
    DAY = "day"
    MOMENT = "moment"


@dataclass(frozen=True, slots=True)
class SheetColumn(Generic[Record]):
    """One column of a list.

    `field` is the field of a record it shows, dotted for a field of an inner record, or a function
    of the record. `heading` is the key of its heading's text; one without a dot is the heading
    itself. `widest` is in characters.
    """

    field: str | Callable[[Record, Wording], Value]
    look: Look
    heading: str
    widest: int = WIDEST

    def value(self, record: Record, words: Wording) -> Value:
        """Return what its cell shows of a record."""
        return self.field(record, words) if callable(self.field) else _field(record, self.field)

    def title(self, words: Wording) -> str:
        """Return its heading in a language."""
        return words(self.heading) if "." in self.heading else self.heading


def _field(record: object, path: str) -> Any:  # noqa: ANN401 - a field may hold anything
    """Return a field of a record, dotted for one of an inner record; None if there is none."""
    for name in path.split("."):
        record = None if record is None else getattr(record, name)
    return record


def worded(group: str, field: str) -> Callable[[Any, Wording], Value]:
    """Return a function that words a field by a group of texts; None stays empty."""

    def value(record: object, words: Wording) -> Value:
        found = _field(record, field)
        return None if found is None else words.named(group, found)

    return value


def yes_no(field: str) -> Callable[[Any, Wording], Value]:
    """Return a function that says yes or no for a field; None stays empty."""

    def value(record: object, words: Wording) -> Value:
        found = _field(record, field)
        return None if found is None else words("answer.yes" if found else "answer.no")

    return value


def column_width(
    heading: str, column: SheetColumn[Any], values: Sequence[Value], *, wide: bool = False
) -> float:
    """Return a width in characters that shows the heading in three lines and every value.

    A text that wraps is half as wide again where the list is `wide`.
    """
    widest = column.widest * 3 // 2 if wide and column.look is Look.LONG else column.widest
    longest_word = max(len(word) for word in heading.split())
    needed = max(longest_word, ceil(len(heading) / 3)) + 3  # room for the filter button
    longest = _longest(values, column.look)
    return min(max(_NARROWEST, needed, longest + 3), max(widest, longest_word + 4))


def _longest(values: Sequence[Value], look: Look) -> int:
    """Return the letters of the longest value of a column as shown."""
    texts = max((len(value) for value in values if isinstance(value, str)), default=0)
    others = [value for value in values if value is not None and not isinstance(value, str)]
    if not others:
        return texts
    if digits := _DIGITS.get(look):  # of so many decimals, the least or the greatest is longest
        return max(texts, *(len(f"{end(others):{digits}}") for end in (min, max)))
    return max(texts, len(_WRITTEN.get(look, "100 %")))


_DIGITS = {Look.LEVEL: ",.1f", Look.FINE: ",.3f", Look.COUNT: ","}
_WRITTEN = {Look.TENTHS: "100.0 %", Look.MOMENT: "30.09.2026 22:15", Look.DAY: "30.09.2026"}


@lru_cache(maxsize=2048)  # the same words stand in the workbook of every store
def lines(text: str, width: float) -> int:
    """Return a text's lines in a column of so many characters, by our typeface, a wider one."""
    if len(text) * _WIDEST_LETTER <= width and "\n" not in text:
        return 1
    room = width * _POINTS_PER_WIDTH - _INDENT
    most = int(_TALLEST // _FURTHER) + 1
    parts = text.split("\n")[:most]
    return sum(max(1, len(wrapped(part, _CELL, room, most))) for part in parts)


def heading_height(headings: Sequence[str], widths: Sequence[float]) -> float:
    """Return the height in points of a row of headings, bold and with room for two lines."""
    bold = [(h, w * _BOLD_ROOM) for h, w in zip(headings, widths, strict=True)]
    return max(2 * _LINE, row_height(bold)) + 2


def row_height(texts: Sequence[tuple[str, float]]) -> float:
    """Return the height in points of a row of texts, each with its column's width."""
    most = 1
    for text, width in texts:
        if len(text) * _WIDEST_LETTER > width or "\n" in text:  # else it has one
            most = max(most, lines(text, width))
    return min(_TALLEST, _LINE + _FURTHER * (most - 1))
