"""Keys that exports write differently change no plan, and every match is recorded and shown."""

import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path
from random import Random
from typing import Any

import duckdb
import openpyxl
import pytest
from empty import new_file
from ingest_kit import put
from rich.console import Console

from pipeline.commands import run_ingest, run_listing
from pipeline.progress import Silent
from pipeline.records import KeysLeft, KeysTaken, NewKey, RunSummary, Selection
from pipeline.report.quarantine import write_quarantine
from pipeline.run import Request, run, session, start_run, take_in
from pipeline.terminal import console, show_run

Rows = list[tuple[Any, ...]]
STORES = ("007", "012")
STATIONS = ("A-01", "A-02", "A-03")
EUI64 = {station: f"00005eef1000000{place}" for place, station in enumerate(STATIONS, start=1)}
IP = {station: f"192.0.2.{place}" for place, station in enumerate(STATIONS, start=1)}
# What a plan rests on and comes to.
PLANNED = (
    "station_plan", "move", "plan_proof", "unplanned_store", "ed_evidence", "earshot",
    "station_load",
)  # fmt: skip


class Spelling:
    """How one file writes keys: here, as the lists do."""

    def store(self, key: str) -> str:
        """Return a store's key as this file writes it."""
        return key

    def station(self, key: str) -> str:
        """Return a station's key as this file writes it."""
        return key


class Loose(Spelling):
    """Case, blanks and leading zeros at random, other ones in every row."""

    def __init__(self, seed: int) -> None:
        self._random = Random(seed)

    def store(self, key: str) -> str:
        """Return the number with other zeros before it."""
        return "0" * self._random.randint(0, 3) + key.lstrip("0")

    def station(self, key: str) -> str:
        """Return the letter in any case, blanks around the mark, and other zeros."""
        letter, number = key.split("-")
        blanks = [self._random.choice(("", " ", "\u00a0", "  ")) for _ in range(2)]
        letter = self._random.choice((letter, letter.lower()))
        return f"{letter}{blanks[0]}-{blanks[1]}{self._random.choice(('', '0'))}{int(number)}"


class Addressed(Spelling):
    """Hardware and network addresses in place of stations, in several notations."""

    def __init__(self, seed: int) -> None:
        self._random = Random(seed)

    def station(self, key: str) -> str:
        """Return one of the station's addresses."""
        pairs = [EUI64[key][at : at + 2] for at in range(0, 16, 2)]
        dotted = ".".join(EUI64[key][at : at + 4] for at in range(0, 16, 4))
        notations = (":".join(pairs), "-".join(pairs).upper(), EUI64[key], dotted, IP[key])
        return self._random.choice(notations)


def exports(scans: Spelling, rest: Spelling | None = None) -> dict[str, str]:
    """Return the exports of two stores whose three stations share a channel."""
    rest = rest or scans
    day = "2026-09-30"
    stores = "".join(f"{rest.store(s)},N{s},North,GB,m,Europe/London,{day}\n" for s in STORES)
    stations = readings = labels = heard = wifi = ""
    for store in STORES:
        for place, name in enumerate(STATIONS):
            stations += f"{store},{name},15,{4 * place},0,{EUI64[name]},{IP[name]},{day}\n"
            for at in range(100):
                channel, moment = (
                    (11, 15, 20, 25, 26)[at % 5],
                    f"2026-09-29 1{at // 10}:0{at % 10}:00",
                )
                level = -60 if channel == 15 and at % 3 else -95
                key = f"{scans.store(store)},{scans.station(name)}"
                readings += f"{key},{moment},{channel},{level}\n"
            for label in range(20 + 5 * place):
                key = f"{rest.store(store)},L{place}-{label},{rest.station(name)}"
                labels += f"{key},-60,{day}\n"
            other = STATIONS[(place + 1) % 3]
            pair = f"{rest.store(store)},{rest.station(name)},{rest.station(other)}"
            heard += f"{pair},{-55 - place},{day}\n"
            wifi += f"{rest.store(store)},{rest.station(name)},net,6,-50,{day}\n"
    return {
        "stores.csv": f"store,name,region,country,store type,time zone,exported on\n{stores}",
        "stations.csv": "store,station,channel,x m,y m,eui-64,ip address,exported on\n" + stations,
        "scans.csv": f"store,station,scanned at,channel,level dbm\n{readings}",
        "labels.csv": f"store,label,station,level dbm,exported on\n{labels}",
        "heard.csv": "store,listening station,heard station,level dbm,measured on\n" + heard,
        "wifi.csv": f"store,heard at,network,wi-fi channel,level dbm,surveyed on\n{wifi}",
    }


