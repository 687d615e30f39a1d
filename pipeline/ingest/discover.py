"""Find the exports in a folder: files and members of archives, each with its content's hash."""

import hashlib
import os
import shutil
import zipfile
import zlib
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from pipeline.database import Database
from pipeline.errors import FolderMissing
from pipeline.frames import frame_of
from pipeline.tables.exports import FileStamp

READ = (".csv", ".tsv", ".txt", ".xlsx")
# Forms in which tables come but that are not read: reported, never passed over in silence.
_TOLD = (
    ".xls", ".xlsm", ".xlsb", ".ods", ".json", ".jsonl", ".xml", ".parquet", ".gz", ".7z", ".rar",
    ".tar", ".tgz", ".bz2", ".xz", ".dat", ".tab", ".db", ".sqlite", ".mdb",
)  # fmt: skip
_MEMBERS_MOST = 2_000
_UNPACKED_MOST = 8 << 30
_RATIO_MOST = 200
_RATIO_FROM = 64 << 20  # smaller members may be packed as tightly as they like
_CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class FoundExport:
    """A file or archive member. `file` is the name it goes by; `refused`: why it is not read."""

    file: str
    path: Path
    member: str | None
    sha256: str
    refused: str | None = None

    @property
    def suffix(self) -> str:
        """The ending of its name, which decides only how it is opened."""
        return Path(self.member or self.path.name).suffix.lower()

    def content(self, room: Path) -> Path:
        """Return a path to the bytes; a member is unpacked into `room` under a name of ours."""
        if self.member is None:
            return self.path
        out = room / f"member{self.suffix}"
        with (
            zipfile.ZipFile(self.path) as archive,
            archive.open(self.member) as source,
            out.open("wb") as target,
        ):
            shutil.copyfileobj(source, target, _CHUNK)
        return out


