"""What labels got, and which of them did not follow a change, against a recount in plain Python."""

from collections.abc import Iterator
from dataclasses import fields
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from empty import new_database

from pipeline.database import Database
from pipeline.settings import load_settings
from pipeline.tables.exports import LabelSeen
from pipeline.tables.run import Setting, ThisRun

AS_OF = date(2026, 9, 30)
LIMITS = load_settings().limits


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """A new database with a run and the limits, and no label."""
    with new_database(tmp_path / "labels.duckdb") as opened:
        opened.put(ThisRun, [ThisRun("r", AS_OF)])
        opened.put(Setting, [Setting(name, value) for name, value in LIMITS.items()])
        yield opened


def label(name: str, seen_on: date = AS_OF, station: str | None = "A", **more: Any) -> LabelSeen:  # noqa: ANN401 - any columns
    """Return a label of store S, with nothing said of it but `more`."""
    said: dict[str, Any] = dict.fromkeys(column.name for column in fields(LabelSeen))
    key = {"store": "S", "label": name, "seen_on": seen_on, "station": station}
    return LabelSeen(**{**said, **key, **more})


def outcomes(database: Database) -> list[dict[str, Any]]:
    """Return the rows of `label_outcome`, in order."""
    query = "from label_outcome order by store, station, seen_on"
    found = database.connection.execute(query)
    names = [column[0] for column in found.description]
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def test_counts_are_pooled_and_go_before_the_share_beside_them(database: Database) -> None:
    """90 of 100 and 198 of 200, worked by hand; a label without counts beside them says nothing."""
    database.put(LabelSeen, [
        label("1", updates_sent=100, updates_acknowledged=90, acknowledged_first=80,
              success_pct=50.0),
        label("2", updates_sent=200, success_pct=99.0),
        label("3", success_pct=10.0),
        label("4", updates_sent=40),
    ])  # fmt: skip

    (found,) = outcomes(database)

    assert (found["labels"], found["updates"], found["acknowledged"]) == (4, 300, 288)
    assert found["acknowledged_first"] == 80
    assert found["success_share"] == pytest.approx(288 / 300)
    assert (found["silent"], found["moved"]) == (None, None)


def test_without_counts_shares_weigh_by_the_updates_a_day(database: Database) -> None:
    """100 % of 12 a day and 40 % of the 4 that are taken where the export does not say."""
    database.put(LabelSeen, [
        label("1", success_pct=100.0, updates_per_day=12.0),
        label("2", success_pct=40.0),
        label("3", updates_per_day=500.0),
    ])  # fmt: skip

    (found,) = outcomes(database)

    assert (found["updates"], found["acknowledged"]) == (None, None)
    assert found["success_share"] == pytest.approx((12 + 0.4 * 4) / 16)


def test_silent_and_moved_are_counted_against_the_limit_and_the_export_before(
    database: Database,
) -> None:
    """Seven days are not silent yet, eight are; a label that an export left out has not moved."""
    before, between = AS_OF - timedelta(90), AS_OF - timedelta(30)
    database.put(LabelSeen, [
        label("1", before), label("1", between), label("1", last_heard_on=AS_OF - timedelta(7)),
        label("2", between, "B"), label("2", last_heard_on=AS_OF - timedelta(8)),
        label("3", before, "B"), label("3"),
        label("4"),
        label("5", AS_OF + timedelta(1)),
    ])  # fmt: skip

    found = {(each["station"], each["seen_on"]): each for each in outcomes(database)}

    now = found["A", AS_OF]
    assert (now["labels"], now["silent"], now["moved"]) == (4, 1, 1)
    assert found["A", before]["moved"] is None
    assert found["A", between]["moved"] == 0
    assert now["success_share"] is None
    assert ("A", AS_OF + timedelta(1)) not in found
    changed = database.connection.execute("from labels_changed order by seen_on").fetchall()
    assert changed == [("S", before, between, 2, 2, 0, 1, 1), ("S", between, AS_OF, 2, 4, 1, 2, 0)]


def test_a_station_is_replaced_where_exports_name_other_hardware(database: Database) -> None:
    """An export that names no address in between changes nothing; the same address is the same."""
    told = [(90, "a1"), (60, None), (30, "a1"), (10, "a2"), (-1, "a3")]
    database.connection.executemany(
        "insert into station_seen (store, station, seen_on, eui64) values ('S', 'A', ?, ?)",
        [(AS_OF - timedelta(days), eui64) for days, eui64 in told],
    )

    found = database.connection.execute("from station_replaced").fetchall()

    assert found == [("S", "A", AS_OF - timedelta(30), AS_OF - timedelta(10), "a1", "a2")]
