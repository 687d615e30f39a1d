"""Runs done once for a whole test session, whichever worker needs them first."""

import pickle
import shutil
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import duckdb
from filelock import FileLock
from scale_chain import files_of, request_of

from pipeline.progress import Silent
from pipeline.records import RunSummary
from pipeline.run import Request, run

SAMPLE = Path(__file__).resolve().parents[1] / "sample_exports"
FOUR = 4


@dataclass(frozen=True)
class Ran:
    """A finished run and where it happened."""

    request: Request
    summary: RunSummary

    def rows(self, query: str, values: list[object] | None = None) -> list[tuple[Any, ...]]:
        """Return the rows of a query on the run's database."""
        with duckdb.connect(str(self.request.database), read_only=True) as connection:
            return connection.execute(query, values).fetchall()

    def copied(self, folder: Path, *, reports: bool) -> "Ran":
        """Return the same run with a database of its own and, where asked for, reports of its own.

        The reports it shares are not to be changed.
        """
        database, out = folder / "q.duckdb", self.request.out
        shutil.copy(self.request.database, database)
        if reports:
            out = shutil.copytree(out, folder / "reports")
        return Ran(replace(self.request, database=database, out=out), self.summary)


def ran_once(folder: Path, exports: Path = SAMPLE, stores: int = FOUR) -> Ran:
    """Return a run of some exports in a folder; the first to ask makes it, the others wait for it.

    Exports of a folder that is not there are written first: those of so many small stores.
    """
    folder.mkdir(exist_ok=True)
    request = request_of(folder, exports)
    kept = folder / "summary.pickle"
    with FileLock(folder / "lock"):
        if not exports.exists():
            for file in files_of(folder / "pool", stores):
                file.put(exports)
        if not kept.exists():
            kept.write_bytes(pickle.dumps(run(request, Silent())))
    return Ran(request, pickle.loads(kept.read_bytes()))  # noqa: S301 - written above
