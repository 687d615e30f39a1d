"""The database: opening, refusing, all or nothing, and the views of a day."""

import gzip
import re
import subprocess
import sys
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest
from demo_run import Ran
from empty import new_database

from pipeline import sql_file
from pipeline.check.rules import check
from pipeline.database import Database, open_database
from pipeline.errors import ColumnsDiffer, DatabaseBusy, DatabaseNewer, DatabaseUnreadable
from pipeline.plan.rows import EvidenceRow, StationToday
from pipeline.settings import load_settings
from pipeline.survey.earshot import Pair
from pipeline.tables.changes import ChangePlan
from pipeline.tables.run import Computed, PermittedChannel
from pipeline.tables.survey import Earshot

# A small checked database as the program of each past version wrote it.
KEPT = Path(__file__).parent / "databases"
_FOUND = "select run, rule, severity, store, subject, excepted from finding order by all"
# Every statement of the survey and the plan whose rows become records, and the record.
BOUND: tuple[tuple[str, str, type[Any]], ...] = (
    ("survey", "pairs", Pair),
    ("plan", "stations", StationToday),
    ("plan", "choices", PermittedChannel),
    ("plan", "evidence", EvidenceRow),
    ("plan", "heard", Earshot),
)
Q2, Q3 = date(2026, 6, 30), date(2026, 9, 30)


def test_a_second_process_gets_a_clear_sentence(tmp_path: Path) -> None:
    """While one process holds the database another is told so."""
    path = tmp_path / "q.duckdb"
    hold = (
        "import sys; from pathlib import Path; from pipeline.database import open_database\n"
        "with open_database(Path(sys.argv[1])):\n"
        "    print('held', flush=True); sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", hold, str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline().strip() == "held"
        with pytest.raises(DatabaseBusy, match="in use by another process"), open_database(path):
            pass
        other.communicate("")


def test_long_statements_draw_no_bars(tmp_path: Path) -> None:
    """DuckDB's own bars are off, also where Python runs as a person types and they would be on."""
    program = (
        "import sys; from pathlib import Path; from pipeline.database import open_database\n"
        "with open_database(Path(sys.argv[1])) as database:\n"
        "    text = \"select current_setting('enable_progress_bar')\"\n"
        "    print(database.connection.execute(text).fetchall())\n"
    )
    found = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "q.duckdb")],
        capture_output=True,
        text=True,
        check=True,
    )

    assert found.stdout.split() == ["[(False,)]"]


def test_a_file_that_is_no_database_is_refused(tmp_path: Path) -> None:
    """A text file, or a folder, given as database."""
    text = tmp_path / "q.duckdb"
    text.write_text("not a database, but long enough to be looked at\n" * 200, encoding="utf-8")
    for path in (text, tmp_path):
        with pytest.raises(DatabaseUnreadable), open_database(path):
            pass


def test_a_database_of_another_program_is_left_as_it_is(tmp_path: Path) -> None:
    """A file named by mistake gets no tables of ours."""
    path = tmp_path / "other.duckdb"
    with duckdb.connect(path) as other:
        other.execute("create table theirs (a integer)")

    with pytest.raises(DatabaseUnreadable, match="theirs"), open_database(path):
        pass

    with duckdb.connect(path) as other:
        assert other.execute("select table_name from duckdb_tables()").fetchall() == [("theirs",)]


def test_views_of_another_program_are_made_again(tmp_path: Path) -> None:
    """Views are made once, and again where another program of the same version made them."""
    path = tmp_path / "q.duckdb"
    with open_database(path) as database:
        database.connection.execute("create or replace view station_now as select 1 as own")
    with open_database(path) as database:
        assert database.connection.table("station_now").columns == ["own"]
        database.connection.execute("update schema_made set fingerprint = 'of another program'")
    with open_database(path) as database:
        assert "channel" in database.connection.table("station_now").columns
    with open_database(path) as database:
        database.connection.execute("drop table schema_made")
        database.connection.execute("create or replace view station_now as select 1 as own")
    with open_database(path) as database:
        assert "channel" in database.connection.table("station_now").columns


def test_a_database_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    """Its version and what to do are named, and it is left as it was."""
    path = tmp_path / "q.duckdb"
    with open_database(path) as database:
        database.connection.execute("update tables_version set version = 99")
    with pytest.raises(DatabaseNewer, match="99"), open_database(path):
        pass


