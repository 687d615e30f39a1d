"""Keep files that the register rests on, octet by octet, together with what rests on them."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256

from pipeline.database import Database
from pipeline.tables.audit import FileKept, RegisterFile


@dataclass(frozen=True)
class Original:
    """A file as it came or was written: its name and its octets."""

    file: str
    octets: bytes

    @cached_property
    def sha256(self) -> str:
        """Its digest, 64 hexadecimal digits."""
        return sha256(self.octets).hexdigest()


def keep_originals(database: Database, kind: str, originals: Sequence[Original]) -> None:
    """Keep files that are not kept yet; `kind` is as in register_file."""
    known = set(database.column("proof", "files_kept"))
    new = {one.sha256: one for one in originals if one.sha256 not in known}
    if new:
        day = database.value("proof", "this_day")
        rows = [RegisterFile(digest, kind, one.file, day) for digest, one in new.items()]
        database.put(RegisterFile, rows)
        database.put(FileKept, [FileKept(digest, one.octets) for digest, one in new.items()])
