"""What is due: stores whose inputs are not those they were last computed from.

Everything is judged by content. A fingerprint is made from what a step reads (rows, limits, the
run's day) and from the program itself; the same fingerprint means the same result, so the work need
not be done again. Work not finished leaves no fingerprint behind, so it is due.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import polars as pl

from pipeline import __version__, sql_file
from pipeline.database import Database

CHUNK = 200  # stores looked at together, so that memory does not grow with their number
_PACKAGE = Path(__file__).resolve().parent
_SEED = 154  # any will do, so long as it stays
_OWN = frozenset({".py", ".toml", ".csv"})
# Libraries that decide a figure or a byte of a report.
_LIBRARIES = (
    "duckdb", "fontpkg", "fontpkg-fira-sans", "numpy", "openpyxl", "ortools", "polars",
    "pytoulbar2", "reportlab",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Due:
    """Stores to compute, ascending, and the fingerprint of each that has any input at all."""

    stores: tuple[str, ...]
    marks: Mapping[str, str]

    def chunks(self) -> Iterator[tuple[str, ...]]:
        """Yield the stores due, `CHUNK` at a time."""
        for first in range(0, len(self.stores), CHUNK):
            yield self.stores[first : first + CHUNK]


def fingerprint(*parts: str) -> str:
    """Return the fingerprint of some texts; no two lists of texts give the same one."""
    digest = sha256()
    for part in parts:
        octets = part.encode("utf-8", "surrogatepass")
        digest.update(len(octets).to_bytes(8))
        digest.update(octets)
    return digest.hexdigest()


@cache
def program() -> str:
    """Return the fingerprint of this program: its version, its files and its libraries."""
    own = sorted(path for path in _PACKAGE.rglob("*") if path.suffix in _OWN)
    files = [*own, *sql_file.every()]
    # As octets: an installed package holds the sample exports too, in encodings of their own.
    contents = [sha256(path.read_bytes()).hexdigest() for path in files]
    return fingerprint(__version__, *contents, *map(_version, _LIBRARIES))


def _version(library: str) -> str:
    try:
        return version(library)
    except PackageNotFoundError:
        return ""


def run_mark(database: Database, limits: Mapping[str, float], *more: str) -> str:
    """Return the fingerprint of what holds for every store: day, limits, program, and `more`."""
    as_of = database.value("due", "day")
    stored = [f"{name} {value!r}" for name, value in database.mapping("due", "limits").items()]
    given = [f"{name} {value!r}" for name, value in sorted(limits.items())]
    return fingerprint(program(), as_of.isoformat(), *stored, "", *given, *more)


def store_marks(frames: Iterable[pl.DataFrame], *more: str) -> dict[str, str]:
    """Return a fingerprint of every store's rows over some frames, and of `more`.

    The first column of each frame names the store; the rows of a store stand together and their
    order counts, as does that of the frames.
    """
    found: defaultdict[str, bytearray] = defaultdict(bytearray)
    for number, frame in enumerate(frames):
        if not frame.height:
            continue
        rows = frame.hash_rows(seed=_SEED).to_numpy()
        runs = frame.to_series(0).rle().struct.unnest()
        first = 0
        for length, store in runs.select("len", "value").iter_rows():
            found[store] += b"%d %d " % (number, length)
            found[store] += rows[first : first + length].tobytes()
            first += length
    return {store: fingerprint(octets.hex(), *more) for store, octets in found.items()}


def due(database: Database, step: str, marks: Mapping[str, str]) -> Due:
    """Return the stores whose fingerprint is not the one kept, those that are gone among them."""
    known = database.mapping("due", "known", {"step": step})
    stores = sorted(store for store in {**known, **marks} if known.get(store) != marks.get(store))
    return Due(tuple(stores), marks)


def choose(database: Database, stores: Sequence[str]) -> None:
    """Make these the stores that statements with `due_store` are about."""
    database.insert("due", "choose", pl.DataFrame({"store": stores}, schema={"store": pl.String}))


def keep(database: Database, step: str, stores: Sequence[str], marks: Mapping[str, str]) -> None:
    """Keep what the stores, which were chosen, are computed from now."""
    known = [store for store in stores if store in marks]
    frame = pl.DataFrame({"store": known, "fingerprint": [marks[store] for store in known]})
    database.run("due", "forget", {"step": step})
    if known:
        database.insert("due", "keep", frame, {"step": step})


@contextmanager
def narrowed(database: Database, stores: Sequence[str], *tables: str) -> Iterator[None]:
    """Choose stores, and let some tables hold only their rows until the block is left."""
    choose(database, stores)
    with database.held(*tables, chosen=True):
        yield
