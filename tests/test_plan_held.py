"""Stores with an unlisted station are not planned and say why; sharing a channel has a price."""

from pathlib import Path

import duckdb
import pytest

from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.run import Request, judge, session, take_in

STATIONS = "store,station,channel,x m,y m,exported on\n"
SCANS = "store,station,scanned at,channel,level dbm\n"


def ran(folder: Path, files: dict[str, str]) -> duckdb.DuckDBPyConnection:
    """Take some exports in, judge and plan them; return the database to read from."""
    for name, text in files.items():
        path = folder / "in" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    request = Request(
        exports=folder / "in",
        database=folder / "q.duckdb",
        out=folder / "out",
        rules=None,
        rules_folder=None,
        as_of=None,
        selection=Selection(),
    )
    with session(request) as (database, settings):
        take_in(database, request, settings, Silent())
        judge(database, request, settings, Silent())
    return duckdb.connect(str(request.database), read_only=True)


def scans(stations: str) -> str:
    """Return quiet scans of stations over the permitted channels."""
    return SCANS + "".join(
        f"S1,{station},2026-09-29 1{hour}:00:00,{channel},-95\n"
        for station in stations
        for hour in range(10)
        for channel in (11, 15, 20, 25, 26)
    )


@pytest.mark.parametrize("told", ["scan", "label", "level"])
def test_a_store_with_an_unlisted_station_is_held(tmp_path: Path, told: str) -> None:
    """Its two listed stations share a channel, yet nothing is planned beside an unknown third."""
    more = {
        "scan": {"scans.csv": scans("ABX")},
        "label": {
            "scans.csv": scans("AB"),
            "labels.csv": "store,label,station,level dbm,exported on\nS1,L1,X,-60,2026-09-30\n",
        },
        "level": {
            "scans.csv": scans("AB"),
            "heard.csv": "store,listening station,heard station,level dbm,measured on\n"
            "S1,A,X,-60,2026-09-30\n",
        },
    }[told]
    rows = "S1,A,15,0,0,2026-09-30\nS1,B,15,3,0,2026-09-30\n"

    found = ran(tmp_path, {"stations.csv": STATIONS + rows, **more})

    assert found.table("move").fetchall() == []
    ((store, reason),) = found.table("unplanned_store").fetchall()
    assert store == "S1"
    assert "station X is named by other exports" in reason
    subjects = found.execute("select subject from finding where rule = 'station-unlisted'")
    assert subjects.fetchall() == [("unknown",)]


def test_the_rules_file_may_plan_it_all_the_same(tmp_path: Path) -> None:
    """With plan_with_unlisted_stations = 1 one of the two moves."""
    rows = "S1,A,15,0,0,2026-09-30\nS1,B,15,3,0,2026-09-30\n"
    rules = "[limits]\nplan_with_unlisted_stations = 1\n"

    found = ran(
        tmp_path, {"stations.csv": STATIONS + rows, "s.csv": scans("ABX"), "rules.toml": rules}
    )

    assert len(found.table("move").fetchall()) == 1


def test_a_store_whose_station_row_was_refused_is_held(tmp_path: Path) -> None:
    """The row of station C cannot be taken: its channel is not known."""
    rows = "S1,A,15,0,0,2026-09-30\nS1,B,15,3,0,2026-09-30\nS1,C,ninety,5,0,2026-09-30\n"

    found = ran(tmp_path, {"stations.csv": STATIONS + rows, "scans.csv": scans("AB")})

    assert found.table("move").fetchall() == []
    assert "could not be taken" in found.table("unplanned_store").fetchall()[0][1]


def test_six_stations_on_one_channel_are_spread_without_a_labels_export(tmp_path: Path) -> None:
    """A usual number of labels is reckoned with, so sharing a channel has its price."""
    names = "ABCDEF"
    rows = "".join(f"S1,{name},15,{3 * n},0,2026-09-30\n" for n, name in enumerate(names))

    found = ran(tmp_path, {"stations.csv": STATIONS + rows, "scans.csv": scans(names)})

    moves = found.execute("select station from move where not parking").fetchall()
    channels = found.execute("select distinct channel_planned from station_plan").fetchall()
    assert len(moves) >= 4
    assert len(channels) == 5
