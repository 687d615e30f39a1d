"""Stores with an unlisted station are not planned and say why; sharing a channel has a price."""

import shutil
from collections.abc import Iterator
from datetime import date, datetime, time
from pathlib import Path

import duckdb
import pytest
from empty import new_file

from pipeline.changes.register import append
from pipeline.changes.states import PROGRAM, ChangeState, Trigger, new_event
from pipeline.database import open_database
from pipeline.progress import Silent
from pipeline.reasons import why_unplanned
from pipeline.records import Selection
from pipeline.run import Request, judge, session, take_in
from pipeline.wording import wording

STATIONS = "store,station,channel,x m,y m,exported on\n"
SCANS = "store,station,scanned at,channel,level dbm\n"


def ran(folder: Path, files: dict[str, str], own: Path | None = None) -> duckdb.DuckDBPyConnection:
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
        rules_folder=own,
        as_of=None,
        selection=Selection(),
    )
    if not request.database.exists():
        new_file(request.database)
    with session(request) as (database, settings):
        take_in(database, request, settings, Silent())
        judge(database, request, settings, Silent())
    return duckdb.connect(str(request.database), read_only=True)


def scans(stations: str, store: str = "S1") -> str:
    """Return quiet scans of stations over the permitted channels."""
    return SCANS + "".join(
        f"{store},{station},2026-09-29 1{hour}:00:00,{channel},{-95 - hour % 2}\n"
        for station in stations
        for hour in range(10)
        for channel in (11, 15, 20, 25, 26)
    )


TWO = "{s},A,15,0,0,2026-09-30\n{s},B,15,3,0,2026-09-30\n"
CONNECTED = "store,station,channel,x m,y m,connected,exported on\n"
POWERED = "store,station,channel,x m,y m,tx power dbm,exported on\n"
POWERS = POWERED + "{s},A,13,0,0,0,2026-09-30\n{s},B,13,30,0,{dbm},2026-09-30\n"
ONLINE = CONNECTED + "{s},A,15,0,0,{a},2026-09-30\n{s},B,15,3,0,{b},2026-09-30\n"
SPREAD = "".join(f"{{s}},{name},15,{3 * n},0,2026-09-30\n" for n, name in enumerate("ABCDEF"))
CHAIN = {  # what each store's exports say, and which stations were scanned
    "scan": (STATIONS + TWO, "ABX"),
    "label": (STATIONS + TWO, "AB"),
    "level": (STATIONS + TWO, "AB"),
    "refused": (STATIONS + TWO + "{s},C,ninety,5,0,2026-09-30\n", "AB"),
    "spread": (STATIONS + SPREAD, "ABCDEF"),
    "A-offline": (ONLINE.replace("{a}", "no").replace("{b}", "yes"), "AB"),
    "B-offline": (ONLINE.replace("{a}", "yes").replace("{b}", "no"), "AB"),
    "plain": (POWERS.replace("{dbm}", "0"), "AB"),
    "stop": (POWERS.replace("{dbm}", "15"), "AB"),
}
MORE = {
    "labels.csv": "store,label,station,level dbm,exported on\nlabel,L1,X,-60,2026-09-30\n",
    "heard.csv": "store,listening station,heard station,level dbm,measured on\n"
    "level,A,X,-60,2026-09-30\n",
}


@pytest.fixture(scope="module")
def chain(tmp_path_factory: pytest.TempPathFactory) -> Iterator[duckdb.DuckDBPyConnection]:
    """Give the stores of CHAIN, planned in one run; none can hear another."""
    files = dict(MORE)
    for store, (stations, scanned) in CHAIN.items():
        files[f"{store}-stations.csv"] = stations.replace("{s}", store)
        files[f"{store}-scans.csv"] = scans(scanned, store)
    with ran(tmp_path_factory.mktemp("chain"), files) as found:
        yield found


@pytest.mark.parametrize("told", ["scan", "label", "level"])
def test_a_store_with_an_unlisted_station_is_held(
    chain: duckdb.DuckDBPyConnection, told: str
) -> None:
    """Its two listed stations share a channel, yet nothing is planned beside an unknown third."""
    assert chain.execute("from move where store = ?", [told]).fetchall() == []
    unplanned = chain.execute("from unplanned_store where store = ?", [told])
    ((_, reason, facts),) = unplanned.fetchall()
    assert "station X is named by other exports" in reason
    assert why_unplanned(facts, wording("GB")) == why_unplanned(reason, wording("DE")) == reason
    assert why_unplanned(facts, wording("DE")).startswith("Station X steht in anderen Exporten, ")
    unlisted = "select subject from finding where rule = 'station-unlisted' and store = ?"
    assert chain.execute(unlisted, [told]).fetchall() == [("unknown",)]


