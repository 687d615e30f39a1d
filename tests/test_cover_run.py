"""Weak labels and Wi-Fi in a run: from exports to tables, sheets, reviews and what-ifs."""

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb
import pytest
from click.testing import CliRunner
from openpyxl import load_workbook
from test_begin import request_of

from pipeline.changes.orders import read_wished
from pipeline.cli import cli
from pipeline.commands import run_what_if
from pipeline.errors import UnknownSelection
from pipeline.plan.wishes import read_wishes
from pipeline.progress import Silent
from pipeline.run import Request, run

DAY = "2026-09-30"
RULES = """
[wifi]
own = ["shop*"]

[[place]]
store = "A"
name = "far pillar"
x_m = 92
y_m = 4

[limits]
station_pays_labels = 5
request_gain_least = 0.001
"""


def exports() -> dict[str, str]:
    """Return a store whose far end hears weakly, beside one of which no position is known."""
    files = {
        "stores.csv": "store,name,region,country,exported on\n",
        "stations.csv": "store,station,channel,x m,y m,floor,exported on\n",
        "scans.csv": "store,station,scanned at,channel,level dbm,own stations quiet\n",
        "labels.csv": "store,label,station,level dbm,x m,y m,floor,exported on\n",
        "wifi.csv": "store,heard at,network,wi-fi channel,level dbm,utilisation %,own network,"
        "exported on\n",
    }
    for store in "AB":
        files["stores.csv"] += f"{store},{store} shop,North,GB,{DAY}\n"
        for number in range(3):
            at = f"{20 * number},{5 * (number % 2)}" if store == "A" else ","
            files["stations.csv"] += f"{store},{number},15,{at},0,{DAY}\n"
            files["scans.csv"] += _scans(store, number)
            for label in range(60):
                weak = number == 2 and label < 25
                level = -85 if weak else -62 if number or label else ""  # of one it is not told
                place = "90,5,0" if weak and store == "A" and label < 20 else ",,"
                key = 100 * number + label
                files["labels.csv"] += f"{store},L{key},{number},{level},{place},{DAY}\n"
            for network, channel, own in (("shop 1", 1, ""), ("cafe", 6, ""), ("till", 1, "yes")):
                row = f"{store},{number},{network},{channel},-45,20,{own},{DAY}\n"
                files["wifi.csv"] += row
    return files


def _scans(store: str, station: int) -> str:
    """Return scans in which every fifth reading of channels under Wi-Fi 1 is loud."""
    return "".join(
        f"{store},{station},2026-09-2{day} 1{hour}:{minute:02}:00,{channel},{level},yes\n"
        for day in (7, 8, 9)
        for hour in range(4)
        for minute in range(0, 60, 12)
        for channel in (11, 15, 20, 25, 26)
        for level in [-55 if channel != 15 and minute == 12 * (hour % 5) else -95]
    )


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Request:
    """Return the request of a run over these exports, done."""
    request = request_of(tmp_path_factory.mktemp("cover"), exports(), RULES)
    run(request, Silent())
    return request


def rows(request: Request, query: str) -> list[tuple[Any, ...]]:
    """Return what a query finds after the run."""
    with duckdb.connect(str(request.database), read_only=True) as found:
        return found.sql(query).fetchall()


def test_the_place_beside_the_weak_labels_is_the_one_to_order(ran: Request) -> None:
    """Their place is known, so that the pillar the rules name beside them is the best."""
    found = rows(ran, "select place, kind, verdict, rescued_low from cover_place where rank = 1")
    assert found[0][:3] == ("far pillar", "given", "order")
    assert found[0][3] >= 10
    found = rows(ran, "select labels, levels, weak_labels, why, optimal from cover_store")
    assert (180, 179, 25, None, True) in found


def test_where_data_cannot_carry_it_that_is_said(ran: Request) -> None:
    """No position of a station, no promise."""
    assert rows(ran, "select why from cover_store where store = 'B'") == [("unplaced",)]
    assert rows(ran, "from cover_place where store = 'B'") == []
    book = load_workbook(ran.out / "North" / "B" / "change-plan.xlsx")
    assert "Further places" not in book.sheetnames
    told = [str(cell.value) for row in book["Summary"] for cell in row if cell.value]
    assert any("Where a station is missing is not known" in text for text in told)


def test_whose_a_network_is_decides_what_is_asked(ran: Request) -> None:
    """Own by the export or by name: asked; others': avoided at most."""
    asked = rows(ran, "select distinct own, networks from wifi_request where wifi_channel = 1")
    assert asked in ([], [(True, "shop 1; till")])
    assert rows(ran, "select distinct own from wifi_request where wifi_channel = 6") == []
    avoided = rows(ran, "select distinct network, wifi_channel, loudest_dbm from wifi_avoid")
    assert avoided == [("cafe", 6, -45.0)]


def test_the_review_lists_what_to_order(ran: Request) -> None:
    """One list for whoever orders and asks."""
    book = load_workbook(ran.out / "North" / "review.xlsx")
    found = [[cell.value for cell in row] for row in book["Order and ask"].iter_rows(min_row=2)]
    assert found[0][1] == "A"
    assert str(found[0][3]).startswith("order a station or antenna: at far pillar (floor 0")


