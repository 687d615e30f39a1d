"""Seal the register: every row becomes an entry of a tree whose root pages can print.

The rows of a table are sealed in the order in which they were added. An entry is the row as JSON
with sorted keys; what is null is left out, so that a column added later changes no older entry.

The tree is that of RFC 9162 (Certificate Transparency 2.0): leaves are hashed behind an octet 0,
nodes behind an octet 1, both with SHA-256 (section 2.1.1). So a tree of n leaves has one root, a
path of at most log2(n) hashes shows that a leaf is in it, and as few show that an older tree is
its beginning.
"""

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from hashlib import sha256
from typing import Any

from pipeline.database import Database
from pipeline.tables.audit import (
    AuditEdition,
    AuditSample,
    Baseline,
    DepartureAnswer,
    DepartureTold,
    ExceptionFile,
    RegisterEntry,
    RegisterFile,
    RegisterSeal,
    SampledStation,
    SampleResult,
)
from pipeline.tables.changes import (
    Change,
    ChangeCheck,
    ChangeEvent,
    ChangePlan,
    NightsGiven,
    TicketGiven,
    VerdictLimit,
)
from pipeline.tables.declare import table_of
from pipeline.tables.taken import InventoryAnswer

EMPTY = sha256(b"").digest()
"""The root of a tree without leaves."""
SEALED: tuple[type[Any], ...] = (
    RegisterFile, ChangePlan, Change, ChangeEvent, ChangeCheck, Baseline, ExceptionFile,
    DepartureAnswer, NightsGiven, DepartureTold, AuditEdition, AuditSample, SampledStation,
    SampleResult, InventoryAnswer, TicketGiven, VerdictLimit,
)  # fmt: skip
"""The tables to which rows are only ever added, in the order in which a seal takes them."""

_OF_CHAIN = (DepartureTold, SampledStation, SampleResult, TicketGiven)
"""Rows that name a store and change nothing that its own pages say."""

_DIGITS = 64  # of a hash in hexadecimal
_EVERY = "*"  # the store of an exception that holds in all of them


