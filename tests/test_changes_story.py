"""The one view of a change: what was ordered, done and found, and what it waits for."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from changes_kit import (
    BY,
    approve_all,
    at,
    chain,
    export_says,
    names,
    plan_says,
    readings_say,
    set_limits,
    settings_in,
    speak_of,
)

from pipeline.changes.register import Booking, append, book, propose
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.changes.verify import verify
from pipeline.database import Database
from pipeline.settings import Settings
from pipeline.survey.evidence import survey

NEXT = date(2026, 12, 31)
QUIET = {-95: 40}


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Give settings with approvers."""
    return settings_in(tmp_path)


@pytest.fixture
def proposed(tmp_path: Path, settings: Settings) -> Iterator[Database]:
    """Give a register of proposed changes."""
    with chain(tmp_path) as database:
        set_limits(database, settings)
        propose(database, settings)
        yield database


def story(database: Database, *columns: str, station: str = "B-01") -> tuple[object, ...]:
    """Return columns of the story of a station's last step."""
    chosen = ", ".join(columns)
    (*_, row) = database.connection.execute(
        f"select {chosen} from change_story where station = ? order by position",  # noqa: S608 - columns named in the tests
        [station],
    ).fetchall()
    return tuple(row)


def found_elsewhere(database: Database, settings: Settings) -> None:
    """Approve everything, then find and measure a station on a channel nobody ordered."""
    approve_all(database)
    speak_of(database, NEXT)
    export_says(database, NEXT, {"B-01": 20})
    readings_say(database, "B-01", 20, QUIET)
    survey(database, settings)
    verify(database, settings)


def test_a_story_is_told_step_by_step(proposed: Database, settings: Settings) -> None:
    """From the proposal to the measurement, each fact in its column once it is known."""
    columns = ("state", "decision", "decided_by", "night", "done_on", "done_by", "channel_found",
               "closed", "waits_for", "overdue", "counts")  # fmt: skip
    change = names(proposed, "B")[0]
    nothing = (None, None, None)
    assert story(proposed, *columns) == (
        "proposed", None, None, None, *nothing, None, "decision", False, False,
    )  # fmt: skip

    approve_all(proposed)
    assert story(proposed, *columns) == (
        "approved", "approved", BY, None, *nothing, None, "night", False, False,
    )  # fmt: skip

    night = date(2026, 10, 20)
    book(proposed, [Booking(change, at(night, 22), "team 1")])
    assert story(proposed, *columns) == (
        "scheduled", "approved", BY, night, *nothing, None, "work", False, False,
    )  # fmt: skip

    speak_of(proposed, NEXT)
    export_says(proposed, NEXT, {"B-01": 25})
    survey(proposed, settings)
    verify(proposed, settings)
    assert story(proposed, *columns) == (
        "implemented", "approved", BY, night, NEXT, "quietaisle", 25, None, "scan", False, False,
    )  # fmt: skip

    readings_say(proposed, "B-01", 25, QUIET)
    survey(proposed, settings)
    verify(proposed, settings)
    assert story(proposed, *columns) == (
        "verified", "approved", BY, night, NEXT, "quietaisle", 25, "as ordered", None, False, True,
    )  # fmt: skip


def test_a_night_that_is_over_is_overdue_until_it_has_another(
    proposed: Database, settings: Settings
) -> None:
    """Late is late whether an export gave the approval back or nothing has been said at all."""
    approve_all(proposed)
    change = names(proposed, "B")[0]
    book(proposed, [Booking(change, at(date(2026, 10, 20), 22), "team 1")])
    speak_of(proposed, date(2026, 10, 20))
    assert story(proposed, "waits_for", "overdue") == ("work", False)
    speak_of(proposed, date(2026, 10, 21))
    assert story(proposed, "waits_for", "overdue") == ("work", True)

    export_says(proposed, date(2026, 10, 22), {"B-01": 11})
    speak_of(proposed, date(2026, 10, 22))
    survey(proposed, settings)
    verify(proposed, settings)
    assert story(proposed, "state", "result", "waits_for", "overdue") == (
        "approved", "not done", "night", True,
    )  # fmt: skip
    book(proposed, [Booking(change, at(date(2026, 11, 3), 22), "team 1")])
    assert story(proposed, "state", "waits_for", "overdue") == ("scheduled", "work", False)


def test_work_on_another_channel_is_closed_as_done_differently(
    proposed: Database, settings: Settings
) -> None:
    """Neither ordered nor before: its figures stand in the story, but count for nothing."""
    found_elsewhere(proposed, settings)
    columns = ("ordered_channel", "channel_found", "closed", "closed_on", "waits_for", "counts")
    assert story(proposed, *columns) == (25, 20, "done differently", NEXT, None, False)
    assert story(proposed, "measured is not null") == (True,)


