"""What a table does not say in a column: its day, or its store, from a line, a name, or the run."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import PurePosixPath
from types import MappingProxyType

from pipeline.ingest.delimited import DeliveredRow
from pipeline.ingest.headings import FieldColumn, Mapped, Vocabulary
from pipeline.ingest.notation import Titles, read_titles
from pipeline.ingest.pasting import in_rules, likely_heading, with_mapping
from pipeline.ingest.tables import DeliveredTable
from pipeline.ingest.turned import ask_by_station
from pipeline.ingest.words import (
    LESSER,
    READINGS,
    TableRefused,
    escaped,
    fold,
    left_aside,
    looks_like,
    names_station,
    shortened,
)
from pipeline.tables.cells import DAY, EUI64, IP_ADDRESS, LEVEL, MOMENT

UNTIMED = "12:00:00"
"""The time of day of scans of which only the day is known: the middle of the trading day."""
_YEAR_FIRST = re.compile(r"(?<!\d)(20\d\d)([-_.]?)(\d\d)\2(\d\d)(?!\d)")
_DAY_FIRST = re.compile(r"(?<!\d)(\d{1,2})\.(\d{1,2})\.(20\d\d)(?!\d)")
_FREQUENCY = re.compile(r"(24\d\d)(?: ?MHz)?", re.IGNORECASE)
_SCANNED_AT = {"scanned_at": "scanned at"}
_STORE, _STATION = {"store": "store"}, {"station": "station"}
# What a table may lack a column for, the least first: fields, and headings that stand for them.
_LACKING: Sequence[Mapping[str, str]] = (
    _SCANNED_AT,
    _STORE,
    _STORE | _SCANNED_AT,
    _STATION,
    _STORE | _STATION,
    _STATION | _SCANNED_AT,
    _STORE | _STATION | _SCANNED_AT,
)
_CLOCKS = {
    **dict.fromkeys(("store", "local", "local time", "store time"), "store"),
    **dict.fromkeys(("utc", "gmt", "z", "utc 0", "utc+0", "utc+00 00", "etc utc"), "UTC"),
}
_LINES: Mapping[str, str] = MappingProxyType(
    {
        "store": "Store: S001",
        "station": "Station: S001-01",
        "scanned_at": "Scanned at: 2026-09-30 03:00",
    }
)


@dataclass(frozen=True, slots=True)
class Understood:
    """A table's headings and titles, what fills fields that no column does, and the day's source.

    `filled` has texts by field. `said` is for the record of decisions.
    """

    mapped: Mapped
    titles: Titles
    filled: Mapping[str, str]
    said: str


@dataclass(frozen=True, slots=True)
class _Day:
    text: str
    source: str

    @property
    def said(self) -> str:
        return f"day {self.text} from {self.source}"


def understand(
    table: DeliveredTable,
    vocabulary: Vocabulary,
    own: Mapping[str, object],
    as_of: date | None,
    *,
    unset: bool = False,
) -> Understood | TableRefused:
    """Return what a table's headings and all around them say, or what to ask.

    `own` has the kinds of which the rules file maps headings; `unset` lets stations go without a
    channel where a column may say that they are planned. The day of a table comes from a
    column, else a line above the headings, else the name of the file or of the nearest folder that
    has one, else `as_of`.
    """
    values = table.first_values()
    cells = [_with_unit(c, v, vocabulary) for c, v in zip(table.cells, values, strict=True)]
    mapped = vocabulary.understand(cells, values, unset=unset)
    filled: Mapping[str, str] = MappingProxyType({})
    day = None
    if isinstance(mapped, TableRefused):
        day = _moment(table, vocabulary, as_of)
        without = _without_columns(table, cells, vocabulary, day)
        if without is None:
            return ask_by_station(table.cells, values, vocabulary) or with_mapping(
                mapped, table.cells, values, vocabulary, own
            )
        if isinstance(without, TableRefused):
            return without
        mapped, filled = without
    elif (twice := _two_channels(mapped, values)) is not None:
        return twice
    mapped = replace(mapped, columns=_named_as_written(mapped.columns, cells, table.cells))
    if mapped.kind != READINGS:
        return _dated(table, vocabulary, mapped, filled, as_of)
    source = "" if "scanned_at" not in filled or day is None else day.said
    return _timed(table, vocabulary, mapped, _statistic(mapped) | dict(filled), source)


def _timed(
    table: DeliveredTable,
    vocabulary: Vocabulary,
    mapped: Mapped,
    filled: Mapping[str, str],
    source: str,
) -> Understood | TableRefused:
    """Return a table of readings with its clock, or the question which it is."""
    if source and UNTIMED in filled["scanned_at"]:
        source += f", scans at {UNTIMED[:5]}"
    titles = _clocked(table, vocabulary)
    if isinstance(titles, TableRefused):
        return titles
    return Understood(mapped, titles, filled, source)


def _two_channels(mapped: Mapped, values: Sequence[Sequence[str]]) -> TableRefused | None:
    """Return why a column of frequencies refuses the table: it has other channels beside it.

    IEEE 802.15.4: channel k is at 2405 + 5 (k - 11) MHz.
    """
    columns = mapped.columns
    place = next((p for p, column in enumerate(columns) if column.field == "channel"), None)
    for other, column in enumerate(columns if place is not None else ()):
        found = [_FREQUENCY.fullmatch(value.strip()) for value in values[other]]
        if not column.field.startswith("other ") or not found or not all(found):
            continue
        pairs = zip(values[place or 0], found, strict=True)
        told = [(int(own), int(of[1])) for own, of in pairs if of and own.strip().isdecimal()]
        if any(mhz != 2350 + 5 * own for own, mhz in told):
            both = [columns[place or 0].heading, column.heading]
            return TableRefused.of(
                "channels-differ", columns=shortened(both)[0], lines=left_aside(mapped.kind, both)
            )
    return None


def said_above(table: DeliveredTable, vocabulary: Vocabulary, kind: str) -> list[DeliveredRow]:
    """Return the lines above a table's headings, and what the rules file says in their place."""
    told = vocabulary.above.get(kind, {}).items()
    return [*table.head.titles, *(DeliveredRow(0, [name, text]) for name, text in told)]


