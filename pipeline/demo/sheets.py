"""Lay a portfolio out as the tables three source systems would export."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields
from datetime import date

from pipeline.demo.air import CHANNELS
from pipeline.demo.chain import EARLIER, EAST, MITTE, NORTH, SNAPSHOTS
from pipeline.demo.columns import ED_EAST_NAMED, ENGLISH, GERMAN, POLISH, Column
from pipeline.demo.records import Cell, Dialect, Portfolio, Region, Scan, Sheet

ENGLISH_TEXT = Dialect("utf-8", ",", "\n", ".", "%Y-%m-%d", "%Y-%m-%dT%H:%M:%S", yes="yes", no="no")
GERMAN_TEXT = Dialect(
    "cp1252", ";", "\r\n", ",", "%d.%m.%Y", "%d.%m.%Y %H:%M:%S", yes="ja", no="nein"
)
POLISH_TEXT = Dialect(
    "utf-8-sig", ",", "\r\n", ".", "%Y-%m-%d", "%Y-%m-%d %H:%M:%S", yes="true", no="false"
)
Rows = Mapping[str, Sequence[object]]
_GERMAN_FILES = {
    "stores": "filialen",
    "stations": "basisstationen",
    "labels": "etiketten",
    "wifi": "wlan",
    "heard": "stationspegel",
    "ed_readings": "energiemessung",
}
_TITLED = ("stations", "heard")  # exports of Mitte whose date stands above the headings


def sheets_of(portfolio: Portfolio, days: Sequence[date] = SNAPSHOTS) -> tuple[Sheet, ...]:
    """Return every table of the exports, region by region and snapshot by snapshot."""
    regions = {seen.plan.store: seen.plan.region for seen in portfolio.stores}
    laid: list[Sheet] = []
    for region, lay in ((NORTH, _north), (MITTE, _mitte), (EAST, _east)):
        for day in days:
            laid.extend(lay(_part(portfolio, regions, region, day), day))
    return tuple(sheet for sheet in laid if sheet.rows)


def _part(
    portfolio: Portfolio, regions: Mapping[str, Region], region: Region, day: date
) -> dict[str, list[object]]:
    """Return the rows of one region and snapshot by kind."""
    rows: dict[str, list[object]] = {}
    for field in fields(portfolio):
        if field.name == "seed":
            continue
        kind = "ed_readings" if field.name == "scans" else field.name
        rows[kind] = [
            row for row in getattr(portfolio, field.name) if _is(row, regions, region, day)
        ]
    return rows


def _is(row: object, regions: Mapping[str, Region], region: Region, day: date) -> bool:
    plan = getattr(row, "plan", None)
    store = plan.store if plan is not None else getattr(row, "store", "")
    seen_on = row.exported_on if isinstance(row, Scan) else getattr(row, "seen_on", None)
    return seen_on == day and regions[store] == region


def table(
    path: str, dialect: Dialect, columns: Sequence[Column], rows: Sequence[object], title: str = ""
) -> Sheet:
    """Return rows as a table, one value a column, with a title line above the headings if any."""
    return Sheet(
        path=path,
        dialect=dialect,
        title=(title,) if title else (),
        headings=tuple(heading for heading, _ in columns),
        rows=tuple(tuple(value(row) for _, value in columns) for row in rows),
    )


def _dated(heading: str, day: date) -> Column:
    return (heading, lambda _: day)


def readings(scans: Sequence[object]) -> list[tuple[Scan, int, Cell]]:
    """Return one (scan, channel, level) for each reading that was taken."""
    return [
        (scan, channel, level)
        for scan in scans
        if isinstance(scan, Scan)
        for channel, level in zip(CHANNELS, scan.levels, strict=False)
        if level is not None
    ]


def _north(rows: Rows, day: date) -> Iterator[Sheet]:
    folder = f"north/{day}.zip!" if day == EARLIER else f"north/{day}/"
    for kind, columns in ENGLISH.items():
        if kind == "ed_readings":
            path = f"{folder}ed_readings.csv"
            yield table(path, ENGLISH_TEXT, columns, readings(rows[kind]))
        else:
            dated = (*columns, _dated("Exported on", day))
            yield table(f"{folder}{kind}.csv", ENGLISH_TEXT, dated, rows[kind])


def _mitte(rows: Rows, day: date) -> Iterator[Sheet]:
    for kind, columns in GERMAN.items():
        path = f"mitte/{day}/{_GERMAN_FILES[kind]}.csv"
        if kind in _TITLED:
            yield table(path, GERMAN_TEXT, columns, rows[kind], f"Stand: {day:%d.%m.%Y}")
        elif kind == "ed_readings":
            yield table(path, GERMAN_TEXT, columns, rows[kind])
        else:
            yield table(path, GERMAN_TEXT, (*columns, _dated("Stand", day)), rows[kind])


def _east(rows: Rows, day: date) -> Iterator[Sheet]:
    for kind, columns in POLISH.items():
        if kind == "ed_readings":
            # Before, the system named its scale and left the meaning to whoever reads it.
            own = ED_EAST_NAMED if day == EARLIER else columns
            yield table(f"east/{day}/ed.csv", POLISH_TEXT, own, rows[kind])
        elif day == EARLIER:
            dated = (*columns, _dated("As of", day))
            yield table(f"east/{day}/{kind}.csv", POLISH_TEXT, dated, rows[kind])
        else:
            title = f"Exported on: {day}"
            yield table(f"east/{day}/export.xlsx#{kind}", POLISH_TEXT, columns, rows[kind], title)
