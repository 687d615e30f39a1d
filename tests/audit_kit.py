"""Put an invented past into a database, quarter by quarter, as it would have come in."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
from audit_history import (
    APPROVER,
    FIRST,
    LAST,
    QUARTERS,
    TYPES,
    ZONES,
    History,
    export_days,
    last_day,
    seen_rows,
)
from empty import new_database

from pipeline.audit.audit import AuditOutcome, audit
from pipeline.audit.baseline import approve, keep
from pipeline.audit.records import read_quarter
from pipeline.database import Database
from pipeline.settings import Settings, load_settings

SETTINGS: Settings = replace(load_settings(), approvers=(APPROVER,))
_COLUMNS = (
    "store", "station", "seen_on", "name", "mounted", "floor", "x_m", "y_m", "channel", "pan_id",
    "tx_power_dbm", "eui64", "ip_address", "port", "firmware", "hardware",
)  # fmt: skip


@contextmanager
def past_database(path: Path, past: History) -> Iterator[Database]:
    """Open a database with the chain's stores described, nothing else."""
    with new_database(path) as database:
        for number, (store, region) in enumerate(past.regions.items()):
            country, zone = ZONES[region]
            put(
                database, "store_seen",
                [{"store": store, "seen_on": export_days(FIRST)[0], "name": f"Store {store}",
                  "region": region, "country": country, "store_type": TYPES[number % 3],
                  "time_zone": zone}],
            )  # fmt: skip
        yield database


def put(database: Database, table: str, rows: list[dict[str, Any]]) -> None:
    """Add rows to a table by the names of their columns."""
    if not rows:
        return
    frame = pl.DataFrame(rows, infer_schema_length=None).cast({pl.Null: pl.String})
    database.connection.register("rows_to_put", _Stream(frame))
    database.connection.execute(
        f"insert into {table} by name select * from rows_to_put"  # noqa: S608 - our own names
    )
    database.connection.unregister("rows_to_put")


