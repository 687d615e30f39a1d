"""Hold the register against its entries and seals, and against a root that a page printed."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline.database import Database
from pipeline.errors import SealUnreadable
from pipeline.proof.seal import SEALED, SealedRow, edge_of, last_seal, rows_of
from pipeline.proof.tree import Tree
from pipeline.tables.declare import table_of
from pipeline.tables.proof import RegisterEntry, RegisterSeal

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
    printed: tuple[PrintedSeal, ...]
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
    return Checked(len(entries), tuple(printed), tuple(problems))


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
    entries: Sequence[RegisterEntry],
    seals: Sequence[RegisterSeal],
    printed: Sequence[PrintedSeal],
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
