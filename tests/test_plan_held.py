"""Stores with an unlisted station are not planned and say why; sharing a channel has a price."""

import shutil
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


def scans(stations: str) -> str:
    """Return quiet scans of stations over the permitted channels."""
    return SCANS + "".join(
        f"S1,{station},2026-09-29 1{hour}:00:00,{channel},{-95 - hour % 2}\n"
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
    ((store, reason, facts),) = found.table("unplanned_store").fetchall()
    assert store == "S1"
    assert "station X is named by other exports" in reason
    assert why_unplanned(facts, wording("GB")) == why_unplanned(reason, wording("DE")) == reason
    assert why_unplanned(facts, wording("DE")).startswith("Station X steht in anderen Exporten, ")
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


def test_a_station_that_is_offline_is_left_alone(tmp_path: Path) -> None:
    """The finding says to leave it, and the plan does: the other one moves."""
    text = (
        "store,station,channel,x m,y m,connected,exported on\n"
        "S1,A,15,0,0,no,2026-09-30\nS1,B,15,3,0,yes,2026-09-30\n"
    )
    ran(tmp_path, {"stations.csv": text, "s.csv": scans("AB")}).close()
    assert [station for station, _ in moved(tmp_path)] == ["B"]
    assert "held by the rule station-offline (Not connected in the stations" in reasons(tmp_path)

    swapped = text.replace(",no,", ",-,").replace(",yes,", ",no,").replace(",-,", ",yes,")
    ran(tmp_path / "other", {"stations.csv": swapped, "s.csv": scans("AB")}).close()

    assert [station for station, _ in moved(tmp_path / "other")] == ["A"]


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
    assert "held by the rule own-wall (the wall is being painted)" in reasons(tmp_path)

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


def test_a_stop_is_settled_first(tmp_path: Path) -> None:
    """Of two stations that must move, that over the power limit is first in the store's plan."""
    text = "store,station,channel,x m,y m,tx power dbm,exported on\n"
    text += "S1,A,13,0,0,0,2026-09-30\nS1,B,13,30,0,{},2026-09-30\n"
    order = "select station from move order by position"

    plain = ran(tmp_path / "a", {"stations.csv": text.format(0), "s.csv": scans("AB")})
    stop = ran(tmp_path / "b", {"stations.csv": text.format(15), "s.csv": scans("AB")})

    assert plain.execute(order).fetchall() == [("A",), ("B",)]
    assert stop.execute(order).fetchall() == [("B",), ("A",)]
    bound = stop.execute("select station, kind, rule from plan_bound").fetchall()
    assert bound == [("B", "first", "power-over-limit")]
