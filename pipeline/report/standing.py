"""Which report files stand as they were last written, so that they need not be made again."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.database import Database
from pipeline.frames import frame_of

WORKBOOK, SUMMARY = FILES = ("change-plan.xlsx", "summary.pdf")


@dataclass(frozen=True, slots=True)
class Done:
    """A store or region whose files were just put in its folder, what from, and their stamps."""

    named: str
    folder: Path
    mark: str
    files: str


@dataclass(frozen=True, slots=True)
class _Row:
    folder: str
    store: str
    fingerprint: str
    files: str


class Standing:
    """What the files in every folder were last written from."""

    def __init__(self, database: Database) -> None:
        self._database = database
        rows = database.rows("report", "written")
        self._kept = {folder: (mark, files) for folder, mark, files in rows}

    def holds(self, folder: Path, mark: str, names: Sequence[str]) -> bool:
        """Say whether the files stand in their folder untouched and say what `mark` stands for."""
        kept, _ = self._kept.get(_name(folder), ("", ""))
        return kept == mark and self.untouched(folder, names)

    def untouched(self, folder: Path, names: Sequence[str]) -> bool:
        """Say whether the files stand in their folder as they were written."""
        _, files = self._kept.get(_name(folder), ("", ""))
        return bool(files) and files == stamps(folder, names)

    def keep(self, done: Sequence[Done]) -> None:
        """Note files that were put in place."""
        rows = [_Row(_name(each.folder), each.named, each.mark, each.files) for each in done]
        frame = frame_of(_Row, rows)
        with self._database.transaction():
            self._database.insert("report", "forget_written", frame)
            self._database.insert("report", "keep_written", frame)


def stamps(folder: Path, names: Sequence[str]) -> str:
    """Return name, size and time of change of some files; empty where one is not whole.

    Whoever edits a file changes its stamp; a time only tells that somebody was there.
    """
    lines = []
    for path in (folder / name for name in names):
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
