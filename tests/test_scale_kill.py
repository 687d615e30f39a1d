"""Runs killed at any moment: no half-written file is ever seen, and the next run finishes it."""

import os
import random
import shutil
import sys
import time
from dataclasses import dataclass
from multiprocessing.process import BaseProcess
from pathlib import Path

import pytest
from demo_run import Ran
from scale_chain import files_of, run_once, tables_of, tree_of
from started import PATIENCE_S, ended, killed, started

from pipeline.bench import children
from pipeline.run import Request

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="a process cannot be killed -9")

_LOOKED_EVERY_S = 0.002


@dataclass(frozen=True)
class Undisturbed:
    """A chain's exports and what a run nobody disturbed makes of them."""

    exports: Path
    tables: dict[str, list[tuple[object, ...]]]
    tree: dict[str, bytes]


def undisturbed(request: Request) -> Undisturbed:
    """Return what a run came to that is over."""
    assert request.exports is not None
    return Undisturbed(request.exports, tables_of(request.database), tree_of(request.out))


@pytest.fixture(scope="module")
def small(two_run: Ran) -> Undisturbed:
    """Give two stores, done by one process."""
    return undisturbed(two_run.request)


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Undisturbed:
    """Give so many stores that several processes write reports."""
    folder = tmp_path_factory.mktemp("large")
    return undisturbed(run_once(files_of(folder / "pool", 56), folder))


def seen(out: Path) -> dict[str, bytes]:
    """Return the files a person sees: hidden ones are not finished, and say so by their name."""
    return {name: octets for name, octets in tree_of(out).items() if "/." not in f"/{name}"}


def start(chain: Undisturbed, folder: Path) -> BaseProcess:
    """Start a run of the whole job in a process of its own."""
    where = ("--database", str(folder / "q.duckdb"), "--out", str(folder / "reports"))
    return started(("run", str(chain.exports), *where), Path(__file__).parents[1])


def files_in(out: Path) -> int:
    """Count all files there are by now, hidden ones too."""
    return sum(len(names) for _, _, names in os.walk(out))


def kill_when(process: BaseProcess, out: Path, files: int, delay_s: float) -> bool:
    """Kill the process once so many files are there and a moment has passed; False: it was done."""
    until = time.monotonic() + PATIENCE_S
    while files_in(out) < files and process.is_alive():
        assert time.monotonic() < until
        time.sleep(_LOOKED_EVERY_S)
    time.sleep(delay_s)
    below = children(process.pid or 0)
    dead = killed(process)
    while any(Path(f"/proc/{child}").exists() for child in below):  # they end by themselves
        assert time.monotonic() < until
        time.sleep(_LOOKED_EVERY_S)
    return dead


def kill_many(chain: Undisturbed, folder: Path, kills: int, seed: int) -> None:
    """Kill runs at moments by chance, mostly while reports are written, until so many are dead."""
    chance = random.Random(seed)
    out, dead = folder / "reports", 0
    while dead < kills:
        if chance.random() < 0.2:
            files, delay_s = 0, chance.uniform(0, 4)  # anywhere in the job
        else:
            files, delay_s = chance.randint(1, len(chain.tree)), chance.uniform(0, 0.1)
        dead += kill_when(start(chain, folder), out, files, delay_s)
        for name, octets in seen(out).items():
            assert chain.tree[name] == octets, f"{name} after {dead} kills"
        if seen(out) == chain.tree:
            shutil.rmtree(out)  # all is there: begin with the reports again
    assert ended(start(chain, folder)) in {0, 1}
    assert tree_of(out) == chain.tree
    assert tables_of(folder / "q.duckdb") == chain.tables


def test_a_run_killed_once_is_finished_as_if_nobody_had(small: Undisturbed, tmp_path: Path) -> None:
    """What is seen after the kill is whole and right; at the end all is as undisturbed."""
    kill_many(small, tmp_path, 1, 5)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_runs_killed_a_hundred_times_finish_as_if_nobody_had(
    small: Undisturbed, tmp_path: Path, seed: int
) -> None:
    """The same, four times twenty-five kills."""
    kill_many(small, tmp_path, 25, seed)


@pytest.mark.slow
def test_runs_of_several_processes_are_killed_whole(large: Undisturbed, tmp_path: Path) -> None:
    """Helpers end with the process that started them, so none writes into the next run."""
    kill_many(large, tmp_path, 20, 9)
