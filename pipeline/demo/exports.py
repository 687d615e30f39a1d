"""The exports of the chain's three source systems: tables laid out, and written as files.

`columns.csv` says which value stands under which heading in each region's exports. The bytes of a
file depend on nothing but its table.
"""

import csv
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time
from functools import cache
from operator import attrgetter
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from openpyxl import Workbook

from pipeline.demo.air import CHANNELS
from pipeline.demo.chain import CHAIN, EARLIER, EAST, MITTE, NORTH, SNAPSHOTS
from pipeline.demo.records import (
    Cell,
    ChainSeen,
    ExportTable,
    HeardNextDoor,
    Level,
    Scan,
    TextFormat,
)
from pipeline.xlsx import workbook_bytes, zip_bytes

RAW_ZERO_DBM = -100.0
RAW_DB_PER_STEP = 0.5
RAW_SCALE = "ed half-decibel"  # the name under [scales] in the demo's rules file
NORTH_TEXT = TextFormat(
    "utf-8", ",", "\n", ".", "%Y-%m-%d", "%Y-%m-%dT%H:%M:%S", yes="yes", no="no"
)
_MITTE_TEXT = TextFormat(
    "cp1252", ";", "\r\n", ",", "%d.%m.%Y", "%d.%m.%Y %H:%M:%S", yes="ja", no="nein"
)
_EAST_TEXT = TextFormat(
    "utf-8-sig", ",", "\r\n", ".", "%Y-%m-%d", "%Y-%m-%d %H:%M:%S", yes="true", no="false"
)
_COLUMNS = Path(__file__).with_name("columns.csv")
_MITTE_FILES = {
    "stores": "filialen",
    "stations": "basisstationen",
    "labels": "etiketten",
    "wifi": "wlan",
    "heard": "stationspegel",
}
_MITTE_TITLED = ("stations", "heard")  # exports whose date stands above the headings
# What an export cannot say of a station before it is installed.
_NOT_YET = ("Channel", "PAN ID", "TX power dBm", "EUI-64", "Firmware", "Connected")
_STRAY_EUI64 = "00:00:5e:ef:10:00:00:ff"  # the last address set aside for documentation
DWELL_MS = 0.128
_STAMP = datetime(2026, 9, 30, 18, 0)  # noqa: DTZ001 - a document property, fixed on purpose
# The records differ by kind; a column is only ever asked about its own kind.
Column = tuple[str, Callable[[Any], Cell]]


def _with_offset(scan: Scan) -> str:
    """Return when a scan of region East was taken, with its UTC offset, ISO 8601."""
    return scan.scanned_at.replace(tzinfo=ZoneInfo("Europe/Warsaw")).isoformat()


def _magnitude(level: Level) -> Cell:
    """Return a level as the positive number some systems write for it."""
    return -level if isinstance(level, int) else level


def _raw(level: Level) -> Cell:
    """Return a level as the 0-255 value of a radio with half-decibel steps."""
    return round((level - RAW_ZERO_DBM) / RAW_DB_PER_STEP) if isinstance(level, int) else level


def _level_of(channel: int, write: Callable[[Level], Cell]) -> Callable[[Scan], Cell]:
    return lambda scan: write(scan.levels[channel - CHANNELS[0]])


# North writes one reading a row: the rows are (scan, channel, level).
ED_NORTH: tuple[Column, ...] = (
    ("Store", lambda r: r[0].store),
    ("Station", lambda r: r[0].station),
    ("Scanned at", lambda r: r[0].scanned_at),
    ("Channel", lambda r: r[1]),
    ("Level dBm", lambda r: r[2]),
    ("Statistic", lambda _: "single"),
    ("Dwell ms", lambda _: DWELL_MS),
    ("Own stations quiet", lambda r: r[0].own_quiet),
)
_ED_MITTE: tuple[Column, ...] = (
    ("Filiale", lambda s: s.store),
    ("Basisstation", lambda s: s.station),
    ("Zeitpunkt", lambda s: s.scanned_at),
    ("Einheit", lambda _: "-dBm"),
    ("Messdauer ms", lambda _: DWELL_MS),
    ("Eigene Stationen stumm", lambda s: s.own_quiet),
    *((f"Kanal {c}", _level_of(c, _magnitude)) for c in CHANNELS),
)
_ED_EAST: tuple[Column, ...] = (
    ("Site", lambda s: s.store),
    ("Base station", lambda s: s.station),
    ("Timestamp", _with_offset),
    ("Unit", lambda _: "raw"),
    ("Own stations quiet", lambda s: s.own_quiet),
)
_NEXT_DOOR: tuple[Column, ...] = (
    ("Store", lambda r: r.store),
    ("Listening station", lambda r: r.station),
    ("Heard store", lambda r: r.neighbour_store),
    ("Heard station", lambda r: r.neighbour),
    ("Level dBm", lambda r: r.level_dbm),
)
# In June the system named its scale and left the meaning to whoever reads it.
_SCALE_NAMED: tuple[Column, ...] = (("Scale", lambda _: RAW_SCALE),)
_SCALE_GIVEN: tuple[Column, ...] = (
    ("Scale zero dBm", lambda _: RAW_ZERO_DBM),
    ("Scale dB per step", lambda _: RAW_DB_PER_STEP),
)
_RAW_CHANNELS: tuple[Column, ...] = tuple((f"ch{c}", _level_of(c, _raw)) for c in CHANNELS)


