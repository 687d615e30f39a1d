"""Files met before: their content is known by a stamp, their tables are in the database."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from os import fsencode
from pathlib import Path

from pipeline.database import Database
from pipeline.frames import frame_of
from pipeline.ingest.discover import Found, Member
from pipeline.records import ExportOutcome


@dataclass(frozen=True, slots=True)
class _Row:
    path: str
    stamp: str
    member: str | None
    sha256: str


class Stamps:
    """What files of the same size, times and place on the disk were found to hold.

    A stamp is only a hint that saves reading a file through again: a file of another stamp is read,
    and its content decides. None is kept of what was refused.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._met: dict[str, str] = {}
        known: dict[tuple[str, str], list[Member]] = defaultdict(list)
        for path, stamp, member, sha256 in database.rows("ingest", "stamps"):
            known[path, stamp].append((member, sha256))
        self._known: Mapping[tuple[str, str], Sequence[Member]] = known

    def look(self, path: Path) -> Sequence[Member]:
        """Return member and hash of all that a file holds; none where it must be read."""
        try:
            found = path.stat()
        except OSError:
            return ()
        times = f"{found.st_mtime_ns} {found.st_ctime_ns}"
        stamp = f"{found.st_size} {times} {found.st_dev} {found.st_ino}"
        self._met[_name(path)] = stamp
        return self._known.get((_name(path), stamp), ())

    def note(self, found: Sequence[Found]) -> None:
        """Keep the stamps of the files just met, taken before they were read."""
        refused = {_name(each.path) for each in found if each.refused is not None}
        rows = [
            _Row(path, self._met[path], each.member, each.sha256)
            for each in found
            for path in (_name(each.path),)
            if path in self._met
            and path not in refused
            and (path, self._met[path]) not in self._known
        ]
        if rows:
            frame = frame_of(_Row, rows)
            with self._database.transaction():
                self._database.insert("ingest", "forget_stamps", frame)
                self._database.insert("ingest", "keep_stamps", frame)


def taken(database: Database) -> frozenset[tuple[str, str]]:
    """Return name and content of every file of which all tables are in the database."""
    return frozenset(database.rows("ingest", "files_taken"))


def outcomes_of(database: Database) -> Mapping[tuple[str, str], Sequence[ExportOutcome]]:
    """Return what became of the tables of every file taken, by name and content of the file."""
    found: dict[tuple[str, str], list[ExportOutcome]] = defaultdict(list)
    for file, sha256, *row in database.rows("ingest", "tables_taken"):
        found[file, sha256].append(ExportOutcome(*row))
    return found


def note_taken(database: Database, found: Found, outcomes: Sequence[ExportOutcome]) -> None:
    """Keep that every table of a file is in the database; one that was refused is tried again."""
    if all(outcome.refused is None for outcome in outcomes):
        place = {"file": found.file, "sha256": found.sha256}
        database.run("ingest", "keep_file_taken", place)


def _name(path: Path) -> str:
    """Return a path as text, also where its name is none."""
    return fsencode(path.absolute()).decode("utf-8", "backslashreplace")
