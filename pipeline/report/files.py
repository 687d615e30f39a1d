"""Put report files in their folders: whole files or none, untouched where nothing changed."""

import errno
import os
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from unicodedata import normalize

from pipeline.database import Database
from pipeline.errors import OutputNotWritable, StorageFailed
from pipeline.records import frame_of
from pipeline.tables.run import ReportWritten

CHAIN_FOLDER = "chain"
_LONGEST_OCTETS = 120  # of UTF-8; file systems take 255, temporary names and suffixes need some
_FORBIDDEN = frozenset('<>:"/\\|?*')
# What ends all writing: no room, or the disk or network folder has gone.
_STORAGE = frozenset(
    getattr(errno, name)
    for name in ("ENOSPC", "EDQUOT", "EIO", "ESTALE", "ENOTCONN", "EHOSTDOWN", "ENODEV", "ENXIO")
    if hasattr(errno, name)
)
# Names that file systems keep for devices, and names the reports folder itself uses.
_RESERVED = frozenset(
    (
        *("con", "prn", "aux", "nul", "conin$", "conout$", "audit", "review", CHAIN_FOLDER),
        *(f"{device}{digit}" for device in ("com", "lpt") for digit in "0123456789¹²³"),
    )
)


@dataclass(frozen=True, slots=True)
class ListedStore:
    """A store of today and its region."""

    store: str
    name: str
    region: str


@dataclass(frozen=True, slots=True)
class ReportFolders:
    """The folder names of stores and regions below the reports folder, and every store of today."""

    out: Path
    listed: tuple[ListedStore, ...]
    stores: Mapping[str, str]
    regions: Mapping[str, str]

    def of_region(self, region: str) -> Path:
        """Return the folder of a region."""
        return self.out / self.regions[region]

    def of_store(self, store: str, region: str) -> Path:
        """Return the folder of a store."""
        return self.of_region(region) / self.stores[store]


def report_folders(database: Database, out: Path) -> ReportFolders:
    """Return the folders below the reports folder `out`."""
    listed = tuple(database.records(ListedStore, "report", "stores"))
    return ReportFolders(
        out,
        listed,
        safe_names([one.store for one in listed]),
        safe_names([one.region for one in listed]),
    )


def safe_names(names: Sequence[str]) -> Mapping[str, str]:
    """Return a folder name for each name; nothing in an export can leave the reports folder.

    The folder names differ even where letter case does not count. A name that had to be changed,
    or that differs from another only in letter case, carries a mark made from the name itself, so
    that it is the same in every run.
    """
    cleaned = {name: _clean(name) for name in sorted(set(names))}
    met = Counter(_folded(clean) for clean in cleaned.values())
    return {
        name: clean if clean == name and met[_folded(clean)] == 1 else _marked(clean, name)
        for name, clean in cleaned.items()
    }


def _clean(name: str) -> str:
    composed = normalize("NFC", name)
    kept = "".join("_" if c in _FORBIDDEN or not c.isprintable() else c for c in composed)
    octets = kept.strip(" .").encode()[:_LONGEST_OCTETS]
    short = octets.decode(errors="ignore").strip(" .")
    if not short or short.split(".")[0].strip().lower() in _RESERVED:
        return f"_{short}"
    return short


def _marked(clean: str, name: str) -> str:
    return f"{clean}-{sha256(name.encode()).hexdigest()[:8]}"


def _folded(name: str) -> str:
    return normalize("NFC", name.casefold())


def put_file(path: Path, octets: bytes) -> None:
    """Write a file whole, or leave it untouched if it already has this content.

    Raises:
        OutputNotWritable: the folder or file cannot be written.
        StorageFailed: nothing can be written there: the disk is full, or has gone.
    """
    try:
        if path.is_file() and path.read_bytes() == octets:
            _part_of(path).unlink(missing_ok=True)  # left by a run that was stopped
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        part = _part_of(path)
        part.write_bytes(octets)
        os.replace(part, path)  # noqa: PTH105 - the one call that swaps files at once everywhere
    except OSError as error:
        with suppress(OSError):
            _part_of(path).unlink(missing_ok=True)
        if error.errno in _STORAGE:
            raise StorageFailed(path, error.strerror or str(error)) from error
        raise OutputNotWritable(path, error.strerror or str(error)) from error


def remove_file(path: Path) -> None:
    """Remove a file that has nothing to say any more.

    Raises:
        OutputNotWritable: it exists and cannot be removed.
    """
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise OutputNotWritable(path, error.strerror or str(error)) from error


@dataclass(frozen=True, slots=True)
class WrittenFolder:
    """A store or region whose files were just written: where, what from, and their stamps."""

    store: str  # or region
    home: Path
    fingerprint: str
    files: str


class WrittenFiles:
    """What the files in every folder were last written from."""

    def __init__(self, database: Database) -> None:
        self._database = database
        rows = database.records(ReportWritten, "report", "written")
        self._kept = {row.folder: row for row in rows}

    def current(self, folder: Path, mark: str, names: Sequence[str]) -> bool:
        """Tell whether the files are untouched and were written from what `mark` stands for."""
        kept = self._kept.get(_name(folder))
        return kept is not None and kept.fingerprint == mark and self.untouched(folder, names)

    def untouched(self, folder: Path, names: Sequence[str]) -> bool:
        """Tell whether the files are still as they were written."""
        kept = self._kept.get(_name(folder))
        return kept is not None and bool(kept.files) and kept.files == stamps(folder, names)

    def keep(self, written: Sequence[WrittenFolder]) -> None:
        """Note files that were written."""
        rows = [ReportWritten(_name(w.home), w.store, w.fingerprint, w.files) for w in written]
        with self._database.transaction():
            self._database.insert("report", "forget_written", frame_of(ReportWritten, rows))
            self._database.put(ReportWritten, rows)


def stamps(folder: Path, names: Sequence[str]) -> str:
    """Return name, size and time of change of some files; empty if any of them is not whole.

    Editing a file changes its stamp.
    """
    lines = []
    for path in (folder / name for name in names):
        try:
            found = path.stat()
        except OSError:
            return ""
        if _part_of(path).exists():
            return ""
        lines.append(f"{path.name} {found.st_size} {found.st_mtime_ns}")
    return "\n".join(lines)


def _part_of(path: Path) -> Path:
    """Return where a file is written until it is whole."""
    return path.with_name(f".{path.name}.part")


def _name(folder: Path) -> str:
    """Return a folder's path as text, even if it is not valid UTF-8."""
    return os.fsencode(folder.absolute()).decode("utf-8", "backslashreplace")
