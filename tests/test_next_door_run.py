"""Neighbours across the wall in a run: in reports, reviews, rules, schedules, store by store."""

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import duckdb
import pypdfium2
import pytest
from ingest_kit import put, take
from joint_stores import DAY, HEARD, SCANS, STATIONS, STORES
from openpyxl import load_workbook
from test_begin import filled, request_of

from pipeline.commands import run_decide, run_schedule, run_what_if
from pipeline.forms import DECISIONS
from pipeline.plan.wishes import Wishes
from pipeline.progress import Silent
from pipeline.run import Request, run, session, start_run, take_in

RULES = """
[approvers]
names = ["A. Leitner"]
proposer = "B. Leitner"

[[exception]]
rule = "channel-not-permitted"
store = "X2"
subject = "01"
reason = "an old receiver"
approved_by = "A. Leitner"
until = 2027-09-30
"""
# Each X has a Y next door; L has nobody. All stations are called 01 and 02.
STORES_OF = {
    "X1": "North", "Y1": "South", "X2": "North", "Y2": "North", "X3": "North", "Y3": "North",
    "X4": "North", "Y4": "North", "L": "North",
}  # fmt: skip
LOUD = -60


def exports() -> dict[str, str]:
    """Return exports of five places: two regions, an exception, a refused row, an old export."""
    stores = STORES.replace("exported on", "time zone,exported on")
    files = {"stores.csv": stores, "scans.csv": SCANS, "heard.csv": HEARD}
    station_rows = STATIONS.replace(",exported on", ",floor,exported on")
    files["stations.csv"] = station_rows
    for store, region in STORES_OF.items():
        site = "Canal Court" if store in {"X4", "Y4"} else ""
        day = "2026-06-30" if store == "Y4" else DAY
        files["stores.csv"] += f"{store},{store} shop,{region},GB,{site},Europe/London,{day}\n"
        for number, channel in (("01", 11), ("02", 20)):
            files["stations.csv"] += f"{store},{number},{channel},,,,0,{day}\n"
            if store != "Y4":
                both = store in {"X1", "Y1"} and number == "02"
                files["scans.csv"] += scans(store, number, busy=20 if both else 0)
        if store[0] in "XY" and store[1] != "4":
            other = ("Y" if store[0] == "X" else "X") + store[1]
            files["heard.csv"] += f"{store},01,{other},01,{LOUD},{DAY}\n"
    files["stations.csv"] += f"Y3,,15,,,,0,{DAY}\n"
    return files


def scans(store: str, station: str, busy: int = 0) -> str:
    """Return a station's scans: 11 to 20 quiet, 25 and 26 busy, and `busy` too."""
    return "".join(
        f"{store},{station},2026-09-2{day} 1{hour}:00:00,{channel},"
        f"{-55 if channel in {25, 26, busy} else -95},yes\n"
        for day in (7, 8, 9)
        for hour in range(8)
        for channel in (11, 15, 20, 25, 26)
    )


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Request:
    """Return the request of a run over these exports, done."""
    request = request_of(tmp_path_factory.mktemp("walls"), exports(), RULES)
    run(request, Silent())
    return request


def rows(request: Request, query: str) -> list[tuple[Any, ...]]:
    """Return what a query finds after the run."""
    with duckdb.connect(str(request.database), read_only=True) as found:
        return found.sql(query).fetchall()


def said(path: Path) -> str:
    """Return the text of a page's first leaf."""
    return " ".join(pypdfium2.PdfDocument(path)[0].get_textpage().get_text_range().split())


def test_neighbours_are_planned_together_and_others_alone(ran: Request) -> None:
    """Who shares a channel through the wall is parted; one store makes way, not both."""
    joint = rows(ran, "select distinct joint from store_joined order by 1")
    assert joint == [("X1 + Y1",), ("X2 + Y2",), ("X3 + Y3",), ("X4 + Y4",)]
    moved = rows(ran, "select station, count(*) from move where store in ('X1', 'Y1') group by 1")
    assert sorted(moved) == [("01", 1), ("02", 2)]
    ends = rows(ran, "select channel_planned from station_plan where store in ('X1', 'Y1') "
                     "and station = '01'")  # fmt: skip
    assert len(set(ends)) == 2
    assert rows(ran, "from move where store = 'L'") == []
    owed = "select store, station, channel_alone, neighbour_store, neighbour from owed_next_door"
    told = rows(ran, f"{owed} where store in ('X1', 'Y1') and neighbour is not null")
    assert len(told) == 1
    assert told[0][1:3] == ("01", 11)
    assert {told[0][0], told[0][3]} == {"X1", "Y1"}


