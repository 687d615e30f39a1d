"""A full disk or a lost folder ends in one sentence and status 2, with nothing half done."""

import errno
import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import duckdb
import pytest
from demo_run import Ran
from scale_chain import tables_of, tree_of

from pipeline import cli
from pipeline.database import open_database
from pipeline.errors import StorageFailed
from pipeline.progress import Silent
from pipeline.run import run
from pipeline.tables.run import RulesKept

_PROGRAM = "from pipeline.cli import main; main()"


@pytest.fixture(scope="module")
def exports(two_run: Ran) -> Path:
    """Give the exports of two stores."""
    return two_run.request.exports or Path()


def command(exports: Path, database: Path, out: Path) -> list[str]:
    """Return the words of a run."""
    return ["run", str(exports), "--database", str(database), "--out", str(out)]


@contextmanager
def small_disk(folder: Path, size_kib: int) -> Iterator[Callable[[int], None]]:
    """Give a disk of a size, and a way to make it larger; skip where none can be mounted."""
    folder.mkdir()

    def mount(options: str) -> int:
        words = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
        return subprocess.run(words, check=False, capture_output=True).returncode

    if sys.platform != "linux" or mount(f"size={size_kib}k"):
        pytest.skip("mounting a small disk takes Linux and the rights of root")
    try:
        yield lambda kib: None if not mount(f"remount,size={kib}k") else pytest.fail("remount")
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def one_sentence(words: list[str]) -> str:
    """Run the program; return what it says on its way out, which is one line and status 2."""
    done = subprocess.run(
        [sys.executable, "-c", _PROGRAM, *words],
        check=False, capture_output=True, text=True, cwd=Path(__file__).parents[1],
    )  # fmt: skip
    assert done.returncode == 2, done.stderr
    assert len(done.stderr.splitlines()) == 1, done.stderr
    assert "Traceback" not in done.stderr
    return done.stderr


@pytest.mark.parametrize(
    "size_kib", [300, *(pytest.param(kib, marks=pytest.mark.slow) for kib in (150, 450))]
)
def test_a_database_on_a_full_disk_says_so_and_goes_on_once_there_is_room(
    size_kib: int, two_run: Ran, exports: Path, tmp_path: Path
) -> None:
    """The same as undisturbed comes out of the next run."""
    whole = two_run.request
    disk, out = tmp_path / "disk", tmp_path / "reports"
    with small_disk(disk, size_kib) as enlarge:
        told = one_sentence(command(exports, disk / "q.duckdb", out))
        assert "make room" in told
        enlarge(64_000)
        run(replace(whole, database=disk / "q.duckdb", out=out), Silent())
        assert tables_of(disk / "q.duckdb") == tables_of(whole.database)
    assert tree_of(out) == tree_of(whole.out)


def test_reports_on_a_full_disk_leave_whole_files_alone(
    two_run: Ran, exports: Path, tmp_path: Path
) -> None:
    """No part of a file is left, and what is there is what an undisturbed run puts there."""
    wanted = tree_of(two_run.request.out)
    judged = two_run.copied(tmp_path, reports=False).request
    with small_disk(tmp_path / "disk", 60) as enlarge:
        out = tmp_path / "disk" / "reports"
        one_sentence(command(exports, judged.database, out))
        assert tree_of(out).items() <= wanted.items()
        enlarge(64_000)
        run(replace(judged, out=out), Silent())
        assert tree_of(out) == wanted


def ended(words: list[str], monkeypatch: pytest.MonkeyPatch) -> int:
    """Run the program in this process and return its status."""
    monkeypatch.setattr(sys, "argv", ["quietaisle", *words])
    with pytest.raises(SystemExit) as stop:
        cli.main()
    assert isinstance(stop.value.code, int)
    return stop.value.code


@pytest.mark.parametrize(
    "number",
    [errno.ESTALE, *(pytest.param(n, marks=pytest.mark.slow) for n in (errno.EIO, errno.ENOTCONN))],
)
def test_a_lost_network_folder_says_so(
    number: int,
    two_run: Ran,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Whatever file it is at: the report, or one that no step answers for."""

    def lost(*_: object) -> None:
        raise OSError(number, "gone", "/mnt/share")

    judged = two_run.copied(tmp_path, reports=False).request
    words = command(judged.exports or Path(), judged.database, tmp_path / "out")
    for place, name in ((os, "replace"), (cli, "run")):
        with monkeypatch.context() as patched:
            patched.setattr(place, name, lost)
            assert ended(words, monkeypatch) == 2
        told = capsys.readouterr().err
        assert len(told.splitlines()) == 1
        assert "gone" in told
    assert not [name for name in tree_of(tmp_path / "out") if ".part" in name]


def half_done(path: Path, error: Exception) -> None:
    """Put a row in and fail before it is kept."""
    with open_database(path) as database, database.transaction():
        database.put(RulesKept, [RulesKept("half done")])
        raise error


def test_a_commit_that_fails_keeps_nothing(tmp_path: Path) -> None:
    """Every way in which the database says that it cannot write is the same sentence."""
    path = tmp_path / "q.duckdb"
    for error in (
        duckdb.IOException("Could not write file: No space left on device"),
        duckdb.TransactionException("Failed to commit: Could not write file"),
        duckdb.FatalException("database has been invalidated"),
    ):
        with pytest.raises(StorageFailed, match="run again"):
            half_done(path, error)
        with open_database(path) as database:
            assert database.every(RulesKept) == []
    with pytest.raises(duckdb.BinderException), open_database(path):
        raise duckdb.BinderException("our own fault")


def test_the_sentence_comes_out_of_a_helper_process() -> None:
    """It can be pickled, as whatever a helper raises must be."""
    error = pickle.loads(pickle.dumps(StorageFailed(Path("x"), "no room")))  # noqa: S301 - our own
    assert str(error) == str(StorageFailed(Path("x"), "no room"))
