"""The bench: a generated chain of any size, every step timed, against the least it could take.

The floor is DuckDB's own reader over the same files, plus an empty workbook and an empty page
written by their libraries for every store. Nothing here decides a result of the job.
"""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

from openpyxl import Workbook
from reportlab.pdfgen.canvas import Canvas

from pipeline.check.rules import check
from pipeline.database import Database, open_database
from pipeline.demo.bench import write_bench
from pipeline.ingest.load import ingest
from pipeline.plan.stores import plan
from pipeline.progress import Progress
from pipeline.records import Selection
from pipeline.report.files import report
from pipeline.run import Request, start_run
from pipeline.settings import Settings, load_settings
from pipeline.survey.evidence import survey

_SEED = 20260930
_KILO = 1024


@dataclass(frozen=True, slots=True)
class Size:
    """How much the bench generates."""

    stores: int
    stations: int
    readings: int
    labels: int


@dataclass(slots=True)
class Stopwatch:
    """Seconds by name, in the order they were taken."""

    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def taking(self, name: str) -> Iterator[None]:
        """Add the time of the block to the name."""
        start = perf_counter()
        yield
        self.seconds[name] = self.seconds.get(name, 0.0) + perf_counter() - start


@dataclass(frozen=True, slots=True)
class Measured:
    """What the bench found; seconds by step, rows by step, peak memory in MiB."""

    seconds: dict[str, float]
    rows: dict[str, int]
    floor: dict[str, float]
    files: int
    peak_mib: float | None

    @property
    def ratio(self) -> float:
        """How many times the floor the whole job took."""
        return sum(self.seconds.values()) / sum(self.floor.values())


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
        as_of=None,
        selection=Selection(),
    )
    watch, settings = Stopwatch(), load_settings()
    with open_database(request.database) as database:
        files = _run_timed(database, request, settings, watch, progress)
        rows = {step: int(count or 0) for step, count in database.rows("bench", "rows")}
    peak_mib = _peak_mib()
    return Measured(watch.seconds, rows, _floor(exports, size.stores), files, peak_mib)


def _run_timed(
    database: Database, request: Request, settings: Settings, watch: Stopwatch, progress: Progress
) -> int:
    steps: tuple[tuple[str, Callable[[], object]], ...] = (
        ("ingest", lambda: ingest(database, request.exports or Path(), settings, progress)),
        ("start", lambda: start_run(database, request, settings)),
        ("survey", lambda: survey(database, settings)),
        ("plan", lambda: plan(database, settings, progress)),
        ("check", lambda: check(database, settings)),
    )
    for name, step in steps:
        with watch.taking(name):
            step()
    with watch.taking("report"):
        written, _ = report(database, settings, request.out, request.selection, progress)
    return 2 * len(written)


def _floor(exports: Path, stores: int) -> dict[str, float]:
    watch = Stopwatch()
    with TemporaryDirectory() as temporary, open_database(Path(temporary) / "f.duckdb") as database:
        with watch.taking("read"):
            for path in sorted(exports.rglob("*.csv")):
                database.run("bench", "floor", {"path": str(path)})
        with watch.taking("write"):
            for store in range(stores):
                (Path(temporary) / f"{store}.xlsx").write_bytes(_least_workbook())
                (Path(temporary) / f"{store}.pdf").write_bytes(_least_page())
    return watch.seconds


def _least_workbook() -> bytes:
    buffer = BytesIO()
    Workbook().save(buffer)
    return buffer.getvalue()


def _least_page() -> bytes:
    buffer = BytesIO()
    canvas = Canvas(buffer)
    canvas.drawString(72, 720, "floor")
    canvas.save()
    return buffer.getvalue()


def _peak_mib() -> float | None:
    """Return the most memory this process has held, in MiB; None where no system call tells."""
    if sys.platform == "win32":
        return None
    import resource  # noqa: PLC0415 - not on every system

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (_KILO * _KILO if sys.platform == "darwin" else _KILO)
