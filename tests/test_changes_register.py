"""The register: what a plan proposes, what lapses, and that nothing is ever changed in place."""

import re
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from changes_kit import (
    BY,
    DAY,
    PLAN,
    SWAP,
    Moves,
    approve_all,
    at,
    chain,
    names,
    plan_says,
    settings_in,
    speak_of,
    state_on,
    states,
)
from hypothesis import given
from hypothesis import strategies as st

from pipeline.changes.register import Booking, append, book, history, propose
from pipeline.changes.states import (
    ChangeStanding,
    ChangeState,
    Trigger,
    admit,
    may,
    new_event,
    open_states,
    transitions,
)
from pipeline.database import Database
from pipeline.errors import EventOutOfOrder, TransitionIllegal, UnknownChange
from pipeline.proof.seal import SEALED
from pipeline.tables.audit import RegisterEntry, RegisterSeal
from pipeline.tables.changes import Change, ChangeEvent
from pipeline.tables.declare import table_of

NEXT = date(2026, 12, 31)
ROOT = Path(__file__).resolve().parents[1]


def done(database: Database, changes: list[str], day: date) -> None:
    """Report changes as carried out."""
    events = [
        new_event(c, ChangeState.IMPLEMENTED, at(day, 2), "team", result="done") for c in changes
    ]
    append(database, Trigger.RESULT, events)


def test_a_change_keeps_what_the_plan_promised(tmp_path: Path) -> None:
    """Clear air before and after, with their intervals, each under its own name."""
    promised = {
        "clear_air_before_low": 0.1, "clear_air_before": 0.2, "clear_air_before_high": 0.3,
        "clear_air_after_low": 0.6, "clear_air_after": 0.7, "clear_air_after_high": 0.8,
    }  # fmt: skip
    with chain(tmp_path) as database:
        database.connection.execute(
            "update move set clear_air_before_low = 0.1, clear_air_before = 0.2, "
            "clear_air_before_high = 0.3, clear_air_after_low = 0.6, clear_air_after = 0.7, "
            "clear_air_after_high = 0.8"
        )
        propose(database, settings_in(tmp_path))

        for change in database.every(Change):
            assert {name: getattr(change, name) for name in promised} == promised


def test_a_plan_is_proposed_once(tmp_path: Path) -> None:
    """Each move becomes a change in the plan's order; the same plan again adds nothing."""
    with chain(tmp_path) as database:
        settings = settings_in(tmp_path)
        first, again = propose(database, settings), propose(database, settings)

        assert [(one.store, one.moves, one.lapsed) for one in first] == [("A", 3, 0), ("B", 1, 0)]
        assert again == ()
        facts = database.connection.execute(
            "select station, from_channel, to_channel, parking, proposed_by, proposed_on "
            "from change where store = 'A' order by position"
        ).fetchall()
        assert facts == [(*step, "R. Quellbach", DAY) for step in SWAP]
        assert set(states(database).values()) == {"proposed"}


def test_names_of_changes_depend_on_the_plan_alone(tmp_path: Path) -> None:
    """Two databases with the same plan name its changes alike; another order, otherwise."""
    named = []
    for number, moves in enumerate((PLAN, PLAN, {"A": (SWAP[1], SWAP[0], SWAP[2])})):
        folder = tmp_path / str(number)
        folder.mkdir()
        with chain(folder, moves) as database:
            propose(database, settings_in(folder))
            named.append(names(database, "A"))

    assert named[0] == named[1]
    assert not set(named[0]) & set(named[2])


def test_another_plan_lapses_what_is_open_and_says_so(tmp_path: Path) -> None:
    """Proposed, approved, deferred and scheduled changes lapse; a refused one stays refused."""
    moves: Moves = {"A": tuple((f"A-{n:02}", 15, 20, False) for n in range(5))}
    with chain(tmp_path, moves) as database:
        settings = settings_in(tmp_path)
        propose(database, settings)
        old = names(database)
        verdicts = (
            ChangeState.APPROVED,
            ChangeState.DEFERRED,
            ChangeState.REFUSED,
            ChangeState.APPROVED,
        )
        day = at(date(2026, 10, 5))
        append(database, Trigger.DECIDE, [
            new_event(change, state, day, BY) for change, state in zip(old, verdicts, strict=False)
        ])  # fmt: skip
        book(database, [Booking(old[3], at(date(2026, 10, 20), 23), "team 1")])
        speak_of(database, NEXT)
        plan_says(database, {"A": (("A-01", 15, 25, False),)})

        (said,) = propose(database, settings)

        assert (said.moves, said.lapsed) == (1, 4)
        assert [states(database)[change] for change in old] == [
            "lapsed", "lapsed", "refused", "lapsed", "lapsed",
        ]  # fmt: skip
        notes = [event.note for event in history(database) if event.state == ChangeState.LAPSED]
        assert notes == [f"superseded by plan {said.plan} of {NEXT}"] * 4


