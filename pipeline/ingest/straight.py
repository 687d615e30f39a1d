"""Add many readings while they are read: nothing is written in between."""

from datetime import date

import duckdb

from pipeline.database import Database
from pipeline.ingest.clean import (
    CleanedTable,
    exported_on_of,
    row_count,
    run_named,
    said_of,
    values_of,
    with_notation,
)
from pipeline.ingest.days import FolderTerms
from pipeline.ingest.given import Understood, understand
from pipeline.ingest.headings import TableRefused, Vocabulary
from pipeline.ingest.notation import decide
from pipeline.ingest.staging import stage_whole
from pipeline.ingest.tables import DeliveredTable
from pipeline.ingest.words import READINGS
from pipeline.settings import Settings


class RowsNeedCare(Exception):
    """A table cannot be added straight: a row of it is not good, or the database may hold it."""


def add_straight(
    database: Database,
    table: DeliveredTable,
    vocabulary: Vocabulary,
    settings: Settings,
    terms: FolderTerms,
) -> CleanedTable:
    """Add a table's readings, and judge them where they then are; it belongs in a transaction.

    Raises:
        RowsNeedCare: they have to be cleaned first; the transaction is to be given up.
    """
    known = understand(table, vocabulary, settings.headings, terms.as_of)
    if (
        table.whole is None
        or isinstance(known, TableRefused)
        or known.mapped.wide
        or known.mapped.kind != READINGS
    ):
        raise RowsNeedCare
    stage_whole(database, table.whole, table, known)
    try:
        notation = decide(database, known.mapped, known.titles)
        if isinstance(notation, TableRefused):
            raise RowsNeedCare
        values = with_notation(values_of(table, known, settings), notation)
        database.release("cleaned")
        database.run("ingest", "judged_readings")
        database.run("ingest", "straight_from")
        run_named(database, "add_straight", values)
    except (duckdb.InvalidInputException, duckdb.NotImplementedException) as error:
        raise RowsNeedCare from error
    database.run("ingest", "cleaned_straight")
    exported_on = exported_on_of(database, known, notation, terms.latest)
    rows = row_count(database).rows
    if isinstance(exported_on, TableRefused) or rows != table.rows_if_even:
        raise RowsNeedCare
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
        raise RowsNeedCare
    database.run("ingest", "readings_long")
    database.run("ingest", "scans")
    threshold = {"cca_dbm": settings.limits["cca_threshold_dbm"]}
    if database.value("ingest", "stuck_scans", threshold) or database.value(
        "ingest", "entangled_straight"
    ):
        raise RowsNeedCare