def _clocked(table: DeliveredTable, vocabulary: Vocabulary) -> Titles | TableRefused:
    """Return what the lines above readings say, with their clock; or the question which it is."""
    rows = said_above(table, vocabulary, READINGS)
    zones = vocabulary.headings_of("stores", "time_zone")
    titles = read_titles(rows, ())
    written = titles.clock or read_titles(rows, zones).exported_on
    clock = _CLOCKS.get(fold(written or "store"))
    if clock is None:
        refused = TableRefused.of("clock-open", zone=(written or "")[:60])
        return in_rules(refused, READINGS, vocabulary)
    return replace(titles, clock=clock)


def _statistic(mapped: Mapped) -> dict[str, str]:
    """Return what the heading of the level says its readings are, where no column does."""
    if any(column.field == "statistic" for column in mapped.columns):
        return {}
    words = {w for c in mapped.columns if c.field == "level" for w in fold(c.heading).split()}
    said = [each for each in ("mean", "max", "min") if words & LESSER[each]]  # no "min" is taken
    return {"statistic": said[0]} if said else {}


def _dated(
    table: DeliveredTable,
    vocabulary: Vocabulary,
    mapped: Mapped,
    filled: Mapping[str, str],
    as_of: date | None,
) -> Understood | TableRefused:
    """Return a table of another kind than readings with its day, or the question which it is."""
    headings = vocabulary.headings_of(mapped.kind, "seen_on")
    titles = read_titles(said_above(table, vocabulary, mapped.kind), headings)
    column = next((each for each in mapped.columns if each.field == "seen_on"), None)
    if column is not None:
        return Understood(
            mapped, titles, filled, f"day from column {column.heading.replace(';', ',')}"
        )
    day = _day(table.file, titles, as_of)
    if day is None:
        return TableRefused.of("export-day-unsaid", kind=mapped.kind)
    return Understood(mapped, replace(titles, exported_on=day.text), filled, day.said)


def _with_unit(cell: str, values: Sequence[str], vocabulary: Vocabulary) -> str:
    unit = vocabulary.unit_shown(cell, values)
    return f"{cell} ({unit})" if unit else cell


def _named_as_written(
    columns: Sequence[FieldColumn], cells: Sequence[str], written: Sequence[str]
) -> tuple[FieldColumn, ...]:
    """Return columns under the headings of the file, without the units that values showed."""
    return tuple(
        column if cell == own else replace(column, heading=own.strip())
        for column, cell, own in zip(columns, cells, written, strict=True)
    )