def test_what_is_left_of_a_plan_is_no_new_plan(tmp_path: Path) -> None:
    """After the first steps show in an export, the approval of the rest stands."""
    with chain(tmp_path) as database:
        settings = settings_in(tmp_path)
        propose(database, settings)
        approve_all(database)
        done(database, names(database, "A")[:1], date(2026, 10, 20))
        assert propose(database, settings) == ()  # the export of September does not know of it

        speak_of(database, NEXT)
        plan_says(database, {**PLAN, "A": SWAP[1:]})
        database.connection.execute(
            "insert into station_seen by name select 'A' as store, 'A-01' as station, "
            "date '2026-12-31' as seen_on, 26 as channel"
        )

        assert propose(database, settings) == ()
        assert [states(database)[c] for c in names(database, "A")] == [
            "implemented", "approved", "approved",
        ]  # fmt: skip


def test_a_plan_without_moves_lapses_what_is_open(tmp_path: Path) -> None:
    """Where every channel is to stay after all, open changes lapse; a new store adds nothing."""
    with chain(tmp_path) as database:
        settings = settings_in(tmp_path)
        propose(database, settings)
        speak_of(database, NEXT)
        plan_says(database, {"A": (), "B": PLAN["B"], "C": ()})

        assert [(one.store, one.moves, one.lapsed) for one in propose(database, settings)] == [
            ("A", 0, 3)
        ]
        assert propose(database, settings) == ()


def test_a_store_without_a_plan_keeps_what_was_ordered(tmp_path: Path) -> None:
    """A row of an export that cannot be read stops planning; it takes back no approval."""
    with chain(tmp_path) as database:
        settings = settings_in(tmp_path)
        propose(database, settings)
        approve_all(database)
        before = states(database)
        speak_of(database, NEXT)
        plan_says(database, {"B": PLAN["B"]})
        database.connection.execute(
            "insert into unplanned_store values ('A', 'a row is lost', null)"
        )

        assert propose(database, settings) == ()
        assert states(database) == before


def test_other_permitted_channels_make_another_plan(tmp_path: Path) -> None:
    """What was approved under other permitted channels is asked for anew."""
    with chain(tmp_path) as database:
        settings = settings_in(tmp_path)
        propose(database, settings)
        database.connection.execute("delete from permitted_channel where store='B' and channel=26")

        assert [(one.store, one.moves, one.lapsed) for one in propose(database, settings)] == [
            ("B", 1, 1)
        ]


def test_a_move_asked_for_again_after_its_back_out_is_a_new_change(tmp_path: Path) -> None:
    """The change undone stays as it is; the later plan's change has a name of its own."""
    with chain(tmp_path, {"B": PLAN["B"]}) as database:
        settings = settings_in(tmp_path)
        propose(database, settings)
        (old,) = approve_all(database)
        done(database, [old], date(2026, 10, 20))
        back = new_event(
            old, ChangeState.BACKED_OUT, at(date(2026, 10, 21)), "team", result="backed out"
        )
        append(database, Trigger.RESULT, [back])
        assert propose(database, settings) == ()  # on the exports of before

        speak_of(database, NEXT)
        database.connection.execute(
            "insert into station_seen by name select 'B' as store, 'B-01' as station, "
            "date '2026-12-31' as seen_on, 11 as channel"
        )
        (said,) = propose(database, settings)

        assert (said.moves, said.lapsed) == (1, 0)
        assert states(database) == {old: "backed out", f"{said.plan}-01": "proposed"}


def test_a_look_back_leaves_the_register_alone(tmp_path: Path) -> None:
    """A run as of a day before the plan in force neither proposes nor lapses."""
    with chain(tmp_path) as database:
        settings = settings_in(tmp_path)
        propose(database, settings)
        before = history(database)
        speak_of(database, DAY - timedelta(days=90))
        plan_says(database, {"A": (("A-01", 15, 25, False),)})

        assert propose(database, settings) == ()
        assert history(database) == before


def test_nights_are_booked_once_and_may_change(tmp_path: Path) -> None:
    """The same night again adds nothing; another one does; unapproved and unknown ones cannot."""
    with chain(tmp_path) as database:
        propose(database, settings_in(tmp_path))
        first, second = names(database)[:2]
        append(
            database,
            Trigger.DECIDE,
            [new_event(first, ChangeState.APPROVED, at(date(2026, 10, 5)), BY)],
        )
        night = at(date(2026, 10, 20), 23)

        assert book(database, [Booking(first, night, "team 1")]) == 1
        assert book(database, [Booking(first, night, "team 1")]) == 0
        assert book(database, [Booking(first, night + timedelta(days=1), "team 1")]) == 1
        with pytest.raises(TransitionIllegal, match="is proposed and cannot become scheduled"):
            book(database, [Booking(second, night, "team 1")])
        with pytest.raises(UnknownChange, match="no change 'x'"):
            book(database, [Booking("x", night, "team 1")])


