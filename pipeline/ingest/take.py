"""Take a delivered table into the database: loaded or quarantined, every row accounted for."""

from collections.abc import Mapping
from datetime import date
from types import MappingProxyType

import duckdb
import polars as pl

from pipeline.database import Database
from pipeline.ingest.clean import (
    CleanedTable,
    clean,
    exported_on_of,
    row_count,
    run_named,
    said_of,
    values_of,
    with_notation,
)
from pipeline.ingest.given import Understood, understand
from pipeline.ingest.headings import MENDED_FIELDS, Vocabulary
from pipeline.ingest.notation import FolderTerms, decide
from pipeline.ingest.staging import stage_whole
from pipeline.ingest.tables import DeliveredTable
from pipeline.ingest.words import READINGS, TableRefused
from pipeline.settings import Settings
from pipeline.tables.taken import ExportFile, FileTaken, QuarantinedRow

QUARANTINE_MOST = 10_000  # rows of one problem and table that quarantine holds one by one
STRAIGHT_LEAST = 100_000  # rows of a table from which adding them while they are read is tried
_STATEMENTS: Mapping[str, str] = MappingProxyType(
    {
        "stores": "load_stores",
        "stations": "load_stations",
        "labels": "load_labels",
        "wifi": "load_wifi",
        "heard": "load_heard",
        "network": "load_network",
    }
)


def take(
    database: Database,
    table: DeliveredTable,
    vocabulary: Vocabulary,
    settings: Settings,
    terms: FolderTerms,
) -> ExportFile:
    """Take one table, in one transaction; the same name and content again adds nothing."""
    before = _taken_before(database, table)
    if before is not None and FileTaken(table.file, table.sha256) not in terms.due:
        return before
    if before is None and table.whole is not None and table.rows_if_even >= STRAIGHT_LEAST:
        try:
            with database.transaction():
                _forget_refused(database, table)
                added = _add_straight(database, table, vocabulary, settings, terms)
                outcome = _keep(database, table, added, before)
                database.run("ingest", "forget_straight")
                return outcome
        except _RowsNeedCare:
            pass  # then they are cleaned first
    cleaned = clean(database, table, vocabulary, settings, terms)
    with database.transaction():
        if before is not None:
            place = {"file": table.file, "sha256": table.sha256}
            database.run("ingest", "forget_due_rows", place)
            database.run("ingest", "forget_due_file", place)
        _forget_refused(database, table)
        if isinstance(cleaned, TableRefused):
            return _refuse(database, table, cleaned)
        return _keep(database, table, cleaned, before)


class _RowsNeedCare(Exception):
    """A table cannot be added straight: a row of it is not good, or the database may hold it."""


def _add_straight(
    database: Database,
    table: DeliveredTable,
    vocabulary: Vocabulary,
    settings: Settings,
    terms: FolderTerms,
) -> CleanedTable:
    """Add a table's readings while they are read, and judge them where they then are.

    Nothing is written in between; it belongs in a transaction.

    Raises:
        _RowsNeedCare: they have to be cleaned first; the transaction is to be given up.
    """
    known = understand(table, vocabulary, settings.headings, terms.as_of)
    if (
        table.whole is None
        or isinstance(known, TableRefused)
        or known.mapped.wide
        or known.mapped.kind != READINGS
    ):
        raise _RowsNeedCare
    stage_whole(database, table.whole, table, known)
    try:
        notation = decide(database, known.mapped, known.titles)
        if isinstance(notation, TableRefused):
            raise _RowsNeedCare
        values = with_notation(values_of(table, known, settings), notation)
        database.release("cleaned")
        database.run("ingest", "judged_readings")
        database.run("ingest", "straight_from")
        run_named(database, "add_straight", values)
    except (duckdb.InvalidInputException, duckdb.NotImplementedException) as error:
        raise _RowsNeedCare from error
    database.run("ingest", "cleaned_straight")
    exported_on = exported_on_of(database, known, notation, terms.latest)
    rows = row_count(database).rows
    if isinstance(exported_on, TableRefused) or rows != table.rows_if_even:
        raise _RowsNeedCare
    _check_straight(database, known, settings, terms.latest)
    said = said_of(table, known, notation)
    return CleanedTable(known.mapped, rows, rows, 0, exported_on, said, added=True)


def _check_straight(
    database: Database, known: Understood, settings: Settings, latest: date | None
) -> None:
    """Ask of the readings added what is asked of cleaned ones; where any is amiss, give them up."""
    newest = database.value("ingest", "newest_scanned")
    database.run("ingest", "scanned_days")
    apart = known.titles.year is None and database.value("ingest", "last_apart") is not None
    if apart or (latest is not None and newest is not None and newest > latest):
        raise _RowsNeedCare
    database.run("ingest", "readings_long")
    database.run("ingest", "scans")
    threshold = {"cca_dbm": settings.limits["cca_threshold_dbm"]}
    if database.value("ingest", "stuck_scans", threshold) or database.value(
        "ingest", "entangled_straight"
    ):
        raise _RowsNeedCare


