"""The bench: a generated chain of any size, run in full, with few changes, and with none.

Each run is a process of its own, as on the command line; its time is that of the whole job, from
the opened database to the last file. Nothing here decides a result of the job.
"""

from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

from pipeline.bench_floor import Memory, cell_floor, floor
from pipeline.database import open_database
from pipeline.demo.bench import REVISIT_DAYS, write_bench, write_revisit
from pipeline.demo.chain import LATEST
from pipeline.progress import Item, Progress
from pipeline.records import Selection
from pipeline.run import Request, run

_SEED = 20260930
_CHANGED_SHARE = 100  # one store in so many changes between the first run and the second
FULL, CHANGED, UNCHANGED = "full", "1 % changed", "unchanged"


@dataclass(frozen=True, slots=True)
class Size:
    """How much the bench generates."""

    stores: int
    stations: int
    readings: int
    labels: int


@dataclass(slots=True)
class Stopwatch:
    """Progress that shows nothing and takes the seconds of every step, in their order."""

    seconds: dict[str, float] = field(default_factory=dict)

    def over(self, items: Iterable[Item], what: str, total: int) -> Iterator[Item]:  # noqa: ARG002 - the protocol's shape
        """Yield the items."""
        yield from items

    @contextmanager
    def during(self, step: str) -> Iterator[None]:
        """Add the time of the block to the step."""
        start = perf_counter()
        yield
        self.seconds[step] = self.seconds.get(step, 0.0) + perf_counter() - start


@dataclass(frozen=True, slots=True)
class Ran:
    """One run: seconds in all and by step, files that stand, most memory held in MiB."""

    total: float
    seconds: Mapping[str, float]
    files: int
    peak_mib: float | None


@dataclass(frozen=True, slots=True)
class Measured:
    """What the bench found: the runs by name, rows of the full run by step, the floors in s.

    `floor` is the least for the same bytes read and as many files; `cell_floor` the least of the
    workbook library for the same cells, without any look.
    """

    runs: Mapping[str, Ran]
    rows: Mapping[str, int]
    changed: int
    floor: Mapping[str, float]
    cell_floor: float

    @property
    def ratio(self) -> float:
        """How many times the floor the full run took."""
        return self.runs[FULL].total / sum(self.floor.values())

    @property
    def cell_ratio(self) -> float:
        """The same against the floor with the workbooks' cells in it."""
        return self.runs[FULL].total / (self.floor["read"] + self.floor["pages"] + self.cell_floor)

    def share(self, name: str) -> float:
        """What part of the full run's time a run took, 0..1."""
        return self.runs[name].total / self.runs[FULL].total


def bench(size: Size, folder: Path | None, progress: Progress) -> Measured:
    """Generate a chain, run the whole job on it and measure; `folder` None: a temporary one."""
    if folder is not None:
        return _measure(size, folder, progress)
    with TemporaryDirectory(prefix="quietaisle-bench-") as temporary:
        return _measure(size, Path(temporary), progress)


def _measure(size: Size, folder: Path, progress: Progress) -> Measured:
    exports = folder / "exports"
    write_bench(
        exports,
        size.stores,
        _SEED,
        stations=size.stations,
        readings=size.readings,
        labels=size.labels,
        progress=progress,
    )
    request = Request(
        exports=exports,
        database=folder / "bench.duckdb",
        out=folder / "reports",
        rules=None,
        rules_folder=None,
        as_of=LATEST + timedelta(days=REVISIT_DAYS),  # one day for all three runs
        selection=Selection(),
    )
    floors = floor(exports, size.stores)
    changed = range(0, size.stores, _CHANGED_SHARE)
    runs = {}
    for name in progress.over((FULL, CHANGED, UNCHANGED), "runs", 3):
        if name is CHANGED:
            write_revisit(
                exports, changed, _SEED, stations=size.stations, readings=size.readings,
                labels=size.labels,
            )  # fmt: skip
        runs[name] = _apart(request)
        if name is FULL:
            rows = _rows(request.database)
    cells = cell_floor(sorted(request.out.rglob("change-plan.xlsx")))
    return Measured(runs, rows, len(changed), floors, cells)


def _rows(database: Path) -> dict[str, int]:
    with open_database(database) as opened:
        return {step: int(count or 0) for step, count in opened.rows("bench", "rows")}


def _apart(request: Request) -> Ran:
    """Run the job in a fresh process and watch how much memory it and its helpers hold."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool, Memory() as memory:
        total, seconds, files = pool.submit(_timed, request).result()
    return Ran(total, seconds, files, memory.peak_mib)


def _timed(request: Request) -> tuple[float, dict[str, float], int]:
    watch = Stopwatch()
    start = perf_counter()
    summary = run(request, watch)
    total = perf_counter() - start
    return total, watch.seconds, 2 * len(summary.written) + len(summary.reviews)
