"""A small chain whose plan, exports and register the tests of changes set by hand."""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any

import empty
from openpyxl import load_workbook
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.changes.register import append
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.database import Database
from pipeline.forms import Form, tabs_of
from pipeline.settings import Settings, load_settings
from pipeline.tables.changes import ChangeEvent

DAY = date(2026, 9, 30)
BY = "T. Aldervane"
RULES = """
[approvers]
names = ["T. Aldervane", "R. Quellbach"]
proposer = "R. Quellbach"
"""
Moves = Mapping[str, tuple[tuple[str, int, int, bool], ...]]
SWAP = (("A-01", 15, 26, True), ("A-02", 20, 15, False), ("A-01", 26, 20, False))
PLAN: Moves = {"A": SWAP, "B": (("B-01", 11, 25, False),), "C": ()}


def sheet_of(book: Workbook, form: Form) -> Worksheet:
    """Return the sheet of a form, whatever it is called in the workbook's language."""
    (title,) = tabs_of(form.sheet) & set(book.sheetnames)
    sheet = book[title]
    assert isinstance(sheet, Worksheet)
    return sheet


def fill_in(path: Path, form: Form, entries: Mapping[str, tuple[object, ...]]) -> None:
    """Fill in the entries of a form's changes, in the order of its entries."""
    file = load_workbook(path)
    sheet = sheet_of(file, form)
    keys = [cell.value for cell in sheet[3]]
    for row in sheet.iter_rows(min_row=5):
        for key, value in zip(form.entries, entries.get(str(row[0].value), ()), strict=False):
            cell: Any = row[keys.index(key)]
            cell.value = value
    file.save(path)


def at(day: date, hour: int = 0) -> datetime:
    """Return a time on a day."""
    return datetime(day.year, day.month, day.day, hour)


def settings_in(folder: Path, text: str = RULES) -> Settings:
    """Return settings with approvers and a proposer."""
    path = folder / "rules.toml"
    path.write_text(text, encoding="utf-8")
    return load_settings(path)


@contextmanager
def chain(folder: Path, moves: Moves = PLAN) -> Iterator[Database]:
    """Give a database in which a run of DAY planned these moves."""
    with empty.new_database(folder / "q.duckdb") as database:
        speak_of(database, DAY)
        for store in moves:
            for channel in (11, 15, 20, 25, 26):
                _insert(database, "permitted_channel", store, channel)
        plan_says(database, moves)
        yield database


def speak_of(database: Database, day: date) -> None:
    """Let the run be of a day."""
    database.connection.execute("delete from this_run")
    _insert(database, "this_run", f"run of {day}", day)


def plan_says(database: Database, moves: Moves) -> None:
    """Let the plan be these moves: store to (station, from, to, parking) in order."""
    for table in ("move", "station_plan", "plan_proof"):
        database.connection.execute(f"delete from {table}")  # noqa: S608 - our own table names
    for store, steps in moves.items():
        _insert(database, "plan_proof", store, 1.0, 1.0, True, 2.0, "exact", True, 2.0)
        for station in sorted({step[0] for step in steps}):
            _insert(
                database, "station_plan", store, station, 15, 20, 0.4, 0.38, 0.42, 0.8, 0.78, 0.82,
                0.99, 0.5, 0.1, "measured", None, None, "high", "why",
            )  # fmt: skip
        for position, (station, before, after, parking) in enumerate(steps, start=1):
            _insert(
                database,
                "move",
                store,
                station,
                before,
                after,
                position,
                parking,
                0.4,
                0.38,
                0.42,
                0.8,
                0.78,
                0.82,
                0.99,
                "why",
            )


def group_up(database: Database, groups: Mapping[str, int]) -> None:
    """Let the planned moves of some stations need one another: station to number of its group."""
    for station, number in groups.items():
        values = [number, station]
        database.connection.execute("update move set group_no = ? where station = ?", values)


def export_says(
    database: Database,
    seen_on: date,
    channels: Mapping[str, int],
    *,
    connected: bool | None = True,
) -> None:
    """Let a stations export of a day name stations (named after their store) on channels."""
    for station, channel in channels.items():
        _insert(
            database, "station_seen", station.split("-")[0], station, seen_on, station, None, 0,
            None, None, channel, 1, 0.0, None, None, None, None, None, connected,
        )  # fmt: skip


def readings_say(database: Database, station: str, channel: int, levels: Mapping[int, int]) -> None:
    """Let scans of four days hear each level in dBm so many times in all, own stations quiet."""
    for level, readings in levels.items():
        for day in range(20, 24):
            _insert(
                database, "ed_reading", _store(station), station, datetime(2026, 11, day, 12),
                "store", channel, float(level), "single", 0.128, True, readings // 4,
            )  # fmt: skip


def labels_say(
    database: Database, station: str, seen_on: date, numbers: range, heard_on: date | None = None
) -> None:
    """Let a labels export name labels served by a station, heard on its day if on no other."""
    for number in numbers:
        _insert(
            database, "label_seen", _store(station), f"{station}-L{number}", seen_on, station,
            -60.0, 2, 99.0, heard_on or seen_on, 4.0, 1000.0, None,
        )  # fmt: skip


def set_limits(database: Database, settings: Settings) -> None:
    """Let the limits of the rules file be those of the run."""
    empty.set_limits(database, settings.limits)


def approve_all(database: Database, day: date = date(2026, 10, 5)) -> list[str]:
    """Approve every change in the register; return their names."""
    changes = names(database)
    append(
        database,
        Trigger.DECIDE,
        [new_event(name, ChangeState.APPROVED, at(day), BY) for name in changes],
    )
    return changes


def names(database: Database, store: str | None = None) -> list[str]:
    """Return the names of the register's changes, or of one store's, in order of the plan."""
    rows = database.connection.execute(
        "select c.change from change c join change_plan p using (plan) "
        "where ? is null or c.store = ? order by p.number, c.position",
        [store, store],
    ).fetchall()
    return [name for (name,) in rows]


def states(database: Database, day: date = date(2999, 1, 1)) -> dict[str, str]:
    """Return the state of every change at the end of a day."""
    rows = database.connection.execute(
        "select change, state from change_state_on(?)", [day]
    ).fetchall()
    return dict(rows)


def _store(station: str) -> str:
    return station.partition("-")[0]


def _insert(database: Database, table: str, *values: object) -> None:
    """Fill the first columns of a row; later ones keep their defaults."""
    columns = ", ".join(
        f'"{name}"' for name in database.connection.table(table).columns[: len(values)]
    )
    marks = ", ".join("?" * len(values))
    database.connection.execute(
        f"insert into {table} ({columns}) values ({marks})",  # noqa: S608 - our own table names
        list(values),
    )


def state_on(events: Iterable[ChangeEvent], day: date) -> str | None:
    """Return the state at the end of a day of a change with these events, oldest first."""
    upto = [event.state for event in events if event.at.date() <= day]
    return upto[-1] if upto else None
