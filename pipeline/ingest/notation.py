"""Days and numbers: how a table writes them, and which days are believable.

None is beyond the newest that a run allows, none years from all the rest.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import chain
from pathlib import Path

from pipeline.database import Database
from pipeline.ingest.delimited import DeliveredRow
from pipeline.ingest.headings import Mapped, Vocabulary
from pipeline.ingest.tables import DeliveredTable
from pipeline.ingest.words import READINGS, TableRefused, fold
from pipeline.tables.cells import unit_named
from pipeline.tables.exports import LENGTHS
from pipeline.tables.taken import FileTaken

_SAMPLE_ROWS = 5_000
_ALL_ROWS = 1 << 40
_MONTHS = 12
_APART_MOST_M = 100  # half of a store's stations lie no further from its middle
_OUTWEIGHS = 20  # more cells than this of one notation make one cell of the other a slip
_ANSWERS_DAYS = {"dd/mm/yyyy": "dmy", "day first": "dmy", "mm/dd/yyyy": "mdy", "month first": "mdy"}
_ANSWERS_MARK = {"comma": True, ",": True, "point": False, ".": False}
_ANSWERS_UNIT = {"dbm": "dbm", "-dbm": "-dbm", "raw": "raw"}
_ANSWERS_NUMERALS = {"hex": "hex", "decimal": "decimal"}
_SHARES = {"0..1": "0..1", "%": "%"}
_UNIT_SAID = {"dbm": "dBm", "-dbm": "-dBm", "raw": "raw"}
_PAN_SAID = {
    "hex": "PAN IDs in hex",
    "decimal": "PAN IDs in decimal",
    "unsure": "PAN IDs of four digits not read, could be hex or decimal",
}
_ORDER_SAID = {"dmy": "day before month", "mdy": "month before day", "iso": "year first"}


@dataclass(frozen=True, slots=True)
class Titles:
    """What the lines above the headings say: the day of the export, and answers to questions."""

    exported_on: str | None = None
    days: str | None = None
    comma: bool | None = None
    unit: str | None = None
    pan_numerals: str | None = None
    channel_numerals: str | None = None
    length: str | None = None
    year: str | None = None
    share: str | None = None
    clock: str | None = None

    def said(self) -> str:
        """Return what they say of positions, for the record of decisions."""
        return f"positions in {self.length}" if self.length else ""


@dataclass(frozen=True, slots=True)
class Notation:
    """A file's notation.

    `day_order` is "dmy", "mdy" or "iso"; `assumed_unit` that of levels no column tells it of.
    `pan_numerals` is "hex", "decimal", "unsure" where four digits could be either, or empty where
    it makes no difference; `channel_numerals` is "hex", "decimal" or "MHz".
    """

    day_order: str
    comma: bool
    pan_numerals: str
    channel_numerals: str
    assumed_unit: str | None

    def said(self) -> str:
        """Return the notation in words, for the record of decisions."""
        parts = [f"days {_ORDER_SAID[self.day_order]}"]
        parts.append("decimal comma" if self.comma else "decimal point")
        parts += [_PAN_SAID[self.pan_numerals]] if self.pan_numerals else []
        parts += ["channels in hex"] if self.channel_numerals == "hex" else []
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
    four_digits: int
    channel_letters: int
    channel_decimal: int
    channel_either: int
    channel_ten: int
    channel_prefixed: int
    channel_low: int
    channel_ours: int
    channel_other: int
    part: int
    whole: int
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
        pan_numerals=_ANSWERS_NUMERALS.get(said.get("pan ids", "").lower()),
        channel_numerals=_ANSWERS_NUMERALS.get(said.get("channels", "").lower()),
        length=_length(said.get("positions", "")),
        year=said.get("year"),
        share=_SHARES.get(said.get("shares", "").lower()),
        clock=said.get("clock"),
    )


def _length(answer: str) -> str | None:
    unit = unit_named(answer.strip().lower())
    return unit if unit in LENGTHS else None


def decide(
    database: Database, mapped: Mapped, titles: Titles, *, whole: bool = False
) -> Notation | TableRefused:
    """Return the notation of the staged table, or why it cannot be told.

    The first rows decide where they show it beyond doubt, else the whole table; `whole` asks for
    the whole table at once.
    """
    if not (whole or mapped.kind == "stations"):  # short, and each cell of theirs counts
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
        return TableRefused.of("day-order-open")
    comma = titles.comma if titles.comma is not None else _comma(shown)
    if comma is None:
        return TableRefused.of("decimal-mark-open", both=bool(shown.point and shown.comma))
    unit = titles.unit or ("dbm" if shown.negative or not shown.positive else None)
    fields = {column.field for column in mapped.columns}
    told = bool(mapped.level_unit) or not fields.isdisjoint({"unit", "scale", "zero_dbm"})
    if mapped.kind == READINGS and unit is None and not told:
        return TableRefused.of("level-unit-open")
    by_heading = mapped.unit_of("channel") or mapped.unit_of("channels")
    channels = titles.channel_numerals or by_heading or _channel_numerals(shown)
    counted = _counted(shown, mapped, titles) or _shares(shown, mapped, titles)
    if counted is not None:
        return counted
    if channels is None:
        return TableRefused.of("channel-numerals-open")
    pan_ids = titles.pan_numerals or mapped.unit_of("pan_id") or _pan_numerals(shown)
    assumed = unit if mapped.kind == READINGS and not told else None
    return Notation(order, comma, pan_ids, channels, assumed)


def _counted(shown: _Shown, mapped: Mapped, titles: Titles) -> TableRefused | None:
    """Return the question whether channels are counted from 0; none where they cannot be."""
    told = shown.channel_decimal or titles.channel_numerals
    foreign = shown.channel_other > 1 and not (shown.channel_ours or titles.channel_numerals)
    if mapped.kind == "stations" and foreign and not mapped.unit_of("channel"):
        return TableRefused.of("channels-foreign")
    if mapped.kind != READINGS or told or not shown.channel_low:
        return None
    return TableRefused.of("channels-counted")


def _shares(shown: _Shown, mapped: Mapped, titles: Titles) -> TableRefused | None:
    """Return the question whether shares that are all below 1 are in percent; none where not."""
    named = {mapped.unit_of("success_pct"), mapped.unit_of("utilisation_pct")}
    if titles.share or "0..1" in named or not shown.part or shown.whole:
        return None
    return TableRefused.of("shares-open")


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


def _pan_numerals(shown: _Shown) -> str:
    """Return how PAN IDs without 0x and letters are read; four digits alone do not tell it."""
    letters = shown.hex_letters
    # A letter among many digits may be a slip: then the digits would be read wrongly.
    if letters > _OUTWEIGHS * shown.not_hex and _OUTWEIGHS * letters >= shown.four_digits:
        return "hex"
    if shown.not_hex > _OUTWEIGHS * letters:
        return "decimal"
    return "unsure" if shown.four_digits else ""


def _channel_numerals(shown: _Shown) -> str | None:
    """Return how the file writes channels: in hex where letters occur; none where both could be.

    Digits alone are decimal channels as long as each can be one, or some can be nothing else.
    """
    letters, decimal = shown.channel_letters, shown.channel_decimal
    if letters:
        if decimal > _OUTWEIGHS * letters:
            return "decimal"
        # A letter among many digits may be a slip: then the digits would be read wrongly.
        hexed = letters > _OUTWEIGHS * decimal and _OUTWEIGHS * letters >= shown.channel_either
        return "hex" if hexed else None
    unsure = shown.channel_ten or (shown.channel_prefixed and shown.channel_either)
    return None if unsure and not decimal else "decimal"


@dataclass(frozen=True, slots=True)
class _Apart:
    store: str
    far: bool


def far_stores(
    database: Database, mapped: Mapped, titles: Titles, notation: Notation
) -> tuple[str, ...] | TableRefused:
    """Return the stores of which the positions cannot be in metres; most of them: a question.

    Only where nothing says the unit: no heading, no line above the headings.
    """
    named = mapped.unit_of("x_m") or mapped.unit_of("y_m") or titles.length
    placed = any(column.field in ("x_m", "y_m") for column in mapped.columns)
    if named or not placed or mapped.kind != "stations":
        return ()
    shown = {"most": _APART_MOST_M, "comma": notation.comma}
    stores = database.records(_Apart, "ingest", "apart", shown)
    far = tuple(each.store for each in stores if each.far)
    if 2 * len(far) <= len(stores):
        return far
    return TableRefused.of(
        "positions-far", far=len(far), stores=len(stores), store=far[0][:60], most=_APART_MOST_M
    )


_YEAR_ROWS = 20  # whose years speak for a table
_NEAR_YEARS = 1  # a year apart is the turn of a year, or an export that came late
_NEIGHBOURS_LEAST = 2  # files that must agree before another one is asked about
_FOUR_DIGITS = re.compile(r"(?<!\d)(?:19|20|21)\d\d(?!\d)|^\s*(?:19|20|21)\d\d(?=\d{4}\s*$)")
_TWO_DIGITS = re.compile(r"^\s*\d{1,2}[./-]\d{1,2}[./-](\d\d)(?!\d)")


@dataclass(frozen=True, slots=True)
class FolderTerms:
    """What a run says beside the files.

    `reports`: where it writes, which is not read. `latest`: the newest believable day; None: any.
    `as_of`: the day of tables that say none; None: it is asked for. `due`: tables with rows set
    aside as of the future, whose day has come.
    """

    reports: Path | None = None
    latest: date | None = None
    as_of: date | None = None
    due: frozenset[FileTaken] = frozenset()


class Neighbours:
    """The years that the files of a folder and the database speak of."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._met: defaultdict[str, set[int]] = defaultdict(set)

    def meet(self, table: DeliveredTable, vocabulary: Vocabulary) -> bool:
        """Note the years of a table; say whether it can be taken before all others are known."""
        years = _years_of(table, vocabulary)
        if years:
            self._met[table.file] |= years
        return not years or self._is_near(table, self._others(table))

    def refuse(self, table: DeliveredTable) -> TableRefused | None:
        """Return the question about a table years away from all others; none where it is not."""
        others = self._others(table)
        files = {*self._met, *self._database.column("ingest", "tables_held")} - {table.file}
        lone = len(files) < _NEIGHBOURS_LEAST
        if lone or not self._met[table.file] or self._is_near(table, others):
            return None
        held = self._database.column("ingest", "years_held")
        if self._is_near(table, [{year} for year in held]):
            return None
        years = sorted(self._met[table.file])
        near = min({*held, *chain(*others)}, key=lambda year: (abs(year - years[0]), year))
        return TableRefused.of("year-apart", year=years[0], near=near)

    def _others(self, table: DeliveredTable) -> list[set[int]]:
        return [years for file, years in self._met.items() if file != table.file]

    def _is_near(self, table: DeliveredTable, others: Iterable[set[int]]) -> bool:
        own = self._met[table.file]
        confirmed = read_titles(table.head.titles, ()).year
        return any(confirmed == str(year) for year in own) or any(
            abs(one - other) <= _NEAR_YEARS for one in own for years in others for other in years
        )


def _years_of(table: DeliveredTable, vocabulary: Vocabulary) -> set[int]:
    """Return the years of the days in the first rows of a table, or of the line above them."""
    mapped = vocabulary.understand(table.head.headings.cells)
    if table.refused is not None or isinstance(mapped, TableRefused):
        return set()
    field = "scanned_at" if mapped.kind == READINGS else "seen_on"
    places = [place for place, column in enumerate(mapped.columns) if column.field == field]
    headings = vocabulary.headings_of(mapped.kind, "seen_on")
    titled = read_titles(table.head.titles, headings).exported_on if not places else None
    rows = table.first_rows(_YEAR_ROWS) if places else []
    cells = [row[place] for row in rows for place in places if place < len(row)]
    cells += [] if places else [titled or ""]
    return {year for cell in cells if (year := _year(cell)) is not None}


def _year(cell: str) -> int | None:
    if match := _FOUR_DIGITS.search(cell):
        return int(match[0])
    short = _TWO_DIGITS.match(cell)
    return 2000 + int(short[1]) if short else None
