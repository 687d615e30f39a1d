"""Energy readings: a multiset, in which the larger count of equal readings stands."""

from pipeline.database import Database


def mark_stuck(database: Database, *, wide: bool, cca_dbm: object) -> None:
    """Offer the good readings as `reading` and their scans as `scan`, without stuck radios."""
    database.run("ingest", "readings_wide" if wide else "readings_long")
    database.run("ingest", "scans")
    threshold = {"cca_dbm": cca_dbm}
    if not wide and database.rows("ingest", "stuck_scans", threshold)[0][0]:
        database.run("ingest", "mark_stuck", threshold)


def load_readings(database: Database, good: int, *, wide: bool) -> int:
    """Load the cleaned readings; return how many of the file's rows held anything new.

    In the long form a row is a reading, so counting readings is enough; in the wide form rows
    must be told apart, which costs more.
    """
    if not database.rows("ingest", "entangled_scans")[0][0]:
        database.run("ingest", "load_plain_readings")
        return good
    if wide:
        database.run("ingest", "numbered_readings")
        database.run("ingest", "folded_readings")
        new = database.rows("ingest", "new_rows")
    else:
        database.run("ingest", "counted_readings")
        new = database.rows("ingest", "new_readings")
    database.run("ingest", "drop_outgrown")
    database.run("ingest", "load_folded")
    return int(new[0][0])
