"""Hold the register against its seals and printed roots; write what convinces an outsider."""

import base64
import json
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from pipeline.database import Database
from pipeline.errors import NothingToProve, SealUnreadable
from pipeline.proof.seal import SEALED, SealedRow, Tree, edge_of, last_seal, rows_of
from pipeline.tables.audit import RegisterEntry, RegisterSeal
from pipeline.tables.declare import table_of

_LEAST = 16  # digits of a root that must be given: fewer could be met by chance
_DIGITS = 64
_MOST = 5  # rows of one table that are told one by one


@dataclass(frozen=True, slots=True)
class PrintedSeal:
    """A seal as a page prints it: the number of entries, and the root or its beginning."""

    size: int
    root: str

    def __str__(self) -> str:
        """Return it as it is printed."""
        return f"{self.size}:{self.root}"


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check of the register came to: its size, and a sentence for whatever is wrong."""

    entries: int
    problems: tuple[str, ...]


def read_seal(text: str) -> PrintedSeal:
    """Return a seal as typed, such as 214:3f2a9c51b07e44d8; capitals and spaces do not matter.

    Raises:
        SealUnreadable: it is no number, colon and 16 to 64 hexadecimal digits.
    """
    size, _, digits = "".join(text.split()).lower().partition(":")
    wrong = not size.isdecimal() or not _LEAST <= len(digits) <= _DIGITS
    if wrong or set(digits) - set("0123456789abcdef"):
        raise SealUnreadable(text)
    return PrintedSeal(int(size), digits)


def seal_of(database: Database) -> PrintedSeal | None:
    """Return the last seal as it is to be printed or noted; None where nothing was sealed yet."""
    found = last_seal(database)
    return PrintedSeal(found.size, found.root) if found else None


def check_register(database: Database, printed: Sequence[PrintedSeal]) -> Checked:
    """Return what in the register is not as it was sealed, or not as a page printed it."""
    entries = database.records(RegisterEntry, "proof", "entries")
    seals = database.records(RegisterSeal, "proof", "seals")
    files = database.column("proof", "files_wrong")
    problems = [*_rows(database, entries), *_seals(entries, seals, printed), *files]
    return Checked(len(entries), tuple(problems))


def _rows(database: Database, entries: Sequence[RegisterEntry]) -> Iterator[str]:
    """Hold every row against its entry, and every entry against its row."""
    sealed: dict[str, list[RegisterEntry]] = defaultdict(list)
    for entry in entries:
        sealed[entry.source].append(entry)
    for kind in SEALED:
        name, rows = table_of(kind).name, list(rows_of(database, kind))
        own, leaves = sealed.pop(name, []), [row.leaf for row in rows]
        wrong = [
            number
            for number, (leaf, entry) in enumerate(zip(leaves, own, strict=False), start=1)
            if leaf != entry.leaf
        ]
        for number in wrong[:_MOST]:
            yield f"row {number} of {name} is not as it was sealed: {_named(rows[number - 1])}"
        if len(wrong) > _MOST:
            yield f"{len(wrong) - _MOST} more rows of {name} are not as they were sealed"
        if len(own) > len(rows):
            yield f"{len(own) - len(rows)} sealed rows of {name} are gone"
        if len(rows) > len(own):
            yield (
                f"{len(rows) - len(own)} rows of {name} were never sealed: a command was "
                "cut off before it sealed them, or somebody added them"
            )
    for source, others in sealed.items():
        yield f"{len(others)} entries are of a table {source}, which is none of the register"


def _named(row: SealedRow) -> str:
    """Return what a reader finds the row by."""
    keys = ("seq", "change", "plan", "store", "station", "field", "rule", "version")
    said = ((key, getattr(row.record, key, None)) for key in keys)
    return ", ".join([f"{key} {value}" for key, value in said if value is not None][:4])


def _seals(
    entries: Sequence[RegisterEntry], seals: Sequence[RegisterSeal], printed: Sequence[PrintedSeal]
) -> Iterator[str]:
    """Hold the seals against the entries, and the printed ones against both."""
    if [entry.seq for entry in entries] != list(range(1, len(entries) + 1)):
        yield "the numbers of the entries do not run from 1 without a gap"
    tree = Tree([_octets(entry.leaf) for entry in entries])
    for each in seals:
        if not _stands(each, tree):
            yield f"the seal of {each.size} entries of {each.as_of} does not fit the entries"
    if entries and (not seals or seals[-1].size != len(entries)):
        yield "the last entries have no seal"
    for asked in printed:
        if asked.size > tree.size:
            yield f"{asked}: the register has only {tree.size} entries"
        elif not tree.root(asked.size).hex().startswith(asked.root):
            yield f"{asked}: the first {asked.size} entries have another root"


def _octets(leaf: str) -> bytes:
    """Return a leaf's octets; none where somebody made it no leaf, which its row shows as well."""
    try:
        return bytes.fromhex(leaf)
    except ValueError:
        return b""


