"""Stores and stations that are not on the air yet: planned with the rest, and told apart."""

from collections.abc import Iterator
from pathlib import Path

import begin_stores
import duckdb
import pytest
from begin_stores import DAY, STATIONS, cost_of, least
from ingest_kit import put, take

from pipeline.database import Database
from pipeline.plan.decide import PLAIN
from pipeline.plan.store import plan_store
from pipeline.plan.stores import case_of
from pipeline.progress import Silent
from pipeline.records import OFF_AIR, Selection
from pipeline.run import Request, judge, session, take_in
from pipeline.settings import Settings

EXACT = 1e-6  # costs are rounded to nine digits, pair by pair


def request_of(folder: Path, files: dict[str, str], rules: str = "") -> Request:
    """Return the request of a run over some exports."""
    for name, text in files.items():
        path = folder / "in" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    own = folder / "rules.toml"
    own.write_text(rules, encoding="utf-8")
    return Request(
        exports=folder / "in", database=folder / "q.duckdb", out=folder / "out", rules=own,
        rules_folder=None, as_of=None, selection=Selection(),
    )  # fmt: skip


def opened(request: Request) -> Iterator[tuple[Database, Settings]]:
    """Yield the database with the exports taken in and judged."""
    with session(request) as (database, settings):
        take_in(database, request, settings, Silent())
        judge(database, request, settings, Silent())
        yield database, settings


def rows(folder: Path, query: str) -> list[tuple[object, ...]]:
    """Return what a query finds after a run."""
    with duckdb.connect(str(folder / "q.duckdb"), read_only=True) as found:
        return found.sql(query).fetchall()


def run(folder: Path, files: dict[str, str], rules: str = "") -> None:
    """Run once over some exports."""
    for _ in opened(request_of(folder, files, rules)):
        pass


# The words in each language: from memory.
WORDS = {
    "installation status": ("planned", "installed", "removed"),
    "Einbaustatus": ("geplant", "montiert", "demontiert"),
    "Statut d'installation": ("prévue", "installée", "déposée"),
    "Estado de instalación": ("planificada", "instalada", "retirada"),
    "Stato di installazione": ("pianificata", "installata", "rimossa"),
    "Installatiestatus": ("gepland", "geplaatst", "verwijderd"),
    "Status instalacji": ("planowana", "zainstalowana", "zdemontowana"),
    "設置状態": ("予定", "設置済み", "撤去済み"),
    "Status": ("Planned", "Installed", "Removed"),  # the usual heading of `connected`
}


def test_the_status_is_read_in_every_language(tmp_path: Path) -> None:
    """Under its own heading, or under that of `connected`."""
    files = {}
    for at, (heading, (planned, installed, removed)) in enumerate(WORDS.items()):
        store, head = f"S{at}", STATIONS.replace("installation status", heading)
        lines = (f"{store},A,,,0,0,{planned},{DAY}", f"{store},B,15,,9,0,{installed},{DAY}",
                 f"{store},C,20,,0,9,{removed},{DAY}", f"{store},D,25,,9,9,,{DAY}")  # fmt: skip
        files[f"{store}.csv"] = head + "\n".join(lines) + "\n"
    result = take(put(tmp_path / "in", files))
    told = [(row[1], row[-1]) for row in result.tables["station_seen"]]
    each = [("A", "planned"), ("B", "installed"), ("C", "removed"), ("D", None)]
    assert told == each * len(WORDS)
    assert result.problems() == []


def test_a_status_nobody_knows_is_one_cell_to_mend(tmp_path: Path) -> None:
    """The station stands without it: installed."""
    result = take(put(tmp_path / "in", {"s.csv": f"{STATIONS}S1,A,15,,0,0,perhaps,{DAY}\n"}))
    assert result.problems() == [(2, "status-unreadable")]
    assert [row[-1] for row in result.tables["station_seen"]] == [None]


def test_stations_not_on_the_air_raise_no_finding(tmp_path: Path) -> None:
    """What the issue began with: three stations without a channel, nothing scanned yet.

    In the other store one was removed: its neighbour may have its channel; taken off the list
    later, it is no station lost.
    """
    lines = "".join(f"S1,{name},,,{9 * at},0,planned,{DAY}\n" for at, name in enumerate("ABC"))
    lines += f"S2,A,15,,0,0,installed,{DAY}\nS2,B,15,,5,0,removed,{DAY}\n"
    lines += "S2,A,15,,0,0,installed,2026-10-02\n"
    stores = f"store,name,region,country,exported on\nS1,One,North,GB,{DAY}\n"
    run(tmp_path, {"stations.csv": STATIONS + lines, "stores.csv": stores})
    assert rows(tmp_path, "from finding where store = 'S1' or subject = 'B'") == []
    moves = rows(tmp_path, "select from_channel, to_channel, chance from move order by position")
    assert [(before, chance) for before, _, chance in moves] == [(None, None)] * 3
    assert len({channel for _, channel, _ in moves} & {11, 15, 20, 25, 26}) == len(moves)
    told = rows(tmp_path, "select from_channel, state from change_story")
    assert told == [(None, "proposed")] * 3
    assert rows(tmp_path, "select station from station_plan where store = 'S2'") == [("A",)]


def check_stores(folder: Path, seed: int, stores: int) -> int:
    """Hold the plans of random stores against brute force; return how many stations are planned."""
    planned = 0
    for database, settings in opened(request_of(folder, begin_stores.exports(seed, stores))):
        for (store,) in database.connection.execute("select store from plan_proof").fetchall():
            case = case_of(database, settings, store)
            assert case is not None
            problem = case.problem
            fresh = {s.station for s in problem.stations if s.channel == OFF_AIR}
            planned += len(fresh)
            (cost,) = database.connection.execute(
                "select cost from plan_proof where store = $1", [store]
            ).fetchone() or (None,)
            told = dict(
                database.connection.execute(
                    "select station, channel_planned from station_plan where store = $1", [store]
                ).fetchall()
            )
            assert {told[station] for station in fresh} <= set(case.permitted)
            channels = tuple(told[s.station] for s in problem.stations)
            assert cost == pytest.approx(cost_of(problem, channels), abs=EXACT)
            held = {station: told[station] for station in told.keys() - fresh}
            assert cost == pytest.approx(least(problem, held), abs=EXACT), store
            free = plan_store(case, 200_000, PLAIN)
            assert free.proof.cost == pytest.approx(least(problem), abs=EXACT), store
        unplanned = database.connection.execute(
            "select station from station_planned anti join unplanned_store using (store) "
            "anti join station_plan using (store, station)"
        ).fetchall()
        assert unplanned == []
    return planned


def test_plans_of_random_stores_cost_what_brute_force_finds(tmp_path: Path) -> None:
    """The quick slice of the run below."""
    assert check_stores(tmp_path, 7, 6) > 5


@pytest.mark.slow
def test_plans_of_500_random_stores_cost_what_brute_force_finds(tmp_path: Path) -> None:
    """Any mix of planned, installed and removed, up to seven stations."""
    assert check_stores(tmp_path, 11, 500) > 500
