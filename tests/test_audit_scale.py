"""The audit of a large chain: how long it takes."""

from collections.abc import Callable
from pathlib import Path
from time import perf_counter

import pytest
from audit_history import APPROVER, FIRST, LAST, export_days, history, last_day
from audit_kit import SETTINGS, audit_all, drift_rows, past_database, run_on, take_quarter

from pipeline.audit.baseline import approve


@pytest.mark.slow
def test_a_thousand_stores_over_eight_quarters_take_less_than_half_a_minute(
    tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    """Eight stations a store, six exports a quarter, three thousand events, all quarters anew."""
    past = history(stores=1000, events=3000)
    with past_database(tmp_path / "large.duckdb", past) as database:
        for quarter in range(FIRST, LAST + 1):
            take_quarter(database, past, quarter, late=False)
            take_quarter(database, past, quarter, late=True)
            if quarter == FIRST:  # before later changes are verified, and agreed by that
                first = export_days(FIRST)[0]
                run_on(database, past, first)
                stores = sorted(past.regions)
                approve(database, SETTINGS, stores, by=APPROVER, reason="as built", on=first)
        run_on(database, past, last_day(LAST))
        start = perf_counter()
        audit_all(database)
        seconds = perf_counter() - start
        rows = drift_rows(database)

    assert len(rows) > 3000
    record_property("audit_seconds", round(seconds, 1))
    assert seconds < 30, seconds