def _without_columns(
    table: DeliveredTable, cells: Sequence[str], vocabulary: Vocabulary, day: _Day | None
) -> tuple[Mapped, Mapping[str, str]] | TableRefused | None:
    """Return the table understood without a column for its store, its station or its moment.

    None: these are not all that it lacks.
    """
    for lacking in _LACKING:
        mapped = vocabulary.understand([*cells, *lacking.values()])
        if isinstance(mapped, TableRefused) or (
            lacking.keys() != {"store"} and mapped.kind != READINGS
        ):
            continue
        if any(likely_heading(field, cells, vocabulary, mapped.kind) for field in lacking):
            continue
        if mapped.kind == "stations" and any(
            column.field == "station" and names_station(column.heading) for column in mapped.columns
        ):
            continue  # a name is taken for the key only beside a column for the store
        filled = {field: _elsewhere(table, vocabulary, mapped.kind, field) for field in lacking}
        if "scanned_at" in lacking and day is not None:
            filled["scanned_at"] = day.text if ":" in day.text else f"{day.text} {UNTIMED}"
        known = {field: text for field, text in filled.items() if text is not None}
        if len(known) < len(filled):
            return _ask([field for field in filled if field not in known], table, mapped)
        return replace(mapped, columns=mapped.columns[: len(cells)]), known
    return None


def _elsewhere(table: DeliveredTable, vocabulary: Vocabulary, kind: str, field: str) -> str | None:
    """Return the key that a line above the headings says, or a name that the rules file points at.

    Names are those of the file without its ending, of its folder, and of the sheet.
    """
    headings = vocabulary.headings_of(kind, field)
    titled = read_titles(said_above(table, vocabulary, kind), headings).exported_on
    path, _, sheet = table.file.partition("#")
    names = {"file name": PurePosixPath(path.replace("!", "/")).name.partition(".")[0]}
    names |= {"folder name": PurePosixPath(path).parent.name, "sheet name": sheet}
    told = [names[name] for name in names if vocabulary.fields[kind].get(name) == field]
    # Of `store_0042` the key is 0042.
    worded = [re.fullmatch(r"([^\W\d]+)[ _-]+(.+)", name) for name in told]
    told = [
        word[2] if word and vocabulary.fields[kind].get(fold(word[1])) == field else name
        for word, name in zip(worded, told, strict=True)
    ]
    return titled or next(filter(None, told), None)


def _ask(fields: Sequence[str], table: DeliveredTable, mapped: Mapped) -> TableRefused:
    lines = "\n".join(_LINES[field] for field in fields)
    refused = TableRefused.of("unsaid", fields=list(fields), lines=lines)
    if "store" not in fields:
        return refused
    name = "sheet" if "#" in table.file else "folder" if "/" in table.file else "file"
    column = _key_like(mapped, table.first_values())
    told = f'"{name} name" = "store"'
    told = f'"{escaped(column)}" = "store"\n# {told}' if column else told
    lines = f"[headings.{mapped.kind}]\n{told}"
    return refused.also("paste-store", column=column, name=name, lines=lines)


def _key_like(mapped: Mapped, values: Sequence[Sequence[str]]) -> str | None:
    """Return the first column that stands for no field and might be a key."""
    forms = (LEVEL, DAY, MOMENT, IP_ADDRESS, EUI64)
    for column, shown in zip(mapped.columns, values, strict=False):
        measure = column.unit or any(looks_like(shown, form) for form in forms)
        named = column.field.startswith("other ") and not column.heading.startswith("column ")
        if named and not measure and shown and all(map(str.strip, shown)):
            return column.heading
    return None


def _moment(table: DeliveredTable, vocabulary: Vocabulary, as_of: date | None) -> _Day | None:
    headings = (
        *vocabulary.headings_of(READINGS, "scanned_at"),
        *vocabulary.headings_of("stations", "seen_on"),
    )
    return _day(table.file, read_titles(said_above(table, vocabulary, READINGS), headings), as_of)


def _day(file: str, titles: Titles, as_of: date | None) -> _Day | None:
    if titles.exported_on is not None:
        return _Day(titles.exported_on, "the line above the headings")
    named = day_of_name(file)
    if named is not None:
        return _Day(named.isoformat(), "the name of the file or folder")
    return None if as_of is None else _Day(as_of.isoformat(), "--as-of")


def day_of_name(file: str) -> date | None:
    """Return the one day that a file's name says, or the nearest folder with a day in its name.

    Known are 2026-09-30, 2026_09_30, 2026.09.30, 20260930 and 30.09.2026; a name with two days
    says none.
    """
    for part in reversed(re.split(r"[/!#]", file)):
        written = [(y, m, d) for y, _, m, d in _YEAR_FIRST.findall(part)]
        written += [(y, m, d) for d, m, y in _DAY_FIRST.findall(part)]
        days = {day for parts in written if (day := _as_date(*map(int, parts))) is not None}
        if days:
            return days.pop() if len(days) == 1 else None
    return None


def _as_date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
