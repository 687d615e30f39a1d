"""The register: what is proposed, what happened to it. Rows are added, never changed."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from operator import itemgetter
from typing import Any

from pipeline.changes.proposal import InForce, Known, Move, PlanRow, Proposal, StorePlan, proposal
from pipeline.changes.records import PROGRAM, Booking, Change, Event, Proposed
from pipeline.changes.states import Standing, State, Step, admit
from pipeline.database import Database
from pipeline.errors import UnknownChange
from pipeline.frames import frame_of
from pipeline.settings import Settings

Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class _EventRow:
    number: int
    change: str
    state: str
    at: datetime
    by: str
    note: str
    result: str | None
    due: datetime | None


def propose(database: Database, settings: Settings) -> tuple[Proposed, ...]:
    """Put the plan of this run into the register; call it after the plan and after verify.

    A store whose plan says what is in force already gains nothing. Another plan lapses the open
    changes of the one it takes the place of.

    Returns:
        The stores with a new plan, and what lapsed for it.
    """
    as_of = _as_of(database)
    by = settings.proposer or PROGRAM
    current = _in_force(database)
    found = (
        proposal(plan, current.get(plan.store), as_of, by) for plan in _store_plans(database, as_of)
    )
    proposals = [one for one in found if one is not None]
    with database.transaction():
        _add(database, proposals)
    return tuple(one.said for one in proposals)


def append(database: Database, step: Step, events: Sequence[Event]) -> int:
    """Add events to the register, all or none; return the number of the first.

    Call it inside a transaction where more than the events must stand or fall together.

    Raises:
        TransitionIllegal: the table of transitions does not have one of them.
        EventOutOfOrder: one is dated before the last event of its change.
    """
    first = int(database.rows("changes", "last_seq")[0][0]) + 1
    if events:
        _admit(standings(database), events, step)
        _insert(database, events)
    return first


def book(database: Database, bookings: Sequence[Booking], by: str = PROGRAM) -> int:
    """Give approved changes their nights; return how many were new.

    The event is dated on the run's day, or on the day of the change's last event if that is later.

    Raises:
        UnknownChange: the register does not hold one of them.
        TransitionIllegal: one is neither approved nor scheduled.
    """
    known = standings(database)
    booked = {event.change: event for event in history(database) if event.state is State.SCHEDULED}
    day = datetime.combine(_as_of(database), datetime.min.time())
    events = []
    for booking in bookings:
        if booking.change not in known:
            raise UnknownChange(booking.change)
        stands, last = known[booking.change], booked.get(booking.change)
        if stands.state is State.SCHEDULED and last and last.due == booking.due:
            continue
        at = max(day, stands.at)
        events.append(Event(booking.change, State.SCHEDULED, at, by, booking.note, due=booking.due))
    with database.transaction():
        append(database, Step.SCHEDULE, events)
    return len(events)


def standings(database: Database) -> dict[str, Standing]:
    """Return where every change of the register stands."""
    rows = database.rows("changes", "standings")
    return {change: Standing(State(state), at) for change, state, at in rows}


def history(database: Database) -> list[Event]:
    """Return every event of the register, oldest first."""
    return [
        Event(change, State(state), *rest)
        for change, state, *rest in database.rows("changes", "events")
    ]


def _as_of(database: Database) -> date:
    day: date = database.rows("changes", "this_day")[0][0]
    return day


def _store_plans(database: Database, as_of: date) -> list[StorePlan]:
    moves = _by_store(database.rows("changes", "planned_moves"))
    return [
        StorePlan(store, choices, seen_on or as_of, tuple(Move(*m) for m in moves.get(store, ())))
        for store, choices, seen_on in database.rows("changes", "planned_stores")
    ]


def _in_force(database: Database) -> dict[str, InForce]:
    changes = _by_store(database.rows("changes", "changes_in_force"))
    return {
        store: InForce(plan, choices, proposed_on, tuple(map(_known, changes.get(store, ()))))
        for store, plan, _, choices, proposed_on in database.rows("changes", "plans_in_force")
    }


def _known(row: Row) -> Known:
    values = list(row)
    values[6] = State(values[6])
    return Known(*values)


def _by_store(rows: Sequence[Row]) -> dict[str, list[Row]]:
    groups = groupby(rows, key=itemgetter(0))
    return {store: [row[1:] for row in group] for store, group in groups}


def _add(database: Database, proposals: Sequence[Proposal]) -> None:
    if not proposals:
        return
    changes = [change for one in proposals for change in one.changes]
    append(database, Step.SUPERSEDE, [event for one in proposals for event in one.lapses])
    database.insert(
        "changes", "insert_change_plan", frame_of(PlanRow, [one.row for one in proposals])
    )
    database.insert("changes", "insert_change", frame_of(Change, changes))
    append(database, Step.PROPOSE, [event for one in proposals for event in one.proposals])


def _admit(known: Mapping[str, Standing], events: Iterable[Event], step: Step) -> None:
    stands = dict(known)
    for event in events:
        stands[event.change] = admit(stands.get(event.change), event, step)


def _insert(database: Database, events: Sequence[Event]) -> None:
    rows = [
        _EventRow(number, e.change, e.state.value, e.at, e.by, e.note, e.result, e.due)
        for number, e in enumerate(events, start=1)
    ]
    database.insert("changes", "insert_change_event", frame_of(_EventRow, rows))
