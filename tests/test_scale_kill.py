"""Runs killed at any moment: no half-written file is ever seen, and the next run finishes it."""

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import pytest
from scale_chain import files_of, request_of, tables_of, tree_of

from pipeline.bench import children
from pipeline.progress import Silent
from pipeline.run import run

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="a process cannot be killed -9")

_PROGRAM = "from pipeline.cli import main; main()"
_PATIENCE_S = 120
_LOOKED_EVERY_S = 0.002


@dataclass(frozen=True)
class Undisturbed:
    """A chain's exports and what a run nobody disturbed makes of them."""

    exports: Path
    tables: dict[str, list[tuple[object, ...]]]
    tree: dict[str, bytes]


def undisturbed(folder: Path, stores: int) -> Undisturbed:
    """Run a chain of so many stores once, start to end."""
    for file in files_of(folder / "pool", stores):
        file.put(folder / "exports")
    request = request_of(folder / "whole", folder / "exports")
    run(request, Silent())
    return Undisturbed(folder / "exports", tables_of(request.database), tree_of(request.out))


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Undisturbed:
    """Give four stores, done by one process."""
    return undisturbed(tmp_path_factory.mktemp("small"), 4)


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Undisturbed:
    """Give so many stores that several processes write reports."""
    return undisturbed(tmp_path_factory.mktemp("large"), 56)


def seen(out: Path) -> dict[str, bytes]:
    """Return the files a person sees: hidden ones are not finished, and say so by their name."""
    return {name: octets for name, octets in tree_of(out).items() if "/." not in f"/{name}"}


def start(chain: Undisturbed, folder: Path) -> subprocess.Popen[bytes]:
    """Start a run of the whole job in a process of its own."""
    command = [
        sys.executable, "-c", _PROGRAM, "run", str(chain.exports),
        "--database", str(folder / "q.duckdb"), "--out", str(folder / "reports"),
    ]  # fmt: skip
    return subprocess.Popen(
        command,
        cwd=Path(__file__).parents[1],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def files_in(out: Path) -> int:
    """Count all files there are by now, hidden ones too."""
    return sum(len(names) for _, _, names in os.walk(out))


def kill_when(process: subprocess.Popen[bytes], out: Path, files: int, delay_s: float) -> bool:
    """Kill the process once so many files are there and a moment has passed; False: it was done."""
    until = time.monotonic() + _PATIENCE_S
    while files_in(out) < files and process.poll() is None:
        assert time.monotonic() < until
        time.sleep(_LOOKED_EVERY_S)
    time.sleep(delay_s)
    below = children(process.pid)
    process.send_signal(signal.SIGKILL)
    killed = process.wait(_PATIENCE_S) == -signal.SIGKILL
    while any(Path(f"/proc/{child}").exists() for child in below):  # they end by themselves
        assert time.monotonic() < until
        time.sleep(_LOOKED_EVERY_S)
    return killed


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
    assert start(chain, folder).wait(_PATIENCE_S) in {0, 1}
    assert tree_of(out) == chain.tree
    assert tables_of(folder / "q.duckdb") == chain.tables


def test_runs_killed_a_few_times_finish_as_if_nobody_had(
    small: Undisturbed, tmp_path: Path
) -> None:
    """What is seen after each kill is whole and right; at the end all is as undisturbed."""
    kill_many(small, tmp_path, 4, 5)


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