@pytest.mark.parametrize("kept", sorted(KEPT.glob("*.gz")), ids=lambda path: path.name)
def test_a_database_of_every_past_version_is_brought_up(kept: Path, tmp_path: Path) -> None:
    """What it holds stays, a copy is kept, and it has the columns that a new database has."""
    path, version = tmp_path / "q.duckdb", kept.name.partition(".")[0]
    path.write_bytes(gzip.decompress(kept.read_bytes()))
    before = path.read_bytes()
    with open_database(path) as old, open_database(tmp_path / "new.duckdb") as new:
        found = old.connection.sql(_FOUND).fetchall()

        assert _columns(old) == _columns(new)
        assert len(found) == 7
        assert path.with_name(f"q.duckdb.{version}").read_bytes() == before
        check(old, load_settings())
        assert old.connection.sql(_FOUND).fetchall() == found


def _columns(database: Database) -> list[tuple[object, ...]]:
    """Return every column of every table and view, with its place and type."""
    return database.connection.sql(
        "select table_name, column_index, column_name, data_type from duckdb_columns()"
        " where not internal order by all"
    ).fetchall()


def test_a_transaction_keeps_all_or_nothing(tmp_path: Path) -> None:
    """An error inside the block leaves no trace."""
    with open_database(tmp_path / "q.duckdb") as database:
        with pytest.raises(duckdb.Error), database.transaction():
            database.connection.execute(
                "insert into setting values ('a', 1), ('c', cast('no number' as double))"
            )
        with pytest.raises(duckdb.Error), database.transaction():
            database.connection.executemany("insert into setting values (?, 1)", [["d"], ["d"]])
        with database.transaction():
            database.connection.execute("insert into setting values ('b', 2)")

        assert database.connection.execute("select name from setting").fetchall() == [("b",)]


def test_what_stands_still_is_held_once_and_let_go_by_whoever_held_it(tmp_path: Path) -> None:
    """An inner block of the same name changes nothing, and what views read stands still too."""
    plan = ChangePlan(1, "P1", "S1", "f", "11 15", 0, date(2026, 9, 30), "r", None)
    with new_database(tmp_path / "q.duckdb") as database:
        read = database.connection.table
        with database.held("plan_in_force", "station_now"):
            with database.held("plan_in_force", "store_now"):
                database.put(ChangePlan, [plan])
            assert read("change_plan").fetchall() != []
            assert read("plan_in_force").fetchall() == []
            assert read("main.store_now").fetchall() == []
        assert read("plan_in_force").fetchall() == read("change_plan").fetchall()


def test_frames_go_in_and_come_out(tmp_path: Path) -> None:
    """A polars frame is read by an SQL file under the name incoming, and comes back a frame."""
    rows = pl.DataFrame({"store": ["x", "y"]})
    with open_database(tmp_path / "q.duckdb") as database:
        database.insert("fresh", "choose", rows)
        database.connection.execute("insert into this_run values ('r', '2026-09-30')")

        assert database.frame("run", "this_run").rows() == [("r", Q3)]
        found = database.connection.execute("from due_store order by store").fetchall()
    assert found == rows.rows()


def _seen(path: Path, rows: list[tuple[str, str, date, int]], as_of: date) -> dict[str, object]:
    with open_database(path) as database:
        connection = database.connection
        connection.execute("insert into this_run values ('r', ?)", [as_of])
        for store, station, day, channel in rows:
            connection.execute(
                "insert into station_seen (store, station, seen_on, channel) values (?, ?, ?, ?)",
                [store, station, day, channel],
            )
        return {
            "history": connection.execute(
                "select station, channel, valid_from, valid_to from station_history "
                "order by station, valid_from"
            ).fetchall(),
            "now": connection.execute(
                "select station, channel from station_now order by station"
            ).fetchall(),
        }


def test_history_holds_from_the_day_first_seen_to_the_next_change(tmp_path: Path) -> None:
    """A snapshot that changes nothing opens no new period."""
    rows = [("S", "A", Q2, 15), ("S", "A", date(2026, 7, 31), 15), ("S", "A", Q3, 20)]

    found = _seen(tmp_path / "q.duckdb", rows, Q3)

    assert found["history"] == [("A", 15, Q2, Q3), ("A", 20, Q3, None)]


