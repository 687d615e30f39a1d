"""Verification: what the exports after a change mean for it, and how promises hold over all."""

from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from changes_kit import (
    BY,
    DAY,
    PLAN,
    SWAP,
    approve_all,
    at,
    chain,
    export_says,
    labels_say,
    names,
    readings_say,
    set_limits,
    settings_in,
    speak_of,
    states,
)

from pipeline.changes.effect import Measured, Share, calibration
from pipeline.changes.morning import Carried, back_out, way_back
from pipeline.changes.register import Booking, append, book, history, propose
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.changes.verify import (
    Found,
    Waiting,
    Yardstick,
    judge,
    not_as_ordered,
    not_put_right,
    verify,
)
from pipeline.database import Database
from pipeline.settings import Settings
from pipeline.survey.evidence import survey
from pipeline.tables.changes import ChangeLabels

NEXT = date(2026, 12, 31)
NIGHT = date(2026, 10, 20)
QUIET, LOUD = {-95: 40}, {-95: 20, -60: 20}
MEASURE = Yardstick(
    shortfall=0.05, labels_back=0.8, labels_verified=0.98, readings_minimum=20, silent_after_days=7
)
LABELS = ChangeLabels(
    change="c", store="B", station="B-01", since=NIGHT, told_on=NEXT, labels_due=100,
    labels_listed=100, labels_back=100, labels_unsaid=0, labels_elsewhere=0, labels_compared=100,
    success_before=0.95, success_after=0.97, success_gained=0.02, success_gained_low=0.01,
    success_gained_high=0.03,
)  # fmt: skip
WAITING = Waiting(
    change="c", store="B", station="B-01", from_channel=11, ordered_channel=25,
    parking=False, state="implemented", at=at(NIGHT), due=None, shown=False, channel_found=25,
    found_before=None, connected=True, seen_on=NEXT,
    channels_before=(11,), channels_after=(25,), labels_before=100,
    since=NIGHT, clear_air_before=0.4, clear_air_before_low=0.38, clear_air_before_high=0.42,
    promised=0.8, promised_low=0.78, promised_high=0.82, free_of_own=1.0, sureness="high", undone=0,
    left_channel=11, free_of_own_before=1.0, planned=False, pan_id=None, pan_id_found=None,
)  # fmt: skip


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Give settings with approvers."""
    return settings_in(tmp_path)


@pytest.fixture
def approved(tmp_path: Path, settings: Settings) -> Iterator[Database]:
    """Give a register whose changes are all approved, and the day of the next exports."""
    with chain(tmp_path) as database:
        set_limits(database, settings)
        propose(database, settings)
        approve_all(database)
        speak_of(database, NEXT)
        yield database


def look(database: Database, settings: Settings) -> dict[str, tuple[str, str | None]]:
    """Survey and verify; return state and result of every change there was something to say of."""
    survey(database, settings)
    return {c.change: (c.state, c.result) for c in verify(database, settings)}


def report(database: Database, changes: list[str], day: date = NIGHT) -> None:
    """Report changes as done."""
    events = [
        new_event(c, ChangeState.IMPLEMENTED, at(day, 2), "team", result="done") for c in changes
    ]
    append(database, Trigger.RESULT, events)


@pytest.mark.parametrize(
    ("facts", "states_after", "result", "note"),
    [
        ({}, ["verified"], "done", "to 82%) measured, 80% promised: helped, 100 of 100 labels"),
        ({}, ["verified"], "done", "labels back, updates acknowledged 97.0%, +2.0%"),
        ({"measured": 0.723}, ["verified"], "done", "clear air 72%"),
        ({"measured": 0.72}, ["ineffective"], "done", "measured, 80% promised: helped"),
        ({"measured": 0.41}, ["ineffective"], "done", "no difference shown"),
        ({"measured": 0.35}, ["ineffective"], "done", "promised: worse"),
        ({"measured": 0.2, "undone": 2}, ["ineffective"], "done", "2 other changes of the plan"),
        ({"measured": None, "readings": 0}, ["implemented"], "done", "0 readings since the change"),
        (
            {"measured": 0.1, "readings": 19, "shown": True},
            [], "done", "19 readings since the change",
        ),
        ({"labels_back": 98}, ["verified"], "done", "98 of 100 labels back"),
        ({"labels_back": 97}, ["implemented"], "done", "export of 2026-12-31, 98 needed"),
        ({"labels_back": 80}, ["implemented"], "done", "80 of 100 labels are back"),
        ({"labels_back": 79}, ["ineffective"], "done", "21 were not heard since the change and 0"),
        (
            {"labels_back": 20, "told_on": NIGHT + timedelta(7)},
            ["implemented"], "done", "20 of 100 labels are back",
        ),
        ({"labels_back": 79, "told_on": NIGHT + timedelta(8)}, ["ineffective"], "done", "21 were"),
        ({"labels_back": 97, "labels_unsaid": 3}, ["implemented"], "done", "; of 3 it does not"),
        ({"labels_back": 0, "labels_unsaid": 100}, ["implemented"], "done", "; of 100 it does not"),
        ({"labels_elsewhere": 20}, ["verified"], "done", "100 of 100 labels back"),
        ({"labels_elsewhere": 21}, ["ineffective"], "done", "21 are served by other stations"),
        ({"labels_listed": 80, "labels_back": 79}, ["verified"], "done", "79 of 80 labels back"),
        ({"labels_listed": 79, "labels_back": 79}, ["implemented"], "done", "lists 79 of its 100"),
        ({"labels": None}, ["implemented"], "done", "no labels export since the change"),
        ({"labels": None, "labels_before": 0}, ["verified"], "done", "80% promised"),
        ({"success_gained": None}, ["verified"], "done", "updates acknowledged not known"),
        ({"told_on": None, "shown": True}, [], "done", "no labels export since the change"),
        ({"labels_due": 0, "labels_listed": 0, "labels_back": 0}, ["verified"], "done", "helped"),
        ({"connected": False}, ["ineffective"], "done", "not connected"),
        ({"connected": None}, ["verified"], "done", "80% promised"),
        ({"channel_found": 11}, ["approved"], "not done", "reported as done, but the export"),
        ({"channel_found": 11, "shown": True}, ["backed out"], "backed out", "as before"),
        ({"channel_found": 20}, ["ineffective"], "done differently", "on channel 20, ordered was"),
        ({"channel_found": None}, [], None, "does not say its channel"),
        ({"state": "approved"}, ["implemented", "verified"], "done", "80% (78% to 82%) measured"),
        ({"state": "approved", "channel_found": 11}, [], None, "not done yet"),
        (
            {"state": "approved", "channel_found": 20},
            ["implemented", "ineffective"], "done differently", "ordered was 25",
        ),
        (
            {"state": "scheduled", "channel_found": 11, "due": at(NIGHT, 23)},
            ["approved"], "not done", "its night is over",
        ),
        (
            {"state": "scheduled", "channel_found": 11, "due": at(date(2027, 1, 4), 23)},
            [], None, "not done yet",
        ),
        ({"state": "ineffective"}, ["verified"], "done", "80% (78% to 82%) measured"),
        ({"state": "ineffective", "measured": 0.1}, [], "done", "(8% to 12%) measured"),
        ({"state": "ineffective", "channel_found": 11}, ["backed out"], "backed out", "before"),
        (
            {"state": "ineffective", "channel_found": 20, "found_before": 20},
            [], "done differently", "still",
        ),
        (
            {"state": "ineffective", "channel_found": 15, "found_before": 20},
            ["ineffective"], "done differently", "on channel 15, ordered was 25",
        ),
        (
            {"state": "ineffective", "found_before": 20},
            ["implemented", "verified"], "done", "80% (78% to 82%) measured",
        ),
        (
            {"state": "ineffective", "found_before": 20, "measured": None, "readings": 0},
            ["implemented"], "done", "0 readings since the change",
        ),
        (
            {"state": "ineffective", "found_before": 20, "measured": 0.1},
            ["implemented", "ineffective"], "done", "(8% to 12%) measured",
        ),
        ({"parking": True, "measured": None, "readings": 0}, ["verified"], "done", "on the way"),
        (
            {"parking": True, "channels_after": (25, 15), "channel_found": 15},
            ["verified"], "done", "on the way",
        ),
    ],
)  # fmt: skip
def test_what_the_exports_mean(
    facts: dict[str, Any], states_after: list[str], result: str | None, note: str
) -> None:
    """Channel first, then connection, labels and air; what is missing leaves the change open."""
    facts = {"measured": 0.8, "readings": 40} | facts
    air, readings = facts.pop("measured"), facts.pop("readings")
    own = {each.name for each in fields(ChangeLabels)} - {each.name for each in fields(Waiting)}
    told = {name: facts.pop(name) for name in own & facts.keys()}
    scans = Measured(readings, None if air is None else Share(air, air - 0.02, air + 0.02))

    found = Found(scans, facts.pop("labels", replace(LABELS, **told)))
    judgement = judge(replace(WAITING, **facts), found, MEASURE)

    assert [state.value for state in judgement.states] == states_after
    assert judgement.result == result
    assert note in judgement.note


def test_a_change_that_kept_its_promise_is_verified(approved: Database, settings: Settings) -> None:
    """Reported, on its channel, with quiet readings since: verified with the facts kept, once."""
    change = names(approved, "B")[0]
    report(approved, [change])
    export_says(approved, NEXT, {"B-01": 25})
    readings_say(approved, "B-01", 25, QUIET)

    assert look(approved, settings) == {change: ("verified", "done")}
    assert states(approved)[change] == "verified"
    facts = approved.connection.execute(
        "select change, seen_on, channel_found, promised, readings, verdict, measured, "
        "measured_low, measured_high from change_check"
    ).fetchall()
    assert [row[:6] for row in facts] == [(change, NEXT, 25, 0.8, 40, "helped")]
    measured, low, high = facts[0][6:]
    assert 0.9 < low < measured < high <= 1
    before = history(approved)
    assert look(approved, settings) == {}
    assert history(approved) == before


@pytest.mark.parametrize(
    ("left", "verdict"), [(QUIET, "no difference shown"), (LOUD, "helped"), ({}, "helped")]
)
def test_the_gain_is_over_the_channel_left(
    approved: Database, settings: Settings, left: dict[int, int], verdict: str
) -> None:
    """The plan thought 40 % of it; scanned again, only what it has now counts."""
    change = names(approved, "B")[0]
    approved.connection.execute("update change set free_of_own_before = 1")
    report(approved, [change])
    export_says(approved, date(2026, 9, 1), {"B-01": 11})
    export_says(approved, NEXT, {"B-01": 25})
    readings_say(approved, "B-01", 25, QUIET)
    readings_say(approved, "B-01", 11, left)

    look(approved, settings)

    rows = approved.connection.execute(
        "select verdict from change_check where change = ?", [change]
    )
    assert rows.fetchall() == [(verdict,)]


def test_a_change_into_noise_is_ineffective(approved: Database, settings: Settings) -> None:
    """Half of the readings of four days are busy: surely less is clear than the 80 % promised."""
    change = names(approved, "B")[0]
    report(approved, [change])
    export_says(approved, NEXT, {"B-01": 25})
    readings_say(approved, "B-01", 25, LOUD)

    assert look(approved, settings) == {change: ("ineffective", "done")}
    ((measured, high),) = approved.connection.execute(
        "select measured, measured_high from change_check"
    ).fetchall()
    assert 0.45 < measured < 0.65
    assert high < 0.8


def test_readings_of_before_the_change_do_not_count(approved: Database, settings: Settings) -> None:
    """The scan of November says nothing of a change made in December: the change stays open."""
    change = names(approved, "B")[0]
    report(approved, [change], date(2026, 12, 1))
    export_says(approved, NEXT, {"B-01": 25})
    readings_say(approved, "B-01", 25, QUIET)

    assert look(approved, settings) == {change: ("implemented", "done")}
    assert states(approved)[change] == "implemented"


def test_exports_of_before_the_change_do_not_count(approved: Database, settings: Settings) -> None:
    """A stations export of the very day of the work proves nothing against it."""
    change = names(approved, "B")[0]
    report(approved, [change], NEXT)
    export_says(approved, NEXT, {"B-01": 11})

    assert look(approved, settings) == {}
    assert states(approved)[change] == "implemented"


def test_labels_decide_with_the_air(tmp_path: Path, settings: Settings) -> None:
    """Of 50 labels one was silent before: 39 of 49 fail, 48 wait, and 49 less one verify."""
    with chain(tmp_path) as database:
        set_limits(database, settings)
        database.connection.execute(
            "insert into station_load (store, station, labels, weak_labels, silent_labels,"
            " lone_labels, air_share, weight) values ('B', 'B-01', 50, 0, 1, 0, 0.1, 1.0)"
        )
        propose(database, settings)
        approve_all(database)
        labels_say(database, "B-01", DAY, range(49))
        labels_say(database, "B-01", DAY, range(49, 50), DAY - timedelta(8))
        speak_of(database, NEXT)
        change = names(database, "B")[0]
        report(database, [change])
        export_says(database, NEXT, {"B-01": 25})
        readings_say(database, "B-01", 25, QUIET)
        assert look(database, settings) == {change: ("implemented", "done")}

        labels_say(database, "B-01", NEXT, range(39))
        labels_say(database, "B-01", NEXT, range(39, 50), NIGHT)
        assert look(database, settings) == {change: ("ineffective", "done")}
        behind = database.connection.execute("select label, heard_on from label_behind").fetchall()
        assert sorted(behind) == sorted((f"B-01-L{number}", NIGHT) for number in range(39, 49))
        for days, back, state in ((31, 48, "ineffective"), (62, 49, "verified")):
            later = NEXT + timedelta(days)
            speak_of(database, later)
            export_says(database, later, {"B-01": 25})
            labels_say(database, "B-01", later, range(back))
            labels_say(database, "B-01", later, range(back, 49), NIGHT)
            assert look(database, settings) == {change: (state, "done")}
        labels = database.connection.execute(
            "select labels_before, labels_due, labels_listed, labels_after from change_check"
        ).fetchall()
        assert labels == [(49, None, None, None), (49, 49, 49, 39), (49, 49, 49, 49)]


def test_work_reported_on_the_morning_after_was_done_in_its_night(
    approved: Database, settings: Settings
) -> None:
    """An export of that very day counts, and what it shows is entered after the report."""
    change, morning = names(approved, "B")[0], NIGHT + timedelta(1)
    speak_of(approved, date(2026, 10, 6))
    book(approved, [Booking(change, at(NIGHT, 22), "team 1")])
    append(approved, Trigger.RESULT, [
        new_event(change, ChangeState.IMPLEMENTED, at(morning, 7), "team", result="done"),
    ])  # fmt: skip
    speak_of(approved, morning)
    export_says(approved, morning, {"B-01": 20})

    assert look(approved, settings) == {change: ("ineffective", "done differently")}


def test_work_nobody_reported_is_found(approved: Database, settings: Settings) -> None:
    """On its channel in the export: carried out on that day, and judged by readings since."""
    change = names(approved, "B")[0]
    export_says(approved, NEXT, {"B-01": 25})

    assert look(approved, settings) == {change: ("implemented", "done")}
    assert states(approved, date(2026, 12, 30))[change] == "approved"
    assert look(approved, settings) == {change: ("implemented", "done")}
    readings_say(approved, "B-01", 25, QUIET)
    assert look(approved, settings) == {change: ("verified", "done")}
    assert [e.state for e in history(approved) if e.change == change] == [
        "proposed", "approved", "implemented", "verified",
    ]  # fmt: skip


def test_a_swap_is_followed_over_its_parking_channel(
    approved: Database, settings: Settings
) -> None:
    """The parking step counts as done once its station is on, or past, the parking channel."""
    parking, partner, final = names(approved, "A")
    export_says(approved, NEXT, {"A-01": 26, "A-02": 20})
    assert look(approved, settings) == {
        parking: ("verified", "done"), partner: ("approved", None), final: ("approved", None),
    }  # fmt: skip

    later = date(2027, 1, 31)
    speak_of(approved, later)
    export_says(approved, later, {"A-01": 20, "A-02": 15})
    assert look(approved, settings) == {
        partner: ("implemented", "done"), final: ("implemented", "done"),
    }  # fmt: skip


def test_a_night_that_passed_without_work_gives_the_approval_back(
    approved: Database, settings: Settings
) -> None:
    """Scheduled, its night over, still on the channel of before: approved again, not done."""
    change = names(approved, "B")[0]
    book(approved, [Booking(change, at(date(2027, 1, 10), 23), "team 1")])
    later = date(2027, 1, 31)
    speak_of(approved, later)
    export_says(approved, later, {"B-01": 11})

    assert look(approved, settings) == {change: ("approved", "not done")}


def test_calibration_compares_promise_and_measurement(
    approved: Database, settings: Settings
) -> None:
    """One kept and one broken promise of 80 %: means, error and share held, up to a day."""
    report(approved, [names(approved, "B")[0], names(approved, "A")[1]])
    export_says(approved, NEXT, {"B-01": 25, "A-02": 15})
    readings_say(approved, "B-01", 25, QUIET)
    readings_say(approved, "A-02", 15, LOUD)
    look(approved, settings)

    rows = calibration(approved, list(PLAN))
    assert [(row.sureness, row.promised_from, row.promised_to) for row in rows] == [
        ("high", 0.8, 0.9), ("high", 0.0, 1.0), ("all", 0.0, 1.0),
    ]  # fmt: skip
    for row in rows:
        assert (row.changes, row.promised, row.held) == (2, 0.8, 0.5)
        assert row.measured == pytest.approx(0.75, abs=0.06)
        assert row.error == pytest.approx(row.measured - 0.8, abs=1e-6)
        assert row.absolute_error == pytest.approx(0.25, abs=0.06)


def test_back_out_leads_through_the_states_in_reverse(
    approved: Database, settings: Settings
) -> None:
    """Last done is first undone, over the parking channel; what an export found is the start."""
    report(approved, names(approved, "A"))

    steps = back_out(approved, "A", NEXT)
    assert [(s.station, s.from_channel, s.to_channel, s.parking) for s in steps] == [
        ("A-01", 20, 26, True), ("A-02", 15, 20, False), ("A-01", 26, 15, False),
    ]  # fmt: skip
    assert back_out(approved, "A", date(2026, 10, 6)) == ()

    export_says(approved, NEXT, {"A-01": 20, "A-02": 25})
    look(approved, settings)
    found = [(s.station, s.from_channel) for s in back_out(approved, "A", NEXT)]
    assert found == [("A-01", 20), ("A-02", 25), ("A-01", 26)]


def test_way_back_undoes_any_order_of_steps() -> None:
    """Steps forward and then back end where the store began, and no step is in vain."""
    forward = [("A-01", 15, 26), ("A-02", 20, 15), ("A-01", 26, 20), ("A-02", 15, 11)]
    carried = [Carried("A", str(n), "p", *step, None) for n, step in enumerate(forward)]
    on: dict[str, int | None] = {"A-01": 20, "A-02": 11}
    for step in way_back(carried[::-1]):
        assert on[step.station] == step.from_channel != step.to_channel
        on[step.station] = step.to_channel
    assert on == {"A-01": 15, "A-02": 20}
    assert PLAN["A"] == SWAP


def test_work_done_otherwise_is_named_and_no_promise_counts_it(
    approved: Database, settings: Settings
) -> None:
    """What was ordered and found, and what follows; of two measured changes one is counted.

    Put right, it is measured on the channel ordered by scans of after that, and counts.
    """
    report(approved, [names(approved, "B")[0], names(approved, "A")[1]])
    export_says(approved, NEXT, {"B-01": 20, "A-02": 15})
    readings_say(approved, "B-01", 20, QUIET)
    readings_say(approved, "B-01", 25, QUIET)
    readings_say(approved, "A-02", 15, QUIET)
    survey(approved, settings)
    (other,) = (c for c in verify(approved, settings) if c.station == "B-01")
    assert other.said == "ordered 25, found on 20: done differently"
    assert other.follows == "move it to channel 25 on the next visit, or approve channel 20"
    assert [row.changes for row in calibration(approved, list(PLAN))] == [1, 1, 1]
    assert not_as_ordered(approved, list(PLAN)) == {"done differently": 1}
    assert look(approved, settings) == {}
    (standing,) = not_put_right(approved, list(PLAN))  # told again, however often it was looked at
    assert (standing.said, standing.follows) == (other.said, other.follows)

    later = date(2027, 1, 31)
    speak_of(approved, later)
    export_says(approved, later, {"B-01": 25})
    change = names(approved, "B")[0]
    assert look(approved, settings)[change] == ("implemented", "done")
    assert [row.changes for row in calibration(approved, list(PLAN))] == [1, 1, 1]
    assert not_as_ordered(approved, list(PLAN)) == {}
    assert not_put_right(approved, list(PLAN)) == ()


def test_work_is_held_against_the_channel_ordered(approved: Database, settings: Settings) -> None:
    """Approved with channel 20, which the proposal did not name: 20 is as ordered, 25 is not."""
    change = names(approved, "B")[0]
    refused, agreed = (
        new_event(change, state, at(date(2026, 10, day)), BY)
        for state, day in ((ChangeState.REFUSED, 6), (ChangeState.APPROVED, 7))
    )
    append(approved, Trigger.DECIDE, [refused, replace(agreed, channel=20)])
    export_says(approved, NEXT, {"B-01": 20})
    readings_say(approved, "B-01", 20, QUIET)
    assert look(approved, settings) == {change: ("verified", "done")}

    (told,) = approved.connection.execute(
        "select closed, channel_found, promised, counts from change_story where change = ?",
        [change],
    ).fetchall()
    assert told == ("as ordered", 20, None, True)


def test_a_reported_change_is_undone_once_an_export_has_shown_it(
    approved: Database, settings: Settings
) -> None:
    """Reported, found so, and found back on the channel of before: undone, not left undone."""
    change = names(approved, "B")[0]
    report(approved, [change])
    export_says(approved, NEXT, {"B-01": 25})
    assert look(approved, settings) == {change: ("implemented", "done")}

    later = date(2027, 1, 31)
    speak_of(approved, later)
    export_says(approved, later, {"B-01": 11})
    survey(approved, settings)
    (back,) = verify(approved, settings)
    assert (back.state, back.said) == ("backed out", "ordered 25, found on 11: undone")
