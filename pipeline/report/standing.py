"""Which report files stand as they were last written, so that they need not be made again."""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.database import Database
from pipeline.frames import frame_of

WORKBOOK, SUMMARY = "change-plan.xlsx", "summary.pdf"


@dataclass(frozen=True, slots=True)
class Done:
    """A store whose files were just put in its folder, and their stamps."""

    store: str
    folder: Path
    files: str


@dataclass(frozen=True, slots=True)
class _Row:
    folder: str
    store: str
    fingerprint: str
    files: str


class Standing:
    """What every store's files were last written from, against what they are to say now."""

    def __init__(self, database: Database, marks: Mapping[str, str]) -> None:
        self._database = database
        self._marks = marks
        rows = database.rows("report", "written")
        self._kept = {folder: (mark, files) for folder, mark, files in rows}

    def holds(self, store: str, folder: Path) -> bool:
        """Say whether a store's files stand in their folder and say what they are to say."""
        mark, files = self._kept.get(_name(folder), ("", ""))
        return bool(files) and mark == self._marks[store] and files == stamps(folder)

    def keep(self, done: Sequence[Done]) -> None:
        """Note files that were put in place."""
        rows = [
            _Row(_name(each.folder), each.store, self._marks[each.store], each.files)
            for each in done
        ]
        frame = frame_of(_Row, rows)
        with self._database.transaction():
            self._database.insert("report", "forget_written", frame)
            self._database.insert("report", "keep_written", frame)


def stamps(folder: Path) -> str:
    """Return name, size and time of change of a store's files; empty where one is not whole.

    Whoever edits a file changes its stamp; a time only tells that somebody was there.
    """
    lines = []
    for path in (folder / WORKBOOK, folder / SUMMARY):
        try:
            found = path.stat()
        except OSError:
            return ""
        if part_of(path).exists():
            return ""
        lines.append(f"{path.name} {found.st_size} {found.st_mtime_ns}")
    return "\n".join(lines)


def part_of(path: Path) -> Path:
    """Return where a file is written until it is whole."""
    return path.with_name(f".{path.name}.part")


def _name(folder: Path) -> str:
    """Return the folder's name as text, also where it is none."""
    return os.fsencode(folder.absolute()).decode("utf-8", "backslashreplace")