def leaf_hash(octets: bytes) -> bytes:
    """Return the hash of a leaf, 32 octets (RFC 9162, section 2.1.1)."""
    return sha256(b"\x00" + octets).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of a node over two others, 32 octets (RFC 9162, section 2.1.1)."""
    return sha256(b"\x01" + left + right).digest()


@dataclass(frozen=True, slots=True)
class Edge:
    """What is needed to add leaves to a tree: its size, and the roots of its full subtrees.

    The subtrees stand from left to right; their sizes are the powers of two that add up to `size`.
    """

    size: int = 0
    peaks: tuple[bytes, ...] = ()

    @property
    def root(self) -> bytes:
        """The root of the tree, 32 octets."""
        if not self.peaks:
            return EMPTY
        *rest, root = self.peaks
        for peak in reversed(rest):
            root = node_hash(peak, root)
        return root

    def grown(self, leaves: Iterable[bytes]) -> "Edge":
        """Return the edge once these leaf hashes were added: about one hash for each, no more."""
        size, peaks = self.size, list(self.peaks)
        for leaf in leaves:
            peaks.append(leaf)
            size += 1
            full = size
            while full % 2 == 0:
                right = peaks.pop()
                peaks.append(node_hash(peaks.pop(), right))
                full //= 2
        return Edge(size, tuple(peaks))


class Tree:
    """A whole tree: proves which leaves are in it, and which trees are its beginning."""

    def __init__(self, leaves: Sequence[bytes]) -> None:
        self.size = len(leaves)
        self._levels = [list(leaves)]
        while len(self._levels[-1]) > 1:
            below = self._levels[-1]
            pairs = zip(below[::2], below[1::2], strict=False)
            odd = below[-1:] if len(below) % 2 else []  # has no sibling, and moves up as it is
            self._levels.append([*(node_hash(left, right) for left, right in pairs), *odd])

    def root(self, size: int | None = None) -> bytes:
        """Return the root of the tree's first `size` leaves, of all of them by default.

        Raises:
            ValueError: it never had that many leaves.
        """
        size = self.size if size is None else size
        if not 0 <= size <= self.size:
            raise ValueError(f"no tree of {size} leaves: there are {self.size}")
        return self._over(0, size) if size else EMPTY

    def inclusion(self, index: int) -> tuple[bytes, ...]:
        """Return the path that shows leaf `index` to be in the tree (section 2.1.3.1).

        Raises:
            IndexError: there is no such leaf.
        """
        if not 0 <= index < self.size:
            raise IndexError(f"no leaf {index}: there are {self.size}")
        path = []
        for level in self._levels[:-1]:
            if (beside := index ^ 1) < len(level):
                path.append(level[beside])
            index //= 2
        return tuple(path)

    def consistency(self, first: int) -> tuple[bytes, ...]:
        """Return the path that shows the first leaves to be the tree's beginning (2.1.4.1).

        Raises:
            ValueError: `first` is not 1 to the tree's size.
        """
        if not 0 < first <= self.size:
            raise ValueError(f"no beginning of {first} leaves: there are {self.size}")
        path: list[bytes] = []
        start, end, whole = 0, self.size, True  # whole: the older root is known to the reader
        while first != end:
            middle = start + _split(end - start)
            if first <= middle:
                path.append(self._over(middle, end))
                end = middle
            else:
                path.append(self._over(start, middle))
                start, whole = middle, False
        if not whole:
            path.append(self._over(start, end))
        return tuple(reversed(path))

    def _over(self, start: int, end: int) -> bytes:
        """Return the hash over leaves `start` to `end`, at least one."""
        level, size = (end - start - 1).bit_length(), end - start
        aligned = size == 1 << level and start % size == 0
        if aligned:
            return self._levels[level][start >> level]
        middle = start + _split(size)
        return node_hash(self._over(start, middle), self._over(middle, end))


def _split(size: int) -> int:
    """Return the largest power of two below a size, where the left subtree ends."""
    return 1 << ((size - 1).bit_length() - 1)


@dataclass(frozen=True, slots=True)
class SealedRow:
    """A row of the register as it is hashed."""

    record: Any  # of one of the tables of SEALED

    @property
    def source(self) -> str:
        """The table it is a row of."""
        return table_of(type(self.record)).name

    @property
    def text(self) -> str:
        """The row as JSON: one text for one row, whatever the order of its columns."""
        kept = {name: value for name, value in asdict(self.record).items() if value is not None}
        said = {"row": kept, "table": self.source}
        return json.dumps(
            said, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=_written
        )

    @property
    def leaf(self) -> str:
        """The hash of its leaf, 64 hexadecimal digits."""
        return leaf_hash(self.text.encode("utf-8", "surrogatepass")).hex()


def _written(value: date) -> str:
    return value.isoformat()


def rows_of(database: Database, kind: type[Any], after: int = 0) -> Iterator[SealedRow]:
    """Yield the rows of a table in the order they were added, but for the first `after`."""
    return map(SealedRow, database.added(kind, after))


def seal(database: Database) -> RegisterSeal | None:
    """Seal what was added to the register since the last seal; return the last seal, if any.

    Commands let every transaction end with it: so rows and their entries are kept together or not
    at all, and a command that was cut off and begun again seals in the same order. Costs as much as
    there is to add, not as much as there is.
    """
    last = last_seal(database)
    first = last.size if last else 0
    day: date | None = database.value("proof", "this_day")
    if day is None or first == database.count(*SEALED):
        return last
    sealed: Counter[str] = Counter(database.mapping("proof", "sealed_rows"))
    new = [row for kind in SEALED for row in rows_of(database, kind, sealed[table_of(kind).name])]
    if not new:
        return last
    leaves = [row.leaf for row in new]
    grown = (edge_of(last) if last else Edge()).grown(map(bytes.fromhex, leaves))
    found = RegisterSeal(
        grown.size, grown.root.hex(), day, "".join(peak.hex() for peak in grown.peaks)
    )
    stores = _stores(database, new)
    database.put(
        RegisterEntry,
        (
            RegisterEntry(seq, row.source, leaf, store)
            for seq, (row, leaf, store) in enumerate(
                zip(new, leaves, stores, strict=True), start=first + 1
            )
        ),
    )
    database.put(RegisterSeal, [found])
    return found


def _stores(database: Database, rows: Sequence[SealedRow]) -> list[str | None]:
    """Return the store that each row is about; None where it is about none, or about all."""
    changes = [change for row in rows if (change := getattr(row.record, "change", None))]
    of_change = database.mapping("proof", "stores_of", {"changes": sorted(set(changes))})
    named = [
        None
        if isinstance(row.record, _OF_CHAIN)
        else getattr(row.record, "store", None)
        or of_change.get(getattr(row.record, "change", None))
        for row in rows
    ]
    return [None if store == _EVERY else store for store in named]


def last_seal(database: Database) -> RegisterSeal | None:
    """Return the last seal; None where nothing was sealed yet."""
    found = database.records(RegisterSeal, "proof", "last_seal")
    return found[0] if found else None


def edge_of(found: RegisterSeal) -> Edge:
    """Return the edge that a seal keeps, from which its tree grows."""
    starts = range(0, len(found.edge), _DIGITS)
    peaks = tuple(bytes.fromhex(found.edge[at : at + _DIGITS]) for at in starts)
    return Edge(found.size, peaks)
