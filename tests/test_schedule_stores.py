"""The schedule step on a database: what it reads, what it leaves behind, and its calendar files."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import ics
import pytest
from empty import new_database

from pipeline.changes.register import Booking
from pipeline.database import Database
from pipeline.progress import Silent
from pipeline.report.write import drop_calendars
from pipeline.schedule.calendars import Feed
from pipeline.schedule.records import WaveResult
from pipeline.schedule.stores import calendars, schedule, write_calendars
from pipeline.settings import Settings, Wave, load_settings
from pipeline.wording import Wording

CAUTIONS = ("Ladders and work at height.", "Local codes come first.")
TABLES = (
    "change_schedule", "unscheduled_store", "schedule_proof", "schedule_remark", "wave_taken",
    "wave_draw", "verdict_rule", "freeze_kept",
)  # fmt: skip
Rows = list[tuple[Any, ...]]


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """Yield a database with four stores of two approved moves each.

    S1 has most labels, S4 none known.
    """
    with new_database(tmp_path / "q.duckdb") as opened:
        run = opened.connection.execute
        run("insert into this_run values ('r', date '2026-10-23')")
        for number, labels in ((1, 4000), (2, 3000), (3, 2000), (4, 0)):
            store = f"S{number}"
            run(
                "insert into store_seen values ($s, date '2026-10-20', $s, 'N', 'DE', 'market', "
                "'Europe/Berlin', time '07:00', time '21:00', null)",
                {"s": store},
            )
            for station in ("a", "b"):
                names = {"s": store, "t": f"{store}-{station}"}
                run(
                    "insert into station_load (store, station, labels, weak_labels, silent_labels,"
                    " lone_labels, air_share, weight) values ($s, $t, $l, 0, 0, 0, 0.1, 1)",
                    {**names, "l": labels // 2},
                )
                run(
                    "insert into station_plan by name select $s as store, $t as station, "
                    "11 as channel_now, 25 as channel_planned, 0.5 as clear_air_now, "
                    "0.75 as clear_air_planned, 0.5 as busy_now, 0.25 as busy_planned, "
                    "'measured' as source_planned, 'high' as sureness, '' as reason",
                    names,
                )
                run(
                    "insert into move by name select $s as store, $t as station, "
                    "11 as from_channel, 25 as to_channel, $p as position, false as parking, "
                    "0.5 as clear_air_before, 0.75 as clear_air_after, '' as reason",
                    {**names, "p": 1 if station == "a" else 2},
                )
            _register(opened, store, {1: "approved", 2: "approved"}, "2026-10-23 09:00:00")
        yield opened


def _cautions(_: Wording) -> tuple[str, ...]:
    return CAUTIONS


def _settings(**changes: Any) -> Settings:  # noqa: ANN401 - any field may change
    """Return settings in which the store with most to gain goes first."""
    settings = load_settings()
    work = replace(settings.schedule.work, order="benefit")
    return replace(settings, schedule=replace(settings.schedule, work=work, **changes))


def _tables(database: Database) -> dict[str, Rows]:
    return {table: database.connection.table(table).fetchall() for table in TABLES}


def _nights(database: Database) -> Rows:
    return database.connection.execute(
        "select store, night, wave, provisional from change_schedule order by night, store"
    ).fetchall()


def test_every_store_with_moves_has_a_row_or_a_reason(database: Database) -> None:
    """The pilot is the store with most to gain; the clock change is in the local times."""
    schedule(database, _settings(), Silent())

    first = database.connection.execute("from change_schedule order by starts_at").fetchone()
    # Sunday 25 October is the day the clocks go back; work starts on Monday evenings at the latest.
    assert first == (
        "S1",
        "N",
        date(2026, 10, 26),
        datetime(2026, 10, 26, 21),
        datetime(2026, 10, 26, 22),
        datetime(2026, 10, 26, 22),
        datetime(2026, 10, 26, 23),
        "N team 1",
        "pilot",
        False,
        2,
        1,
        2,
        0,
    )
    assert len(_nights(database)) == 4
    assert database.connection.table("unscheduled_store").fetchall() == []
    assert database.connection.table("wave_taken").fetchall() == [
        ("S1", "pilot", date(2026, 10, 23))
    ]


def test_the_same_inputs_leave_the_same_tables(database: Database) -> None:
    """A second run on the same day changes nothing."""
    schedule(database, _settings(), Silent())
    once = _tables(database)
    files = calendars(database, _cautions)
    schedule(database, _settings(), Silent())

    assert _tables(database) == once
    assert calendars(database, _cautions) == files


def test_a_store_without_a_labels_export_counts_as_an_average_one(database: Database) -> None:
    """S4 has two stations of the chain's 1,500 labels each, so it ranks with S2."""
    jobs = database.frame("schedule", "jobs")
    benefits = dict(jobs.select("store", "benefit").iter_rows())

    assert benefits == {"S1": 1000, "S2": 750, "S3": 500, "S4": 750}