def _keep(
    database: Database, table: DeliveredTable, cleaned: CleanedTable, before: ExportFile | None
) -> ExportFile:
    outcome = _load(database, table, cleaned, before)
    _release_mended(database, cleaned)
    # Rows of it that another file brought back mended are counted anew.
    return _taken_before(database, table) or outcome


def take_not(database: Database, table: DeliveredTable, refused: TableRefused) -> ExportFile:
    """Note why a table is not taken, in one transaction."""
    with database.transaction():
        _forget_refused(database, table)
        return _refuse(database, table, refused)


def _forget_refused(database: Database, table: DeliveredTable) -> None:
    if database.value("ingest", "refused_before", {"file": table.file}):
        database.run("ingest", "forget_refused_rows", {"file": table.file})
        database.run("ingest", "forget_refused_file", {"file": table.file})


def _taken_before(database: Database, table: DeliveredTable) -> ExportFile | None:
    place = {"file": table.file, "sha256": table.sha256}
    found = database.records(ExportFile, "ingest", "taken_before", place)
    return found[0] if found else None


def _refuse(database: Database, table: DeliveredTable, refused: TableRefused) -> ExportFile:
    rows = table.count()
    entry = QuarantinedRow(
        file=table.file,
        sha256=table.sha256,
        store=None,
        line=table.head.headings.line,
        rows=rows,
        problem="file-refused",
        reason=refused.reason,
        advice=refused.advice,
        text="{}",
        faults=refused.faults,
    )
    database.put(QuarantinedRow, [entry])
    outcome = ExportFile(
        file=table.file,
        sha256=table.sha256,
        kind=None,
        exported_on=None,
        rows_read=rows,
        rows_loaded=0,
        rows_quarantined=rows,
        rows_repeated=0,
        refused=f"{refused.reason} {refused.advice}",
        decisions=table.said,
        passed_over=None,
    )
    database.put(ExportFile, [outcome])
    return outcome


def _load(
    database: Database, table: DeliveredTable, cleaned: CleanedTable, before: ExportFile | None
) -> ExportFile:
    kind, good = cleaned.mapped.kind, cleaned.rows_good
    newest = None
    if kind == READINGS:
        wide = cleaned.mapped.wide
        loaded = good if cleaned.added else _load_readings(database, good, wide=wide)
    else:
        plain = kind == "labels" and not database.value("ingest", "entangled_labels")
        name = "load_plain_labels" if plain else _STATEMENTS[kind]
        loaded = database.value("ingest", name)
        newest = database.value("ingest", "newest_seen")
    if before is not None:  # what it brought the first time is no repetition
        loaded += before.rows_loaded
    database.run("ingest", "note_stores", {"sha256": table.sha256})
    if good < cleaned.rows_read or cleaned.rows_partly:
        _quarantine(database, table, cleaned)
    outcome = ExportFile(
        file=table.file,
        sha256=table.sha256,
        kind=kind,
        exported_on=cleaned.exported_on or newest,
        rows_read=cleaned.rows_read,
        rows_loaded=loaded,
        rows_quarantined=cleaned.rows_read - good,
        rows_repeated=good - loaded,
        refused=None,
        decisions=cleaned.said,
        passed_over=None,
    )
    database.put(ExportFile, [outcome])
    return outcome


def _load_readings(database: Database, good: int, *, wide: bool) -> int:
    """Load the cleaned readings; return how many rows of the file held anything new.

    With one reading per row, counting equal readings is enough; with one scan per row, rows must
    be told apart, which costs more.
    """
    if not database.value("ingest", "entangled_scans"):
        database.run("ingest", "load_plain_readings")
        return good
    if wide:
        database.run("ingest", "numbered_readings")
        database.run("ingest", "folded_readings")
    else:
        database.run("ingest", "counted_readings")
    new = database.value("ingest", "new_rows" if wide else "new_readings")
    database.run("ingest", "drop_outgrown")
    database.run("ingest", "load_folded")
    return int(new)


def _quarantine(database: Database, table: DeliveredTable, cleaned: CleanedTable) -> None:
    """Keep the rows that could not be taken, and the cells of the others that could not be read."""
    headings = {column.field: column.heading for column in cleaned.mapped.columns}
    headings["more"] = "beyond the headings"
    frame = pl.DataFrame(
        {
            "field": list(headings),
            "heading": list(headings.values()),
            "position": range(len(headings)),
        }
    )
    place = {
        "file": table.file,
        "sha256": table.sha256,
        "first_line": table.head.first_line,
        "most": QUARANTINE_MOST,
    }
    with database.lent("field_heading", frame):
        if cleaned.rows_good < cleaned.rows_read:
            database.run("ingest", "quarantine", place)
        if cleaned.rows_partly:
            database.run("ingest", "quarantine_cells", place)


def _release_mended(database: Database, cleaned: CleanedTable) -> None:
    """Take rows that came back mended out of quarantine, whichever of the two files came first.

    They come in sheets that the program wrote: the headings of the file the rows first came in,
    and three more that say from where each row came.
    """
    fields = {column.field for column in cleaned.mapped.columns}
    if fields.issuperset(MENDED_FIELDS.values()):
        database.run("ingest", "note_mended")
    database.run("ingest", "count_mended")
    database.run("ingest", "release_mended")