@cache
def columns_of(region: str) -> Mapping[str, tuple[Column, ...]]:
    """Return the columns of every kind but energy readings, as a region's system writes them."""
    kinds: dict[str, tuple[Column, ...]] = {}
    with _COLUMNS.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            if row[region]:
                column = (row[region], attrgetter(row["value"]))
                kinds[row["kind"]] = (*kinds.get(row["kind"], ()), column)
    return kinds


def dated(columns: Sequence[Column], heading: str, day: date) -> tuple[Column, ...]:
    """Return the columns and one more that holds the day of the export."""
    return (*columns, (heading, lambda _: day))


def table(
    path: str,
    written: TextFormat,
    columns: Sequence[Column],
    rows: Sequence[object],
    title: str = "",
) -> ExportTable:
    """Return rows as a table, one value a column, with a title line above the headings if any."""
    return ExportTable(
        path=path,
        written=written,
        title=(title,) if title else (),
        headings=tuple(heading for heading, _ in columns),
        rows=tuple(tuple(value(row) for _, value in columns) for row in rows),
    )


def tables_of(portfolio: ChainSeen, days: Sequence[date] = SNAPSHOTS) -> tuple[ExportTable, ...]:
    """Return every table of the exports, region by region and snapshot by snapshot."""
    kinds = (*columns_of("north"), "scans")
    laid: list[ExportTable] = []
    for region, lay in ((NORTH, _north), (MITTE, _mitte), (EAST, _east)):
        stores = {seen.store for seen in portfolio.stores if seen.plan.region == region}
        for day in days:
            rows: dict[str, list[Any]] = {kind: [] for kind in kinds}
            for kind, kept in rows.items():
                every = getattr(portfolio, kind)
                kept.extend(r for r in every if r.store in stores and r.seen_on == day)
            laid.extend(lay(rows, day))
    return tuple(one for one in laid if one.rows)


def _north(rows: Mapping[str, Sequence[Any]], day: date) -> Iterator[ExportTable]:
    folder = f"north/{day}.zip!" if day == EARLIER else f"north/{day}/"
    for kind, own in columns_of("north").items():
        columns = dated(own, "Exported on", day)
        yield table(f"{folder}{kind}.csv", NORTH_TEXT, columns, rows[kind])
    readings = [
        (scan, channel, level)
        for scan in rows["scans"]
        for channel, level in zip(CHANNELS, scan.levels, strict=True)
        if level is not None
    ]
    yield table(f"{folder}ed_readings.csv", NORTH_TEXT, ED_NORTH, readings)


def opening_of(portfolio: ChainSeen, day: date) -> Iterator[ExportTable]:
    """Yield what North exports of a store about to open: its stations planned, its Wi-Fi heard."""
    for kind in ("stores", "stations", "wifi"):
        columns = dated(columns_of("north")[kind], "Exported on", day)
        if kind == "stations":
            columns = tuple(one for one in columns if one[0] not in _NOT_YET)
            columns += (("Channel", lambda _: None), ("Installation status", lambda _: "planned"))
        yield table(
            f"north/{day}/opening/{kind}.csv", NORTH_TEXT, columns, getattr(portfolio, kind)
        )


NETWORK: tuple[Column, ...] = (
    ("Store", lambda d: d.store),
    ("IP address", lambda d: d.ip_address),
    ("Port", lambda d: d.port),
    ("Hardware address", lambda d: d.eui64),
    ("Type", lambda d: d.hardware),
)