def test_stores_without_an_unlisted_station_are_planned(chain: duckdb.DuckDBPyConnection) -> None:
    """Nothing but what their own exports say holds a store."""
    held = chain.execute("select store from unplanned_store order by store").fetchall()
    assert held == [("label",), ("level",), ("refused",), ("scan",)]


def test_the_rules_file_may_plan_it_all_the_same(tmp_path: Path) -> None:
    """With plan_with_unlisted_stations = 1 one of the two moves."""
    rows = "S1,A,15,0,0,2026-09-30\nS1,B,15,3,0,2026-09-30\n"
    rules = "[limits]\nplan_with_unlisted_stations = 1\n"

    found = ran(
        tmp_path, {"stations.csv": STATIONS + rows, "s.csv": scans("ABX"), "rules.toml": rules}
    )

    assert len(found.table("move").fetchall()) == 1


def test_a_store_whose_station_row_was_refused_is_held(chain: duckdb.DuckDBPyConnection) -> None:
    """The row of station C cannot be taken: its channel is not known."""
    assert chain.execute("from move where store = 'refused'").fetchall() == []
    why = chain.execute("select reason from unplanned_store where store = 'refused'").fetchall()
    assert "could not be taken" in why[0][0]


def test_six_stations_on_one_channel_are_spread_without_a_labels_export(
    chain: duckdb.DuckDBPyConnection,
) -> None:
    """A usual number of labels is reckoned with, so sharing a channel has its price."""
    moves = chain.execute("from move where store = 'spread' and not parking").fetchall()
    planned = "select distinct channel_planned from station_plan where store = 'spread'"
    assert len(moves) >= 4
    assert len(chain.execute(planned).fetchall()) == 5


