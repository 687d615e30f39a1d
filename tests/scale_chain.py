"""A small chain in files of one store each, so that tests can add, change and leave out stores."""

import csv
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import duckdb

from pipeline.demo.bench import BenchSize, write_bench
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.run import Request, run

COMPUTED = (
    "computed", "earshot", "ed_evidence", "move", "path_fit", "path_residual", "plan_proof",
    "plan_sensitivity", "block_today", "portfolio_fit", "station_load", "station_plan",
    "unplanned_store", "scan_next",
)  # fmt: skip
SEED = 154


@dataclass(frozen=True)
class File:
    """One export of one store: its heading and its rows."""

    store: str
    kind: str
    heading: Sequence[str]
    rows: Sequence[Sequence[str]]

    def put(self, folder: Path, name: str = "", rows: Sequence[Sequence[str]] = ()) -> Path:
        """Write the file, or other rows under its heading."""
        path = folder / f"{self.store}-{self.kind}{name}.csv"
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("w", encoding="utf-8", newline="") as target:
            csv.writer(target).writerows([self.heading, *(rows or self.rows)])
        return path


def files_of(folder: Path, stores: int) -> tuple[File, ...]:
    """Return the exports of a chain, one file a store and kind, in an order of their own."""
    write_bench(folder, BenchSize(stores, stations=5, readings=8, labels=30), SEED)
    found: dict[tuple[str, str], list[Sequence[str]]] = defaultdict(list)
    headings: dict[str, Sequence[str]] = {}
    for path in sorted(folder.rglob("*.csv")):
        with path.open(encoding="utf-8", newline="") as lines:
            headings[path.stem], *rows = csv.reader(lines)
        place = list(headings[path.stem]).index("Store")
        for row in rows:
            found[row[place], path.stem].append(row)
    return tuple(
        File(store, kind, headings[kind], rows) for (store, kind), rows in sorted(found.items())
    )


def request_of(folder: Path, exports: Path, as_of: date | None = None) -> Request:
    """Return a run of some exports into a folder."""
    return Request(
        exports=exports,
        database=folder / "q.duckdb",
        out=folder / "reports",
        rules=None,
        rules_folder=None,
        as_of=as_of,
        selection=Selection(),
    )


def run_once(files: Iterable[File], folder: Path) -> Request:
    """Put exports into a folder, run them in full, and return the run."""
    for file in files:
        file.put(folder / "exports")
    request = request_of(folder, folder / "exports")
    run(request, Silent())
    return request


def tables_of(path: Path, names: Iterable[str] = COMPUTED) -> dict[str, list[tuple[Any, ...]]]:
    """Return what was surveyed and planned, row by row in a fixed order."""
    with duckdb.connect(str(path), read_only=True) as connection:
        return {name: connection.table(name).order("all").fetchall() for name in names}


def day_of(path: Path) -> date:
    """Return the day the last run of a database spoke of."""
    with duckdb.connect(str(path), read_only=True) as connection:
        (day,) = connection.execute("select as_of from this_run").fetchall()[0]
    assert isinstance(day, date)
    return day


def tree_of(out: Path) -> dict[str, bytes]:
    """Return every file below a folder, those whose names begin with a dot too."""
    return {
        str(path.relative_to(out)): path.read_bytes() for path in out.rglob("*") if path.is_file()
    }


@dataclass
class Watched:
    """Progress that counts how much of each kind of work was to be done."""

    totals: dict[str, int] = field(default_factory=dict)

    def over(self, items: Iterable[Any], what: str, total: int) -> Iterator[Any]:
        """Yield the items and note how many were told of."""
        self.totals[what] = self.totals.get(what, 0) + total
        yield from items

    def during(self, step: str) -> AbstractContextManager[None]:  # noqa: ARG002 - the protocol's shape
        """Go through the step."""
        return nullcontext()
