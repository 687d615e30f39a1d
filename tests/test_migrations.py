"""A database that people decided in goes on being used by every later program.

`databases/decided` has a database of every past version of the tables, written by a program of that
version from the exports of two stores of the demo: a run, decisions, a schedule, an approved
baseline and an audit.
"""

import gzip
import re
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

import duckdb
import pytest

from pipeline.database import open_database
from pipeline.errors import DatabaseNewer
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.run import Request, run
from pipeline.tables.every import VERSION

ROOT = Path(__file__).resolve().parents[1]
KEPT = Path(__file__).parent / "databases" / "decided"
# What people said and what was agreed cannot be worked out again from the exports.
SAID = (
    "change_plan", "change", "change_event", "baseline", "audit_edition", "exception_file",
    "clear_air_kept", "run",
)  # fmt: skip
# The events in the database kept from every past version, by the state they led to.
EVENTS = {
    1: {"proposed": 3, "approved": 2, "refused": 1, "scheduled": 2},
    2: {"proposed": 5, "approved": 3, "refused": 2, "scheduled": 2},
    3: {"proposed": 5, "approved": 3, "refused": 2, "scheduled": 2},
    4: {"proposed": 8, "approved": 4, "refused": 2, "scheduled": 1, "lapsed": 1},
    5: {"proposed": 8, "approved": 6, "refused": 1, "scheduled": 2, "lapsed": 2},
    6: {"proposed": 8, "approved": 6, "refused": 1, "scheduled": 2, "lapsed": 2},
    7: {"proposed": 8, "approved": 6, "refused": 1, "scheduled": 2, "lapsed": 2},
    8: {"proposed": 8, "approved": 6, "refused": 1, "scheduled": 2, "lapsed": 2},
}
Rows = list[tuple[object, ...]]

# Filled anew by the next run, or on opening; a migration may drop them.
WORKED_OUT = {"ed_evidence", "move", "station_plan", "reading_today", "schema_made"}


@pytest.fixture(params=range(1, VERSION))
def version(request: pytest.FixtureRequest) -> int:
    """Give every past version of the tables."""
    return int(request.param)


@pytest.fixture
def kept(tmp_path: Path, version: int) -> Path:
    """Give the database as a program of that version wrote it."""
    path = tmp_path / "q.duckdb"
    path.write_bytes(gzip.decompress((KEPT / f"version-{version}.duckdb.gz").read_bytes()))
    return path


@pytest.fixture
def exports(tmp_path: Path) -> Path:
    """Give the exports it was made from: those of two stores of the demo."""
    folder = tmp_path / "exports"
    for path in sorted((ROOT / "sample_exports" / "mitte").rglob("*.csv")):
        target = folder / path.relative_to(ROOT / "sample_exports")
        target.parent.mkdir(parents=True, exist_ok=True)
        lines = path.read_bytes().splitlines(keepends=True)
        two = (b"M201", b"M203")
        kept = [line for line in lines if line.startswith(two) or not line.startswith(b"M2")]
        target.write_bytes(b"".join(kept))
    rules = (ROOT / "sample_exports" / "rules.toml").read_text(encoding="utf-8")
    quick = f"{rules}\n[limits]\nsensitivity_draws = 0\n"
    (folder / "rules.toml").write_text(quick, encoding="utf-8")
    return folder


def columns_of(path: Path) -> dict[str, list[str]]:
    """Return the columns of every table but the version of the tables."""
    with duckdb.connect(str(path), read_only=True) as connection:
        tables = connection.execute("select table_name from duckdb_tables() where not temporary")
        names = {name for (name,) in tables.fetchall()} - {"tables_version"}
        return {name: connection.table(name).columns for name in sorted(names)}


def rows_of(path: Path, columns: Mapping[str, list[str]]) -> dict[str, Rows]:
    """Return some columns of the rows of tables, in the order in which the rows were added."""
    with duckdb.connect(str(path), read_only=True) as connection:
        return {
            table: connection.table(table).select(*map(duckdb.ColumnExpression, names)).fetchall()
            for table, names in columns.items()
        }


