"""The baseline in the database: who may approve, what a version holds, how changes move it."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from audit_kit import put
from empty import new_database

from pipeline.audit.audit import audit, compare
from pipeline.audit.baseline import advance, approve, keep
from pipeline.audit.history import LineKind, life
from pipeline.audit.records import read_quarter
from pipeline.database import Database
from pipeline.errors import (
    ApproverUnknown,
    BaselineOutOfOrder,
    DaysOutOfOrder,
    NothingToApprove,
    NothingToAudit,
    ReasonMissing,
    UnknownSelection,
)
from pipeline.settings import load_settings

SETTINGS = replace(load_settings(), approvers=("P. Approver", "Q. Other"))
JUNE, JULY, AUGUST = date(2026, 6, 30), date(2026, 7, 31), date(2026, 8, 31)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """Give a store of two stations seen in June and July, on channels 11 and 15."""
    with new_database(tmp_path / "baseline.duckdb") as opened:
        put(opened, "store_seen", [{"store": "S1", "seen_on": JUNE, "region": "North"}])
        for day in (JUNE, JULY):
            put(opened, "station_seen", [station("a", 11, day), station("b", 15, day)])
        set_day(opened, JULY)
        yield opened


def station(name: str, channel: int, day: date, store: str = "S1") -> dict[str, Any]:
    """Return a line of a stations export."""
    return {"store": store, "station": name, "seen_on": day, "channel": channel, "port": 4840,
            "eui64": f"00005eef1000000{'ab'.index(name[0]) + 1}", "firmware": "1"}  # fmt: skip


def set_day(database: Database, day: date) -> None:
    """Let a run speak of a day."""
    database.connection.execute("delete from this_run")
    put(database, "this_run", [{"run": f"r{day}", "as_of": day}])
    database.connection.execute("insert or ignore into run values (?, ?, 't')", [f"r{day}", day])


def agreed(database: Database, field: str) -> dict[str, str | None]:
    """Return what is agreed of a field now, by station."""
    return dict(
        database.connection.execute(
            "select station, arg_max_null(value, (approved_on, version)) from baseline "
            "where field = ? group by station order by station", [field]
        ).fetchall()
    )  # fmt: skip


def change(database: Database, states: list[tuple[str, datetime]], to_channel: int = 20) -> None:
    """Register a change of station a and what becomes of it."""
    put(
        database, "change",
        [{"change": "C1", "plan": "P1", "store": "S1", "station": "a", "from_channel": 11,
          "to_channel": to_channel, "position": 1, "parking": False, "clear_air_before": 0.4,
          "clear_air_after": 0.8, "labels": 9, "sureness": "high", "proposed_by": "quietaisle",
          "proposed_on": JULY}],
    )  # fmt: skip
    events(database, states)


def events(database: Database, states: list[tuple[str, datetime]], first: int = 1) -> None:
    """Add events of that change."""
    put(
        database, "change_event",
        [{"seq": first + n, "change": "C1", "state": state, "at": at, "by": "Q. Other", "note": ""}
         for n, (state, at) in enumerate(states)],
    )  # fmt: skip


def test_an_approval_freezes_what_the_latest_export_found(database: Database) -> None:
    """Every field of every station, with who, why and when; the first version is number 1."""
    [done] = approve(database, SETTINGS, ["S1"], by="P. Approver", reason="as built", on=AUGUST)

    assert (done.store, done.version, done.stations, done.found_on) == ("S1", 1, 2, JULY)
    assert agreed(database, "channel") == {"a": "11", "b": "15"}
    assert agreed(database, "port") == {"a": "4840", "b": "4840"}
    rows = database.connection.execute(
        "select distinct version, approved_by, reason, approved_on, change from baseline"
    ).fetchall()
    assert rows == [(1, "P. Approver", "as built", AUGUST, None)]


def test_a_later_version_is_added_and_tells_who_is_gone(database: Database) -> None:
    """Old versions stay; a station that is not there any more is agreed to be gone."""
    approve(database, SETTINGS, ["S1"], by="P. Approver", reason="as built", on=JULY)
    put(database, "station_seen", [station("a", 12, AUGUST)])
    before = database.connection.execute("select * from baseline order by all").fetchall()
    approve(database, SETTINGS, ["S1"], by="Q. Other", reason="b was taken down", on=AUGUST)

    assert agreed(database, "station") == {"a": "a", "b": None}
    assert agreed(database, "channel")["a"] == "12"
    kept = database.connection.execute(
        "select * from baseline where version = 1 order by all"
    ).fetchall()
    assert kept == before


def test_the_same_approval_once_more_is_the_version_it_was(database: Database) -> None:
    """The same person, day, reason and findings add nothing; another reason is another version."""
    for reason, version in (("as built", 1), ("as built", 1), ("checked again", 2)):
        [done] = approve(database, SETTINGS, ["S1"], by="P. Approver", reason=reason, on=AUGUST)
        assert (done.version, done.stations) == (version, 2)
    versions = database.connection.execute("select max(version), count(*) from baseline")
    assert versions.fetchall()[0][0] == 2


def test_who_may_not_approve_is_told_why(database: Database) -> None:
    """Strangers, blank reasons, unknown stores, days without exports, days before a version."""

    def refuse(stores: list[str], by: str, reason: str, on: date) -> None:
        approve(database, SETTINGS, stores, by=by, reason=reason, on=on)

    with pytest.raises(ApproverUnknown, match=r"'P. Aprover'.* Did you mean 'P. Approver'"):
        refuse(["S1"], "P. Aprover", "as built", JULY)
    with pytest.raises(ReasonMissing, match="reason"):
        refuse(["S1"], "P. Approver", "  ", JULY)
    with pytest.raises(UnknownSelection, match="no store 'S2'"):
        refuse(["S1", "S2"], "P. Approver", "as built", JULY)
    with pytest.raises(NothingToApprove, match="2026-06-29"):
        refuse(["S1"], "P. Approver", "as built", date(2026, 6, 29))
    assert agreed(database, "channel") == {}
    refuse(["S1"], "P. Approver", "as built", AUGUST)
    with pytest.raises(BaselineOutOfOrder, match="2026-08-31"):
        refuse(["S1"], "P. Approver", "as built", JULY)


def test_a_verified_change_moves_the_baseline_once(database: Database) -> None:
    """As of the day it was verified, by the name of who approved it; once more adds nothing."""
    approve(database, SETTINGS, ["S1"], by="P. Approver", reason="as built", on=JULY)
    change(database, [("proposed", datetime(2026, 8, 1)), ("approved", datetime(2026, 8, 2)),
                      ("implemented", datetime(2026, 8, 3, 23))])  # fmt: skip
    assert advance(database) == 0
    events(database, [("verified", datetime(2026, 8, 9))], first=4)

    assert advance(database) == 1
    assert advance(database) == 0
    [row] = database.connection.execute(
        "select version, station, value, approved_by, approved_on from baseline where change = 'C1'"
    ).fetchall()
    assert row == (2, "a", "20", "Q. Other", date(2026, 8, 9))
    assert agreed(database, "channel") == {"a": "20", "b": "15"}

    events(database, [("backed out", datetime(2026, 8, 20))], first=5)
    assert advance(database) == 1
    assert advance(database) == 0
    assert agreed(database, "channel")["a"] == "11"


def test_the_channel_ordered_is_agreed_where_it_is_another_than_proposed(
    database: Database,
) -> None:
    """What counts is the last approval by a person, not that work not done is to be done still."""
    change(database, [("approved", datetime(2026, 7, 2)), ("approved", datetime(2026, 7, 5)),
                      ("verified", datetime(2026, 7, 9))])  # fmt: skip
    database.connection.execute("update change_event set channel = 25 where seq = 1")
    database.connection.execute("update change_event set result = 'not done' where seq = 2")
    assert advance(database) == 1
    assert agreed(database, "channel") == {"a": "25"}


def test_the_approver_is_whoever_approved_not_whoever_reported(database: Database) -> None:
    """A change reported as not done is approved as before: its installer agreed to nothing."""
    change(database, [("proposed", datetime(2026, 8, 1)), ("approved", datetime(2026, 8, 2))])
    put(database, "change_event",
        [{"seq": 3, "change": "C1", "state": "approved", "at": datetime(2026, 8, 3),
          "by": "F. Fitter", "note": "", "result": "not done"}])  # fmt: skip
    events(database, [("implemented", datetime(2026, 8, 4)), ("verified", datetime(2026, 8, 9))], 4)

    assert advance(database) == 1
    told = database.connection.execute("select approved_by from baseline where change = 'C1'")
    assert told.fetchall() == [("Q. Other",)]


def test_a_verified_change_is_agreed_without_a_baseline(database: Database) -> None:
    """It agrees to the channel of its station alone; one backed out goes back to the one before."""
    change(database, [("approved", datetime(2026, 7, 2)), ("verified", datetime(2026, 7, 9))])
    assert advance(database) == 1
    assert advance(database) == 0
    assert agreed(database, "channel") == {"a": "20"}
    assert agreed(database, "station") == {}
    events(database, [("backed out", datetime(2026, 7, 20))], first=3)
    assert advance(database) == 1
    assert agreed(database, "channel") == {"a": "11"}
    approve(database, SETTINGS, ["S1"], by="P. Approver", reason="as built", on=AUGUST)
    assert advance(database) == 0


def test_a_change_undone_before_it_was_verified_says_where_it_went_back(database: Database) -> None:
    """Its last event says the channel of before, whatever the exports showed meanwhile."""
    change(database, [("approved", datetime(2026, 7, 2)), ("ineffective", datetime(2026, 7, 9)),
                      ("backed out", datetime(2026, 7, 12))])  # fmt: skip
    assert advance(database) == 1
    assert advance(database) == 0
    assert agreed(database, "channel") == {"a": "11"}


def test_a_parking_step_does_not_move_the_baseline(database: Database) -> None:
    """It is a step on the way: only the last step of a station is what is agreed."""
    approve(database, SETTINGS, ["S1"], by="P. Approver", reason="as built", on=JULY)
    change(database, [("approved", datetime(2026, 8, 2)), ("verified", datetime(2026, 8, 9))])
    database.connection.execute("update change set parking = true")
    assert advance(database) == 0


def test_what_is_approved_in_the_last_minutes_is_of_the_quarter(database: Database) -> None:
    """An approval at 23:40 of the last day counts; one at midnight is of the next quarter."""
    approve(database, SETTINGS, ["S1"], by="P. Approver", reason="as built", on=JULY)
    last = date(2026, 9, 30)
    put(database, "station_seen", [station("a", 20, last), station("b", 15, last)])
    set_day(database, date(2026, 12, 31))
    change(database, [("proposed", datetime(2026, 9, 1)), ("approved", datetime(2026, 10, 1))])
    for at, kind in ((datetime(2026, 10, 1), "drift"), (datetime(2026, 9, 30, 23, 40), None)):
        database.connection.execute('update change_event set "at" = ? where seq = 2', [at])
        audit(database, read_quarter("2026-Q3"))
        found = database.connection.execute(
            "select kind from drift where quarter = '2026-Q3'"
        ).fetchall()
        assert found == [(kind or "approved change",)]


def test_exceptions_are_kept_under_the_day_they_were_met(database: Database) -> None:
    """Those of the first run count from ever; what comes and goes later counts from that run on."""

    def on_file(*rules: str) -> None:
        database.connection.execute("delete from exception")
        common = {"store": "S1", "subject": "a", "reason": "trial", "approved_by": "P. Approver"}
        until = date(2027, 1, 1)
        put(database, "exception", [{"rule": rule, **common, "until": until} for rule in rules])

    on_file("drift-port")
    keep(database)
    set_day(database, AUGUST)
    on_file("drift-channel")
    keep(database)
    keep(database)
    set_day(database, JUNE)
    on_file("drift-port", "drift-channel", "drift-firmware")
    keep(database)

    assert database.connection.execute(
        "select as_of, on_file, first_run, rule from exception_file order by rowid"
    ).fetchall() == [
        (JULY, True, True, "drift-port"),
        (AUGUST, True, False, "drift-channel"),
        (AUGUST, False, False, "drift-port"),
    ]


def test_clear_air_lost_compares_both_channels(database: Database) -> None:
    """By the run that met the station on the found channel: (1 - busy) x what neighbours leave."""
    approve(database, SETTINGS, ["S1"], by="P. Approver", reason="as built", on=JULY)
    put(database, "station_seen", [station("a", 15, AUGUST), station("b", 15, AUGUST)])
    set_day(database, AUGUST)
    put(database, "ed_evidence",
        [{"store": "S1", "station": name, "channel": channel, "readings": 9, "visits": 1,
          "worth": 9.0,
          "busy_estimate": busy, "busy_low": busy, "busy_high": busy, "expected_cost": busy,
          "a": 1.0, "b": 9.0, "one_moment": False, "own_traffic": False, "source": "measured",
          "basis": "scan"}
         for name, channel, busy in (("a", 11, 0.2), ("a", 15, 0.1), ("b", 15, 0.1))])  # fmt: skip
    put(database, "station_load",
        [{"store": "S1", "station": name, "labels": 5, "weak_labels": 0, "silent_labels": 0,
          "lone_labels": 0, "air_share": 0.5, "weight": 1.0} for name in "ab"])  # fmt: skip
    put(database, "earshot",
        [{"store": "S1", "station": one, "neighbour": other, "heard_dbm": -60.0, "spread_db": 2.0,
          "source": "measured", "hit_co": 0.8, "hit_adjacent": 0.1, "hit_alternate": 0.0}
         for one, other in ("ab", "ba")])  # fmt: skip
    keep(database)
    audit(database, read_quarter("2026-Q3"))

    [(agreed_on, found, lost)] = database.connection.execute(
        "select agreed, found, clear_air_lost from drift where kind = 'drift'"
    ).fetchall()
    assert (agreed_on, found) == ("11", "15")
    assert lost == pytest.approx((1 - 0.2) - (1 - 0.1) * (1 - 0.5 * 0.8), abs=1e-6)


def test_any_two_days_can_be_compared(database: Database) -> None:
    """Nothing is written; days in the wrong order and quarters nothing is known of are refused."""
    put(database, "station_seen", [station("a", 12, AUGUST), station("b", 15, AUGUST)])
    [one] = compare(database, JULY, AUGUST)
    assert (one.subject, one.agreed, one.found) == ("a", "11", "12")
    assert compare(database, JUNE, JULY) == ()
    assert database.connection.execute("select count(*) from drift").fetchall() == [(0,)]
    with pytest.raises(DaysOutOfOrder, match="earlier day first"):
        compare(database, AUGUST, JULY)
    for quarter in ("2026-Q1", "2027-Q1"):
        with pytest.raises(NothingToAudit, match=quarter):
            audit(database, read_quarter(quarter))


def test_scans_count_on_the_stores_own_day(database: Database) -> None:
    """A scan at 22:30 UTC on 31 March 2024 is of April in Berlin, whose clocks went forward."""
    put(database, "store_seen",
        [{"store": "S1", "seen_on": date(2024, 3, 1), "time_zone": "Europe/Berlin"}])  # fmt: skip
    put(database, "station_seen", [station("a", 11, date(2024, 3, 31))])
    moments = (datetime(2024, 3, 31, 22, 30), datetime(2024, 3, 30, 22, 30),
               datetime(2023, 12, 31, 22, 30), datetime(2023, 12, 31, 23, 30))  # fmt: skip
    put(database, "ed_reading",
        [{"store": "S1", "station": "a", "scanned_at": at, "clock": "utc", "channel": 11,
          "level_dbm": -90.0, "statistic": "single", "readings": 1} for at in moments])  # fmt: skip
    audit(database, read_quarter("2024-Q2"))

    assert database.connection.execute(
        "select quarter, scan_days from audit_store order by quarter"
    ).fetchall() == [("2024-Q1", 2), ("2024-Q2", 1)]


def test_the_figures_of_a_store_are_told_apart(database: Database) -> None:
    """Two exports of three stations, none of them agreed, and scans of one day."""
    days = (date(2024, 3, 1), date(2024, 3, 2))
    put(
        database,
        "station_seen",
        [station(key, 11, day) for key in ("a", "b", "b2") for day in days],
    )
    put(database, "ed_reading",
        [{"store": "S1", "station": "a", "scanned_at": datetime(2024, 3, 1, 12), "clock": "store",
          "channel": 11, "level_dbm": -90.0, "statistic": "single", "readings": 1}])  # fmt: skip
    audit(database, read_quarter("2024-Q1"))

    assert database.connection.execute(
        "select exports, stations, scan_days, unagreed, last_export, agreed_on from audit_store"
    ).fetchall() == [(2, 3, 1, 3, days[-1], None)]


def test_a_stations_life_can_be_read(database: Database) -> None:
    """Configurations with their days, approvals and register events, in order, by any name."""
    approve(database, SETTINGS, ["S1"], by="P. Approver", reason="as built", on=JULY)
    change(database, [("proposed", datetime(2026, 8, 1)), ("approved", datetime(2026, 8, 2)),
                      ("implemented", datetime(2026, 8, 30, 23))])  # fmt: skip
    renamed = {**station("a", 20, AUGUST), "station": "a new"}
    put(database, "station_seen", [renamed, station("b", 15, AUGUST)])
    set_day(database, AUGUST)
    put(database, "clear_air_kept",
        [{"as_of": AUGUST, "store": "S1", "station": "a new", "channel": 20, "clear_air": 0.7,
          "labels": 3}])  # fmt: skip

    lines = life(database, "S1", "a new")
    assert lines == life(database, "S1", "a")
    assert [(line.day, line.what) for line in lines] == [
        (JUNE, LineKind.FOUND),
        (JULY, LineKind.AGREED),
        (date(2026, 8, 1), LineKind.REGISTER),
        (date(2026, 8, 2), LineKind.REGISTER),
        (date(2026, 8, 30), LineKind.REGISTER),
        (AUGUST, LineKind.FOUND),
    ]
    assert lines[0].until == JULY
    assert "channel 11" in lines[0].text
    assert lines[1].by == "P. Approver"
    assert "channel 11 to 20" in lines[5].text
    assert "channel is an approved change (C1)" in lines[5].text
    assert "station is renamed" in lines[5].text
    assert lines[5].clear_air == 0.7
    with pytest.raises(UnknownSelection, match=r"no station of store S1 'c'"):
        life(database, "S1", "c")
    with pytest.raises(UnknownSelection, match=r"no store 'S9'"):
        life(database, "S9", "a")
