"""Find the exports in a folder: files and members of archives, each with its content's hash."""

import hashlib
import os
import shutil
import zipfile
import zlib
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from pipeline.database import Database
from pipeline.errors import FolderMissing
from pipeline.ingest.encoding import unpacked
from pipeline.ingest.foreign import DATABASES, DOCUMENT
from pipeline.ingest.objects import FORMS
from pipeline.ingest.words import TableRefused
from pipeline.records import frame_of
from pipeline.tables.taken import FileStamp

READ = (".csv", ".tsv", ".txt", ".log", ".xlsx", DOCUMENT, *DATABASES, *FORMS)
_PACKED = (".gz", ".zst")
_WHOLE = (".xlsx", ".parquet", ".zip")  # packed already: none of these is packed once more
# Forms in which tables come but that are not read: each is refused, and a finding says so.
_TOLD = (
    ".xls", ".xlsm", ".xlsb", ".xml", ".7z", ".rar", ".tar", ".tgz", ".bz2", ".xz", ".dat", ".tab",
    ".mdb",
)  # fmt: skip
# Files that lie in any folder and hold no export: they are passed over, and counted.
_OFFICE = ("~$", ".~lock.")
_SYSTEM = ("thumbs.db", "desktop.ini")
_PASSED_REPORTS = (
    "The folder of reports is not read; a mended quarantine.xlsx belongs beside the exports."
)
_OWN_FORMS = {
    ".toml": "It is a rules file.",
    ".duckdb": "It is a database of this program.",
    ".wal": "It belongs to a database of this program.",
}
_MEMBERS_MOST = 2_000
_UNPACKED_MOST = 8 << 30
_RATIO_MOST = 200
_RATIO_FROM = 64 << 20  # smaller members may be packed as tightly as they like
_CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class FoundExport:
    """A file or archive member. `file` is the name it goes by.

    `refused`: why it is not read although it may be meant as an export; `passed_over`: why it is
    not, and is not meant as one. A name that ends in a slash is a whole folder.
    """

    file: str
    path: Path
    member: str | None
    sha256: str
    refused: TableRefused | None = None
    passed_over: str | None = None

    @property
    def suffix(self) -> str:
        """The ending of its name, which decides only how it is opened; not that of packing."""
        name = Path(self.member or self.path.name)
        return _within(name) if _is_packed(name) else name.suffix.lower()

    def content(self, room: Path) -> Path:
        """Return a path to the bytes; a member is unpacked into `room` under a name of ours."""
        if self.member is None:
            out = room / f"text{self.suffix}"
            return unpacked(self.path, out) if _is_packed(self.path) else self.path
        packed = Path(self.member).suffix.lower() if _is_packed(Path(self.member)) else ""
        out = room / f"member{self.suffix}{packed}"
        with (
            zipfile.ZipFile(self.path) as archive,
            archive.open(self.member) as source,
            out.open("wb") as target,
        ):
            shutil.copyfileobj(source, target, _CHUNK)
        return unpacked(out, room / f"text{self.suffix}") if packed else out


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


def discover(folder: Path, stamps: Stamps, reports: Path | None = None) -> tuple[FoundExport, ...]:
    """Return every file and archive member below a folder, with why those not read are not.

    They are ordered by their content's hash, so that names and folders decide nothing. What lies
    in `reports`, where the program itself writes, is passed over.

    Raises:
        FolderMissing: the folder does not exist or is a file.
    """
    if not folder.is_dir():
        raise FolderMissing(folder)
    own = None if reports is None else reports.absolute()
    found = [each for path in _walk(folder, own) for each in _found(folder, path, stamps, own)]
    stamps.note(found)
    return tuple(sorted(found, key=lambda each: (each.sha256, each.file)))


def _walk(folder: Path, own: Path | None) -> Iterator[Path]:
    """Yield all files, and the folders that are not entered."""
    closed: list[OSError] = []
    for root, folders, files in os.walk(folder, onerror=closed.append, followlinks=False):
        here = Path(root)
        entered = [name for name in folders if _enters(here / name, own)]
        yield from (here / name for name in sorted({*files, *folders} - {*entered}))
        folders[:] = sorted(entered)
    yield from sorted(Path(error.filename) for error in closed)


def _enters(folder: Path, own: Path | None) -> bool:
    return not (folder.is_symlink() or folder.name.startswith(".") or folder.absolute() == own)


def _found(folder: Path, path: Path, stamps: Stamps, own: Path | None) -> Iterator[FoundExport]:
    file = _valid(path.relative_to(folder).as_posix())
    is_folder = path.is_dir()
    why = _PASSED_REPORTS if path.absolute() == own else _pass_over(path, is_folder=is_folder)
    if path.is_symlink() and why is None:
        target = _sha256_of(os.fsencode(path.readlink()))
        yield FoundExport(file, path, None, target, TableRefused.of("file-link"))
    elif is_folder and not path.is_symlink():
        closed = None if why else TableRefused.of("folder-closed")
        yield FoundExport(f"{file}/", path, None, _sha256_of(b""), closed, why)
    elif why is not None:
        yield FoundExport(file, path, None, _sha256_of(b""), passed_over=why)
    elif path.suffix.lower() in _TOLD or _within(path) in (*_TOLD, *_WHOLE):
        unread = TableRefused.of("form-unread", form=path.suffix.lower(), packed=False)
        yield _hashed(file, path, unread)
    else:
        yield from _read(file, path, stamps)


