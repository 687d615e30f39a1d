"""Time the whole job on a generated chain: a full run, one with few changes, one with none.

Each run is a process of its own, as on the command line, timed from opening the database to the
last file. The floor is the least the job could take: DuckDB reads the same files, and the workbook
and page libraries write as many nearly empty ones, one after the other.
"""

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from io import BytesIO
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event, Thread
from time import perf_counter
from typing import Any, Self

from openpyxl import Workbook, load_workbook
from reportlab.pdfgen.canvas import Canvas

from pipeline.database import open_database
from pipeline.demo.bench import REVISIT_DAYS, BenchSize, write_bench, write_revisit
from pipeline.demo.chain import LATEST
from pipeline.progress import Item, Progress
from pipeline.records import Selection
from pipeline.run import Request, run

FULL, CHANGED, UNCHANGED = "full", "1 % changed", "unchanged"
_SEED = 20260930
_CHANGED_SHARE = 100  # one store in so many changes between the first run and the second
_PROCESSES = Path("/proc")
_EVERY_S = 0.1
_MIB = 1 << 20
_SAMPLED = 20  # workbooks whose cells are written anew to estimate the least for all of them


@dataclass(slots=True)
class Stopwatch:
    """Progress that shows nothing but times every step, in their order."""

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
class BenchRun:
    """One run: seconds in all and by step, number of files up to date, peak memory in MiB."""

    total: float
    seconds: Mapping[str, float]
    files: int
    peak_mib: float | None


@dataclass(frozen=True, slots=True)
class BenchResult:
    """What the bench found: the runs by name, rows of the full run by step, the floors in s.

    `floor` is the least time to read the same bytes and write as many files; `cell_floor` the
    least openpyxl needs for workbooks with the same cells, unstyled.
    """

    runs: Mapping[str, BenchRun]
    rows: Mapping[str, int]
    changed: int
    floor: Mapping[str, float]
    cell_floor: float

    @property
    def ratio(self) -> float:
        """The full run as a multiple of the floor."""
        return self.runs[FULL].total / sum(self.floor.values())

    @property
    def cell_ratio(self) -> float:
        """The full run as a multiple of the floor that writes the same cells."""
        return self.runs[FULL].total / (self.floor["read"] + self.floor["pages"] + self.cell_floor)

    def share(self, name: str) -> float:
        """Return a run's time as a share of the full run's, 0..1."""
        return self.runs[name].total / self.runs[FULL].total


def bench(size: BenchSize, folder: Path | None, progress: Progress) -> BenchResult:
    """Generate a chain, run the whole job on it and measure, in `folder` or a temporary one."""
    if folder is not None:
        return _measure(size, folder, progress)
    with TemporaryDirectory(prefix="quietaisle-bench-") as temporary:
        return _measure(size, Path(temporary), progress)


def _measure(size: BenchSize, folder: Path, progress: Progress) -> BenchResult:
    exports = folder / "exports"
    write_bench(exports, size, _SEED, progress)
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
            write_revisit(exports, changed, size, _SEED)
        runs[name] = _apart(request)
        if name is FULL:
            rows = _rows(request.database)
    cells = cell_floor(sorted(request.out.rglob("change-plan.xlsx")))
    return BenchResult(runs, rows, len(changed), floors, cells)


def _rows(database: Path) -> dict[str, int]:
    with open_database(database) as opened:
        return {step: int(count or 0) for step, count in opened.mapping("bench", "rows").items()}


def _apart(request: Request) -> BenchRun:
    """Run the job in a fresh process and watch the memory it and its helpers hold."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool, Memory() as memory:
        total, seconds, files = pool.submit(_timed, request).result()
    return BenchRun(total, seconds, files, memory.peak_mib)


def _timed(request: Request) -> tuple[float, dict[str, float], int]:
    watch = Stopwatch()
    start = perf_counter()
    summary = run(request, watch)
    total = perf_counter() - start
    return total, watch.seconds, 2 * len(summary.written) + len(summary.reviews)


def floor(exports: Path, stores: int) -> dict[str, float]:
    """Return the seconds of reading the exports and of writing so many workbooks and pages."""
    with TemporaryDirectory() as temporary:
        room = Path(temporary)
        start = perf_counter()
        with open_database(room / "floor.duckdb") as database:
            for path in sorted(exports.rglob("*.csv")):
                database.run("bench", "floor", {"path": str(path)})
        read = perf_counter()
        for store in range(stores):
            (room / f"{store}.xlsx").write_bytes(_saved(Workbook()))
        workbooks = perf_counter()
        for store in range(stores):
            (room / f"{store}.pdf").write_bytes(_least_page())
        pages = perf_counter()
    return {"read": read - start, "workbooks": workbooks - read, "pages": pages - workbooks}


def cell_floor(paths: Sequence[Path]) -> float:
    """Return the least seconds openpyxl needs to write workbooks with the same cells.

    Values only, without styles or widths. A sample of the workbooks is read and written anew, and
    its time scaled up to all of them.
    """
    sample = paths[:: max(1, len(paths) // _SAMPLED)]
    cells = [_cells(path) for path in sample]
    start = perf_counter()
    for sheets in cells:
        _plain_workbook(sheets)
    return (perf_counter() - start) / max(1, len(cells)) * len(paths)


def _cells(path: Path) -> list[list[tuple[Any, ...]]]:
    book = load_workbook(path, read_only=True)
    try:
        return [list(sheet.iter_rows(values_only=True)) for sheet in book.worksheets]
    finally:
        book.close()


def _plain_workbook(sheets: Sequence[Sequence[tuple[Any, ...]]]) -> bytes:
    book = Workbook()
    for rows in sheets:
        sheet = book.create_sheet()
        for row in rows:
            sheet.append(row)
    return _saved(book)


def _saved(book: Workbook) -> bytes:
    buffer = BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _least_page() -> bytes:
    buffer = BytesIO()
    canvas = Canvas(buffer)
    canvas.drawString(72, 720, "floor")
    canvas.save()
    return buffer.getvalue()


class Memory:
    """Watch the memory of all processes below this one, where the system tells (Linux).

    Ten times a second the resident pages of the processes are added up. Pages they share count
    for each of them, so the figure errs on the high side.
    """

    def __init__(self) -> None:
        self._peak = 0
        self._over = Event()
        self._thread = Thread(target=self._watch, daemon=True)

    @property
    def peak_mib(self) -> float | None:
        """The most held at one time, in MiB; None where the system does not tell."""
        return self._peak / _MIB if self._peak else None

    def __enter__(self) -> Self:
        """Begin to watch."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop watching."""
        self._over.set()
        self._thread.join()

    def _watch(self) -> None:
        while _PROCESSES.is_dir() and not self._over.wait(_EVERY_S):
            below = sum(_resident(child) for child in children(os.getpid()))
            self._peak = max(self._peak, below)


def children(process: int) -> list[int]:
    """Return the processes a process started, where the system tells."""
    found: list[int] = []
    for path in sorted((_PROCESSES / str(process) / "task").glob("*/children")):
        try:
            found.extend(map(int, path.read_text(encoding="ascii").split()))
        except OSError:
            continue
    return found


def _resident(process: int) -> int:
    """Return the bytes a process and all below it hold."""
    try:
        pages = int((_PROCESSES / str(process) / "statm").read_text(encoding="ascii").split()[1])
    except (OSError, IndexError, ValueError):
        return 0  # it has just ended
    return pages * os.sysconf("SC_PAGE_SIZE") + sum(map(_resident, children(process)))