def test_rules_find_a_channel_shared_through_the_wall(ran: Request) -> None:
    """On both sides, by the neighbour's key and its store's."""
    found = rows(ran, "select store, detail from finding where rule = 'channel-shared' "
                      "and store in ('X1', 'Y1') order by 1")  # fmt: skip
    assert [store for store, _ in found] == ["X1", "Y1"]
    assert "01 (Y1) heard at" in str(found[0][1])


def test_an_exception_in_one_store_binds_the_other(ran: Request) -> None:
    """X2 keeps its channel, so Y2 moves; its report says who stays, and by what."""
    moved = rows(ran, "select store, station from move where store in ('X2', 'Y2')")
    assert moved == [("Y2", "01")]
    text = said(ran.out / "North" / "Y2" / "summary.pdf")
    assert "01 (X2) stays on 11, and this plan keeps to that: an approved exception" in text
    assert "01 moves to 15 because of 01 (X2) next door (heard at" in text
    assert "01 (Y2) moves to 15 because of 01 next door" in said(
        ran.out / "North" / "X2" / "summary.pdf"
    )


def test_a_store_that_cannot_be_planned_is_taken_as_it_is(ran: Request) -> None:
    """A row of Y3's stations was refused: it has no plan, X3 is planned around its channels."""
    assert rows(ran, "select store from unplanned_store") == [("Y3",)]
    assert rows(ran, "select station from move where store = 'X3'") == [("01",)]
    assert rows(ran, "from station_plan where store = 'Y3'") == []
    assert "01 (Y3) stays on 11, and this plan keeps to that: its store has no plan" in said(
        ran.out / "North" / "X3" / "summary.pdf"
    )


def test_a_store_that_recent_exports_leave_out_stays_where_it_was(ran: Request) -> None:
    """Y4 was exported three months ago: X4 is planned around what it was on then."""
    kept = rows(ran, "select station, channel_planned, reason from station_plan where store = 'Y4'")
    assert [row[:2] for row in kept] == [("01", 11), ("02", 20)]
    assert all("no recent export has its store" in str(row[2]) for row in kept)
    assert rows(ran, "select count(*) from earshot_next_door where store = 'X4'") == [(4,)]
    assert rows(ran, "select distinct source from earshot_next_door where store = 'X4'") == [
        ("modelled",)
    ]


def test_the_review_of_each_region_tells_of_the_other(ran: Request) -> None:
    """Of two regions, and of the pairs through walls: X1, X2, X3 and their Ys are on 11."""
    pages = [load_workbook(ran.out / name / "review.xlsx")["Review"] for name in ("North", "South")]
    north, south = ({str(c.value) for row in page.rows for c in row} for page in pages)
    assert "X1 + Y1 (South)" in north
    assert "Y1 + X1 (North)" in south
    through = "through the wall between two stores"
    assert f"pairs of stations share a channel {through}: 3 today, 0 as planned" in north
    assert f"pair of stations shares a channel {through}: 1 today, 0 as planned" in south


def test_the_workbook_lists_who_is_heard_next_door(ran: Request) -> None:
    """A sheet of its own, for stores with neighbours alone."""
    book = load_workbook(ran.out / "South" / "Y1" / "change-plan.xlsx")
    row = [cell.value for cell in book["Next door"][2]]
    assert row[:7] == ["01", 11, row[2], "X1", "X1 shop", "01", 11]
    alone = load_workbook(ran.out / "North" / "L" / "change-plan.xlsx")
    assert "Next door" not in alone.sheetnames


def test_a_wish_is_priced_with_the_neighbours(ran: Request) -> None:
    """Both stores' stations stand in the answer; the store's own by their keys."""
    found = run_what_if(ran, "X1", Wishes({"01": 20}), Silent())
    assert found.stations == ("01", "02", "01 (Y1)", "02 (Y1)")
    assert found.options[2].channels[0] == 20


def test_neighbours_are_never_changed_in_one_night(ran: Request) -> None:
    """Nor a store beside one that is planned together with it, across regions."""
    run_schedule(replace(ran, as_of=date(2026, 9, 30)), Silent())
    night = dict(rows(ran, "select store, min(night) from change_schedule group by store"))
    assert {"Y2", "X3", "X1", "Y1"} <= night.keys()
    assert night["X1"] != night["Y1"]
    assert night["X3"] == night["Y2"]  # who is no neighbour shares a night