CLASH = {"stations.csv": STATIONS + "S1,A,15,0,0,2026-09-30\nS1,B,15,3,0,2026-09-30\n"}


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the folder of two stations on one channel, one of which moves."""
    folder = tmp_path_factory.mktemp("clash")
    ran(folder, {**CLASH, "s.csv": scans("AB")}).close()
    return folder


@pytest.fixture
def clash(planned: Path, tmp_path: Path) -> Path:
    """Give a copy of it to go on with."""
    return shutil.copytree(planned, tmp_path / "clash")


MOVED = "select station, to_channel from move where not parking order by position"


def judged(folder: Path, as_of: date | None = None) -> None:
    """Judge what the database holds once more."""
    request = Request(None, folder / "q.duckdb", folder / "out", None, None, as_of, Selection())
    with session(request) as (database, settings):
        judge(database, request, settings, Silent())


def decided(folder: Path, state: ChangeState, day: date, until: date | None = None) -> None:
    """Decide alike on everything that is proposed."""
    at = datetime.combine(day, time())
    with open_database(folder / "q.duckdb") as database:
        ones = database.connection.execute(
            "select change from change_story where state = 'proposed'"
        )
        events = [
            new_event(change, state, at, "T. Aldervane", "not now", until=until)
            for (change,) in ones.fetchall()
        ]
        append(database, Trigger.DECIDE, events)


def moved(folder: Path) -> list[tuple[object, ...]]:
    """Return the moves of the plan."""
    with duckdb.connect(str(folder / "q.duckdb"), read_only=True) as connection:
        return connection.execute(MOVED).fetchall()


def reasons(folder: Path) -> str:
    """Return what the plan says of its stations."""
    with duckdb.connect(str(folder / "q.duckdb"), read_only=True) as connection:
        return str(connection.execute("select reason from station_plan").fetchall())


def test_an_approved_move_stays_permitted_and_says_what_refusing_costs(clash: Path) -> None:
    """Approving a move changes nothing about it but that it is agreed."""
    (before,) = moved(clash)
    decided(clash, ChangeState.APPROVED, date(2026, 10, 2))
    judged(clash)

    assert moved(clash) == [before]
    assert "approved by T. Aldervane on 2026-10-02" in reasons(clash)
    assert "is not permitted" not in reasons(clash)
    assert reasons(clash).count("; refusing channel") == 1


def test_a_refused_move_comes_again_only_on_its_day(clash: Path) -> None:
    """Until then another is put forward, or none; the plan says what was refused, and by whom."""
    (before,) = moved(clash)
    decided(clash, ChangeState.REFUSED, date(2026, 10, 2), until=date(2026, 12, 1))
    judged(clash)
    assert before not in moved(clash)
    assert (
        f"channel {before[1]} was refused on 2026-10-02 by T. Aldervane until 2026-12-01: not now"
        in reasons(clash)
    )

    judged(clash, as_of=date(2026, 12, 1))

    assert before in moved(clash)
    assert "refused" not in reasons(clash)


def test_a_refusal_without_a_day_lasts_until_there_is_new_evidence(clash: Path) -> None:
    """Scans that say the same do not put the move forward again; those that say otherwise do."""
    (before,) = moved(clash)
    decided(clash, ChangeState.REFUSED, date(2026, 10, 2))
    judged(clash)
    assert before not in moved(clash)

    assert "refused on 2026-10-02 by T. Aldervane: not now; refusing it costs" in reasons(clash)
    again = CLASH["stations.csv"].replace("09-30", "10-21")
    later = scans("AB").replace("2026-09-29", "2026-10-20")
    ran(clash, {"later.csv": later, "again.csv": again}).close()
    assert before not in moved(clash)  # nothing new

    loud = scans("AB").replace("2026-09-29", "2026-10-21").replace(",15,-9", ",15,-6")
    ran(clash, {"loud.csv": loud}).close()

    assert before in moved(clash)


def test_a_station_just_changed_is_settled(clash: Path) -> None:
    """What was changed as ordered is settled for 60 days: it moves only if that is sure to gain."""
    ((station, channel),) = moved(clash)
    other = "B" if station == "A" else "A"
    decided(clash, ChangeState.APPROVED, date(2026, 10, 2))
    with open_database(clash / "q.duckdb") as database:
        ((change,),) = database.connection.execute("select change from change").fetchall()
        day = datetime(2026, 10, 3)
        append(database, Trigger.RESULT, [new_event(change, ChangeState.IMPLEMENTED, day, "T. A.")])
        append(database, Trigger.VERIFY, [new_event(change, ChangeState.VERIFIED, day, PROGRAM)])
    # The other one has come onto the same channel, and may not leave it: it is offline.
    row = "S1,{},{},{},0,{},2026-10-04\n"
    text = "store,station,channel,x m,y m,connected,exported on\n"
    text += row.format(station, channel, 0, "yes") + row.format(other, channel, 3, "no")
    ran(clash, {"later.csv": text}).close()
    settled = "select station, day from station_bound where why = 'settled'"
    with open_database(clash / "q.duckdb") as database:
        assert database.connection.execute(settled).fetchall() == [(station, day.date())]
    assert moved(clash) == []
    assert "it was last changed on 2026-10-03" in reasons(clash)

    judged(clash, as_of=date(2026, 12, 3))

    assert [one for one, _ in moved(clash)] == [station]


@pytest.mark.parametrize(("offline", "moves"), [("A", "B"), ("B", "A")])
def test_a_station_that_is_offline_is_left_alone(
    chain: duckdb.DuckDBPyConnection, offline: str, moves: str
) -> None:
    """The finding says to leave it, and the plan does: the other one moves."""
    store = [f"{offline}-offline"]
    order = "select station from move where not parking and store = ? order by position"
    assert chain.execute(order, store).fetchall() == [(moves,)]
    why = chain.execute("select reason from station_plan where store = ?", store).fetchall()
    assert "held by the rule “station-offline” (Not connected in the stations" in str(why)


OWN_RULE = """\
-- name: own-wall
-- title: A thing is so
-- severity: note
-- binds: hold
-- says: {told}
-- why: It matters.
-- do: Change it.
-- source: from memory
select store, station as subject, 'the wall is being painted' as told
from station_now
where station = 'A'
"""


def test_a_rule_of_ones_own_may_hold_a_station(tmp_path: Path) -> None:
    """The plan and the finding read the one table; an approved exception lets it go again."""
    own = tmp_path / "own"
    own.mkdir()
    (own / "own-wall.sql").write_text(OWN_RULE, encoding="utf-8")
    ran(tmp_path, {**CLASH, "s.csv": scans("AB")}, own).close()
    assert [station for station, _ in moved(tmp_path)] == ["B"]
    assert "held by the rule “own-wall” (the wall is being painted)" in reasons(tmp_path)

    exception = (
        '[[exception]]\nrule = "own-wall"\nstore = "S1"\nsubject = "A"\nreason = "painted"\n'
        'approved_by = "T. Aldervane"\nuntil = 2027-01-31\n'
    )
    free = ran(tmp_path, {"rules.toml": exception}, own)

    assert "own-wall" not in reasons(tmp_path)
    assert free.table("plan_bound").fetchall() == []
    found = "select subject, detail, excepted from finding join this_run using (run)"
    assert free.execute(f"{found} where rule = 'own-wall'").fetchall() == [
        ("A", "the wall is being painted", "painted")
    ]


def test_a_stop_is_settled_first(chain: duckdb.DuckDBPyConnection) -> None:
    """Of two stations that must move, that over the power limit is first in the store's plan."""
    order = "select station from move where store = ? order by position"

    assert chain.execute(order, ["plain"]).fetchall() == [("A",), ("B",)]
    assert chain.execute(order, ["stop"]).fetchall() == [("B",), ("A",)]
    bound = "select station, kind, rule from plan_bound where store = ?"
    assert chain.execute(bound, ["stop"]).fetchall() == [("B", "first", "power-over-limit")]