def test_what_a_rule_puts_first_is_in_the_pilot_and_what_it_wants_alone_has_a_night(
    database: Database,
) -> None:
    """S3 has a stop and goes before S1; its other move is made in the next night, alone."""
    for station, kind in (("S3-a", "first"), ("S3-b", "alone")):
        values = ["S3", station, kind, "r", "so it is", None]
        database.connection.execute("insert into plan_bound values (?, ?, ?, ?, ?, ?)", values)

    schedule(database, _settings(), Silent())

    assert database.connection.execute(
        "select night, wave, first_position, last_position from change_schedule"
        " where store = 'S3' order by night"
    ).fetchall() == [(date(2026, 10, 26), "pilot", 1, 1), (date(2026, 10, 27), "pilot", 2, 2)]
    wave = "select wave from change_schedule where store = 'S1'"
    assert database.connection.execute(wave).fetchall() == [("second",)]


def test_what_cannot_be_placed_says_why(database: Database) -> None:
    """Each store without a place has a sentence; the others are not held up."""
    database.connection.execute("update store_seen set time_zone = null where store = 'S2'")
    schedule(database, _settings(), Silent())

    ((store, wave, reason),) = database.connection.table("unscheduled_store").fetchall()
    assert (store, wave) == ("S2", None)
    assert "no export names its time zone" in reason
    assert len(_nights(database)) == 3


def test_staff_and_wifi_neighbours_keep_stores_apart(database: Database) -> None:
    """A transmitter by its address counts, the chain's own network name does not."""
    waves = (Wave("all", 1, 0.9, 7, ()),)
    for store, network in (("S1", "02-1A-2B-3C-4D-5E"), ("S2", "02:1a:2b:3c:4d:5e")):
        for name in (network, "our-net"):
            database.connection.execute(
                "insert into wifi_seen (store, station, seen_on, network, wifi_channel, "
                "width_mhz, secondary, level_dbm, utilisation_pct) values "
                "($s, null, date '2026-10-20', $n, 1, 20, null, -60, null)",
                {"s": store, "n": name},
            )
    database.connection.execute(
        "insert into wifi_seen (store, station, seen_on, network, wifi_channel, "
        "width_mhz, secondary, level_dbm, utilisation_pct) values "
        "('S3', null, date '2026-10-20', 'our-net', 1, 20, null, -60, null)"
    )
    schedule(database, _settings(waves=waves, staff=(("S3", "S4"),)), Silent())
    night = {store: evening for store, evening, _, _ in _nights(database)}

    assert night["S1"] != night["S2"]
    assert night["S3"] != night["S4"]
    assert len(set(night.values())) == 2
    schedule(database, _settings(waves=waves, wifi_neighbours=False), Silent())
    night = {store: evening for store, evening, _, _ in _nights(database)}
    assert night["S1"] == night["S2"]


def _register(database: Database, store: str, states: dict[int, str], at: str) -> None:
    run = database.connection.execute
    (number,) = run("select count(*) + 1 from change_plan").fetchone() or (1,)
    plan = f"plan {number}"
    run(
        "insert into change_plan values ($n, $p, $s, '', '11 25', 2, date '2026-10-23', 'r', null)",
        {"n": number, "s": store, "p": plan},
    )
    for position, state in states.items():
        change = f"{plan}-{position}"
        run(
            "insert into change by name select $c as change, $p as plan, $s as store, "
            "$t as station, 11 as from_channel, 25 as to_channel, $n as position, "
            "false as parking, 0.5 as clear_air_before, 0.75 as clear_air_after, 1 as labels, "
            "'high' as sureness, 'x' as proposed_by, date '2026-10-23' as proposed_on",
            {
                "c": change,
                "p": plan,
                "s": store,
                "t": f"{store}-{'ab'[position - 1]}",
                "n": position,
            },
        )
        run(
            "insert into change_event by name select count(*) + 1 as seq, $c as change, "
            "$e as state, cast($at as timestamp) as at, 'x' as by, '' as note from change_event",
            {"c": change, "e": state, "at": at},
        )


