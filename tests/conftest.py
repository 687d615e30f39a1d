"""What all tests share."""

import gc
import os
import shutil
import sys
import tempfile
from datetime import date
from functools import wraps
from pathlib import Path
from typing import Any

import duckdb
import pytest
from hypothesis import settings

# Before anything loads numpy: threads only get in each other's way on small matrices.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Programs that tests start, and tests of the next run, need not be compiled again each time.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

from demo_run import Ran, ran_once

from pipeline import run

CHECKOUT = Path(__file__).parents[1]
sys.dont_write_bytecode = False

# Every commit waits for the disk; where there is room for all of them, databases are in memory.
_MEMORY = Path("/dev/shm")  # noqa: S108 - pytest makes a folder of its own in it
if _MEMORY.is_dir() and "TMPDIR" not in os.environ and shutil.disk_usage(_MEMORY).free > 4 << 30:
    os.environ["TMPDIR"] = tempfile.tempdir = str(_MEMORY)

# A busy machine must not fail a property; its speed is measured elsewhere.
settings.register_profile("quietaisle", deadline=None)
settings.load_profile("quietaisle")


# Exports of tests are dated as they like; tests of the clock set one of their own.
run.today = lambda: date(2031, 1, 1)


# Files that take longest, in that order, so that none of them ends alone; the second one makes the
# run of the demo that others wait for.
_LONGEST = (
    "test_scale.py", "test_audit_round.py", "test_check_rules.py", "test_survey.py",
    "test_plan_held.py", "test_begin.py", "test_fresh.py", "test_survey_decision.py",
    "test_first_hour.py", "test_ingest_days.py", "test_changes_round_trip.py", "test_commands.py",
    "test_changes_verify.py", "test_run_final.py", "test_run.py", "test_ingest_notation.py",
    "test_inventory.py", "test_report_region.py", "test_match.py", "test_migrations.py",
    "test_bench.py", "test_scale_storage.py", "test_changes_forms.py", "test_next_door_run.py",
    "test_estimate_bench.py", "test_check_cases.py",
)  # fmt: skip


def pytest_configure(config: pytest.Config) -> None:
    """Give each database of the default run one thread: it has a worker a processor already.

    A second one waits for work that small stores do not have, which took a fifth of the run. The
    slow set keeps a thread a processor, and so do the programs that tests start.
    """
    if config.getoption("markexpr") == "not slow":
        alone = duckdb.connect

        @wraps(alone)
        def connect(
            database: str | Path = ":memory:",
            read_only: bool = False,
            config: dict[str, Any] | None = None,
        ) -> duckdb.DuckDBPyConnection:
            return alone(database, read_only=read_only, config={"threads": 1, **(config or {})})

        duckdb.connect = connect


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest."""
    place = {name: at for at, name in enumerate(_LONGEST)}
    items.sort(key=lambda item: place.get(item.path.name, len(place)))


def pytest_collection_finish() -> None:
    """Take what is there by now, all tests and libraries, out of every search for garbage.

    And search seldom, as the program does while it works.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, *gc.get_threshold()[1:])


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Return the folder of open data beside the checkout, or skip the test."""
    folder = CHECKOUT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip(f"no open data beside the checkout: {folder} is not there")
    return folder


def _shared(factory: pytest.TempPathFactory, name: str) -> Path:
    """Return a folder that all workers of the session share."""
    folder = factory.getbasetemp()
    return (folder.parent if "PYTEST_XDIST_WORKER" in os.environ else folder) / name


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """Return the job done once on the demo for the whole session.

    Workers share it, so a test takes a copy before it opens the database.
    """
    return ran_once(_shared(tmp_path_factory, "demo-run"))


@pytest.fixture(scope="session")
def four_run(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """Return the job done once on four small stores (`files_of`), shared as the demo's is."""
    folder = _shared(tmp_path_factory, "four-run")
    return ran_once(folder, folder / "exports")


@pytest.fixture(scope="session")
def two_run(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """Return the same on two small stores, for tests that do the job several times over."""
    folder = _shared(tmp_path_factory, "two-run")
    return ran_once(folder, folder / "exports", 2)
