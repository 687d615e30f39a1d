"""Clean a delivered table: every row typed and judged, in the temporary table `cleaned`."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from types import MappingProxyType

import duckdb
import polars as pl

from pipeline.database import Database
from pipeline.ingest.delimited import TableUnreadable
from pipeline.ingest.given import Understood, understand
from pipeline.ingest.headings import Mapped, Vocabulary
from pipeline.ingest.notation import FolderTerms, Notation, Titles, decide, far_stores
from pipeline.ingest.pasting import in_rules
from pipeline.ingest.staging import stage_plain, stage_whole
from pipeline.ingest.tables import DeliveredTable
from pipeline.ingest.words import READINGS, TableRefused
from pipeline.settings import Settings
from pipeline.tables.cells import FACTORS, country_cells, ip_address, zone_cells
from pipeline.tables.exports import EXPORT_KINDS

_STATEMENTS: Mapping[str, str] = MappingProxyType(
    {
        "stores": "clean_stores",
        "stations": "clean_stations",
        "labels": "clean_labels",
        "wifi": "clean_wifi",
        "heard": "clean_heard",
        "network": "clean_network",
    }
)

# Fields whose numbers are multiplied by what the unit of their heading asks for.
_SCALED = frozenset(
    field.name
    for kind in EXPORT_KINDS
    for field in kind.fields
    if not FACTORS.keys().isdisjoint(field.units or ())
)


@dataclass(frozen=True, slots=True)
class CleanedTable:
    """What is known of a table once it is cleaned.

    `rows_partly` are good rows with a cell that could not be read; `said` is how the table was
    read, in words. `added`: its rows are in the database already.
    """

    mapped: Mapped
    rows_read: int
    rows_good: int
    rows_partly: int
    exported_on: date | None
    said: str
    added: bool = False


@dataclass(frozen=True, slots=True)
class _RowCount:
    rows: int
    good: int
    partly: int


def clean(
    database: Database,
    table: DeliveredTable,
    vocabulary: Vocabulary,
    settings: Settings,
    terms: FolderTerms,
) -> CleanedTable | TableRefused:
    """Clean a table; return what is known of it then, or why it is refused as a whole.

    Rows of a day after `terms.latest` are bad. The cells of bad rows are in the temporary table
    `bad_text`.
    """
    if table.refused is not None:
        return table.refused
    known = understand(table, vocabulary, settings.headings, terms.as_of)
    if not isinstance(known, TableRefused):
        found = _cleaned(database, table, known, settings, terms)
        if isinstance(found, TableRefused):
            return in_rules(found, known.mapped.kind, vocabulary)
        return found
    # Stations that are only planned have no channel: whether they are, their rows say.
    unset = understand(table, vocabulary, settings.headings, terms.as_of, unset=True)
    if isinstance(unset, TableRefused):
        return known
    found = _cleaned(database, table, unset, settings, terms)
    return found if database.value("ingest", "told_of_status") else known


def _cleaned(
    database: Database,
    table: DeliveredTable,
    known: Understood,
    settings: Settings,
    terms: FolderTerms,
) -> CleanedTable | TableRefused:
    try:
        values = {**values_of(table, known, settings), "latest": terms.latest}
        judge = partial(_judge, database, table, known, values)
        found = _read(database, table, known, judge)
    except TableUnreadable as error:
        return error.refused
    return found if isinstance(found, TableRefused) else _with_texts(database, found)


def _read(
    database: Database,
    table: DeliveredTable,
    known: Understood,
    judge: Callable[[], CleanedTable | TableRefused],
) -> CleanedTable | TableRefused:
    """Read the table as it lies where that is exact, else its plain copy."""
    if table.whole is not None:
        stage_whole(database, table.whole, table, known)
        found = _if_readable(judge)
        if isinstance(found, TableRefused):
            return found
        # As many rows as lines: no row was left out, none runs over lines.
        if found is not None and found.rows_read == table.rows_if_even:
            return found
    rows = stage_plain(database, table, known)
    found = _if_readable(judge)
    if isinstance(found, TableRefused) or (found is not None and found.rows_read == rows):
        return found
    return TableRefused.of("text-inexact")


def _if_readable(
    judge: Callable[[], CleanedTable | TableRefused],
) -> CleanedTable | TableRefused | None:
    """Return none where a row has a form that the database does not read."""
    try:
        return judge()
    except (duckdb.InvalidInputException, duckdb.NotImplementedException):
        return None


def _judge(
    database: Database,
    table: DeliveredTable,
    known: Understood,
    values: Mapping[str, object],
) -> CleanedTable | TableRefused:
    """Decide on the notation and clean the staged table.

    Where rows then fail that another notation might save, decide again from the whole table.
    """
    mapped, titles = known.mapped, known.titles
    notation = decide(database, mapped, titles)
    if isinstance(notation, TableRefused):
        return notation
    asked = _asked(database, mapped, titles, notation)
    if isinstance(asked, TableRefused):
        return asked
    values = {**values, **asked}
    _run_clean(database, mapped, notation, values)
    if database.value("ingest", "distressed"):
        again = decide(database, mapped, titles, whole=True)
        if isinstance(again, TableRefused):
            return again
        if again != notation:
            notation = again
            _run_clean(database, mapped, notation, values)
    exported_on = exported_on_of(database, known, notation, values["latest"])
    if isinstance(exported_on, TableRefused):
        return exported_on
    counted = row_count(database)
    return CleanedTable(
        mapped,
        counted.rows,
        counted.good,
        counted.partly,
        exported_on,
        said_of(table, known, notation),
    )


def said_of(table: DeliveredTable, known: Understood, notation: Notation) -> str:
    """Return how a table was read, in words."""
    mapped, titles = known.mapped, known.titles
    said = (
        table.said, known.said, notation.said(), titles.said(), mapped.converted, mapped.left_aside,
    )  # fmt: skip
    return "; ".join(filter(None, said))


def _asked(
    database: Database, mapped: Mapped, titles: Titles, notation: Notation
) -> Mapping[str, object] | TableRefused:
    """Return what is asked of the whole staged table before its rows are cleaned."""
    if mapped.kind not in ("stores", "stations"):
        return {}
    far = far_stores(database, mapped, titles, notation)
    if isinstance(far, TableRefused):
        return far
    asked: dict[str, object] = {
        "far": list(far),
        "last_total": database.value("ingest", "last_total"),
    }
    return asked | _places(database) if mapped.kind == "stores" else asked


def _places(database: Database) -> dict[str, object]:
    """Return the countries and zones that the cells of the staged table stand for."""
    countries = country_cells(database.column("ingest", "country_cells"))
    zones = zone_cells(database.column("ingest", "zone_cells"))
    return {
        "country_cells": list(countries),
        "country_codes": list(countries.values()),
        "zone_cells": list(zones),
        "zone_names": list(zones.values()),
    }


def exported_on_of(
    database: Database, known: Understood, notation: Notation, latest: object
) -> date | TableRefused | None:
    """Return the day that all rows share, where no column tells it."""
    if "scanned_at" in known.filled:
        day: date | None = database.value("ingest", "newest_scanned")
        return day
    written = known.titles.exported_on
    if written is None:
        return None
    title = {"title": written, "day_order": notation.day_order}
    exported_on: date | None = database.value("ingest", "snapshot_day", title)
    if exported_on is None and known.mapped.kind != READINGS:
        return TableRefused.of("export-day-unreadable", day=written[:60])
    if isinstance(latest, date) and exported_on is not None and exported_on > latest:
        return TableRefused.of("export-day-in-future", day=exported_on.isoformat())
    return exported_on


def row_count(database: Database) -> _RowCount:
    """Count the cleaned rows."""
    return database.records(_RowCount, "ingest", "tally")[0]


def values_of(table: DeliveredTable, known: Understood, settings: Settings) -> Mapping[str, object]:
    """Return what statements that clean are told of a table, but for its notation."""
    scales = sorted(settings.scales.items())
    return {
        "year": known.titles.year,
        "suspect": table.suspect,
        "odd": table.odd_blanks,
        "exported_on": known.titles.exported_on,
        "unit": known.mapped.level_unit.lower() or None,
        "in_mw": known.mapped.unit_of("tx_power_dbm") == "mW",
        "channels_told": any(column.field == "channel" for column in known.mapped.columns),
        "in_utc": "UTC" in (known.mapped.unit_of("scanned_at"), known.titles.clock),
        **{f"{field}_factor": _factor(known.mapped, known.titles, field) for field in _SCALED},
        "cca_dbm": settings.limits["cca_threshold_dbm"],
        "scale_names": [name for name, _ in scales],
        "scale_zeros": [scale.zero_dbm for _, scale in scales],
        "scale_steps": [scale.db_per_step for _, scale in scales],
    }


def _factor(mapped: Mapped, titles: Titles, field: str) -> float:
    unit = mapped.unit_of(field)
    if titles.share and field in ("success_pct", "utilisation_pct"):
        return FACTORS.get(titles.share, 1)
    if not unit and field in ("x_m", "y_m"):
        unit = titles.length or ""
    return FACTORS.get(unit, 1)


def _run_clean(
    database: Database, mapped: Mapped, notation: Notation, values: Mapping[str, object]
) -> None:
    readings = "clean_ed_wide" if mapped.wide else "clean_ed_long"
    if mapped.kind == READINGS and not mapped.wide:
        database.run("ingest", "judged_readings")
    name = readings if mapped.kind == READINGS else _STATEMENTS[mapped.kind]
    run_named(database, name, with_notation(values, notation))
    _refuse_future(database, values["latest"], scans=mapped.kind == READINGS)
    if values["year"] is None:
        _refuse_years_apart(database, scans=mapped.kind == READINGS)
    if mapped.kind == READINGS:
        _mark_stuck(database, wide=mapped.wide, cca_dbm=values["cca_dbm"])
    elif mapped.kind in ("stations", "network"):
        _tidy_network_addresses(database)


def with_notation(values: Mapping[str, object], notation: Notation) -> Mapping[str, object]:
    """Return values with those of a notation."""
    return {
        **values,
        "day_order": notation.day_order,
        "comma": notation.comma,
        "pan_numerals": notation.pan_numerals,
        "channel_numerals": notation.channel_numerals,
        "assumed_unit": notation.assumed_unit,
    }


def run_named(database: Database, name: str, values: Mapping[str, object]) -> None:
    """Run a statement with those of the values that it names."""
    asked = database.parameters("ingest", name)
    database.run("ingest", name, {each: values[each] for each in asked})


def _refuse_future(database: Database, latest: object, *, scans: bool) -> None:
    newest = database.value("ingest", "newest_scanned" if scans else "newest_seen")
    if isinstance(latest, date) and newest is not None and newest > latest:
        name = "refuse_future_moments" if scans else "refuse_future_days"
        database.run("ingest", name, {"latest": latest})


def _refuse_years_apart(database: Database, *, scans: bool) -> None:
    database.run("ingest", "scanned_days" if scans else "seen_days")
    last = database.value("ingest", "last_apart")
    if last is not None:
        field = "scanned_at" if scans else "seen_on"
        database.run("ingest", "refuse_years_apart", {"last": last, "field": field})


def _mark_stuck(database: Database, *, wide: bool, cca_dbm: object) -> None:
    """Offer good readings as `reading` and their scans as `scan`; mark those of stuck radios."""
    database.run("ingest", "readings_wide" if wide else "readings_long")
    database.run("ingest", "scans")
    threshold = {"cca_dbm": cca_dbm}
    if not wide and database.value("ingest", "stuck_scans", threshold):
        database.run("ingest", "mark_stuck", threshold)


def _tidy_network_addresses(database: Database) -> None:
    written = database.column("ingest", "written_network")
    forms = {"written": written, "tidy": [network_address(each) for each in written]}
    frame = pl.DataFrame(forms, schema={"written": pl.String, "tidy": pl.String})
    with database.lent("address_form", frame):
        database.run("ingest", "tidy_network")


def network_address(written: str) -> str:
    """Return an IP address in canonical form; as written where it is none."""
    address = ip_address(written.strip())
    return written if address is None else str(address)


def _with_texts(database: Database, found: CleanedTable) -> CleanedTable:
    """Fetch the texts of bad rows; drop those without any text: they are no rows."""
    if found.rows_good == found.rows_read:
        return found
    database.run("ingest", "bad_text")
    database.run("ingest", "drop_blank")
    return replace(found, rows_read=row_count(database).rows)
