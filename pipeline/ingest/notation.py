"""Decide how a file writes days, numbers and units: once per file, from whole columns."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.database import Database
from pipeline.ingest.delimited import DeliveredRow
from pipeline.ingest.headings import READINGS, Mapped, TableRefused, fold

_SAMPLE_ROWS = 5_000
_ALL_ROWS = 1 << 40
_MONTHS = 12
_OUTWEIGHS = 20  # more cells than this of one notation make one cell of the other a slip
_ANSWERS_DAYS = {"dd/mm/yyyy": "dmy", "day first": "dmy", "mm/dd/yyyy": "mdy", "month first": "mdy"}
_ANSWERS_MARK = {"comma": True, ",": True, "point": False, ".": False}
_ANSWERS_UNIT = {"dbm": "dbm", "-dbm": "-dbm", "raw": "raw"}
_UNIT_SAID = {"dbm": "dBm", "-dbm": "-dBm", "raw": "raw"}
_ORDER_SAID = {"dmy": "day before month", "mdy": "month before day", "iso": "year first"}


@dataclass(frozen=True, slots=True)
class Titles:
    """What the lines above the headings say: the day of the export, and answers to questions."""

    exported_on: str | None = None
    days: str | None = None
    comma: bool | None = None
    unit: str | None = None
    pan_hex: bool = False
    year: str | None = None


@dataclass(frozen=True, slots=True)
class Notation:
    """A file's notation.

    `day_order` is "dmy", "mdy" or "iso"; `assumed_unit` that of levels no column tells it of.
    """

    day_order: str
    comma: bool
    pan_hex: bool
    assumed_unit: str | None

    def said(self) -> str:
        """Return the notation in words, for the record of decisions."""
        parts = [f"days {_ORDER_SAID[self.day_order]}"]
        parts.append("decimal comma" if self.comma else "decimal point")
        parts += ["PAN IDs in hex"] if self.pan_hex else []
        parts += [f"levels in {_UNIT_SAID[self.assumed_unit]}"] if self.assumed_unit else []
        return "; ".join(parts)


@dataclass(frozen=True, slots=True)
class _Shown:
    """Counts of cells that show a notation one way or the other."""

    dotted: int
    day_first: int
    month_first: int
    either_order: int
    point: int
    comma: int
    either_mark: int
    hex_letters: int
    not_hex: int
    negative: int
    positive: int


def read_titles(rows: Sequence[DeliveredRow], snapshot_headings: Sequence[str]) -> Titles:
    """Read lines such as `Exported on: 2026-09-30`; any other line is passed over."""
    said: dict[str, str] = {}
    for row in rows:
        cells = [cell.strip() for cell in row.cells if cell.strip()]
        pairs = [re.split(r"[:=]", cell, maxsplit=1) for cell in cells if re.search("[:=]", cell)]
        pairs += [[cells[0], cells[1]]] if len(cells) > 1 else []
        for name, value in pairs:
            if value.strip():
                said.setdefault(fold(name.rstrip(":= ")), value.strip())
    dated = [said[name] for name in snapshot_headings if name in said]
    return Titles(
        exported_on=dated[0] if dated else None,
        days=_ANSWERS_DAYS.get(said.get("dates", "").lower()),
        comma=_ANSWERS_MARK.get(said.get("decimals", "").lower()),
        unit=_ANSWERS_UNIT.get(said.get("unit", "").lower()),
        pan_hex=said.get("pan ids", "").lower() == "hex",
        year=said.get("year"),
    )


def decide(
    database: Database, mapped: Mapped, titles: Titles, *, whole: bool = False
) -> Notation | TableRefused:
    """Return the notation of the staged table, or why it cannot be told.

    The first rows decide where they show it beyond doubt, else the whole table; `whole` asks for
    the whole table at once.
    """
    if not whole:
        found = _decided(_shown(database, titles, _SAMPLE_ROWS), mapped, titles)
        if isinstance(found, Notation):
            return found
    return _decided(_shown(database, titles, _ALL_ROWS), mapped, titles)


def _shown(database: Database, titles: Titles, rows: int) -> _Shown:
    (shown,) = database.records(_Shown, "ingest", "notation", {"rows": rows})
    match = re.match(r"(\d{1,2})([./-])(\d{1,2})[./-]\d{2,4}", titles.exported_on or "")
    if not match:
        return shown
    first, second = int(match[1]), int(match[3])
    if match[2] == ".":
        return replace(shown, dotted=shown.dotted + 1)
    if first == second:
        return shown
    if first > _MONTHS:
        return replace(shown, day_first=shown.day_first + 1)
    if second > _MONTHS:
        return replace(shown, month_first=shown.month_first + 1)
    return replace(shown, either_order=shown.either_order + 1)


def _decided(shown: _Shown, mapped: Mapped, titles: Titles) -> Notation | TableRefused:
    order = titles.days or _day_order(shown)
    if order is None:
        return TableRefused(
            "Some dates could be day/month or month/day, and nothing in the file decides which.",
            "Which comes first? Write dates as 2026-09-30, or paste one of these lines above the "
            "headings:\nDates: dd/mm/yyyy\nDates: mm/dd/yyyy",
        )
    comma = titles.comma if titles.comma is not None else _comma(shown)
    if comma is None:
        return TableRefused(
            "Numbers such as 2.000 could be two or two thousand, and nothing in the file decides "
            "which.",
            "Which is the decimal mark? Paste one of these lines above the headings:"
            "\nDecimals: point\nDecimals: comma",
        )
    unit = titles.unit or ("dbm" if shown.negative or not shown.positive else None)
    fields = {column.field for column in mapped.columns}
    told = mapped.dbm_by_heading or not fields.isdisjoint({"unit", "scale", "zero_dbm"})
    if mapped.kind == READINGS and unit is None and not told:
        return TableRefused(
            "The levels are positive numbers and no column says their unit.",
            "Which is it? For raw values add the columns 'scale zero dbm' and 'scale db per "
            "step'; for magnitudes paste this line above the headings:\nUnit: -dBm",
        )
    pan_hex = titles.pan_hex or (shown.hex_letters > 0 and shown.not_hex == 0)
    assumed = unit if mapped.kind == READINGS and not told else None
    return Notation(order, comma, pan_hex, assumed)


def _day_order(shown: _Shown) -> str | None:
    day_first, month_first = shown.dotted + shown.day_first, shown.month_first
    if day_first > _OUTWEIGHS * month_first:
        return "dmy"
    if month_first > _OUTWEIGHS * day_first:
        return "mdy"
    return None if day_first or month_first or shown.either_order else "iso"


def _comma(shown: _Shown) -> bool | None:
    if shown.comma > _OUTWEIGHS * shown.point:
        return True
    if shown.point > _OUTWEIGHS * shown.comma:
        return False
    return None if shown.comma or shown.point or shown.either_mark else False
