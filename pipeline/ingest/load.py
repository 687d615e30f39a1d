"""The ingest step: every export of a folder into the database, and readings back to their lines.

For the way back, files are read again and held to their digests.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl

from pipeline import sql_file
from pipeline.database import Database
from pipeline.ingest.clean import clean
from pipeline.ingest.discover import FoundExport, Stamps, discover
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.notation import FolderTerms, Neighbours
from pipeline.ingest.tables import DeliveredTable, open_tables
from pipeline.ingest.take import take, take_not
from pipeline.ingest.words import READINGS, TableRefused
from pipeline.progress import Progress
from pipeline.settings import Settings
from pipeline.tables.taken import ExportFile, FileTaken
from pipeline.wording import DEFAULT_LANGUAGE, worded_in

_TEMPORARY = ("bad_text", "cleaned", "folded", "numbered", "scan")
_MADE = ("bad_text", "cleaned", "scan")


def ingest(
    database: Database,
    exports: Path,
    settings: Settings,
    progress: Progress,
    terms: FolderTerms = FolderTerms(),  # noqa: B008 - a frozen record
) -> tuple[ExportFile, ...]:
    """Take every export below a folder; return what became of each table and each other file.

    What the run says beside the files is in `terms`. A file whose days lie years away from those of
    all others waits until they are known.

    Each table is one transaction: a run that is cut off leaves whole tables only, and running
    again brings the rest.

    Raises:
        FolderMissing: `exports` is not a folder.
        HeadingFieldUnknown: the rules file maps a heading to a field that does not exist.
    """
    every_file = discover(exports, Stamps(database), terms.reports)
    found = [each for each in every_file if each.passed_over is None]
    for name in sql_file.statements("ingest", "macros"):
        database.run("ingest", name)
    before = frozenset(database.records(FileTaken, "ingest", "files_taken"))
    taking = _Taking(
        database, Vocabulary(settings.headings, settings.above), settings, terms, before
    )
    with database.lent("problem_sentence", _sentences()):
        new = taking.every(found, progress)
    database.release(*_TEMPORARY)
    every = {**_outcomes(database, before), **new}
    taken = (
        outcome for each in found for outcome in every.get(FileTaken(each.file, each.sha256), ())
    )
    return (*taken, *_pass_over(database, every_file))


def _sentences() -> pl.DataFrame:
    """Return what is wrong and what to do, in English, by the names of problems."""
    words = worded_in(DEFAULT_LANGUAGE)
    names = [key.removesuffix(".says") for key in words.group("problem") if key.endswith(".says")]
    rows = [
        (name, *(words.texts[f"problem.{name}.{part}"] for part in ("says", "do")))
        for name in names
    ]
    return pl.DataFrame(rows, ["problem", "reason", "advice"], orient="row")


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


class _Taking:
    """Takes the files of a folder that the database does not hold already."""

    def __init__(
        self,
        database: Database,
        vocabulary: Vocabulary,
        settings: Settings,
        terms: FolderTerms,
        before: frozenset[FileTaken],
    ) -> None:
        self._database = database
        self._vocabulary, self._settings = vocabulary, settings
        self._neighbours = Neighbours(database)
        self._before = before
        due = database.records(FileTaken, "ingest", "due_again", {"latest": terms.latest})
        self._terms = replace(terms, due=frozenset(due))

    def every(
        self, found: Sequence[FoundExport], progress: Progress
    ) -> dict[FileTaken, Sequence[ExportFile]]:
        """Take the files one by one, those years away from all others last."""
        new: dict[FileTaken, Sequence[ExportFile]] = {}
        waiting = []
        for each in progress.over(found, "exports", len(found)):
            key = FileTaken(each.file, each.sha256)
            if key not in self._before or self._is_due(key):
                outcomes = self._take(each, wait=True)
                if outcomes is None:
                    waiting.append(each)
                else:
                    new[key] = outcomes
        for each in waiting:
            new[FileTaken(each.file, each.sha256)] = self._take(each, wait=False) or ()
        return new

    def _is_due(self, key: FileTaken) -> bool:
        return any(
            key.sha256 == due.sha256 and f"{due.file}#".startswith(f"{key.file}#")
            for due in self._terms.due
        )

    def _take(self, found: FoundExport, *, wait: bool) -> Sequence[ExportFile] | None:
        """Take a file; none where it is to wait until all others are known."""
        with (
            TemporaryDirectory(prefix="quietaisle-") as room,
            open_tables(found, self._vocabulary, Path(room)) as tables,
        ):
            near = [self._neighbours.meet(table, self._vocabulary) for table in tables]
            if wait and not all(near):
                return None
            outcomes = [self._take_table(table, ask=not wait) for table in tables]
        key = FileTaken(found.file, found.sha256)
        if key not in self._before and all(each.refused is None for each in outcomes):
            self._database.put(FileTaken, [key])  # else it is tried again
        return outcomes

    def _take_table(self, table: DeliveredTable, *, ask: bool) -> ExportFile:
        refused = self._neighbours.refuse(table) if ask else None
        if refused is not None:
            return take_not(self._database, table, refused)
        return take(self._database, table, self._vocabulary, self._settings, self._terms)


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
