"""Write what convinces an outsider: entries, their paths to the root, and older roots' paths."""

import base64
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from pipeline.database import Database
from pipeline.errors import NothingToProve
from pipeline.proof.seal import SEALED, SealedRow, last_seal, rows_of
from pipeline.proof.tree import Tree
from pipeline.tables.declare import table_of
from pipeline.tables.proof import RegisterEntry, RegisterSeal

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
        _entry(at, row, tree) for at, row in _rows(database, entries, _chooses(database, wanted))
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


def _rows(
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