def _read(file: str, path: Path, stamps: Stamps) -> Iterator[FoundExport]:
    for each in (known := stamps.look(path)):
        why = each.member and _pass_over(Path(each.member), is_folder=False)
        named = _named(file, each.member)
        yield FoundExport(named, path, each.member, each.sha256, passed_over=why)
    if not known and path.suffix.lower() == ".zip":
        yield from _members(file, path)
    elif not known:
        yield _hashed(file, path, None)


def _pass_over(path: Path, *, is_folder: bool) -> str | None:
    """Return why a name is not that of an export; none where it may be."""
    suffix = path.suffix.lower()
    if path.name.startswith(_OFFICE):
        return "It is a temporary file of an office program."
    if path.name.startswith("."):
        return "Hidden files and folders are not read."
    if path.name.lower() in _SYSTEM:
        return "It is a file of the operating system."
    if suffix in _OWN_FORMS:
        return _OWN_FORMS[suffix]
    inner = _within(path) or suffix
    if is_folder or inner in (*READ, *_TOLD, ".zip"):
        return None
    form = f"Files of the form {suffix}" if suffix else "Files without an extension"
    return f"{form} are not read; save what they hold of tables as .csv or .xlsx."


def _within(path: Path) -> str:
    """Return the ending of what a packed file holds; none of any other."""
    return Path(path.stem).suffix.lower() if _is_packed(path) else ""


def _is_packed(path: Path) -> bool:
    return path.suffix.lower() in _PACKED


def _valid(name: str) -> str:
    """Return a name with a question mark for whatever is not valid UTF-8."""
    return name.encode("utf-8", "replace").decode("utf-8")


def _named(file: str, member: str | None) -> str:
    """Return the name that a file or a member of an archive goes by."""
    return file if member is None else f"{file}!{_valid(member)}"


def _hashed(file: str, path: Path, refused: TableRefused | None) -> FoundExport:
    if not path.is_file():
        why = TableRefused.of("file-odd")
        return FoundExport(file, path, None, _sha256_of(b""), why)
    try:
        with path.open("rb") as source:
            return FoundExport(file, path, None, _sha256(source), refused)
    except OSError:
        why = TableRefused.of("file-closed")
        return FoundExport(file, path, None, _sha256_of(b""), why)


def _members(file: str, path: Path) -> Iterator[FoundExport]:
    whole = _hashed(file, path, TableRefused.of("archive-damaged"))
    if not path.is_file():
        yield whole
        return
    try:
        with zipfile.ZipFile(path) as archive:
            parts = [part for part in archive.infolist() if not part.is_dir()]
            if why := _refuse_archive(parts):
                yield FoundExport(file, path, None, whole.sha256, why)
                return
            names = Counter(part.filename for part in parts)
            for name, times in sorted(names.items()):
                part = archive.getinfo(name)
                yield _member(archive, part, _named(file, name), path, twice=times > 1)
    except (zipfile.BadZipFile, OSError, EOFError, ValueError):
        yield whole


def _refuse_archive(parts: list[zipfile.ZipInfo]) -> TableRefused | None:
    if not parts:
        return TableRefused.of("archive-empty")
    if len(parts) > _MEMBERS_MOST:
        return TableRefused.of("archive-crowded", most=_MEMBERS_MOST)
    if sum(part.file_size for part in parts) > _UNPACKED_MOST:
        return TableRefused.of("packed-large")
    if any(p.file_size > max(_RATIO_FROM, _RATIO_MOST * p.compress_size) for p in parts):
        return TableRefused.of("archive-dense")
    return None


def _member(
    archive: zipfile.ZipFile, part: zipfile.ZipInfo, file: str, path: Path, *, twice: bool
) -> FoundExport:
    name = Path(part.filename)
    suffix = name.suffix.lower()
    read = suffix in READ or (_within(name) in READ and _within(name) not in _WHOLE)
    if (unread := _pass_over(Path(part.filename), is_folder=False)) is not None:
        return FoundExport(file, path, part.filename, _sha256_of(b""), passed_over=unread)
    why = None if read else TableRefused.of("form-unread", form=suffix, packed=True)
    why = TableRefused.of("member-twice") if twice else why
    try:
        with archive.open(part) as source:
            return FoundExport(file, path, part.filename, _sha256(source), why)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, zlib.error, OSError):
        hashed = _sha256_of(f"{part.CRC} {part.file_size}".encode())
        closed = TableRefused.of("member-closed")
        return FoundExport(file, path, part.filename, hashed, closed)


def _sha256(source: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while chunk := source.read(_CHUNK):
        digest.update(chunk)
    return digest.hexdigest()


def _sha256_of(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