def test_a_station_and_wi_fi_may_be_wished(ran: Request) -> None:
    """The station is off today, on its best channel then, and says whom it reaches."""
    request = replace(ran, exports=None)
    wishes = read_wishes(["new@90,5=best", "wifi:1=11", "0=20"])
    found = run_what_if(request, "A", wishes, Silent())
    today, plan, chosen, best = found.options
    assert found.stations == ("0", "1", "2", "new")
    assert (today.channels[3], plan.channels[3]) == (0, 0)
    assert chosen.channels[0] == best.channels[0] == 20
    assert chosen.channels[3] in {11, 15, 20, 25, 26}
    assert best.cost <= chosen.cost + 1e-9
    assert found.notes[0].startswith("new brings ")
    with pytest.raises(UnknownSelection, match="Wi-Fi network of store A"):
        run_what_if(request, "A", read_wishes(["wifi:9=11"]), Silent())


def test_all_three_may_be_wished_in_the_workbook(ran: Request, tmp_path: Path) -> None:
    """What is filled in is what `--set` takes: a share in per cent, a place, networks; in rows."""
    path = tmp_path / "plan.xlsx"
    book = load_workbook(ran.out / "North" / "A" / "change-plan.xlsx")
    sheet = book["What if"]
    told = {str(row[2].value): row for row in sheet.iter_rows(min_row=5)}
    assert all(not cell.protection.locked for cell in next(iter(told.values()))[4:5])
    place = next(at for at in told if at.startswith("far pillar@92.0,4.0,0"))
    told[place][4].value = "Best"
    networks = [row for row in told.values() if row[1].value == "Wi-Fi moved"]
    for row in networks:
        row[4].value = 11
    free = next(row for row in sheet.iter_rows(min_row=5) if row[1].value is None)
    free[1].value, free[2].value, free[4].value = "scan taken", "0:15", 0.4
    free[4].number_format = "0%"
    book.save(path)
    found = read_wished(path)
    assert found.store == "A"
    wifi = [f"wifi:{row[2].value}=11" for row in networks]
    assert [text for _, text in found.wishes] == [f"{place}=best", *wifi, "0:15=40%"]
    assert read_wishes([text for _, text in found.wishes]).scans == {("0", 15): 0.4}
    assert found.wishes[-1][0].endswith(f"plan.xlsx, sheet What if, cell {free[4].coordinate}")


@pytest.mark.slow
def test_a_change_plan_filled_in_is_priced(ran: Request, tmp_path: Path) -> None:
    """It names its store; a row of a station, and one of a scan, stand beside the plan."""
    path = tmp_path / "plan.xlsx"
    book = load_workbook(ran.out / "North" / "A" / "change-plan.xlsx")
    rows_of: Any = book["What if"].iter_rows(min_row=5)
    told = {str(row[2].value): row for row in rows_of}
    told["far pillar@92.0,4.0,0"][4].value = "best"
    told["None"][1].value, told["None"][2].value, told["None"][4].value = "scan taken", "0:15", 40
    book.save(path)
    asked = ["plan", "--database", str(ran.database), "--rules", str(ran.rules), "--set", str(path)]
    called = CliRunner().invoke(cli, asked)
    assert called.exit_code == 0, called.output
    assert "Store A: channel and clear air by station" in called.output
    assert "far pillar brings " in called.output
    other = CliRunner().invoke(cli, [*asked, "--store", "B"])
    assert "exactly one --store" in other.output


@pytest.mark.parametrize(
    ("entries", "why"),
    [
        ((None, "0:15", 40), "cell E.*: it is empty, its row is not: choose one of scan taken"),
        (("scan taken", "0:15", "much"), "cell E.*: 0:15=much%: give it as STATION=CHANNEL"),
        (("Wi-Fi moved", "=A1", 11), "it holds a formula"),
        ((None, None, None), "no row has a value"),
    ],
)
def test_a_wish_that_cannot_be_read_is_told_with_its_cell(
    ran: Request, tmp_path: Path, entries: tuple[object, ...], why: str
) -> None:
    """Nothing is priced then."""
    path = tmp_path / "plan.xlsx"
    book = load_workbook(ran.out / "North" / "A" / "change-plan.xlsx")
    free: Any = next(row for row in book["What if"].iter_rows(min_row=5) if row[1].value is None)
    free[1].value, free[2].value, free[4].value = entries
    book.save(path)
    called = CliRunner().invoke(cli, ["plan", "--database", str(ran.database), "--set", str(path)])
    assert called.exit_code == 2
    assert re.search(why, " ".join(called.output.replace("│", " ").split()))


@pytest.mark.slow
def test_the_same_exports_give_the_same_tables(ran: Request, tmp_path: Path) -> None:
    """To the last digit."""
    again = request_of(tmp_path, exports(), RULES)
    run(again, Silent())
    for table in ("cover_store", "cover_place", "wifi_request", "wifi_avoid"):
        query = f"from {table} order by all"
        assert rows(again, query) == rows(ran, query)