class Stamps:
    """What files held when their size, times and place on the disk were the same as now.

    A stamp only saves reading a file through again: a file with another stamp is read, and its
    content decides. Refused files get no stamp.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._met: dict[str, str] = {}
        self._known: dict[tuple[str, str], list[FileStamp]] = defaultdict(list)
        for each in database.records(FileStamp, "ingest", "stamps"):
            self._known[each.path, each.stamp].append(each)

    def look(self, path: Path) -> Sequence[FileStamp]:
        """Return what a file holds, one record per member; nothing where it must be read."""
        try:
            found = path.stat()
        except OSError:
            return ()
        times = f"{found.st_mtime_ns} {found.st_ctime_ns}"
        stamp = f"{found.st_size} {times} {found.st_dev} {found.st_ino}"
        self._met[_absolute(path)] = stamp
        return self._known.get((_absolute(path), stamp), ())

    def note(self, found: Sequence[FoundExport]) -> None:
        """Keep the stamps of the files just met, taken before they were read."""
        refused = {_absolute(each.path) for each in found if each.refused is not None}
        new = [
            FileStamp(path, stamp, each.member, each.sha256)
            for each in found
            if (path := _absolute(each.path)) not in refused
            and (stamp := self._met.get(path)) is not None
            and (path, stamp) not in self._known
        ]
        if new:
            with self._database.transaction():
                self._database.insert("ingest", "forget_stamps", frame_of(FileStamp, new))
                self._database.put(FileStamp, new)


def _absolute(path: Path) -> str:
    """Return an absolute path as text, even if its name is not valid UTF-8."""
    return os.fsencode(path.absolute()).decode("utf-8", "backslashreplace")


def discover(folder: Path, stamps: Stamps) -> tuple[FoundExport, ...]:
    """Return every file and archive member below a folder that is, or may be meant as, an export.

    They are ordered by their content's hash, so that names and folders decide nothing.

    Raises:
        FolderMissing: the folder does not exist or is a file.
    """
    if not folder.is_dir():
        raise FolderMissing(folder)
    found = [each for path in _walk(folder) for each in _found(folder, path, stamps)]
    stamps.note(found)
    return tuple(sorted(found, key=lambda each: (each.sha256, each.file)))


def _walk(folder: Path) -> Iterator[Path]:
    for root, folders, files in os.walk(folder, followlinks=False):
        folders.sort()
        here = Path(root)
        for name in sorted(files + [each for each in folders if (here / each).is_symlink()]):
            if not name.startswith((".", "~$")):
                yield here / name
        folders[:] = [name for name in folders if not name.startswith(".")]


def _found(folder: Path, path: Path, stamps: Stamps) -> Iterator[FoundExport]:
    file = _valid(path.relative_to(folder).as_posix())
    suffix = path.suffix.lower()
    if path.is_symlink():
        if suffix in (*READ, ".zip", "") or path.is_dir():
            target = _sha256_of(os.fsencode(path.readlink()))
            yield FoundExport(file, path, None, target, "It is a link to another place.")
    elif suffix in _TOLD:
        yield _hashed(file, path, f"Files of the form {suffix} are not read.")
    elif suffix in (*READ, ".zip") and (known := stamps.look(path)):
        for each in known:
            yield FoundExport(_named(file, each.member), path, each.member, each.sha256)
    elif suffix in READ:
        yield _hashed(file, path, None)
    elif suffix == ".zip":
        yield from _members(file, path)


def _valid(name: str) -> str:
    """Return a name with a question mark for whatever is not valid UTF-8."""
    return name.encode("utf-8", "replace").decode("utf-8")


def _named(file: str, member: str | None) -> str:
    """Return the name that a file or a member of an archive goes by."""
    return file if member is None else f"{file}!{_valid(member)}"


def _hashed(file: str, path: Path, refused: str | None) -> FoundExport:
    if not path.is_file():
        return FoundExport(file, path, None, _sha256_of(b""), "It is not an ordinary file.")
    try:
        with path.open("rb") as source:
            return FoundExport(file, path, None, _sha256(source), refused)
    except OSError:
        return FoundExport(file, path, None, _sha256_of(b""), "It cannot be opened for reading.")


def _members(file: str, path: Path) -> Iterator[FoundExport]:
    whole = _hashed(file, path, "The archive is damaged.")
    if not path.is_file():
        yield whole
        return
    try:
        with zipfile.ZipFile(path) as archive:
            parts = [part for part in archive.infolist() if not part.is_dir()]
            if why := _refuse_archive(parts):
                yield FoundExport(file, path, None, whole.sha256, why)
                return
            seen: set[str] = set()
            for part in sorted(parts, key=lambda each: each.filename):
                if part.filename in seen or Path(part.filename).name.startswith((".", "~$")):
                    continue
                seen.add(part.filename)
                yield from _member(archive, part, _named(file, part.filename), path)
    except (zipfile.BadZipFile, OSError, EOFError, ValueError):
        yield whole


def _refuse_archive(parts: list[zipfile.ZipInfo]) -> str | None:
    if len(parts) > _MEMBERS_MOST:
        return f"The archive holds more than {_MEMBERS_MOST} files."
    if sum(part.file_size for part in parts) > _UNPACKED_MOST:
        return "The archive unpacks to more than 8 GiB."
    if any(p.file_size > max(_RATIO_FROM, _RATIO_MOST * p.compress_size) for p in parts):
        return "The archive unpacks to far more than exports of its size ever do."
    return None


def _member(
    archive: zipfile.ZipFile, part: zipfile.ZipInfo, file: str, path: Path
) -> Iterator[FoundExport]:
    suffix = Path(part.filename).suffix.lower()
    if suffix not in (*READ, *_TOLD, ".zip"):
        return
    why = None if suffix in READ else f"Files of the form {suffix} inside an archive are not read."
    try:
        with archive.open(part) as source:
            yield FoundExport(file, path, part.filename, _sha256(source), why)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, zlib.error, OSError):
        hashed = _sha256_of(f"{part.CRC} {part.file_size}".encode())
        yield FoundExport(file, path, part.filename, hashed, "It is damaged or needs a password.")


def _sha256(source: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while chunk := source.read(_CHUNK):
        digest.update(chunk)
    return digest.hexdigest()


def _sha256_of(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