def test_events_are_all_taken_or_none(tmp_path: Path) -> None:
    """One illegal event among legal ones leaves the register as it was."""
    with chain(tmp_path) as database:
        propose(database, settings_in(tmp_path))
        first, second = names(database)[:2]
        before = history(database)

        with pytest.raises(TransitionIllegal) as refused:
            append(database, Trigger.DECIDE, [
                new_event(first, ChangeState.APPROVED, at(date(2026, 10, 5)), BY),
                new_event(second, ChangeState.VERIFIED, at(date(2026, 10, 5)), BY),
            ])  # fmt: skip
        assert str(refused.value) == (
            f"Change {second} is proposed and cannot become verified by the step 'decide'."
        )
        with pytest.raises(EventOutOfOrder, match="cannot be dated 2026-09-29"):
            append(database, Trigger.DECIDE, [
                new_event(first, ChangeState.APPROVED, at(date(2026, 9, 29)), BY)
            ])  # fmt: skip
        assert history(database) == before


def test_no_statement_changes_the_register_in_place() -> None:
    """No SQL file updates or deletes from a table that is sealed, or from the seals."""
    sealed = [table_of(kind).name for kind in (*SEALED, RegisterEntry, RegisterSeal)]
    tables = rf"({'|'.join(sorted(sealed, reverse=True))})\b"
    verbs = re.compile(
        rf"\b(update|delete\s+from|truncate|or\s+replace\s+into)\s+{tables}", re.IGNORECASE
    )
    files = sorted((ROOT / "sql").rglob("*.sql"))

    assert len(files) > 50
    assert [file.name for file in files if verbs.search(file.read_text(encoding="utf-8"))] == []


def test_every_state_can_be_reached_and_open_ones_lapse() -> None:
    """The table leads from a proposal to every state; what is carried out never lapses."""
    reached: set[str | None] = {None}
    for _ in ChangeState:
        reached |= {then for now, then, _ in transitions() if now in reached}

    assert reached == {None, *ChangeState}
    assert open_states() == {
        ChangeState.PROPOSED,
        ChangeState.APPROVED,
        ChangeState.DEFERRED,
        ChangeState.SCHEDULED,
    }
    assert not any(now == ChangeState.LAPSED for now, _, _ in transitions())


WALKS = st.lists(
    st.tuples(st.sampled_from(Trigger), st.sampled_from(ChangeState), st.integers(-2, 30)),
    max_size=40,
)


@given(walk=WALKS)
def test_every_walk_keeps_to_the_table(walk: list[tuple[Trigger, ChangeState, int]]) -> None:
    """Whatever is asked, only transitions of the table happen, and time never goes back."""
    standing: ChangeStanding | None = None
    admitted: list[ChangeEvent] = []
    now = datetime(2026, 9, 30)
    for step, state, days in walk:
        event = new_event("c", state, now + timedelta(days=days), BY)
        before = standing.state if standing else None
        try:
            standing = admit(standing, event, step)
        except TransitionIllegal:
            assert not may(before, state, step)
        except EventOutOfOrder:
            assert standing is not None
            assert event.at < standing.at
        else:
            assert may(before, state, step)
            admitted.append(event)
            now = event.at
    assert [event.at for event in admitted] == sorted(event.at for event in admitted)


def test_state_of_any_past_day_is_the_replay_up_to_it(tmp_path: Path) -> None:
    """The database's answer for a day equals the replay; later events do not change it."""
    with chain(tmp_path) as database:
        settings = settings_in(tmp_path)
        propose(database, settings)
        asked = [DAY + timedelta(days=days) for days in range(-1, 100, 7)]
        told: dict[date, dict[str, str]] = {}
        steps: list[Callable[[], object]] = [
            lambda: approve_all(database),
            lambda: book(database, [Booking(names(database)[0], at(date(2026, 10, 20), 23), "")]),
            lambda: done(database, names(database, "A"), date(2026, 10, 21)),
            lambda: speak_of(database, NEXT),
            lambda: plan_says(database, {"A": (), "B": ()}),
            lambda: propose(database, settings),
        ]
        for step in steps:
            step()
            last = max(event.at for event in history(database)).date()
            for day in asked:
                if day <= last and day in told:
                    assert states(database, day) == told[day]
                if day < last:
                    told[day] = states(database, day)
        events = history(database)
        for day in asked:
            replayed = {
                change: state_on([e for e in events if e.change == change], day)
                for change in names(database)
            }
            assert states(database, day) == {c: s for c, s in replayed.items() if s}