def test_the_order_of_arrival_does_not_matter(tmp_path: Path) -> None:
    """Late exports give the same history as exports in order."""
    rows = [("S", "A", Q2, 15), ("S", "A", Q3, 20), ("S", "B", Q2, 11)]

    in_order = _seen(tmp_path / "a.duckdb", rows, Q3)
    late = _seen(tmp_path / "b.duckdb", rows[::-1], Q3)

    assert in_order == late


def test_today_is_the_latest_export_up_to_the_day(tmp_path: Path) -> None:
    """A station the latest export no longer lists is not among today's; later exports wait."""
    rows = [("S", "A", Q2, 15), ("S", "B", Q2, 20), ("S", "A", Q3, 25)]

    assert _seen(tmp_path / "a.duckdb", rows, Q3)["now"] == [("A", 25)]
    assert _seen(tmp_path / "b.duckdb", rows, Q2)["now"] == [("A", 15), ("B", 20)]


def _say(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    """Let every name stand for one statement."""
    monkeypatch.setattr(sql_file, "statement", lambda *_: text)


@pytest.mark.parametrize(("step", "name", "kind"), BOUND, ids=str)
def test_two_columns_swapped_in_a_select_change_no_record(
    two_run: Ran, step: str, name: str, kind: type[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every select that feeds a record, on the rows of a real run, in two other orders.

    Turned on by one and turned round, no two columns keep both their places.
    """
    text = sql_file.statement(step, name).strip().rstrip(";")
    columns = [each.name for each in fields(kind)]
    with duckdb.connect(str(two_run.request.database), read_only=True) as connection:
        connection.execute("create temp table due_store as select store from store_now")
        database = Database(connection)
        rows = database.records(kind, step, name)
        assert len(set(map(repr, rows))) > 1
        for swapped in (columns[1:] + columns[:1], columns[::-1]):
            _say(monkeypatch, f"select {', '.join(swapped)} from ({text})")  # noqa: S608 - test data only
            assert sorted(map(repr, database.records(kind, step, name))) == sorted(map(repr, rows))


@pytest.mark.parametrize(
    "select",
    [
        "select 's' as step, 'a' as store",
        "select 's' as step, 'a' as store, 'f' as fingerprint, 1 as more",
        "select 's' as step, 'a' as shop, 'f' as fingerprint",
        "select 's' as step, 'a' as store, 'f' as fingerprint, 'g' as fingerprint",
    ],
)
def test_columns_that_are_not_the_records_fields_are_refused(
    select: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One missing, one too many, one under another name, one twice."""
    with open_database(tmp_path / "q.duckdb") as database:
        _say(monkeypatch, select)
        with pytest.raises(ColumnsDiffer, match="any name"):
            database.records(Computed, "any", "name")
        with pytest.raises(ColumnsDiffer, match="any name"):
            database.column("any", "name")
        with pytest.raises(ColumnsDiffer, match="any name"):
            database.mapping("any", "name")


def test_a_mapping_binds_its_two_columns_by_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Key and value may come in either order."""
    with open_database(tmp_path / "q.duckdb") as database:
        for select in ("select 'a' as key, 'b' as value", "select 'b' as value, 'a' as key"):
            _say(monkeypatch, select)
            assert database.mapping("any", "name") == {"a": "b"}


def test_rows_put_into_a_table_are_matched_by_name(tmp_path: Path) -> None:
    """Columns may come in any order; other columns than the table's are refused."""
    row = {"fingerprint": ["f"], "store": ["a"], "step": ["survey"]}
    with open_database(tmp_path / "q.duckdb") as database:
        database.put_frame(Computed, pl.DataFrame(row))

        assert database.every(Computed) == [Computed("survey", "a", "f")]
        with pytest.raises(ColumnsDiffer, match="computed"):
            database.put_frame(Computed, pl.DataFrame({**row, "shop": ["a"]}))


@pytest.mark.parametrize("step", ["survey", "plan", "fresh"])
def test_no_statement_adds_or_joins_rows_by_position(step: str) -> None:
    """Inserts from a select and unions say that columns are matched by name."""
    for name, text in sql_file.statements(step).items():
        bare = re.sub(r"--[^\n]*|'(?:[^']|'')*'", "", text)
        every = re.findall(r"\b(?:insert\s+into\s+\w+|union(?:\s+all)?)\s+(\w+\s+\w+)", bare)
        assert set(every) <= {"by name"}, f"{step} {name}"