def asked(folder: Path, files: Mapping[str, str]) -> Request:
    """Put some exports beside those that the folder has; return a run of them."""
    put(folder / "in", files)
    return Request(
        exports=folder / "in",
        database=folder / "q.duckdb",
        out=folder / "out",
        rules=None,
        rules_folder=None,
        as_of=None,
        selection=Selection(),
    )


def ran(folder: Path, files: Mapping[str, str]) -> RunSummary:
    """Run the whole job on some exports, beside those that the folder has."""
    return run(asked(folder, files), Silent())


def judged(folder: Path, files: Mapping[str, str]) -> RunSummary:
    """Do the same but for the reports."""
    request = asked(folder, files)
    if not request.database.exists():
        new_file(request.database)
    run_ingest(request, Silent())
    summary, _ = run_listing(request, "listed_findings", Silent())
    return summary


def matched(folder: Path, files: Mapping[str, str]) -> Path | None:
    """Take some exports in and match their keys, no more; return the workbook of what is wrong."""
    request = asked(folder, files)
    with session(request) as (database, settings):
        take_in(database, request, settings, Silent())
        start_run(database, request, settings)
        return write_quarantine(database, request.out)


def rows(folder: Path, query: str) -> Rows:
    """Return the rows of a query on a finished run."""
    with duckdb.connect(str(folder / "q.duckdb"), read_only=True) as connection:
        return connection.execute(query).fetchall()


def planned(folder: Path) -> dict[str, Rows]:
    """Return every row of the tables of evidence and plan."""
    with duckdb.connect(str(folder / "q.duckdb"), read_only=True) as connection:
        return {name: connection.table(name).order("all").fetchall() for name in PLANNED}