def _stands(each: RegisterSeal, tree: Tree) -> bool:
    try:
        return tree.root(each.size).hex() == each.root == edge_of(each).root.hex()
    except ValueError:  # of no such size, or no edge
        return False


METHOD = "RFC 9162, SHA-256; an entry is its octets in UTF-8"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be proved: a change, a station's whole register, or the rows of some days."""

    change: str | None = None
    store: str | None = None
    station: str | None = None
    days: tuple[date, date] | None = None  # first and last

    def __str__(self) -> str:
        """Say what it is."""
        said = (("change", self.change), ("store", self.store), ("station", self.station))
        words = [f"{kind} {name}" for kind, name in said if name is not None]
        if self.days:
            words.append(f"{self.days[0]} to {self.days[1]}")
        return ", ".join(words)


def prove(database: Database, wanted: Wanted, sizes: Sequence[int] = ()) -> str:
    """Return the proof as JSON: the same register gives the same text.

    Args:
        database: holds the register, sealed.
        wanted: which rows to prove.
        sizes: of older seals, of which it shows that they are the register's beginning.

    Raises:
        NothingToProve: no row is of it, or no such seal was ever made.
    """
    found, entries = last_seal(database), database.records(RegisterEntry, "proof", "entries")
    if found is None:
        raise NothingToProve(str(wanted))
    tree = Tree([bytes.fromhex(entry.leaf) for entry in entries])
    rows = [
        _entry(at, row, tree) for at, row in _entries(database, entries, _chooses(database, wanted))
    ]
    if not rows:
        raise NothingToProve(str(wanted))
    proof = {
        "of": str(wanted),
        "method": METHOD,
        "size": found.size,
        "root": found.root,
        "sealed_on": found.as_of.isoformat(),
        "entries": rows,
        "earlier": [_earlier(size, found, tree) for size in sizes if size != found.size],
    }
    return json.dumps(proof, ensure_ascii=False, indent=1) + "\n"


def _entry(index: int, row: SealedRow, tree: Tree) -> dict[str, object]:
    return {"index": index, "octets": row.text, "path": _joined(tree.inclusion(index))}


def _earlier(size: int, found: RegisterSeal, tree: Tree) -> dict[str, object]:
    if not 0 < size < found.size:
        raise NothingToProve(f"a seal of {size} entries: it has {found.size}")
    return {"size": size, "path": _joined(tree.consistency(size))}


def _joined(path: Sequence[bytes]) -> str:
    return base64.b64encode(b"".join(path)).decode("ascii")


def _entries(
    database: Database, entries: Sequence[RegisterEntry], chooses: Callable[[Any], bool]
) -> Iterator[tuple[int, SealedRow]]:
    """Yield the chosen rows with the place of their entry, 0 for the first."""
    places: dict[str, list[int]] = {}
    for entry in entries:
        places.setdefault(entry.source, []).append(entry.seq - 1)
    chosen = [
        (place, row)
        for kind in SEALED
        for place, row in zip(
            places.get(table_of(kind).name, []), rows_of(database, kind), strict=False
        )
        if chooses(row.record)
    ]
    return iter(sorted(chosen, key=lambda each: each[0]))


def _chooses(database: Database, wanted: Wanted) -> Callable[[Any], bool]:
    """Return the test for a row: it is of the change, of the station's changes, or of the days."""
    if wanted.change is not None:
        return lambda row: getattr(row, "change", None) == wanted.change
    if wanted.days is not None:
        first, last = wanted.days
        return lambda row: first <= _day_of(row) <= last
    own = database.column("proof", "changes_of", {"store": wanted.store, "station": wanted.station})
    changes = set(own)

    def of_station(row: Any) -> bool:  # noqa: ANN401 - a row of any table of the register
        named = (getattr(row, "store", None), getattr(row, "station", None))
        return named == (wanted.store, wanted.station) or getattr(row, "change", None) in changes

    return of_station


def _day_of(row: Any) -> date:  # noqa: ANN401 - the same
    """Return the day a row of the register is of."""
    for name in ("at", "checked_on", "proposed_on", "approved_on", "as_of"):
        value: datetime | date | None = getattr(row, name, None)
        if value is not None:
            return value.date() if isinstance(value, datetime) else value
    return date.min
