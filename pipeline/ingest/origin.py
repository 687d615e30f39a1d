"""In which line of which file a reading stands: files are read again, held to their digests."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from pipeline import sql_file
from pipeline.database import Database
from pipeline.ingest.clean import clean
from pipeline.ingest.days import FolderTerms
from pipeline.ingest.discover import Stamps, discover
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.tables import DeliveredTable, open_tables
from pipeline.ingest.words import READINGS, TableRefused
from pipeline.settings import Settings
from pipeline.tables.taken import ExportFile

_MADE = ("bad_text", "cleaned", "scan")


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """A reading as a file has it, and where it stands there; the moment is on the store's clock."""

    file: str
    line: int
    channel: int
    store_time: datetime
    level_dbm: float
    statistic: str
    dwell_ms: float | None


def readings_files(database: Database) -> tuple[ExportFile, ...]:
    """Return the files of readings that the database took in, by name."""
    return tuple(database.records(ExportFile, "ingest", "readings_files"))


def lines_in(
    database: Database,
    exports: Path,
    settings: Settings,
    place: tuple[str, str],
    time_zone: str | None,
) -> tuple[ReadingLine, ...]:
    """Return the readings of a store and station, `place`, in a folder's files, with their lines.

    Files that the database did not take in, or that have changed since, are passed over.

    Raises:
        FolderMissing: there is no such folder.
    """
    taken = {one.sha256 for one in readings_files(database)}
    for name in sql_file.statements("ingest", "macros"):
        database.run("ingest", name)
    vocabulary = Vocabulary(settings.headings, settings.above)
    found: list[ReadingLine] = []
    for export in sorted(discover(exports, Stamps(database)), key=lambda one: one.file):
        if export.sha256 not in taken:
            continue
        with (
            TemporaryDirectory(prefix="quietaisle-") as room,
            open_tables(export, vocabulary, Path(room)) as tables,
        ):
            for table in tables:
                found += _lines(database, table, (vocabulary, settings), place, time_zone)
    database.release(*_MADE)
    return tuple(found)


def _lines(
    database: Database,
    table: DeliveredTable,
    known: tuple[Vocabulary, Settings],
    place: tuple[str, str],
    time_zone: str | None,
) -> list[ReadingLine]:
    mapped = known[0].understand(table.head.headings.cells)
    if not isinstance(mapped, TableRefused) and mapped.kind != READINGS:
        return []
    cleaned = clean(database, table, *known, FolderTerms())
    if isinstance(cleaned, TableRefused) or cleaned.mapped.kind != READINGS:
        return []
    at = {
        "file": table.file,
        "first_line": table.head.first_line,
        "store": place[0],
        "station": place[1],
        "time_zone": time_zone,
    }
    return database.records(ReadingLine, "ingest", "lines_of", at)