def test_the_database_was_decided_in(kept: Path, version: int) -> None:
    """It holds what the other tests ask for: decisions, nights, a baseline, an audit."""
    rows = rows_of(kept, {"change_event": ["state", "by"], "baseline": ["store", "approved_by"]})

    by_people = {"approved", "refused"}
    assert Counter(rows["change_event"]) == {
        (state, "T. Aldervane" if state in by_people else "quietaisle"): count
        for state, count in EVENTS[version].items()
    }
    assert set(rows["baseline"]) == {("M201", "T. Aldervane"), ("M203", "T. Aldervane")}
    with duckdb.connect(str(kept), read_only=True) as connection:
        assert connection.execute("from tables_version").fetchall() == [(version,)]


def test_opening_keeps_every_row(kept: Path) -> None:
    """Every table that no run works out anew is there, its columns and its rows in their order."""
    columns = {name: of for name, of in columns_of(kept).items() if name not in WORKED_OUT}
    assert {"change", "change_event", "baseline", "exception_file", "station_seen"} <= set(columns)
    before = rows_of(kept, columns)
    with open_database(kept) as database:
        assert database.connection.execute("from tables_version").fetchall() == [(VERSION,)]
    with open_database(kept):  # migrated once; opening it again is no second migration
        pass

    assert rows_of(kept, columns) == before


@pytest.mark.parametrize(
    "version",
    [1, *(pytest.param(v, marks=pytest.mark.slow) for v in range(2, VERSION - 1)), VERSION - 1],
    indirect=True,
)
def test_a_copy_is_kept_where_the_tables_change(kept: Path, version: int) -> None:
    """The copy is the file as it was; a program of the same version makes none."""
    before = kept.read_bytes()
    with open_database(kept):
        pass
    copies = [path for path in kept.parent.iterdir() if path != kept]

    assert [path.name for path in copies] == [f"q.duckdb.version-{version}"]
    assert all(path.read_bytes() == before for path in copies)


def test_a_database_of_a_newer_program_is_refused_in_one_sentence(kept: Path) -> None:
    """Both versions and what to do are named; the file is left as it was, and no copy is made."""
    with duckdb.connect(str(kept)) as connection:
        connection.execute("update tables_version set version = ?", [VERSION + 1])
    before = kept.read_bytes()
    with pytest.raises(DatabaseNewer) as refused, open_database(kept):
        pass

    sentence = str(refused.value)
    assert "\n" not in sentence
    assert (sentence[-1], sentence.count(". ")) == (".", 0)
    assert {str(VERSION), str(VERSION + 1)} <= set(re.findall(r"\d+", sentence))
    assert kept.read_bytes() == before
    assert list(kept.parent.iterdir()) == [kept]


@pytest.mark.parametrize(
    "version", [1, *(pytest.param(one, marks=pytest.mark.slow) for one in range(2, VERSION))]
)
def test_running_the_exports_again_adds_to_what_was_said(kept: Path, exports: Path) -> None:
    """What people decided and agreed stays as it was; a run of today adds rows after it."""
    columns = {table: names for table, names in columns_of(kept).items() if table in SAID}
    before = rows_of(kept, columns)
    request = Request(
        exports, kept, kept.parent / "out", None, None, None, Selection()
    )  # fmt: skip
    summary = run(request, Silent())
    after = rows_of(kept, columns)

    assert set(columns) == set(SAID)
    for table, rows in before.items():
        assert after[table][: len(rows)] == rows, table
    assert (summary.stores, summary.as_of.isoformat()) == (2, "2026-09-30")
    assert sorted(path.parent.name for path in (kept.parent / "out").rglob("change-plan.xlsx")) == [
        "M201", "M203",
    ]  # fmt: skip
