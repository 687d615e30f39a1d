"""Every deliberate fault of the demo is found, and nothing is held against a store without one."""

from dataclasses import dataclass

import duckdb
import pytest
from demo_run import Ran

from pipeline.demo.faults import FAULT_FREE, FAULTS
from pipeline.demo.records import Fault, Outcome
from pipeline.records import Severity
from pipeline.tables.taken import ExportFile

RULE_FAULTS = [fault for fault in FAULTS if fault.outcome in {Outcome.FOUND, Outcome.EXCEPTED}]
ROW_FAULTS = [fault for fault in FAULTS if fault.outcome == Outcome.QUARANTINED]
REPEATS = [fault for fault in FAULTS if fault.outcome == Outcome.REPEATED]


@dataclass(frozen=True)
class Judged:
    """The demo, taken in and judged: outcomes of the files, findings, quarantined rows."""

    outcomes: tuple[ExportFile, ...]
    findings: list[tuple[str, str, str, str, str, str | None]]
    quarantined: list[tuple[str, str, str]]


def rows(connection: duckdb.DuckDBPyConnection, table: str, *columns: str) -> list[tuple[str, ...]]:
    """Return some columns of a table."""
    return connection.table(table).select(*map(duckdb.ColumnExpression, columns)).fetchall()


@pytest.fixture(scope="module")
def judged(demo_run: Ran) -> Judged:
    """Give what the demo was taken in and judged as."""
    with duckdb.connect(str(demo_run.request.database), read_only=True) as connection:
        found = rows(
            connection, "finding", "rule", "severity", "store", "subject", "detail", "excepted"
        )
        quarantined = rows(connection, "quarantined_row", "store", "problem", "text")
        quarantined += rows(connection, "quarantined_cell", "store", "problem", "text")
    return Judged(demo_run.summary.outcomes, found, quarantined)  # type: ignore[arg-type]  # rows are as wide as asked for


@pytest.mark.parametrize("fault", RULE_FAULTS, ids=lambda fault: fault.name)
def test_every_fault_is_found(fault: Fault, judged: Judged) -> None:
    """Each rule named for a fault has a finding about that store and names the station."""
    for rule in fault.raises:
        found = [
            (subject, detail, excepted)
            for name, _, store, subject, detail, excepted in judged.findings
            if name == rule and store == fault.store
        ]
        about = [f for f in found if fault.subject in {fault.store, *f[0].split()}]
        assert about, f"{rule}: only {found}"
        assert all((excepted is not None) == (fault.outcome == Outcome.EXCEPTED)
                   for _, _, excepted in about)  # fmt: skip


@pytest.mark.parametrize("fault", ROW_FAULTS, ids=lambda fault: fault.name)
def test_every_bad_row_is_quarantined(fault: Fault, judged: Judged) -> None:
    """Rows and cells made bad are kept under the named problem, with the store they speak of."""
    problem, rule = fault.raises
    kept = [text for store, name, text in judged.quarantined
            if store == fault.store and name == problem]  # fmt: skip

    assert kept
    if rule == "rows-quarantined":
        assert any(fault.subject in text for text in kept)
    assert [f for f in judged.findings
            if f[0] == rule and f[2] == fault.store and problem in f[3]]  # fmt: skip


def test_nothing_but_faults_is_quarantined(judged: Judged) -> None:
    """Every quarantined row is one that was made bad."""
    wanted = {(fault.store, fault.raises[0]) for fault in ROW_FAULTS}

    assert {(store, problem) for store, problem, _ in judged.quarantined} == wanted


@pytest.mark.parametrize("fault", REPEATS, ids=lambda fault: fault.name)
def test_a_file_that_comes_twice_adds_nothing(fault: Fault, judged: Judged) -> None:
    """Of a file and its copy one loads all rows and the other none."""
    original = fault.subject.replace(" (Kopie)", "")
    pair = [o for o in judged.outcomes if o.file in {fault.subject, original}]

    assert len(pair) == 2
    assert sorted((o.rows_loaded, o.rows_repeated) for o in pair) == [(0, 4), (4, 0)]


def test_stores_without_a_fault_raise_nothing_grave(judged: Judged) -> None:
    """No finding of severity stop or fix speaks of a store without a fault."""
    grave = {Severity.STOP, Severity.FIX}

    assert not [f for f in judged.findings if f[2] in FAULT_FREE and f[1] in grave]


def test_every_file_is_taken(judged: Judged) -> None:
    """No file of the demo is refused, and every row read is accounted for."""
    assert len(judged.outcomes) >= 35
    for outcome in judged.outcomes:
        assert outcome.refused is None, outcome
        assert (outcome.rows_read > 0) == (outcome.passed_over is None)
        told = outcome.rows_loaded + outcome.rows_quarantined + outcome.rows_repeated
        assert outcome.rows_read == told
