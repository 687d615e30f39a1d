"""The ingest step: every export in a folder into the database, every row accounted for."""

from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl

from pipeline import sql_file
from pipeline.database import Database
from pipeline.ingest.discover import Found, discover
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.known import Stamps, note_taken, outcomes_of, taken
from pipeline.ingest.tables import open_tables
from pipeline.ingest.take import take
from pipeline.progress import Progress
from pipeline.records import ExportOutcome
from pipeline.settings import Settings

_PROBLEMS = Path(__file__).resolve().parent / "problems.csv"
# Macros in the order in which they use one another.
_MACROS = (
    "filled", "tidy", "point_form", "as_number", "as_whole", "as_flag", "as_iso", "as_day",
    "has_offset", "as_moment", "as_time", "as_pan_id", "as_statistic", "as_unit", "as_level",
    "as_floor", "as_channels", "wrong", "damaged",
)  # fmt: skip


def ingest(
    database: Database, exports: Path, settings: Settings, progress: Progress
) -> tuple[ExportOutcome, ...]:
    """Take every export below `exports`; return what became of each table, refused ones too.

    One transaction per table: a run that is cut off leaves whole tables only, and running again
    brings the rest.

    Raises:
        FolderMissing: `exports` is no folder.
    """
    stamps = Stamps(database)
    found = discover(exports, stamps.look)
    stamps.note(found)
    vocabulary = Vocabulary(settings.headings)
    _prepare(database)
    before = taken(database)
    new: dict[Found, Sequence[ExportOutcome]] = {}
    for each in progress.over(found, "exports", len(found)):
        if (each.file, each.sha256) not in before:
            new[each] = _take(database, each, vocabulary, settings)
    _forget(database)
    known = outcomes_of(database)
    every = [new[each] if each in new else known[each.file, each.sha256] for each in found]
    return tuple(outcome for outcomes in every for outcome in outcomes)


def _take(
    database: Database, found: Found, vocabulary: Vocabulary, settings: Settings
) -> list[ExportOutcome]:
    with (
        TemporaryDirectory(prefix="quietaisle-") as room,
        open_tables(found, vocabulary, Path(room)) as tables,
    ):
        outcomes = [take(database, table, vocabulary, settings) for table in tables]
    note_taken(database, found, outcomes)
    return outcomes


def _prepare(database: Database) -> None:
    for macro in _MACROS:
        database.run("ingest", f"macro_{macro}")
    database.insert("ingest", "problem_sentences", pl.read_csv(_PROBLEMS))


def _forget(database: Database) -> None:
    """Give back the room of the last file's temporary tables."""
    for file in sql_file.folder("ingest"):
        if file.stem.startswith("forget_table_"):
            database.run("ingest", file.stem)
