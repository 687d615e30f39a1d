"""Runs done once for a whole test session, whichever worker needs them first."""

import pickle
import shutil
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
from filelock import FileLock
from scale_chain import files_of, request_of

from pipeline.demo.__main__ import follow_up
from pipeline.demo.air import CHANNELS
from pipeline.demo.exports import tables_of, write_files
from pipeline.demo.records import Scan
from pipeline.progress import Silent
from pipeline.records import RunSummary
from pipeline.run import Request, run

SAMPLE = Path(__file__).resolve().parents[1] / "sample_exports"
FOUR = 4
PLANS_READ = ("change_story", "station_then", "channel_refused", "station_bound")
"""Views to hold while the cases of many stores are read, as `pipeline.plan.stores.plan` does."""

_LOUD_DBM = -58
_EVERY = 3  # of the scans of a station that met new noise, one in so many hears it


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


def write_follow_up(
    folder: Path, day: date, channels: Mapping[str, int], noisy: Collection[str] = ()
) -> None:
    """Write the exports of one more day below `folder`, otherwise those of the demo's latest.

    Args:
        folder: gets the exports.
        day: of the snapshot, after the demo's latest.
        channels: the stations that were put on another channel, with it.
        noisy: stations that meet new outside noise on the channel they are on by then.
    """
    seen = follow_up(day, channels)
    loud = {s.station: s.channel for s in seen.stations if s.station in noisy}
    heard = replace(seen, scans=tuple(_noisier(seen.scans, loud)))
    write_files(tables_of(heard, (day,)), folder)


def _noisier(scans: Sequence[Scan], loud: Mapping[str, int]) -> Iterator[Scan]:
    """Yield the scans, every third of a station under new noise with a loud level."""
    numbers: Counter[str] = Counter()
    for scan in scans:
        number, numbers[scan.store] = numbers[scan.store], numbers[scan.store] + 1
        channel = loud.get(scan.station)
        if channel is None or number % _EVERY:
            yield scan
        else:
            levels = list(scan.levels)
            levels[channel - CHANNELS[0]] = _LOUD_DBM
            yield replace(scan, levels=tuple(levels))
