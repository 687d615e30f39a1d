"""The bench runs the real job three times and says what it took; the acceptance runs are slow."""

import re
import sys
from io import StringIO
from pathlib import Path

import polars as pl
import pytest
from rich.console import Console
from scale_chain import tree_of

from pipeline.bench import (
    CHANGED,
    FULL,
    UNCHANGED,
    BenchResult,
    BenchRun,
    Memory,
    Stopwatch,
    bench,
    cell_floor,
    floor,
)
from pipeline.demo.bench import BenchSize, write_bench, write_revisit
from pipeline.progress import Silent
from pipeline.terminal import show_bench

SIZE = BenchSize(stores=3, stations=3, readings=4, labels=20)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the folder the bench works in."""
    return tmp_path_factory.mktemp("bench")


@pytest.fixture(scope="module")
def measured(folder: Path) -> BenchResult:
    """Give the bench of a very small chain."""
    return bench(SIZE, folder, Silent())


def test_every_step_of_every_run_is_timed(measured: BenchResult) -> None:
    """The steps stand in the order of the job and add up to not quite the whole run."""
    assert list(measured.runs) == [FULL, CHANGED, UNCHANGED]
    steps = ["ingest", "start", "survey", "verify", "plan", "check", "report", "audit", "reviews"]
    worked_out = {"survey", "verify", "plan", "check"}
    for name, run in measured.runs.items():
        skipped = worked_out if name is UNCHANGED else set()
        assert list(run.seconds) == [step for step in steps if step not in skipped]
        assert all(seconds > 0 for seconds in run.seconds.values())
        assert sum(run.seconds.values()) <= run.total
    full = measured.runs[FULL]
    assert sum(full.seconds.values()) > 0.5 * full.total


def test_rows_and_files_are_those_of_the_chain(measured: BenchResult, folder: Path) -> None:
    """Rows of the main tables follow from the size; every file told of is there."""
    assert measured.rows["survey"] == SIZE.stores * SIZE.stations * 16
    assert measured.rows["plan"] == SIZE.stores * SIZE.stations
    readings = SIZE.stores * SIZE.stations * 16 * SIZE.readings
    labels = SIZE.stores * SIZE.labels
    assert measured.rows["ingest"] > readings + labels
    files = [name for name in tree_of(folder / "reports") if "quarantine" not in name]
    assert {run.files for run in measured.runs.values()} == {len(files)}
    assert measured.changed == 1


def test_the_ratio_is_the_full_run_over_the_floor(measured: BenchResult) -> None:
    """Floors are times of their own, all above nothing; shares are of the full run."""
    assert list(measured.floor) == ["read", "workbooks", "pages"]
    assert all(seconds > 0 for seconds in measured.floor.values())
    assert measured.cell_floor > 0
    total = measured.runs[FULL].total
    assert measured.ratio == pytest.approx(total / sum(measured.floor.values()))
    assert measured.share(UNCHANGED) == pytest.approx(measured.runs[UNCHANGED].total / total)
    assert measured.share(FULL) == 1


def test_the_last_line_is_the_ratio(measured: BenchResult) -> None:
    """`ratio to floor: R` ends what is printed, so that a script can read it."""
    console = Console(width=160, record=True, file=StringIO())
    show_bench(console, measured)
    lines = console.export_text().strip().splitlines()

    assert re.fullmatch(r"ratio to floor: \d+\.\d\d", lines[-1].strip())
    for step in measured.runs[FULL].seconds:
        assert any(line.startswith(step) for line in lines)


@pytest.mark.skipif(sys.platform != "linux", reason="only there a system file tells")
def test_memory_of_the_whole_run_is_watched(measured: BenchResult) -> None:
    """A run that loads this program's libraries holds tens of MiB at least."""
    for run in measured.runs.values():
        assert run.peak_mib is not None
        assert 40 < run.peak_mib < 2048


def test_nothing_below_nothing() -> None:
    """A process without children is told to hold nothing below it, which is no figure."""
    with Memory() as memory:
        pass
    assert memory.peak_mib is None


def test_a_stopwatch_adds_up() -> None:
    """A step gone through twice has the time of both; items pass unchanged."""
    watch = Stopwatch()
    for _ in range(2):
        with watch.during("one"):
            assert list(watch.over([1, 2], "items", 2)) == [1, 2]
    with watch.during("other"):
        pass

    assert list(watch.seconds) == ["one", "other"]
    assert watch.seconds["one"] > 0


def test_stores_of_a_revisit_send_another_channel_and_new_scans(tmp_path: Path) -> None:
    """Only the stores named are in it, a week later, the first station on the next channel."""
    size = BenchSize(4, stations=3, readings=4, labels=5)
    write_bench(tmp_path, size, 7)
    write_revisit(tmp_path, [1, 3], size, 7)
    first = pl.read_csv(tmp_path / "part-0001" / "stations.csv")
    again = pl.read_csv(tmp_path / "revisit" / "stations.csv")
    both = first.join(again, on=["Store", "Station"], suffix=" now")

    assert again["Store"].n_unique() == 2
    assert both.height == again.height == 6
    moved = both.filter(pl.col("Channel") != pl.col("Channel now"))
    assert moved["Station"].str.slice(-2).to_list() == ["01", "01"]
    assert set(both["Exported on now"]) == {"2026-10-07"}
    scans = pl.read_csv(tmp_path / "revisit" / "ed_readings.csv")
    assert scans.height == 2 * 3 * 16 * 4
    assert scans["Scanned at"].str.slice(0, 10).min() == "2026-10-03"


def test_floors_of_nothing_are_nothing(tmp_path: Path) -> None:
    """Without workbooks there are no cells to write, and an empty folder has nothing to read."""
    assert cell_floor([]) == 0
    assert set(floor(tmp_path, 0)) == {"read", "workbooks", "pages"}


def test_shares_come_from_the_totals() -> None:
    """A run of a fiftieth of the full time is 2 %."""
    runs = {
        name: BenchRun(total, {}, 0, None)
        for name, total in ((FULL, 50.0), (CHANGED, 2.5), (UNCHANGED, 1.0))
    }
    found = BenchResult(runs, {}, 1, {"read": 5.0, "workbooks": 10.0, "pages": 5.0}, 40.0)

    assert found.share(CHANGED) == 0.05
    assert found.share(UNCHANGED) == 0.02
    assert found.ratio == 2.5
    assert found.cell_ratio == 1.0


@pytest.mark.slow
def test_a_chain_of_a_thousand_stores_keeps_its_bounds() -> None:
    """1,000 stores of 8 stations: little is done again where little changed, in bounded memory."""
    found = bench(BenchSize(1000), None, Silent())

    assert found.share(CHANGED) <= 0.05
    assert found.share(UNCHANGED) <= 0.02
    peak_mib = found.runs[FULL].peak_mib
    assert peak_mib is not None
    assert peak_mib < 2048
