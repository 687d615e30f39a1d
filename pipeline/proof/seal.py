"""Seal the register: every row of it becomes an entry of a tree whose root pages can print.

The rows of a table are sealed in the order in which they were added. An entry is the row as JSON
with sorted keys; what is null is left out, so that a column added later changes no older entry.
"""

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from pipeline.database import Database
from pipeline.proof.tree import Edge, leaf_hash
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
from pipeline.tables.changes import Change, ChangeCheck, ChangeEvent, ChangePlan
from pipeline.tables.declare import table_of
from pipeline.tables.inventory import InventoryAnswer
from pipeline.tables.schedule import NightsGiven, TicketGiven, VerdictLimit

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