def test_refused_and_deferred_moves_are_left_out(database: Database) -> None:
    """What a person said no to gets no night; what is approved or open does."""
    _register(database, "S1", {1: "refused", 2: "approved"}, "2026-10-23 09:00:00")
    _register(database, "S2", {1: "refused", 2: "deferred"}, "2026-10-23 09:00:00")
    schedule(database, _settings(), Silent())

    moves = database.connection.execute(
        "select store, moves, first_position, last_position from change_schedule order by store"
    ).fetchall()
    assert moves == [("S1", 1, 2, 2), ("S3", 2, 1, 2), ("S4", 2, 1, 2)]


def test_nights_lie_after_the_last_decision(database: Database) -> None:
    """Decided on days after the newest export: no work on a night before anyone agreed to it."""
    _register(database, "S1", {1: "approved", 2: "approved"}, "2026-11-03 17:00:00")
    schedule(database, _settings(), Silent())
    assert min(night for _, night, _, _ in _nights(database)) == date(2026, 11, 4)

    # A day asked for lies later still.
    database.connection.execute("update this_run set as_of = date '2026-11-10'")
    schedule(database, _settings(), Silent())
    assert min(night for _, night, _, _ in _nights(database)) == date(2026, 11, 11)


def test_only_what_is_approved_is_firm(database: Database) -> None:
    """A proposal has a night to see what it would be: provisional, in no wave, not entered."""
    _register(database, "S1", {1: "proposed", 2: "proposed"}, "2026-10-23 09:00:00")
    schedule(database, _settings(), Silent())
    told = {row[0]: row[3] for row in _nights(database)}
    assert told["S1"] is True
    assert database.connection.table("wave_taken").fetchall() == []
    listed = dict(database.frame("run", "listed_schedule").select("store", "firmness").iter_rows())
    assert listed["S1"] == "provisional: not approved"
    assert listed["S2"] == "provisional: waits for the wave before"
    assert database.records(Booking, "run", "bookings") == []

    _register(database, "S1", {1: "approved", 2: "proposed"}, "2026-10-24 09:00:00")
    schedule(database, _settings(), Silent())
    listed = dict(database.frame("run", "listed_schedule").select("store", "firmness").iter_rows())
    assert listed["S1"] == "firm; 1 of 2 not approved"
    assert [one.change for one in database.records(Booking, "run", "bookings")] == ["plan 6-1"]


def test_what_is_left_of_a_plan_keeps_its_changes(database: Database) -> None:
    """Its first move made, the second is the first of the moves left: it has its night, firm."""
    _register(database, "S1", {1: "implemented", 2: "approved"}, "2026-10-23 09:00:00")
    run = database.connection.execute
    run("delete from move where station = 'S1-a'")
    run("update move set position = 1 where station = 'S1-b'")
    schedule(database, _settings(), Silent())
    assert [one.change for one in database.records(Booking, "run", "bookings")] == ["plan 5-2"]

    run("create or replace temp table due_store as select 'S1' as store")
    for days, shown in ((0, True), (30, False)):
        run(f"update this_run set as_of = as_of + {days}")  # noqa: S608 - numbers named above
        nights = database.frame("report", "store_moves")["starts_at"]
        assert (nights.null_count() == 0) is shown  # a night that is over is none of a later plan


def test_a_verified_pilot_opens_the_next_wave(database: Database) -> None:
    """The register says what became of the pilot; a store stays in the wave it was put in."""
    schedule(database, _settings(), Silent())
    assert [row[3] for row in _nights(database)] == [False, True, True, True]
    _register(database, "S1", {1: "verified", 2: "verified"}, "2026-11-05 09:00:00")
    database.connection.execute("delete from move where store = 'S1'")
    database.connection.execute("update this_run set as_of = date '2026-11-06'")
    results = database.records(WaveResult, "schedule", "wave_results")
    assert results == [WaveResult("N", "pilot", 1, 1)]
    schedule(database, _settings(), Silent())

    assert [(wave, late) for _, _, wave, late in _nights(database)] == [
        ("second", False),
        ("rest", True),
        ("rest", True),
    ]


def test_an_ineffective_pilot_keeps_the_next_wave_shut(database: Database) -> None:
    """With one change of the pilot ineffective nothing follows, and the reason says so."""
    schedule(database, _settings(), Silent())
    _register(database, "S1", {1: "verified", 2: "ineffective"}, "2026-11-05 09:00:00")
    database.connection.execute("delete from move where store = 'S1'")
    database.connection.execute("update this_run set as_of = date '2026-11-06'")
    schedule(database, _settings(), Silent())

    reasons = [row[2] for row in database.connection.table("unscheduled_store").fetchall()]
    assert len(reasons) == 3
    assert all("of wave 'pilot' 0 are verified, 1 must be" in reason for reason in reasons)


