"""Only what changed is computed and written again, and the result is that of a fresh run."""

import os
import random
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from demo_run import FOUR, Ran
from empty import new_file
from hypothesis import given
from hypothesis import strategies as st
from scale_chain import File, Watched, day_of, files_of, request_of, tables_of, tree_of

from pipeline import fresh
from pipeline.commands import run_ingest, run_listing
from pipeline.fresh import fingerprint, store_marks
from pipeline.progress import Silent
from pipeline.report import write
from pipeline.report.write import SUMMARY, WORKBOOK
from pipeline.run import Request, run

TWO = 2
LATER = date(2026, 10, 9)
RULES = "[limits]\nprice_per_move = 0.01\n"


@pytest.fixture(scope="module", params=[TWO, pytest.param(FOUR, marks=pytest.mark.slow)])
def stores(request: pytest.FixtureRequest) -> int:
    """Give how many stores the chain has: the quick slice has two."""
    return int(request.param)


@pytest.fixture(scope="module")
def pool(stores: int, tmp_path_factory: pytest.TempPathFactory) -> tuple[File, ...]:
    """Give the exports of the chain, one file a store and kind."""
    return files_of(tmp_path_factory.mktemp("pool"), stores)


@pytest.fixture(scope="module")
def done(
    stores: int, request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Request:
    """Give the chain run once in full, with reports of its own."""
    ran: Ran = request.getfixturevalue("two_run" if stores == TWO else "four_run")
    folder = tmp_path_factory.mktemp("done")
    finished = replace(ran.copied(folder, reports=False).request, out=folder / "reports")
    run(finished, Silent())
    return finished


@pytest.fixture
def copy(done: Request, tmp_path: Path) -> Request:
    """Give the finished run to change: its own database and exports, reports not yet written."""
    shutil.copy(done.database, tmp_path / "q.duckdb")
    shutil.copytree(done.exports or tmp_path, tmp_path / "exports")
    return request_of(tmp_path, tmp_path / "exports")


def judge(request: Request) -> Watched:
    """Take the exports in, survey, plan and check; return how much there was to do."""
    watched = Watched()
    run_ingest(request, Silent())
    run_listing(request, "listed_findings", watched)
    return watched


def moved(file: File, folder: Path) -> None:
    """Put a stations export of the same day in which one station is on channel 11.

    Where exports of one day disagree the smallest row stands, so this one does.
    """
    place = list(file.heading).index("Channel")
    *rest, last = sorted(file.rows, key=lambda row: int(row[place]))
    file.put(folder, rows=[*rest, [*last[:place], "11", *last[place + 1 :]]])


def quieter(file: File, folder: Path) -> None:
    """Put more scans of the same days, all of them quiet."""
    level, at = (list(file.heading).index(name) for name in ("Level dBm", "Scanned at"))
    rows = [list(row) for row in file.rows]
    for row in rows:
        row[level], row[at] = "-97", row[at].replace("T08", "T10")
    file.put(folder, "-more", rows)


CHANGES: dict[str, Callable[[File, Path], None]] = {"stations": moved, "ed_readings": quieter}


def wander(pool: tuple[File, ...], folder: Path, seed: int, steps: int) -> set[int]:
    """Take a chain in piece by piece by chance, comparing with a fresh run after each piece.

    Returns:
        How many stores were planned at a time.
    """
    chance = random.Random(seed)
    exports, met = folder / "exports", folder / "met"
    waiting = chance.sample(pool, len(pool))
    waiting.sort(
        key=lambda file: file.kind == "stations"
    )  # taken from the end: a store to speak of
    planned = set()
    for step in range(steps):
        for file in [waiting.pop() for _ in range(min(len(waiting), chance.randint(4, 10)))]:
            file.put(exports)
        if chance.random() < 0.7:
            changed = chance.choice([file for file in pool if file.kind in CHANGES])
            CHANGES[changed.kind](changed, exports)
        rules = RULES if chance.random() < 0.3 else ""
        (exports / "rules.toml").write_text(rules, encoding="utf-8")
        day = LATER if chance.random() < 0.3 else None
        request = request_of(folder / "long", exports, day)
        planned.add(judge(request).totals["planning"])
        # Facts are sets: what an export said that was replaced since still counts.
        for path in exports.iterdir():
            name = path.name if path.suffix == ".toml" else f"{step:02}-{path.name}"
            met.mkdir(exist_ok=True)
            shutil.copy(path, met / name)
        anew = request_of(folder / f"fresh-{step}", met, day_of(request.database))
        judge(anew)
        assert tables_of(request.database) == tables_of(anew.database), (seed, step)
    return planned


@pytest.mark.slow
@pytest.mark.parametrize("stores", [FOUR], indirect=True)
def test_any_sequence_of_partial_runs_equals_a_fresh_run(
    pool: tuple[File, ...], stores: int, tmp_path: Path
) -> None:
    """Files come late or anew, day and rules change: the tables are those of a run that had all.

    Some of the runs plan only some of the stores.
    """
    planned = wander(pool, tmp_path, 1, 2)

    assert any(0 < count < stores for count in planned)


@pytest.mark.slow
@pytest.mark.parametrize("stores", [FOUR], indirect=True)
@pytest.mark.parametrize("seed", [1, *range(100, 130)])
def test_many_sequences_of_partial_runs_equal_a_fresh_run(
    pool: tuple[File, ...], tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same over 31 chances of eight pieces, two stores at a time."""
    monkeypatch.setattr(fresh, "CHUNK", 2)
    wander(pool, tmp_path, seed, 8)


def test_chunks_change_nothing(
    done: Request, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Surveyed and planned one store at a time, the tables are the same."""
    monkeypatch.setattr(fresh, "CHUNK", 1)
    request = replace(done, database=tmp_path / "q.duckdb")
    new_file(request.database)
    judge(request)

    assert tables_of(request.database) == tables_of(done.database)


def test_one_changed_store_alone_is_planned(
    pool: tuple[File, ...], copy: Request, tmp_path: Path
) -> None:
    """A station of one store on another channel: that store is planned, the others are left.

    And the tables are those of a run that had all files at once, the one replaced among them.
    """
    before = tables_of(copy.database)
    file = next(file for file in pool if file.kind == "stations")
    moved(file, copy.exports or Path())
    met = shutil.copytree(copy.exports or Path(), tmp_path / "met")
    file.put(met, "-before")

    assert judge(copy).totals["planning"] == 1
    after = tables_of(copy.database)
    # What holds over the portfolio and its keys is worked out again; here it comes to the same.
    shared = {file.store, "portfolio", "match"}
    others = {name: [row for row in rows if not shared & set(row)] for name, rows in after.items()}
    assert others == {
        name: [row for row in rows if not shared & set(row)] for name, rows in before.items()
    }
    assert after["station_plan"] != before["station_plan"]
    assert judge(copy).totals["planning"] == 0
    anew = request_of(tmp_path / "fresh", met)
    new_file(anew.database)
    judge(anew)
    assert tables_of(anew.database) == after


def test_other_rules_or_another_day_make_every_store_due(copy: Request, stores: int) -> None:
    """A change of what all stores share makes all of them stale, once."""
    ((copy.exports or Path()) / "rules.toml").write_text(RULES, encoding="utf-8")
    assert judge(copy).totals["planning"] == stores
    assert judge(copy).totals["planning"] == 0
    later = replace(copy, as_of=LATER)
    assert judge(later).totals["planning"] == stores
    assert judge(later).totals["planning"] == 0


def test_a_permission_of_one_store_makes_that_store_due(copy: Request, done: Request) -> None:
    """Channels permitted to one store, or an exception agreed for it, concern no other store."""
    store = tables_of(done.database)["plan_proof"][0][0]
    rules = (copy.exports or Path()) / "rules.toml"
    rules.write_text(f"[channels.per_store]\n{store} = [11, 20]\n", encoding="utf-8")
    assert judge(copy).totals["planning"] == 1
    exception = (
        f'[[exception]]\nrule = "channel-not-permitted"\nstore = "{store}"\n'
        'reason = "agreed"\napproved_by = "A. Planner"\nuntil = 2027-01-31\n'
    )
    rules.write_text(exception, encoding="utf-8")
    assert judge(copy).totals["planning"] == 1


def test_another_program_computes_everything_again(
    copy: Request, stores: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The quick slice of the next: without reports."""
    fresh.program.cache_clear()
    monkeypatch.setattr(fresh, "__version__", "another")
    assert judge(copy).totals["planning"] == stores
    fresh.program.cache_clear()


@pytest.mark.slow
def test_another_program_computes_and_writes_everything_again(
    copy: Request, stores: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program that is not the one of the last run trusts none of its results."""
    run(copy, Silent())
    fresh.program.cache_clear()
    monkeypatch.setattr(fresh, "__version__", "another")
    watched = Watched()
    run(copy, watched)
    fresh.program.cache_clear()

    assert watched.totals["planning"] == stores
    assert watched.totals["report"] == stores


def test_the_program_may_hold_files_of_any_encoding(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An installed package has the sample exports beside its code; each octet counts."""
    monkeypatch.setattr(fresh, "_PACKAGE", tmp_path)
    marks = set()
    for octets in (b"Gesch\xe4ft;Kanal", b"Gesch\xf6ft;Kanal"):
        (tmp_path / "stores.csv").write_bytes(octets)
        fresh.program.cache_clear()
        marks.add(fresh.program())
    fresh.program.cache_clear()

    assert len(marks) == 2


def test_an_unchanged_run_renders_nothing(copy: Request, monkeypatch: pytest.MonkeyPatch) -> None:
    """No store is planned, no file is made a second time, and the summary is the same."""
    first = run(copy, Silent())
    before = tree_of(copy.out)
    watched = Watched()
    for module, name in ((write, "workbook"), (write, "summary"), (write, "_make_review")):
        monkeypatch.setattr(module, name, None)
    second = run(copy, watched)

    assert "planning" not in watched.totals
    assert watched.totals["report"] == 0
    assert second == first
    assert second.unwritten == ()
    assert tree_of(copy.out) == before


def spoil_size(path: Path) -> None:
    """Cut the file short."""
    path.write_bytes(path.read_bytes()[:-1])


def spoil_one_byte(path: Path) -> None:
    """Change a byte, as an edit that leaves the size as it was."""
    path.write_bytes(path.read_bytes()[:-1] + b"x")


def leave_part(path: Path) -> None:
    """Leave what a run that broke off would leave."""
    path.with_name(f".{path.name}.part").write_bytes(b"half")


@pytest.mark.parametrize(
    ("name", "spoil"),
    [(WORKBOOK, Path.unlink), (SUMMARY, spoil_one_byte), (WORKBOOK, leave_part),
     (WORKBOOK, spoil_size),
     *(pytest.param(*each, marks=pytest.mark.slow)
       for each in ((SUMMARY, Path.unlink), (WORKBOOK, spoil_one_byte), (SUMMARY, leave_part),
                    (SUMMARY, spoil_size)))],
)  # fmt: skip
def test_a_file_that_was_touched_is_written_again(
    done: Request, name: str, spoil: Callable[[Path], None]
) -> None:
    """Missing, edited, left half written, or cut: the files of that store alone are made again."""
    before = tree_of(done.out)
    spoil(max(done.out.rglob(name)))
    watched = Watched()
    run(done, watched)

    assert watched.totals["report"] == 1
    assert tree_of(done.out) == before


def test_reports_follow_findings_without_a_new_plan(copy: Request, stores: int) -> None:
    """An exception covers findings of one rule: reports are written, nothing is planned."""
    run(copy, Silent())
    before = tree_of(copy.out)
    rule = tables_of(copy.database, ["finding"])["finding"][0][1]
    exception = (
        f'[[exception]]\nrule = "{rule}"\nreason = "agreed"\napproved_by = "A. Planner"\n'
        "until = 2027-01-31\n"
    )
    ((copy.exports or Path()) / "rules.toml").write_text(exception, encoding="utf-8")
    watched = Watched()
    run(copy, watched)

    assert watched.totals["planning"] == 0
    changed = {name for name, octets in tree_of(copy.out).items() if before.get(name) != octets}
    books = [name for name in changed if name.endswith(WORKBOOK)]
    assert 0 < len(books) <= watched.totals["report"] <= stores


def test_another_folder_gets_files_of_its_own(done: Request, stores: int, tmp_path: Path) -> None:
    """What stands in one folder says nothing of another; going back writes nothing."""
    watched = Watched()
    run(replace(done, out=tmp_path / "other"), watched)
    assert watched.totals["report"] == stores
    back = Watched()
    run(done, back)
    assert back.totals["report"] == 0
    assert tree_of(done.out) == tree_of(tmp_path / "other")


@given(st.lists(st.text(max_size=5), max_size=5), st.lists(st.text(max_size=5), max_size=5))
def test_fingerprints_tell_lists_of_texts_apart(one: list[str], other: list[str]) -> None:
    """The same texts give the same fingerprint, any others another, however they are cut."""
    assert (fingerprint(*one) == fingerprint(*other)) == (one == other)


def test_marks_of_stores_depend_on_their_rows_alone() -> None:
    """A row changed, left out, moved to another frame or in other order changes its store alone."""
    frame = pl.DataFrame({"store": ["a", "a", "b"], "value": [1.5, None, 2.0]})
    marks = store_marks([frame, frame])

    assert store_marks([frame, frame]) == marks
    assert set(marks) == {"a", "b"}
    for other in (
        [frame, frame.with_columns(value=pl.Series([1.5, 0.0, 2.0]))],
        [frame, frame[[0, 2]]],
        [frame[[1, 0, 2]], frame],
        [frame, frame[[2]]],
    ):
        changed = store_marks(other)
        assert changed["a"] != marks["a"]
        assert changed["b"] == marks["b"]
    assert store_marks([frame, frame], "more")["b"] != marks["b"]
    assert store_marks([pl.DataFrame(schema=frame.schema)]) == {}


def test_marks_are_the_same_in_every_process() -> None:
    """The fingerprints one process kept are those another one makes, whatever its hash seed."""
    program = (
        "import polars as pl; from pipeline.fresh import program, store_marks; "
        "frame = pl.DataFrame({'store': ['a', 'b'], 'text': ['x', None], 'value': [1.5, 2.0]}); "
        "print(program(), store_marks([frame], 'more'))"
    )
    told = {
        subprocess.run(
            [sys.executable, "-c", program],
            check=True,
            capture_output=True,
            text=True,
            cwd=Path(__file__).parents[1],
            env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("0", "1", "2")
    }
    assert len(told) == 1
