"""Skip work whose inputs are unchanged: store by store within a step, or a whole run at once.

A fingerprint is made from the content of all that a piece of work reads (rows, limits, the run's
day) and from the program itself: the same fingerprint, the same result. It is stored only once the
work has succeeded, so unfinished work is done again.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from operator import attrgetter
from pathlib import Path

import polars as pl

from pipeline import __version__, sql_file
from pipeline.database import Database
from pipeline.tables.every import every_table
from pipeline.tables.run import Computed, Setting, ThisRun, WholeRun

CHUNK = 200  # stores worked on together, so that memory does not grow with their number
_PACKAGE = Path(__file__).resolve().parent
_SEED = 154  # arbitrary, but fixed: another one would make every fingerprint a new one
_OWN = frozenset({".py", ".toml", ".csv"})
# Libraries that decide a figure or a byte of a report.
_LIBRARIES = (
    "duckdb", "fontpkg", "fontpkg-fira-sans", "numpy", "openpyxl", "ortools", "polars",
    "pytoulbar2", "reportlab", "scipy",
)  # fmt: skip


def fingerprint(*parts: str) -> str:
    """Return the fingerprint of some texts; no two lists of texts share one."""
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
    # As octets: an installed package includes the sample exports, which are not all UTF-8.
    contents = [sha256(path.read_bytes()).hexdigest() for path in files]
    return fingerprint(__version__, *contents, *map(_version, _LIBRARIES))


def _version(library: str) -> str:
    try:
        return version(library)
    except PackageNotFoundError:
        return ""


@dataclass(frozen=True, slots=True)
class Stale:
    """Stores whose inputs have changed, ascending."""

    stores: tuple[str, ...]

    def chunks(self) -> Iterator[tuple[str, ...]]:
        """Yield the stores, `CHUNK` at a time."""
        for first in range(0, len(self.stores), CHUNK):
            yield self.stores[first : first + CHUNK]


def run_mark(database: Database, limits: Mapping[str, float], *more: str) -> str:
    """Return the fingerprint of what all stores share: day, limits, program, and `more`."""
    (run,) = database.records(ThisRun, "run", "this_run")
    stored = [f"{setting.name} {setting.value!r}" for setting in database.every(Setting)]
    given = [f"{name} {value!r}" for name, value in sorted(limits.items())]
    return fingerprint(program(), run.as_of.isoformat(), *stored, "", *given, *more)


def store_marks(frames: Iterable[pl.DataFrame], *more: str) -> dict[str, str]:
    """Return the fingerprint of every store's rows in some frames, and of `more`.

    The first column of each frame names the store, and the rows of a store stand together. The
    order of the rows counts, and so does that of the frames.
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


def stale(database: Database, step: str, marks: Mapping[str, str]) -> Stale:
    """Return the stores whose fingerprint differs from the stored one, or that are gone."""
    known = database.mapping("fresh", "known", {"step": step})
    stores = sorted(store for store in {**known, **marks} if known.get(store) != marks.get(store))
    return Stale(tuple(stores))


def choose(database: Database, stores: Sequence[str]) -> None:
    """Choose the stores that statements with `due_store` are about."""
    frame = pl.DataFrame({"store": stores}, schema={"store": pl.String})
    database.insert("fresh", "choose", frame)


def keep(database: Database, step: str, stores: Sequence[str], marks: Mapping[str, str]) -> None:
    """Store the fingerprints of the chosen stores; one without inputs has none."""
    database.run("fresh", "forget", {"step": step})
    known = [Computed(step, store, marks[store]) for store in sorted(stores) if store in marks]
    database.put(Computed, known)


@contextmanager
def narrowed(database: Database, stores: Sequence[str], *tables: str) -> Iterator[None]:
    """Choose stores, and let some tables hold only their rows until the block is left."""
    choose(database, stores)
    with database.held(*tables, chosen=True):
        yield


def own_rules(folder: Path | None) -> str:
    """Return the fingerprint of the rules in the user's own folder, "" where there is none."""
    if folder is None:
        return ""
    return fingerprint(*(f"{path.name} {_content(path)}" for path in sorted(folder.glob("*.sql"))))


def _content(path: Path) -> str:
    try:
        return path.read_bytes().hex()
    except OSError as error:  # the check reports it
        return str(error)


def whole_run_is_fresh(database: Database, out: Path, rules: str) -> bool:
    """Say whether the last whole run wrote into this folder and its inputs are unchanged.

    Call it with `this_run` set; `rules` is the fingerprint of the user's own rules.
    """
    return database.every(WholeRun) == [_whole_run(database, out, rules)]


def keep_whole_run(database: Database, out: Path, rules: str) -> None:
    """Store the fingerprint of a run that wrote the files of every store and region.

    `rules` is the fingerprint taken before the run read them.
    """
    with database.transaction():
        forget_whole_run(database)
        database.put(WholeRun, [_whole_run(database, out, rules)])


def forget_whole_run(database: Database) -> None:
    """Forget the last whole run, because its results are about to be replaced."""
    database.clear(WholeRun)


def _whole_run(database: Database, out: Path, rules: str) -> WholeRun:
    """Return the fingerprint of all that a run reads, and of the folder it writes to."""
    (run,) = database.records(ThisRun, "run", "this_run")
    watched = sorted((each for each in every_table() if each.watched), key=attrgetter("name"))
    content = [f"{each.name} {database.content(each.kind)}" for each in watched]
    where = str(out.absolute())
    return WholeRun(fingerprint(program(), run.run, where, rules, *content))