@pytest.mark.slow
def test_a_refusal_binds_the_store_next_door(tmp_path: Path) -> None:
    """Y1's move was refused without a day: X1 makes way, and so it stays while nothing changes."""
    files = {
        name: "".join(
            line for line in text.splitlines(keepends=True)
            if line.startswith(("store", "X2", "Y2"))
        )
        for name, text in exports().items()
    }  # fmt: skip
    request = request_of(tmp_path, files, RULES.split("[[", maxsplit=1)[0])
    run(request, Silent())
    ((store, channel),) = rows(request, "select store, to_channel from move")
    other = {"X2": "Y2", "Y2": "X2"}[store]
    word = {"decision": "refused", "by": "A. Leitner", "date": datetime(2026, 10, 1), "note": "no"}
    book = request.out / "North" / store / "change-plan.xlsx"
    run_decide(request, [filled(book, DECISIONS, {"01": word})], all_or_nothing=False)
    for _ in range(2):
        run(request, Silent())
        assert rows(request, "select store, from_channel from move") == [(other, 11)]
        refused = rows(request, "select store, station, channel from channel_refused")
        assert refused == [(store, "01", channel)]
    page = said(request.out / "North" / other / "summary.pdf")
    assert f"01 ({store}) stays on 11, and this plan keeps to that: another channel was" in page


def test_a_store_is_due_when_its_neighbour_is(ran: Request, tmp_path: Path) -> None:
    """Another scan of Y1 plans X1 anew as well, and nobody else."""
    before = dict(rows(ran, "select store, fingerprint from computed where step = 'plan'"))
    more = tmp_path / "in" / "more.csv"
    more.parent.mkdir()
    more.write_text(SCANS + scans("Y1", "02", busy=15), encoding="utf-8")
    run(replace(ran, exports=more.parent), Silent())
    after = dict(rows(ran, "select store, fingerprint from computed where step = 'plan'"))
    changed = {store for store in after if after[store] != before[store]}
    assert {"X1", "Y1"} <= changed
    assert "L" not in changed or changed == set(after)


@pytest.mark.parametrize(
    ("station", "heard", "taken"),
    [
        ("{}-01", "B-01", True),  # no two stores have a key in common
        ("01", "02", False),  # every store has such names
        ("01", "00:00:5e:ef:10:00:00:0b", True),  # its hardware address
    ],
)
def test_who_was_heard_is_known_by_its_name_or_address(
    tmp_path: Path, station: str, heard: str, taken: bool
) -> None:
    """Without a column for the other store."""
    names = {store: station.format(store) for store in "ABC"}
    lines = "".join(
        f"{store},{names[store]},15,,,00005eef1000000{store.lower()},{DAY}\n" for store in "ABC"
    )
    lines += "" if "{" in station else f"B,02,20,,,00005eef100000ff,{DAY}\n"
    head = HEARD.replace("heard store,", "")
    files = {"s.csv": STATIONS + lines, "h.csv": f"{head}A,{names['A']},{heard},-60,{DAY}\n"}
    request = request_of(tmp_path, files)
    with session(request) as (database, settings):
        take_in(database, request, settings, Silent())
        start_run(database, request, settings)
        ask = database.connection.execute
        told = ask("select store, neighbour_store, neighbour from heard_next_door").fetchall()
        assert told == ([("A", "B", names["B"])] if taken else [])
        assert bool(ask("from key_unmatched").fetchall()) is not taken


def test_the_site_is_known_from_its_heading(tmp_path: Path) -> None:
    """Under its own words, or as `site` beside the store; `site` alone is the store."""
    heads = ("store,region,shopping centre", "Filiale,Gebiet,Einkaufszentrum", "store,region,site")
    files = {f"{at}.csv": f"{head}\nS{at},North,M\n" for at, head in enumerate(heads)}
    files["3.csv"] = "site,region,country\nS3,North,GB\n"
    files = {name: f"exported on: {DAY}\n{text}" for name, text in files.items()}
    result = take(put(tmp_path / "in", files))
    assert sorted((row[0], row[-1]) for row in result.tables["store_seen"]) == [
        ("S0", "M"), ("S1", "M"), ("S2", "M"), ("S3", None),
    ]  # fmt: skip