def test_the_story_of_a_day_knows_nothing_later(proposed: Database) -> None:
    """A look back before the refusal finds the change waiting for a decision."""
    change = names(proposed, "B")[0]
    refused = new_event(change, ChangeState.REFUSED, at(date(2026, 10, 5)), BY, "no")
    append(proposed, Trigger.DECIDE, [refused])
    columns = ("decision", "decided_note", "closed", "waits_for")
    assert story(proposed, *columns) == ("refused", "no", None, None)
    export_says(proposed, date(2026, 12, 1), {"B-01": 11})
    assert story(proposed, *columns) == (None, None, None, "decision")


def test_a_change_undone_counts_no_more(proposed: Database, settings: Settings) -> None:
    """What was measured while it stood is told, and is no effect any more."""
    approve_all(proposed)
    speak_of(proposed, NEXT)
    export_says(proposed, NEXT, {"B-01": 25})
    readings_say(proposed, "B-01", 25, QUIET)
    survey(proposed, settings)
    verify(proposed, settings)
    change, later = names(proposed, "B")[0], date(2027, 1, 10)
    undone = new_event(change, ChangeState.BACKED_OUT, at(later), "team", result="backed out")
    append(proposed, Trigger.RESULT, [undone])
    columns = ("closed", "closed_on", "done_on", "waits_for", "counts", "measured is not null")
    assert story(proposed, *columns) == ("undone", later, NEXT, None, False, True)


def test_the_channel_ordered_is_that_of_the_last_approval(proposed: Database) -> None:
    """Where none is named it is the one proposed, and a report of work not done leaves it."""
    change = names(proposed, "B")[0]
    agreed = new_event(change, ChangeState.APPROVED, at(date(2026, 10, 5)), BY)
    ordered = replace(agreed, channel=20, workbook="B changes.xlsx")
    append(proposed, Trigger.DECIDE, [ordered])
    columns = ("decision", "to_channel", "ordered_channel", "workbook")
    other = ("approved with another channel", 25, 20, "B changes.xlsx")
    assert story(proposed, *columns) == other

    left = new_event(change, ChangeState.APPROVED, at(date(2026, 10, 9)), "team", "", "not done")
    append(proposed, Trigger.RESULT, [left])
    assert story(proposed, *columns) == other

    until = date(2027, 3, 1)
    refused = new_event(change, ChangeState.REFUSED, at(date(2026, 10, 10)), BY, "no")
    append(proposed, Trigger.DECIDE, [replace(refused, until=until)])
    assert story(proposed, "decision", "refused_until") == ("refused", until)

    append(proposed, Trigger.DECIDE, [replace(agreed, at=at(date(2026, 10, 12)))])
    assert story(proposed, *columns) == ("approved", 25, 25, None)


def test_what_was_measured_of_another_order_counts_no_more(
    proposed: Database, settings: Settings
) -> None:
    """Found and measured elsewhere, then ordered anew and reported: it waits for its own export."""
    found_elsewhere(proposed, settings)
    change = names(proposed, "B")[0]
    anew = new_event(change, ChangeState.APPROVED, at(date(2027, 1, 5)), BY)
    append(proposed, Trigger.DECIDE, [replace(anew, channel=15)])
    done = new_event(change, ChangeState.IMPLEMENTED, at(date(2027, 1, 6)), "team", result="done")
    append(proposed, Trigger.RESULT, [done])
    columns = ("ordered_channel", "waits_for", "measured", "counts", "done_by")
    assert story(proposed, *columns) == (15, "export", None, False, "team")


def test_an_audit_tells_what_was_ordered_anew_apart(proposed: Database, settings: Settings) -> None:
    """Work done differently asks for nothing once a later plan's order of the station is given."""
    found_elsewhere(proposed, settings)
    until = {"quarter": ["2027-Q1"], "first": [date(2027, 1, 1)], "last": [date(2027, 3, 31)]}

    def ends() -> dict[str, int]:
        proposed.connection.execute("delete from audit_change")
        with proposed.lent("incoming", pl.DataFrame(until)):
            proposed.run("audit", "figures_of_changes")
        told = proposed.connection.execute("select state, changes from audit_change").fetchall()
        return {state: changes for state, changes in told if "di" in state or "anew" in state}

    assert ends() == {"done differently": 1}
    speak_of(proposed, date(2027, 1, 5))
    plan_says(proposed, {"B": (("B-01", 20, 25, False),)})
    propose(proposed, settings)
    anew = names(proposed, "B")[-1]
    agreed = new_event(anew, ChangeState.APPROVED, at(date(2027, 1, 6)), BY)
    append(proposed, Trigger.DECIDE, [agreed])
    assert ends() == {"ordered anew": 1}


def test_work_put_right_was_done_when_it_was_found_right(
    proposed: Database, settings: Settings
) -> None:
    """What was done before was not what was ordered."""
    found_elsewhere(proposed, settings)
    later = date(2027, 1, 31)
    speak_of(proposed, later)
    export_says(proposed, later, {"B-01": 25})
    survey(proposed, settings)
    verify(proposed, settings)
    assert story(proposed, "channel_found", "done_on", "done_by") == (25, later, "quietaisle")