def test_calendar_files_are_written_where_asked(database: Database, tmp_path: Path) -> None:
    """One file per store and per team, whole or not at all, with the cautions on every job."""
    schedule(database, _settings(), Silent())

    def place(feed: Feed) -> Path:
        return tmp_path / "out" / f"{feed.store or feed.team}.ics"

    written = write_calendars(database, _cautions, place)

    assert [path.name for path in written] == [
        "S1.ics",
        "S2.ics",
        "S3.ics",
        "S4.ics",
        "N team 1.ics",
    ]
    assert not list((tmp_path / "out").glob("*.part"))
    theirs = tmp_path / "out" / "theirs.ics"
    theirs.write_bytes(b"BEGIN:VCALENDAR\r\nPRODID:-//else//\r\n")
    drop_calendars(tmp_path, written[1:])  # the first store has no night any more
    assert not written[0].exists()
    assert theirs.exists()
    assert written[1].exists()
    text = written[-1].read_bytes().replace(b"\r\n ", b"")
    assert text.count(b"BEGIN:VEVENT") == text.count(b"Ladders and work at height.") == 4


def test_an_event_keeps_its_name_within_a_plan_only(database: Database) -> None:
    """Another night moves the event; another plan is another event."""

    def uids() -> list[bytes]:
        lines = calendars(database, _cautions)[0].content.splitlines()
        return [line for line in lines if line.startswith(b"UID:")]

    schedule(database, _settings(), Silent())
    first = uids()
    database.connection.execute("update change_schedule set starts_at = starts_at + interval 1 day")
    assert uids() == first
    _register(database, "S1", {1: "approved", 2: "approved"}, "2026-10-23 09:00:00")
    assert uids() != first


def test_an_entry_lists_stations_channels_and_order(database: Database) -> None:
    """In the region's language; lines of any length are folded and read back (RFC 5545, 3.1)."""
    database.connection.execute("update move set parking = true where station = 'S1-a'")
    _register(database, "S1", {1: "approved", 2: "proposed"}, "2026-10-23 09:00:00")
    database.connection.execute("update change set parking = true where station = 'S1-a'")
    schedule(database, _settings(), Silent())
    (event,) = ics.Calendar(calendars(database, _cautions)[0].content.decode()).events
    assert event.name == "Kanalumstellungen in Filiale S1"
    assert event.location == "Filiale S1, N"
    assert event.description.split("\n") == [
        "2 Umstellungen, in dieser Reihenfolge:",
        "1. S1-a: Kanal 11 auf 25, Zwischenkanal",
        "2. S1-b: Kanal 11 auf 25, noch nicht genehmigt",
        "Team: N team 1. Welle: pilot.",
        *CAUTIONS,
    ]


def test_the_draw_is_kept_and_can_be_made_again(database: Database) -> None:
    """Tickets are of the seed and the store alone, and stay while runs go by; so does the rule."""
    settings = load_settings()
    for name in ("comparison_days", "verdict_gain_least", "verdict_loss_most", "another"):
        database.connection.execute("insert into setting values (?, 1)", [name])
    schedule(database, settings, Silent())
    tickets = database.connection.execute(
        "select store, ticket, seed, stratum, drawn from wave_draw order by store"
    ).fetchall()
    pilot = database.connection.execute("select store from wave_taken").fetchall()

    assert tickets == [
        (s, sha256(f"{seed}\n{s}".encode()).hexdigest()[:16], seed, "benefit 1 of 1", True)
        for s, _, seed, _, _ in tickets
    ]
    assert pilot == [(min(tickets, key=lambda each: each[1])[0],)]
    rule = dict(database.connection.execute("select name, value from verdict_rule").fetchall())
    assert rule.keys() == {"comparison_days", "verdict_gain_least", "verdict_loss_most"}

    database.connection.execute("update this_run set run = 'another', as_of = as_of + 1")
    database.connection.execute("update setting set value = 9 where name = 'verdict_gain_least'")
    schedule(database, settings, Silent())

    kept = database.connection.execute(
        "select store, ticket, seed, stratum, drawn from wave_draw order by store"
    ).fetchall()
    assert kept == tickets
    assert rule == dict(
        database.connection.execute("select name, value from verdict_rule").fetchall()
    )
