"""Where a table's day and store come from when no column says: a line, a name, or the run."""

from datetime import date
from pathlib import Path

import pytest
from ingest_kit import Result, dump, put

from pipeline.database import open_database
from pipeline.ingest.given import day_of_name
from pipeline.ingest.load import ingest
from pipeline.ingest.notation import FolderTerms
from pipeline.progress import Silent
from pipeline.settings import load_settings

STATIONS = "store,station,channel\nS1,A,11\nS1,B,15\n"
SCAN = "store,station,channel,level dbm\nS1,A,11,-91\nS1,A,12,-70\n"
WIDE = "store,station,ch 11,ch 12\nS1,A,-91,-70\n"


def taken(folder: Path, as_of: date | None = None) -> Result:
    """Ingest into a new database, with a day for what says none."""
    database = folder.parent / f"{folder.name}.duckdb"
    with open_database(database) as opened:
        outcomes = ingest(opened, folder, load_settings(), Silent(), FolderTerms(as_of=as_of))
        return Result(outcomes, dump(opened))


@pytest.mark.parametrize(
    ("name", "day"),
    [
        ("scan_2026-09-30.csv", date(2026, 9, 30)),
        ("2026-09-30/scan.csv", date(2026, 9, 30)),
        ("30.09.2026/scan.csv", date(2026, 9, 30)),
        ("scan 1.9.2026.csv", date(2026, 9, 1)),
        ("20260930_scan.csv", date(2026, 9, 30)),
        ("2026-06-30/late_2026-07-01.csv", date(2026, 7, 1)),
        ("2026-06-30/a/scan.csv", date(2026, 6, 30)),
        ("all.zip!2026-09-30/scan.csv", date(2026, 9, 30)),
        ("book.xlsx#2026-09-30", date(2026, 9, 30)),
        ("2026-09-01_2026-09-30.csv", None),  # a period is no day
        ("2026-13-30.csv", None),
        ("scan_120260930.csv", None),
        ("S2026093.csv", None),
        ("30-09-2026.csv", None),  # could be month first elsewhere: only dots are day first
    ],
)
def test_a_day_is_read_from_names(name: str, day: date | None) -> None:
    """The nearest name that has a day decides; more days than one in it are none."""
    assert day_of_name(name) == day


@pytest.mark.parametrize(
    ("file", "text", "as_of", "day", "said"),
    [
        (
            "a_2026-09-28.csv",
            "as of,store,station,channel\n2026-09-29,S1,A,11\n",
            date(2026, 9, 30),
            date(2026, 9, 29),
            "day from column as of",
        ),
        (
            "a_2026-09-28.csv",
            f"Stand: 29.09.2026\n{STATIONS}",
            date(2026, 9, 30),
            date(2026, 9, 29),
            "day 29.09.2026 from the line above the headings",
        ),
        (
            "a_2026-09-28.csv",
            STATIONS,
            date(2026, 9, 30),
            date(2026, 9, 28),
            "day 2026-09-28 from the name of the file or folder",
        ),
        ("a.csv", STATIONS, date(2026, 9, 30), date(2026, 9, 30), "day 2026-09-30 from --as-of"),
    ],
)
def test_the_day_of_an_export_and_its_source(  # noqa: PLR0917 - a table of cases
    tmp_path: Path, file: str, text: str, as_of: date | None, day: date, said: str
) -> None:
    """A column comes before a line, a line before a name, a name before `--as-of`."""
    result = taken(put(tmp_path / "in", {file: text}), as_of)

    assert said in result.outcome(file).decisions.split("; ")
    assert {row[2] for row in result.tables["station_seen"]} == {day}
    assert result.outcome(file).exported_on == day


@pytest.mark.parametrize("text", [SCAN, WIDE])
@pytest.mark.parametrize(
    ("file", "above", "as_of", "moment", "said"),
    [
        ("scan.csv", "Scanned at: 2026-09-30 03:00\n", None, "2026-09-30 03:00:00", "03:00 from"),
        ("scan_2026-09-30.csv", "", None, "2026-09-30 12:00:00", "scans at 12:00"),
        ("30.09.2026/scan.csv", "", None, "2026-09-30 12:00:00", "scans at 12:00"),
        ("scan.csv", "", date(2026, 9, 30), "2026-09-30 12:00:00", "from --as-of, scans at 12:00"),
    ],
)
def test_a_scan_without_a_time_column(  # noqa: PLR0917 - a table of cases
    tmp_path: Path, text: str, file: str, above: str, as_of: date | None, moment: str, said: str
) -> None:
    """Its readings are of that moment; of a day alone they are of noon, and the record says so."""
    result = taken(put(tmp_path / "in", {file: above + text}), as_of)

    assert said in result.outcome(file).decisions
    assert {str(row[2]) for row in result.tables["ed_reading"]} == {moment}
    assert len(result.tables["ed_reading"]) == 2


def test_a_scan_without_any_day_is_asked_for(tmp_path: Path) -> None:
    """The line to paste does."""
    refused = taken(put(tmp_path / "in", {"scan.csv": SCAN})).outcome("scan.csv").refused
    assert refused
    line = refused.partition("\n")[2]

    result = taken(put(tmp_path / "again", {"scan.csv": f"{line}\n{SCAN}"}))

    assert result.outcome("scan.csv").rows_loaded == 2


@pytest.mark.parametrize("heading", ["sweep time", "Datum", "Uhrzeit der Messung"])
def test_a_column_that_may_be_the_time_is_not_passed_over(tmp_path: Path, heading: str) -> None:
    """A dated name does not hide a time that the file has under a heading nobody mapped."""
    text = SCAN.replace("channel", f"{heading},channel").replace("A,", "A,2026-09-29 03:00:00,")

    refused = taken(put(tmp_path / "in", {"scan_2026-09-30.csv": text})).outcomes[0].refused

    assert f'"{heading}" = "scanned_at"' in (refused or "")


@pytest.mark.parametrize(
    "text", ["station,channel\nA,11\n", "station,channel,level dbm\nA,11,-90\n"]
)
def test_one_line_names_the_store_of_a_file(tmp_path: Path, text: str) -> None:
    """A file of one store needs no column for it: it is asked for, and the line to paste does."""
    file = "a_2026-09-30.csv"
    refused = taken(put(tmp_path / "in", {file: text})).outcome(file).refused
    assert refused
    assert "\nStore: S001\n" in refused

    result = taken(put(tmp_path / "again", {file: f"Store: S001\n{text}"}))

    assert result.outcome(file).rows_loaded == 1
    rows = result.tables["station_seen"] + result.tables["ed_reading"]
    assert [row[:2] for row in rows] == [("S001", "A")]
