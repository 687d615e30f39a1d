"""How a file writes days, numbers and units: decided from whole columns, or asked."""

from datetime import date
from pathlib import Path

import pytest
from ingest_kit import put, take

from pipeline.tables.declare import table_of
from pipeline.tables.exports import StationSeen


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        (("03/04/2026", "25/04/2026"), date(2026, 4, 3)),
        (("03/04/2026", "04/25/2026"), date(2026, 3, 4)),
        (("03.04.2026", "04.05.2026"), date(2026, 4, 3)),
        (("2026-04-03", "2026-04-04"), date(2026, 4, 3)),
        (("03/04/26", "25/04/26"), date(2026, 4, 3)),
    ],
)
def test_the_order_of_days_follows_from_the_whole_column(
    tmp_path: Path, days: tuple[str, str], expected: date
) -> None:
    """One day that can only be read one way decides for all others of the file."""
    text = "store,label,station,exported on\n" + "".join(
        f"S001,L{place},A,{day}\n" for place, day in enumerate(days)
    )

    result = take(put(tmp_path, {"x.csv": text}))

    assert expected in [row[2] for row in result.tables["label_seen"]]
    assert result.outcome("x.csv").rows_loaded == 2


def test_a_deciding_day_may_stand_at_the_end(tmp_path: Path) -> None:
    """The deciding cell counts though thousands of rows that could be either come before it."""
    rows = [f"S001,L{place},A,03/04/2026\n" for place in range(6000)] + ["S001,Z,A,25/04/2026\n"]
    text = "store,label,station,exported on\n" + "".join(rows)

    result = take(put(tmp_path, {"x.csv": text}))

    assert result.outcome("x.csv").rows_loaded == 6001
    assert {row[2] for row in result.tables["label_seen"]} == {date(2026, 4, 3), date(2026, 4, 25)}


def test_undecided_days_refuse_the_file_with_the_question(tmp_path: Path) -> None:
    """Where nothing decides between day and month the file is refused; a line answers."""
    text = "store,label,station,exported on\nS001,L1,A,03/04/2026\nS001,L2,A,05/04/2026\n"

    outcome = take(put(tmp_path / "a", {"x.csv": text})).outcome("x.csv")
    answered = take(put(tmp_path / "b", {"x.csv": "Dates: dd/mm/yyyy\n" + text}))

    assert outcome.refused is not None
    assert "Which comes first?" in outcome.refused
    assert outcome.rows_quarantined == 2
    assert answered.tables["label_seen"][0][2] == date(2026, 4, 3)


def test_undecided_thousands_refuse_the_file_with_the_question(tmp_path: Path) -> None:
    """2.000 alone may be two or two thousand; another column of the file can decide it."""
    head = "store;label;station;payload octets;level dbm;exported on\n"
    unsure = head + "S001;L1;A;2.000;-60;2026-09-30\n"
    sure = head + "S001;L1;A;2.000;-60,5;2026-09-30\n"

    refused = take(put(tmp_path / "a", {"x.csv": unsure})).outcome("x.csv").refused
    result = take(put(tmp_path / "b", {"x.csv": sure}))

    assert "decimal mark" in str(refused)
    assert (result.tables["label_seen"][0][9], result.tables["label_seen"][0][4]) == (2000, -60.5)


def test_positive_levels_without_unit_refuse_the_file(tmp_path: Path) -> None:
    """Positive levels may be magnitudes or raw values: the file is refused with the question."""
    text = "store,station,scanned at,channel,level\nS001,A,2026-09-29 03:00:00,11,80\n"

    refused = take(put(tmp_path / "a", {"x.csv": text})).outcome("x.csv").refused
    answered = take(put(tmp_path / "b", {"x.csv": "Unit: -dBm\n" + text}))

    assert "unit" in str(refused)
    assert answered.tables["ed_reading"][0][5] == -80.0


@pytest.mark.parametrize(
    ("heading", "cell", "value"),
    [
        ("tx power dbm", "4 dBm", 4.0),
        ("tx power dbm", "100 mW", 20.0),
        ("x m", "12.5 m", 12.5),
        ("x m", "1250cm", 12.5),
        ("port", "443/tcp", 443),
        ("connected", "active", True),
        ("connected", "down", False),
        ("floor", "RDC", 0),
        ("floor", "B2", -2),
        ("floor", "OG 1", 1),
        ("floor", "n/a", None),
        ("pan id", "none", None),
        ("tx power dbm", "\u2013", None),
    ],
)
def test_plain_cells_are_read(
    tmp_path: Path, heading: str, cell: str, value: float | bool | None
) -> None:
    """Units, words and signs for nothing, as people write them: common practice, no source."""
    head = "Exported on: 2026-09-30\nDecimals: point\n"
    text = f"{head}store,station,channel,{heading}\nS1,A,15,{cell}\n"

    result = take(put(tmp_path, {"s.csv": text}))

    names = [column.name for column in table_of(StationSeen).columns]
    (row,) = result.tables["station_seen"]
    told = dict(zip(names, row, strict=True))
    field = {"x m": "x_m", "tx power dbm": "tx_power_dbm", "pan id": "pan_id"}.get(heading, heading)
    assert told[field] == value


def test_a_scan_with_a_sign_for_nothing_keeps_its_readings(tmp_path: Path) -> None:
    """A channel whose cell says `n/a` or `-` was not scanned; the others load."""
    text = "store,station,scanned at,11,12,13\nS1,A,2026-09-29 03:00:00,-90,n/a,-\n"

    result = take(put(tmp_path, {"r.csv": text}))

    assert [row[4] for row in result.tables["ed_reading"]] == [11]
