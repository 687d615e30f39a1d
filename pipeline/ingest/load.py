"""The ingest step: every export in a folder into the database, every row accounted for."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl

from pipeline import sql_file
from pipeline.database import Database
from pipeline.ingest.discover import FoundExport, Stamps, discover
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.tables import open_tables
from pipeline.ingest.take import take
from pipeline.progress import Progress
from pipeline.settings import Settings
from pipeline.tables.exports import ExportFile, FileTaken

_PROBLEMS = Path(__file__).resolve().parent / "problems.csv"
_TEMPORARY = ("bad_text", "cleaned", "folded", "numbered", "scan")


def ingest(
    database: Database,
    exports: Path,
    settings: Settings,
    progress: Progress,
    reports: Path | None = None,
) -> tuple[ExportFile, ...]:
    """Take every export below a folder; return what became of each table and each other file.

    What lies in `reports`, where the program writes, is not read.

    Each table is one transaction: a run that is cut off leaves whole tables only, and running
    again brings the rest.

    Raises:
        FolderMissing: `exports` is not a folder.
        HeadingFieldUnknown: the rules file maps a heading to a field that does not exist.
    """
    every_file = discover(exports, Stamps(database), reports)
    found = [each for each in every_file if each.passed_over is None]
    vocabulary = Vocabulary(settings.headings)
    for name in sql_file.statements("ingest", "macros"):
        database.run("ingest", name)
    before = frozenset(database.records(FileTaken, "ingest", "files_taken"))
    new: dict[FileTaken, Sequence[ExportFile]] = {}
    with database.lent("problem_sentence", pl.read_csv(_PROBLEMS)):
        for each in progress.over(found, "exports", len(found)):
            if (key := FileTaken(each.file, each.sha256)) not in before:
                new[key] = _take(database, each, vocabulary, settings)
    database.release(*_TEMPORARY)
    every = {**_outcomes(database, before), **new}
    taken = (
        outcome for each in found for outcome in every.get(FileTaken(each.file, each.sha256), ())
    )
    return (*taken, *_pass_over(database, every_file))


def _pass_over(database: Database, found: Sequence[FoundExport]) -> Sequence[ExportFile]:
    """Note the files of this folder that are no exports, in place of those noted before."""
    passed = [
        ExportFile(
            file=each.file,
            sha256=each.sha256,
            kind=None,
            exported_on=None,
            rows_read=0,
            rows_loaded=0,
            rows_quarantined=0,
            rows_repeated=0,
            refused=None,
            decisions="not read",
            passed_over=each.passed_over,
        )
        for each in found
        if each.passed_over is not None
    ]
    with database.transaction():
        database.run("ingest", "forget_passed_over")
        database.put(ExportFile, passed)
    return passed


def _take(
    database: Database, found: FoundExport, vocabulary: Vocabulary, settings: Settings
) -> Sequence[ExportFile]:
    with (
        TemporaryDirectory(prefix="quietaisle-") as room,
        open_tables(found, vocabulary, Path(room)) as tables,
    ):
        outcomes = [take(database, table, vocabulary, settings) for table in tables]
    if all(outcome.refused is None for outcome in outcomes):  # else it is tried again
        database.put(FileTaken, [FileTaken(found.file, found.sha256)])
    return outcomes


def _outcomes(
    database: Database, files: frozenset[FileTaken]
) -> Mapping[FileTaken, Sequence[ExportFile]]:
    """Return what became of the tables of every file: of the file itself, or of its sheets."""
    outcomes: dict[FileTaken, list[ExportFile]] = defaultdict(list)
    for each in database.records(ExportFile, "ingest", "tables_taken"):
        parts = each.file.split("#")
        for end in range(1, len(parts) + 1):
            file = FileTaken("#".join(parts[:end]), each.sha256)
            if file in files:
                outcomes[file].append(each)
    return outcomes
