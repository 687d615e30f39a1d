"""The audit against an invented past of which every departure is known."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from audit_history import FIRST, LAST, QUARTERS, History, history, last_day
from audit_kit import (
    audit_all,
    audit_of,
    drift_rows,
    found_by_rules,
    live_through,
    past_database,
    take_quarter,
)

from pipeline.audit.audit import audit
from pipeline.audit.records import DriftKind, read_quarter
from pipeline.database import Database
from pipeline.tables.audit import AuditChange, AuditFinding, AuditPromise, AuditStore, Departure


@pytest.fixture(scope="module")
def past() -> History:
    """Give the past: eight quarters, sixty stores, four hundred events."""
    return history()


@pytest.fixture(scope="module")
def lived(past: History, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """Give a database that lived through all quarters, audited at the end of each."""
    with past_database(tmp_path_factory.mktemp("audit") / "past.duckdb", past) as database:
        for quarter in range(LAST + 1):
            live_through(database, past, quarter)
        audit_all(database)
        yield database


def test_four_hundred_events_are_told_apart(past: History, lived: Database) -> None:
    """The audit's rows are those written down when the events were made up: no more, no fewer."""
    assert past.events.total() == 400
    assert drift_rows(lived) == sorted(past.expected, key=_order)
    assert {row[4] for row in past.expected} == {kind.value for kind in DriftKind}


def test_findings_open_and_close_from_run_to_run(past: History, lived: Database) -> None:
    """By rule: what the run at the end of a quarter found, and the one before did not; and back."""
    before: set[tuple[str, str]] = set()
    for number, quarter in enumerate(QUARTERS):
        rows = found_by_rules(past, number, last_day(number))
        now = {(row["rule"], row["subject"]) for row in rows}
        parts = [Counter(rule for rule, _ in some) for some in (now - before, before - now, now)]
        told = lived.connection.execute(
            "select rule, sum(opened)::int, sum(closed)::int, sum(standing)::int "
            "from audit_finding where quarter = ? group by rule order by rule",
            [quarter],
        ).fetchall()
        assert told == [
            (rule, *(part[rule] for part in parts)) for rule in sorted(sum(parts, Counter()))
        ]
        before = now


@pytest.mark.parametrize(
    "quarter", [1, *(pytest.param(q, marks=pytest.mark.slow) for q in range(2, LAST + 1))]
)
def test_a_quarter_with_all_later_data_says_what_it_said_then(
    quarter: int, past: History, lived: Database, tmp_path: Path
) -> None:
    """A database that knows of no later day gives the same rows as one that knows them all.

    Late exports of the quarter are taken in by both: they are a restatement, tested below.
    """
    with past_database(tmp_path / "then.duckdb", past) as then:
        for number in range(quarter + 1):
            live_through(then, past, number)
        take_quarter(then, past, quarter, late=True)
        audit_of(then, quarter)
        audit_of(lived, quarter)
        for kind in (Departure, AuditStore, AuditChange, AuditFinding, AuditPromise):
            assert _upto(then, kind, quarter) == _upto(lived, kind, quarter)


def test_late_exports_make_a_restatement(past: History, tmp_path: Path) -> None:
    """A quarter audited again is the same edition; after a late export it is the next one."""
    with past_database(tmp_path / "late.duckdb", past) as database:
        quarter = next(q for q in range(1, LAST) if _late_in(past, q))
        for number in range(quarter + 1):
            live_through(database, past, number)
        first = audit_of(database, quarter)
        live_through(database, past, quarter + 1)
        second, third = audit_of(database, quarter), audit_of(database, quarter)

        assert (first.edition, second.edition, third.edition) == (1, 2, 2)
        assert second.departures == first.departures + _late_in(past, quarter)


def test_a_quarter_that_is_not_over_is_no_edition(past: History, tmp_path: Path) -> None:
    """Before its last day a quarter's audit is provisional and speaks of the days up to the run."""
    with past_database(tmp_path / "early.duckdb", past) as database:
        live_through(database, past, FIRST)
        take_quarter(database, past, 1, late=False)
        database.connection.execute("update this_run set as_of = date '2024-02-15'")
        early = audit(database, read_quarter("2024-Q1"))

        assert early.edition is None
        seen = database.connection.execute(
            "select max(last_export), max(first_seen) from audit_store, drift"
        ).fetchall()
        assert all(str(day) <= "2024-02-15" for day in seen[0])


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(20))
def test_any_past_is_told_apart(seed: int, tmp_path: Path) -> None:
    """The same holds for other draws of stations, days, fields and events."""
    past = history(seed=seed, events=400)
    with past_database(tmp_path / "past.duckdb", past) as database:
        for quarter in range(LAST + 1):
            live_through(database, past, quarter)
        audit_all(database)

        assert drift_rows(database) == sorted(past.expected, key=_order)


def _order(row: tuple[str | None, ...]) -> tuple[tuple[bool, str], ...]:
    """Order rows as SQL does: an empty cell comes last."""
    return tuple((value is None, value or "") for value in row)


def _late_in(past: History, quarter: int) -> int:
    name = QUARTERS[quarter]
    found = {(row[1], row[2]) for row in past.expected if row[0] == name and row[6] == "9"}
    before = {(row[1], row[2]) for row in past.expected if row[0] < name and row[6] == "9"}
    return len(found - before)


def _upto(database: Database, kind: type[Any], quarter: int) -> list[object]:
    return [row for row in database.every(kind) if row.quarter <= QUARTERS[quarter]]