@pytest.fixture(scope="module")
def plain_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the folder of a run where every export writes keys as the lists do: none is new."""
    folder = tmp_path_factory.mktemp("plain")
    summary = judged(folder, exports(Spelling()))

    assert (summary.keys_taken, summary.keys_left, summary.new_keys) == ((), KeysLeft(), ())
    assert rows(folder, "from key_match") == rows(folder, "from key_pair") == []
    return folder


@pytest.fixture(scope="module")
def plain(plain_folder: Path) -> dict[str, Rows]:
    """Give the plan of that run."""
    found = planned(plain_folder)
    assert found["move"]
    return found


@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.slow)])
def test_case_blanks_and_zeros_change_no_plan(
    tmp_path: Path, plain: dict[str, Rows], seed: int
) -> None:
    """Keys respelled at random, a new way in every row, give the same evidence and plan."""
    judged(tmp_path, exports(Loose(seed)))

    assert planned(tmp_path) == plain
    assert rows(tmp_path, "from key_unmatched") == []


def test_addresses_in_place_of_stations_change_no_plan(
    tmp_path: Path, plain: dict[str, Rows]
) -> None:
    """Scans keyed by hardware address, the rest by any address: counted way by way."""
    summary = judged(tmp_path, exports(_OnlyHardware(), Addressed(3)))

    assert planned(tmp_path) == plain
    scans = [each for each in summary.keys_taken if each.source == "scans"]
    assert scans == [KeysTaken("scans", "station", "hardware address", 6, 600)]
    assert "scans of 6 stations named by hardware address" in shown(summary)


class _OnlyHardware(Spelling):
    def station(self, key: str) -> str:
        return EUI64[key]


def shown(summary: RunSummary) -> str:
    """Return what the terminal says of a run, in one line."""
    out: Console = console(width=200)
    with out.capture() as capture:
        show_run(out, summary)
    return " ".join(capture.get().split())


@pytest.mark.slow
def test_a_late_inventory_matches_earlier_scans(tmp_path: Path, plain: dict[str, Rows]) -> None:
    """Runs before the inventory came change nothing of what the last one finds."""
    files = exports(Loose(4), Addressed(5))
    lines = files["stations.csv"].splitlines(keepends=True)
    other = "".join(line for line in lines if not line.startswith("007"))
    early = ran(tmp_path, {**files, "stations.csv": other})

    summary = ran(tmp_path, {"late.csv": files["stations.csv"]})

    assert (early.stations, summary.stations) == (3, 6)
    assert planned(tmp_path) == plain


@pytest.mark.slow
def test_the_same_exports_under_two_spellings_count_once(
    tmp_path: Path, plain: dict[str, Rows]
) -> None:
    """Facts that come again under other keys add nothing."""
    judged(tmp_path, exports(Spelling()))
    again = {f"again-{name}": text for name, text in exports(Addressed(6)).items()}

    judged(tmp_path, {**again, **{f"l-{n}": t for n, t in exports(Loose(7)).items()}})

    assert planned(tmp_path) == plain


def _scans(keys: Iterable[str]) -> str:
    lines = "".join(
        f"{key},2026-09-29 1{hour}:00:00,{channel},-95\n"
        for key in keys
        for hour in range(3)
        for channel in (11, 15, 20, 25, 26)
    )
    return f"store,station,scanned at,channel,level dbm\n{lines}"


def test_alike_listed_keys_stay_two_and_are_told(tmp_path: Path) -> None:
    """Nothing is taken for B1 or b1; what matches none is one finding per cause, and a sheet."""
    stations = (
        "store,station,channel,x m,exported on\nS1,B1,15,0,2026-09-30\nS1,b1,20,3,2026-09-30\n"
    )
    keys = ("S1,B1", "S1,b1", "S1,B 1", *(f"S1,X{n}" for n in range(7)), "S9,Y")

    summary = ran(tmp_path, {"stations.csv": stations, "scans.csv": _scans(keys)})

    found = rows(
        tmp_path,
        "select rule, store, subject, detail from finding where rule like '%unlisted' order by all",
    )
    assert [row[:3] for row in found] == [
        ("station-unlisted", "S1", "ambiguous"),
        ("station-unlisted", "S1", "unknown"),
        ("store-unlisted", "*", "unknown"),
    ]
    assert "B 1 (is it B1, b1?)" in found[0][3]
    assert "7 stations named by scans (105 rows)" in found[1][3]
    assert summary.keys_left == KeysLeft(stores=1, stations=8)
    assert summary.keys_taken == ()
    assert "like no listed one: 1 store and 8 stations" in shown(summary)
    assert rows(tmp_path, "select store from unplanned_store") == [("S1",)]
    assert summary.quarantine is not None
    sheet = openpyxl.load_workbook(summary.quarantine)["Keys not matched"]
    written = [row[2] for row in sheet.iter_rows(min_row=2, values_only=True)]
    assert written == ["B 1", *(f"X{n}" for n in range(7)), "S9"]


def test_matches_stand_in_the_workbook(tmp_path: Path) -> None:
    """Every key taken for another stands in a sheet that is no export when it comes back."""
    path = matched(tmp_path, exports(Addressed(1), Loose(2)))
    assert path is not None
    book = openpyxl.load_workbook(path)
    rest = [row[:3] for row in book["Keys matched"].iter_rows(min_row=2, values_only=True)]
    matches = rows(tmp_path, "select kind, store, written from key_match order by all")

    put(tmp_path / "in", {"back.xlsx": path.read_bytes()})
    again = run_ingest(asked(tmp_path, {}), Silent())

    assert rest == matches != []
    assert all(outcome.refused is None for outcome in again)


def test_a_store_and_its_description_come_together(tmp_path: Path) -> None:
    """The stores export writes 7, all others 007: one store, with its region and time zone."""
    matched(tmp_path, exports(Spelling()) | {"stores.csv": exports(Loose(1))["stores.csv"]})

    found = rows(tmp_path, "select store, region, time_zone from store_now order by all")
    assert found == [(store, "North", "Europe/London") for store in STORES]


def test_a_garbled_key_is_told_as_new(plain_folder: Path, tmp_path: Path) -> None:
    """0O7 in the next quarter is a new store, likely 007; a first run calls nothing new."""
    shutil.copytree(plain_folder, tmp_path, dirs_exist_ok=True)
    later = (
        exports(Spelling())["stations.csv"].replace("\n007,", "\n0O7,").replace("-09-30", "-12-30")
    )
    later = later.replace("\n012,A-03,", "\n012,A-O3,")

    summary = judged(tmp_path, {"later.csv": later})

    assert summary.new_keys == (NewKey("0O7", None, "007"), NewKey("012", "A-O3", "A-03"))
    text = shown(summary)
    assert "1 store: 0O7 (is it 007?)" in text
    assert "1 station: 012 A-O3 (is it A-03?)" in text
    assert judged(tmp_path, {}).new_keys == summary.new_keys
