"""Find the exports in a folder: files, and members of archives, each with its content's hash."""

import hashlib
import os
import shutil
import zipfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from pipeline.errors import FolderMissing

READ = (".csv", ".tsv", ".txt", ".xlsx")
# Tables in forms that are not read: said, so that nothing is missed in silence.
_TOLD = (
    ".xls", ".xlsm", ".xlsb", ".ods", ".json", ".jsonl", ".xml", ".parquet", ".gz", ".7z", ".rar",
    ".tar", ".tgz", ".bz2", ".xz", ".dat", ".tab", ".db", ".sqlite", ".mdb",
)  # fmt: skip
_MEMBERS_MOST = 2_000
_UNPACKED_MOST = 8 << 30
_RATIO_MOST = 200
_RATIO_FROM = 64 << 20  # smaller members may be packed as tightly as they like
_CHUNK = 1 << 20
Member = tuple[str | None, str]
"""A member of an archive, None for a file itself, and the hash of its content."""
Known = Callable[[Path], Sequence[Member]]


@dataclass(frozen=True, slots=True)
class Found:
    """One file or archive member. `file` is the name it goes by; `refused` says why not."""

    file: str
    path: Path
    member: str | None
    sha256: str
    refused: str | None = None

    @property
    def suffix(self) -> str:
        """The kind of file, by its name's end; the content decides all else."""
        return Path(self.member or self.path.name).suffix.lower()

    def content(self, room: Path) -> Path:
        """Return a path to the bytes; a member is unpacked to `room` under a name of ours."""
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


def nothing_known(_: Path) -> Sequence[Member]:
    """Say of every file that it must be read."""
    return ()


def discover(folder: Path, known: Known = nothing_known) -> tuple[Found, ...]:
    """Return everything in the folder tree that is, or may be meant as, an export.

    The order follows the content's hash, so that neither names nor folders decide anything.
    `known` may tell what a file holds, so that it need not be read through again.

    Raises:
        FolderMissing: the folder does not exist or is a file.
    """
    if not folder.is_dir():
        raise FolderMissing(folder)
    found = [each for path in _walk(folder) for each in _found(folder, path, known)]
    return tuple(sorted(found, key=lambda each: (each.sha256, each.file)))


def _walk(folder: Path) -> Iterator[Path]:
    for root, folders, files in os.walk(folder, followlinks=False):
        folders.sort()
        here = Path(root)
        for name in sorted(files + [each for each in folders if (here / each).is_symlink()]):
            if not name.startswith((".", "~$")):
                yield here / name
        folders[:] = [name for name in folders if not name.startswith(".")]


def _found(folder: Path, path: Path, known: Known) -> Iterator[Found]:
    file = path.relative_to(folder).as_posix()
    file = file.encode("utf-8", "replace").decode("utf-8")  # a name may be no text at all
    suffix = path.suffix.lower()
    if path.is_symlink():
        if suffix in (*READ, ".zip", "") or path.is_dir():
            target = hashlib.sha256(os.fsencode(path.readlink())).hexdigest()
            yield Found(file, path, None, target, "It is a link to another place.")
    elif suffix in _TOLD:
        yield from _hashed(file, path, f"Files of the form {suffix} are not read.")
    elif suffix in (*READ, ".zip") and (held := known(path)):
        for member, sha256 in held:
            yield Found(_named(file, member), path, member, sha256)
    elif suffix in READ:
        yield from _hashed(file, path, None)
    elif suffix == ".zip":
        yield from _members(file, path)


def _hashed(file: str, path: Path, refused: str | None) -> Iterator[Found]:
    if not path.is_file():
        yield Found(file, path, None, _sha256_of(b""), "It is no ordinary file.")
        return
    try:
        with path.open("rb") as source:
            yield Found(file, path, None, _sha256(source), refused)
    except OSError:
        yield Found(file, path, None, _sha256_of(b""), "It cannot be opened for reading.")


def _members(file: str, path: Path) -> Iterator[Found]:
    try:
        with path.open("rb") as source:
            whole = _sha256(source)
        with zipfile.ZipFile(path) as archive:
            parts = [part for part in archive.infolist() if not part.is_dir()]
            if why := _refuse_archive(parts):
                yield Found(file, path, None, whole, why)
                return
            seen: set[str] = set()
            for part in sorted(parts, key=lambda each: each.filename):
                if part.filename in seen or Path(part.filename).name.startswith((".", "~$")):
                    continue
                seen.add(part.filename)
                yield from _member(archive, part, _named(file, part.filename), path)
    except (zipfile.BadZipFile, OSError, EOFError, ValueError):
        yield Found(file, path, None, _safe_hash(path), "The archive is damaged.")


def _named(file: str, member: str | None) -> str:
    """Return the name a file or a member of an archive goes by."""
    if member is None:
        return file
    return f"{file}!{member.encode('utf-8', 'replace').decode('utf-8')}"


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
) -> Iterator[Found]:
    suffix = Path(part.filename).suffix.lower()
    if suffix not in (*READ, *_TOLD, ".zip"):
        return
    why = None if suffix in READ else f"Files of the form {suffix} inside an archive are not read."
    try:
        with archive.open(part) as source:
            yield Found(file, path, part.filename, _sha256(source), why)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, zlib.error, OSError):
        hashed = _sha256_of(f"{part.CRC} {part.file_size}".encode())
        yield Found(file, path, part.filename, hashed, "It is damaged or needs a password.")


def _sha256(source: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while chunk := source.read(_CHUNK):
        digest.update(chunk)
    return digest.hexdigest()


def _sha256_of(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _safe_hash(path: Path) -> str:
    try:
        with path.open("rb") as source:
            return _sha256(source)
    except OSError:
        return _sha256_of(b"")
