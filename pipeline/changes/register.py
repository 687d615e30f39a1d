"""The register: what is proposed and what happened to it. Rows are added, never changed."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime

from pipeline.changes.proposal import (
    ChangeInForce,
    PlannedStore,
    Proposal,
    Proposed,
    ProposedMove,
    StoreCase,
    proposal,
)
from pipeline.changes.states import PROGRAM, ChangeStanding, ChangeState, Trigger, admit, new_event
from pipeline.database import Database
from pipeline.errors import UnknownChange
from pipeline.records import grouped
from pipeline.settings import Settings
from pipeline.tables.changes import Change, ChangeEvent, ChangePlan
from pipeline.tables.run import ThisRun


@dataclass(frozen=True, slots=True)
class Booking:
    """The night of an approved change; `due` is when work starts, on the store's own clock."""

    change: str
    due: datetime
    note: str


@dataclass(frozen=True)
class StandingOrder:
    """Another channel than proposed that was ordered, with what it promises, 0..1."""

    change: str
    channel: int
    promised: float | None  # None: not known
    promised_low: float | None
    promised_high: float | None


def propose(database: Database, settings: Settings) -> tuple[Proposed, ...]:
    """Put the plan of this run into the register; call it after the plan and after verify.

    A store whose plan says what is in force already gains nothing. A new plan lapses the open
    changes of the one it supersedes.

    Returns:
        The stores with a new plan, and what lapsed for it.
    """
    run, by = this_run(database), settings.proposer or PROGRAM
    found = (proposal(case, run, by) for case in _cases(database))
    proposals = [one for one in found if one is not None]
    if proposals:
        with database.transaction():
            _add(database, proposals)
    return tuple(one.said for one in proposals)


def append(database: Database, trigger: Trigger, events: Sequence[ChangeEvent]) -> int:
    """Number events and add them to the register, all or none; return the number of the first.

    Call it inside a transaction where more than the events must stand or fall together.

    Raises:
        TransitionIllegal: the table of transitions does not have one of them.
        EventOutOfOrder: one is dated before the last event of its change.
    """
    first: int = database.value("changes", "last_seq") + 1
    if events:
        stands = standings(database)
        for event in events:
            stands[event.change] = admit(stands.get(event.change), event, trigger)
        if trigger is not Trigger.DECIDE:
            events = _still_ordered(database, events)
        numbered = (replace(event, seq=seq) for seq, event in enumerate(events, start=first))
        database.put(ChangeEvent, numbered)
    return first


def _still_ordered(database: Database, events: Sequence[ChangeEvent]) -> list[ChangeEvent]:
    """Return events with the channel ordered before, and its promise, where an approval stands."""
    orders = {one.change: one for one in database.records(StandingOrder, "changes", "orders")}
    return [
        replace(event, **asdict(orders[event.change]))
        if event.state == ChangeState.APPROVED and event.change in orders
        else event
        for event in events
    ]


def book(database: Database, bookings: Sequence[Booking]) -> int:
    """Give approved changes their nights; return how many were new.

    The event is dated on the run's day, or on the day of the change's last event if that is later.

    Raises:
        UnknownChange: the register does not hold one of them.
        TransitionIllegal: one is neither approved nor scheduled.
    """
    known = standings(database)
    booked = {e.change: e.due for e in history(database) if e.state == ChangeState.SCHEDULED}
    day = datetime.combine(this_run(database).as_of, datetime.min.time())
    events = []
    for booking in bookings:
        if booking.change not in known:
            raise UnknownChange(booking.change)
        stands, due = known[booking.change], booking.due
        if stands.state != ChangeState.SCHEDULED or booked[booking.change] != due:
            at, note = max(day, stands.at), booking.note
            state = ChangeState.SCHEDULED
            events.append(new_event(booking.change, state, at, PROGRAM, note, due=due))
    with database.transaction():
        append(database, Trigger.SCHEDULE, events)
    return len(events)


def standings(database: Database) -> dict[str, ChangeStanding]:
    """Return where every change of the register stands."""
    rows = database.records(ChangeStanding, "changes", "standings")
    return {standing.change: standing for standing in rows}


def history(database: Database) -> list[ChangeEvent]:
    """Return every event of the register, oldest first."""
    return database.records(ChangeEvent, "changes", "events")


def this_run(database: Database) -> ThisRun:
    """Return the run the database speaks of."""
    (run,) = database.records(ThisRun, "changes", "this_run")
    return run


def _cases(database: Database) -> Iterator[StoreCase]:
    """Yield this run's plan for each store, and the plan in force beside it."""
    moves = grouped(database.records(ProposedMove, "changes", "planned_moves"), "store")
    changes = grouped(database.records(ChangeInForce, "changes", "changes_in_force"), "store")
    plans = database.records(ChangePlan, "changes", "plans_in_force")
    current = {plan.store: plan for plan in plans}
    for planned in database.records(PlannedStore, "changes", "planned_stores"):
        store = planned.store
        yield StoreCase(planned, moves.get(store, ()), current.get(store), changes.get(store, ()))


def _add(database: Database, proposals: Sequence[Proposal]) -> None:
    append(database, Trigger.SUPERSEDE, [event for one in proposals for event in one.lapses])
    first = database.value("changes", "last_plan") + 1
    database.put(
        ChangePlan, [replace(one.plan, number=n) for n, one in enumerate(proposals, start=first)]
    )
    database.put(Change, [change for one in proposals for change in one.changes])
    append(database, Trigger.PROPOSE, [event for one in proposals for event in one.proposals])
    append(database, Trigger.SUPERSEDE, [event for one in proposals for event in one.agreed])
