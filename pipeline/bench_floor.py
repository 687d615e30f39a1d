"""The least the job could take, and how much memory a run holds: what the bench measures against.

The floor is DuckDB's own reader over the same files, plus the workbook and page libraries writing
as many files with next to nothing in them, one after the other.
"""

import os
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event, Thread
from time import perf_counter
from types import TracebackType
from typing import Any, Self

from openpyxl import Workbook, load_workbook
from reportlab.pdfgen.canvas import Canvas

from pipeline.database import open_database

_PROCESSES = Path("/proc")
_EVERY_S = 0.1
_MIB = 1 << 20
_SAMPLED = 20  # workbooks whose cells are written anew to know the least for all of them


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
            (room / f"{store}.xlsx").write_bytes(_least_workbook())
        workbooks = perf_counter()
        for store in range(stores):
            (room / f"{store}.pdf").write_bytes(_least_page())
        pages = perf_counter()
    return {"read": read - start, "workbooks": workbooks - read, "pages": pages - workbooks}


def cell_floor(paths: Sequence[Path]) -> float:
    """Return the seconds the library needs at least for workbooks of the same cells.

    Values only, no look, no width: some of the workbooks, spread over all, are read and written
    anew, and the time is scaled to all.
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


def _least_workbook() -> bytes:
    return _saved(Workbook())


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
    """Watches the memory of all processes below this one; nothing where the system does not tell.

    Resident pages are added up over the processes ten times a second; pages they share count for
    each of them, so the figure errs to the high side.
    """

    def __init__(self) -> None:
        self._peak = 0
        self._over = Event()
        self._thread = Thread(target=self._watch, daemon=True)

    @property
    def peak_mib(self) -> float | None:
        """The most held at a time, in MiB."""
        return self._peak / _MIB if self._peak else None

    def __enter__(self) -> Self:
        """Begin to watch."""
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
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