def network_of(portfolio: ChainSeen, store: str, day: date) -> ExportTable:
    """Return what a store's network holds: its stations, and one that no export lists."""
    listed = [s for s in portfolio.stations if (s.store, s.seen_on) == (store, day)]
    last = listed[-1]
    stray = replace(last, eui64=_STRAY_EUI64, ip_address=f"{last.ip_address.rpartition('.')[0]}.99")
    columns = dated(NETWORK, "Found on", day)
    return table(f"north/{day}/network.csv", NORTH_TEXT, columns, [*listed, stray])


def next_door_of(rows: Sequence[HeardNextDoor], day: date) -> ExportTable:
    """Return what stations of North hear of stores next door."""
    return table(
        f"north/{day}/next_door.csv", NORTH_TEXT, dated(_NEXT_DOOR, "Exported on", day), rows
    )


def _mitte(rows: Mapping[str, Sequence[Any]], day: date) -> Iterator[ExportTable]:
    for kind, columns in columns_of("mitte").items():
        path = f"mitte/{day}/{_MITTE_FILES[kind]}.csv"
        if kind in _MITTE_TITLED:
            title = f"Stand: {day:%d.%m.%Y}"
            yield table(path, _MITTE_TEXT, columns, rows[kind], title=title)
        else:
            yield table(path, _MITTE_TEXT, dated(columns, "Stand", day), rows[kind])
    yield table(f"mitte/{day}/energiemessung.csv", _MITTE_TEXT, _ED_MITTE, rows["scans"])


def _east(rows: Mapping[str, Sequence[Any]], day: date) -> Iterator[ExportTable]:
    for kind, columns in columns_of("east").items():
        if day == EARLIER:
            path = f"east/{day}/{kind}.csv"
            yield table(path, _EAST_TEXT, dated(columns, "As of", day), rows[kind])
        else:
            path, title = f"east/{day}/export.xlsx#{kind}", f"Exported on: {day}"
            yield table(path, _EAST_TEXT, columns, rows[kind], title=title)
    scale = _SCALE_NAMED if day == EARLIER else _SCALE_GIVEN
    readings = (*_ED_EAST, *scale, *_RAW_CHANNELS)
    yield table(f"east/{day}/ed.csv", _EAST_TEXT, readings, rows["scans"])


def write_files(tables: Sequence[ExportTable], folder: Path) -> None:
    """Write the files that hold some tables below a folder."""
    for path, content in files_of(tables).items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)


def files_of(tables: Sequence[ExportTable]) -> dict[str, bytes]:
    """Return the files that hold some tables: path below the exports folder to bytes."""
    files: dict[str, bytes] = {}
    packed: dict[str, dict[str, bytes]] = {}
    books: dict[str, list[ExportTable]] = {}
    for one in tables:
        if "#" in one.path:
            books.setdefault(one.path.split("#")[0], []).append(one)
        elif "!" in one.path:
            container, member = one.path.split("!")
            packed.setdefault(container, {})[member] = _text_of(one)
        else:
            files[one.path] = _text_of(one)
    files.update({path: zip_bytes(members) for path, members in packed.items()})
    files.update({path: _workbook(sheets) for path, sheets in books.items()})
    return files


def _text_of(table: ExportTable) -> bytes:
    """Return a table as delimited text."""
    written, out = table.written, io.StringIO()
    out.writelines(line + written.line_end for line in table.title)
    writer = csv.writer(out, delimiter=written.delimiter, lineterminator=written.line_end)
    writer.writerow(table.headings)
    writer.writerows([_cell_text(cell, written) for cell in row] for row in table.rows)
    return out.getvalue().encode(written.encoding)


def _cell_text(cell: Cell, written: TextFormat) -> str:
    """Return one value as its source system writes it."""
    match cell:
        case None:
            return ""
        case bool():
            return written.yes if cell else written.no
        case float():
            return f"{cell:g}".replace(".", written.decimal_mark)
        case date() | time():  # a datetime is a date, too
            formats = {datetime: written.moment_format, date: written.date_format, time: "%H:%M"}
            return cell.strftime(formats[type(cell)])
        case _:
            return str(cell)


def _workbook(sheets: Sequence[ExportTable]) -> bytes:
    book = Workbook(write_only=True)
    book.properties.creator = f"{CHAIN} store systems (invented)"
    for sheet in sheets:
        page = book.create_sheet(sheet.path.split("#")[1])
        for row in (*([line] for line in sheet.title), sheet.headings, *sheet.rows):
            page.append(row)
    return workbook_bytes(book, _STAMP)