class _Stream:
    """A frame offered as a bare Arrow stream."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self._frame = frame

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        return self._frame.__arrow_c_stream__(requested_schema)


def take_quarter(database: Database, past: History, quarter: int, *, late: bool) -> None:
    """Take in what is dated in a quarter; exports that come late only if `late`, else the rest."""
    rows = [
        {name: row.get(name) for name in _COLUMNS}
        for day in export_days(quarter)
        for row in seen_rows(past, day)
        if ((row["store"], day) in past.late) is late
    ]
    put(database, "station_seen", rows)
    if not late:
        _register(database, past, quarter)


def _register(database: Database, past: History, quarter: int) -> None:
    begins, ends = date.min if quarter == FIRST else last_day(quarter - 1), last_day(quarter)
    changes = [c for c in past.changes if begins < c.events[0][1].date() <= ends]
    put(
        database, "change",
        [{"change": c.change, "plan": f"P-{c.change}", "store": c.store, "station": c.station,
          "from_channel": c.from_channel, "to_channel": c.to_channel, "position": 1,
          "parking": False, "clear_air_before": 0.5, "clear_air_after": 0.8, "labels": 100,
          "sureness": "high", "proposed_by": "quietaisle", "proposed_on": c.events[0][1].date()}
         for c in changes],
    )  # fmt: skip
    events = [
        (at, c.change, state, by)
        for c in past.changes
        for state, at, by in c.events
        if begins < at.date() <= ends
    ]
    ordered = {c.change: c.ordered for c in past.changes}
    [(last,)] = database.connection.execute(
        "select coalesce(max(seq), 0) from change_event"
    ).fetchall()
    put(
        database, "change_event",
        [{"seq": last + n, "change": change, "state": state, "at": at, "by": by,
          "note": "", "channel": ordered.get(change) if state == "approved" else None}
         for n, (at, change, state, by) in enumerate(sorted(events), start=1)],
    )  # fmt: skip
    put(database, "change_check", _checked(past, begins, ends))


def _checked(past: History, begins: date, ends: date) -> list[dict[str, Any]]:
    """Return what was measured of every change verified within some days."""
    found = []
    for number, change in enumerate(past.changes):
        for state, at, _ in change.events:
            if state == "verified" and begins < at.date() <= ends:
                found.append(
                    {"seq": 100_000 + number, "change": change.change, "checked_on": at.date(),
                     "seen_on": at.date(), "channel_found": change.to_channel, "connected": True,
                     "labels_before": 100, "labels_after": 99, "clear_air_before": 0.5,
                     "promised": 0.7 + 0.01 * (number % 20), "readings": 200,
                     "measured": 0.66 + 0.013 * (number % 23), "sureness": "high"}
                )  # fmt: skip
    return found


def found_by_rules(past: History, quarter: int, day: date) -> list[dict[str, Any]]:
    """Return what the run at the end of a quarter finds: some of it comes, some goes."""
    rules = ("channel-shared", "survey-stale", "labels-weak", "station-offline")
    severities = ("fix", "watch", "watch", "fix")
    return [
        {"run": f"run-{day}", "rule": rules[n % 4], "severity": severities[n % 4], "store": store,
         "subject": f"{store}-01", "detail": "found by a rule"}
        for n, store in enumerate(past.regions)
        if (n + quarter) % 5 < 2 or n % 9 == 0
    ]  # fmt: skip


def _air(past: History, quarter: int, day: date) -> list[dict[str, Any]]:
    """Return the clear air a run notes: a little better every quarter, less where astray."""
    return [
        {"as_of": day, "store": s.store, "station": s.station, "channel": facts["channel"],
         "clear_air": round(0.55 + 0.03 * quarter - 0.2 * astray, 6),
         "agreed_channel": s.facts["channel"] if astray else None,
         "clear_air_agreed": round(0.55 + 0.03 * quarter, 6) if astray else None, "labels": 100}
        for s in past.stations
        if (facts := s.on(day)) is not None
        for astray in [facts["channel"] != s.facts["channel"]]
    ]  # fmt: skip


def run_on(database: Database, past: History, day: date) -> None:
    """Set the day of the run and the exceptions on file by then, and keep what a run keeps."""
    connection = database.connection
    connection.execute("delete from this_run")
    connection.execute("delete from exception")
    connection.execute("insert into this_run values (?, ?)", [f"run-{day}", day])
    connection.execute("insert or ignore into run values (?, ?, 'test')", [f"run-{day}", day])
    on_file = [e for since, e in past.exceptions if since <= day]
    put(
        database, "exception",
        [{"rule": e.rule, "store": e.store, "subject": e.subject, "reason": e.reason,
          "approved_by": e.approved_by, "until": e.until} for e in on_file],
    )  # fmt: skip
    keep(database)


def live_through(database: Database, past: History, quarter: int) -> None:
    """Take in a quarter, what came late of the one before, approve and run, as people would."""
    if quarter > FIRST:
        take_quarter(database, past, quarter - 1, late=True)
    take_quarter(database, past, quarter, late=False)
    begins = date.min if quarter == FIRST else last_day(quarter - 1)
    if quarter == FIRST:
        run_on(database, past, export_days(FIRST)[0])
    for day in sorted({day for _, day in past.approvals if begins < day <= last_day(quarter)}):
        stores = [store for store, on in past.approvals if on == day]
        approve(database, SETTINGS, stores, by=APPROVER, reason="as built", on=day)
    run_on(database, past, last_day(quarter))
    put(database, "finding", found_by_rules(past, quarter, last_day(quarter)))
    put(database, "clear_air_kept", _air(past, quarter, last_day(quarter)))


def audit_of(database: Database, quarter: int) -> AuditOutcome:
    """Audit a quarter by its number in QUARTERS."""
    return audit(database, read_quarter(QUARTERS[quarter]))


def drift_rows(database: Database) -> list[tuple[Any, ...]]:
    """Return what the audit says of every quarter in its table."""
    return database.connection.execute(
        "select quarter, store, subject, field, kind, agreed, found, by_order "
        "from drift order by all"
    ).fetchall()


def audit_all(database: Database) -> None:
    """Audit the last quarter, and with it all before."""
    audit_of(database, LAST)
