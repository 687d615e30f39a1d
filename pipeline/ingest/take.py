"""One delivered table into the database: staged, cleaned, loaded or quarantined, accounted for."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache, partial
from zoneinfo import available_timezones

import duckdb
import polars as pl

from pipeline import sql_file
from pipeline.database import Database
from pipeline.ingest.addresses import tidy_addresses
from pipeline.ingest.headings import Column, Mapped, Refusal, Vocabulary
from pipeline.ingest.mended import note_mended, release_mended
from pipeline.ingest.readings import load_readings, mark_stuck
from pipeline.ingest.spreadsheet import WorkbookUnreadable
from pipeline.ingest.staging import stage_numbered, stage_rows, stage_whole
from pipeline.ingest.tables import Table
from pipeline.ingest.values import Notation, Titles, decide, read_titles
from pipeline.records import ExportOutcome
from pipeline.settings import Settings

QUARANTINE_MOST = 10_000  # rows of one problem and file that stand in quarantine one by one
_MORE = Column("more", "beyond the headings")


@dataclass(frozen=True, slots=True)
class _Cleaned:
    """A table cleaned into the temporary table `cleaned`, ready to load."""

    mapped: Mapped
    notation: Notation
    rows_read: int
    exported_on: date | None
    said: str


def take(
    database: Database, table: Table, vocabulary: Vocabulary, settings: Settings
) -> ExportOutcome:
    """Take one table, in one transaction; the same name and content taken before adds nothing."""
    before = _as_recorded(database, table)
    if before is not None:
        return before
    cleaned = _clean(database, table, vocabulary, settings)
    with database.transaction():
        if database.rows("ingest", "refused_before", {"file": table.file})[0][0]:
            database.run("ingest", "forget_refused_rows", {"file": table.file})
            database.run("ingest", "forget_refused_file", {"file": table.file})
        if isinstance(cleaned, Refusal):
            return _refuse(database, table, cleaned)
        return _load(database, table, cleaned)


def _clean(
    database: Database, table: Table, vocabulary: Vocabulary, settings: Settings
) -> _Cleaned | Refusal:
    if table.refused is not None:
        return Refusal(table.refused, "Mend it or take it out of the folder; then run again.")
    mapped = vocabulary.understand(table.head.headings.cells)
    if isinstance(mapped, Refusal):
        return mapped
    snapshots = [h for h, f in vocabulary.fields[mapped.kind].items() if f == "seen_on"]
    titles = read_titles(table.head.titles, snapshots)
    fields = {column.field for column in mapped.columns}
    if mapped.kind != "ed_readings" and "seen_on" not in fields and titles.exported_on is None:
        return Refusal(
            f"Nothing in the file says on which day it was exported, and {mapped.kind} need it.",
            "Which day was it? Put a line such as `Exported on: 2026-09-30` above the headings, "
            "or add a column of that name.",
        )
    try:
        return _read(database, table, mapped, titles, settings)
    except WorkbookUnreadable as error:
        return Refusal(str(error), "Save the workbook again and replace the file.")


def _read(
    database: Database, table: Table, mapped: Mapped, titles: Titles, settings: Settings
) -> _Cleaned | Refusal:
    """Read the table as it lies, or its numbered copy, or row by row: the first that is exact."""
    judge = partial(_judge, database, table, mapped, titles, settings)
    found: _Cleaned | Refusal | None = None
    if table.whole is not None:
        stage_whole(database, table.whole, table.head, mapped)
        found = _if_readable(judge)
        if isinstance(found, _Cleaned) and not _lines_follow(database, table, found.rows_read):
            found = None
    if found is None and (copy := table.copied()):
        path, rows = copy
        stage_numbered(database, path, table.head, mapped)
        found = _if_readable(judge)
        if isinstance(found, _Cleaned) and found.rows_read != rows:
            found = None
    if found is None:
        stage_rows(database, mapped, table.rows())
        found = judge()
    return found if isinstance(found, Refusal) else _with_texts(database, found)


def _if_readable(judge: Callable[[], _Cleaned | Refusal]) -> _Cleaned | Refusal | None:
    """Return none where the database meets a row of a form that it does not read."""
    try:
        return judge()
    except (duckdb.InvalidInputException, duckdb.NotImplementedException):
        return None


def _lines_follow(database: Database, table: Table, rows_read: int) -> bool:
    """Whether the line of every bad row follows from its place."""
    return rows_read == table.rows_if_even or not _bad(database, rows_read)


def _bad(database: Database, rows_read: int) -> bool:
    return bool(database.rows("ingest", "tally")[0][1] < rows_read)


def _judge(
    database: Database, table: Table, mapped: Mapped, titles: Titles, settings: Settings
) -> _Cleaned | Refusal:
    """Decide on the notation and clean.

    When rows then fail that another notation might save, decide again on all of the file.
    """
    notation = decide(database, mapped, titles)
    if isinstance(notation, Refusal):
        return notation
    values = _values(table, mapped, titles, settings)
    _run_clean(database, mapped, notation, values)
    if database.rows("ingest", "distressed")[0][0]:
        again = decide(database, mapped, titles, whole=True)
        if isinstance(again, Refusal):
            return again
        if again != notation:
            notation = again
            _run_clean(database, mapped, notation, values)
    exported_on = None
    if titles.exported_on is not None:
        title = {"title": titles.exported_on, "day_order": notation.day_order}
        exported_on = database.rows("ingest", "snapshot_day", title)[0][0]
        if exported_on is None and mapped.kind != "ed_readings":
            return Refusal(
                f"The day of the export, '{titles.exported_on[:60]}', cannot be read.",
                "Write it as 2026-09-30 in the line above the headings.",
            )
    rows = database.rows("ingest", "tally")[0][0]
    said = "; ".join(filter(None, (table.said, notation.said(), mapped.left_aside)))
    return _Cleaned(mapped, notation, rows, exported_on, said)


def _values(
    table: Table, mapped: Mapped, titles: Titles, settings: Settings
) -> Mapping[str, object]:
    scales = sorted(settings.scales.items())
    return {
        "suspect": table.suspect,
        "odd": table.odd_blanks,
        "exported_on": titles.exported_on,
        "unit": "dbm" if mapped.dbm_by_heading else None,
        "cca_dbm": settings.limits["cca_threshold_dbm"],
        "scale_names": [name for name, _ in scales],
        "scale_zeros": [scale.zero_dbm for _, scale in scales],
        "scale_steps": [scale.db_per_step for _, scale in scales],
        "time_zones": _time_zones(),
    }


@cache
def _time_zones() -> list[str]:
    return sorted(available_timezones())


def _run_clean(
    database: Database, mapped: Mapped, notation: Notation, values: Mapping[str, object]
) -> None:
    names = {"ed_readings": "clean_ed_wide" if mapped.wide else "clean_ed_long"}
    name = names.get(mapped.kind, f"clean_{mapped.kind}")
    every = {
        **values,
        "day_order": notation.day_order,
        "comma": notation.comma,
        "pan_hex": notation.pan_hex,
        "assumed_unit": notation.assumed_unit,
    }
    text = sql_file.statement("ingest", name)
    database.run("ingest", name, {k: v for k, v in every.items() if f"${k}" in text})
    if mapped.kind == "ed_readings":
        mark_stuck(database, wide=mapped.wide, cca_dbm=values["cca_dbm"])
    elif mapped.kind == "stations":
        tidy_addresses(database)


def _with_texts(database: Database, found: _Cleaned) -> _Cleaned:
    """Fetch the texts of bad rows; rows without any text were none."""
    rows, good = database.rows("ingest", "tally")[0]
    if good < rows:
        database.run("ingest", "bad_text")
        database.run("ingest", "drop_blank")
        rows = database.rows("ingest", "tally")[0][0]
        columns = (*found.mapped.columns, _MORE)
        frame = pl.DataFrame(
            {
                "field": [column.field for column in columns],
                "heading": [column.heading for column in columns],
                "position": range(len(columns)),
            }
        )
        database.insert("ingest", "field_headings", frame)
    return _Cleaned(found.mapped, found.notation, rows, found.exported_on, found.said)


def _load(database: Database, table: Table, cleaned: _Cleaned) -> ExportOutcome:
    kind = cleaned.mapped.kind
    good = database.rows("ingest", "tally")[0][1]
    if kind == "ed_readings":
        loaded = load_readings(database, good, wide=cleaned.mapped.wide)
        newest = None
    else:
        plain = kind == "labels" and not database.rows("ingest", "entangled_labels")[0][0]
        loaded = database.rows("ingest", "load_plain_labels" if plain else f"load_{kind}")[0][0]
        newest = database.rows("ingest", "newest_seen")[0][0]
    if good < cleaned.rows_read:
        place = {
            "file": table.file,
            "sha256": table.sha256,
            "first_line": table.head.first_line,
            "most": QUARANTINE_MOST,
        }
        database.run("ingest", "quarantine", place)
    outcome = ExportOutcome(
        file=table.file,
        kind=kind,
        rows_read=cleaned.rows_read,
        rows_loaded=loaded,
        rows_quarantined=cleaned.rows_read - good,
        rows_repeated=good - loaded,
        refused=None,
    )
    _record(database, table, outcome, cleaned.exported_on or newest, cleaned.said)
    note_mended(database, cleaned.mapped)
    release_mended(database)
    return _as_recorded(database, table) or outcome


def _as_recorded(database: Database, table: Table) -> ExportOutcome | None:
    place = {"file": table.file, "sha256": table.sha256}
    found = database.rows("ingest", "taken_before", place)
    if not found:
        return None
    kind, read, loaded, quarantined, repeated = found[0]
    return ExportOutcome(table.file, kind, read, loaded, quarantined, repeated, None)


def _refuse(database: Database, table: Table, refusal: Refusal) -> ExportOutcome:
    rows = table.count()
    if rows:
        entry = {
            "file": table.file,
            "sha256": table.sha256,
            "line": table.head.headings.line,
            "rows": rows,
            "reason": refusal.reason,
            "advice": refusal.advice,
            "cells": "{}",
        }
        database.run("ingest", "quarantine_file", entry)
    refused = f"{refusal.reason} {refusal.advice}"
    outcome = ExportOutcome(table.file, None, rows, 0, rows, 0, refused)
    _record(database, table, outcome, None, table.said)
    return outcome


def _record(
    database: Database, table: Table, outcome: ExportOutcome, exported_on: date | None, said: str
) -> None:
    row = {
        "file": table.file,
        "sha256": table.sha256,
        "kind": outcome.kind,
        "exported_on": exported_on,
        "rows_read": outcome.rows_read,
        "rows_loaded": outcome.rows_loaded,
        "rows_quarantined": outcome.rows_quarantined,
        "rows_repeated": outcome.rows_repeated,
        "refused": outcome.refused,
        "decisions": said,
    }
    database.run("ingest", "export_file", row)
