"""What a run's plan means for the register: nothing new, or a plan that takes another's place."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from hashlib import sha256

from pipeline.changes.records import PROGRAM, Change, Event, Proposed
from pipeline.changes.states import AGREED, CARRIED_OUT, State, open_states

SCHEME = 1
"""The way fingerprints are made; a new number makes every plan a new one."""


@dataclass(frozen=True, slots=True)
class Move:
    """One step of the plan of this run."""

    station: str
    from_channel: int
    to_channel: int
    position: int
    parking: bool
    clear_air_before: float
    clear_air_after: float
    labels: int
    sureness: str

    @property
    def says(self) -> tuple[str, int, int, bool]:
        """What is to be done, whatever its place in the order."""
        return (self.station, self.from_channel, self.to_channel, self.parking)


@dataclass(frozen=True, slots=True)
class StorePlan:
    """The plan of this run for one store, and the day of the export it rests on."""

    store: str
    choices: str
    seen_on: date
    moves: tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class Known:
    """A change of the plan in force, and where it stands."""

    change: str
    station: str
    from_channel: int
    to_channel: int
    position: int
    parking: bool
    state: State
    at: datetime
    carried_at: datetime | None

    @property
    def says(self) -> tuple[str, int, int, bool]:
        """What is to be done, whatever its place in the order."""
        return (self.station, self.from_channel, self.to_channel, self.parking)


@dataclass(frozen=True, slots=True)
class InForce:
    """A store's plan in force."""

    plan: str
    choices: str
    proposed_on: date
    changes: tuple[Known, ...]


@dataclass(frozen=True, slots=True)
class PlanRow:
    """A plan as the register keeps it."""

    plan: str
    store: str
    fingerprint: str
    choices: str
    moves: int
    proposed_on: date
    supersedes: str | None


@dataclass(frozen=True, slots=True)
class Proposal:
    """What goes into the register for one store."""

    row: PlanRow
    changes: tuple[Change, ...]
    lapses: tuple[Event, ...]
    proposals: tuple[Event, ...]
    freed: int

    @property
    def said(self) -> Proposed:
        """What the run says of it."""
        row = self.row
        lapsed = len(self.lapses)
        return Proposed(row.store, row.plan, row.moves, row.supersedes, lapsed, self.freed)


def fingerprint(plan: StorePlan) -> str:
    """Return 64 hex digits that stand for what the plan says: moves in order, permitted channels.

    Figures of clear air are left out: new readings that lead to the same moves make no new plan.
    """
    said = [SCHEME, plan.store, plan.choices, [move.says for move in plan.moves]]
    return sha256(json.dumps(said, ensure_ascii=False).encode()).hexdigest()


def change_id(plan: str, position: int) -> str:
    """Return the name of a change: its plan's, which is its store's alone, and its position."""
    return f"{plan}-{position:02}"


def proposal(plan: StorePlan, current: InForce | None, as_of: date, by: str) -> Proposal | None:
    """Return what the register gains, or None where the plan says what is in force already.

    A plan that is what is left of the one in force, now that part of it was carried out, is no new
    plan. Nor does a look back at a day before the plan in force make one.
    """
    if current is None and not plan.moves:
        return None
    if current is not None and (as_of < current.proposed_on or _agrees(plan, current)):
        return None
    marks = fingerprint(plan)
    before = current.plan if current else None
    name = sha256(f"{marks} {before or ''}".encode()).hexdigest()[:10]
    day = _day(as_of, current)
    changes = tuple(_change(move, plan.store, name, as_of, by) for move in plan.moves)
    return Proposal(
        PlanRow(name, plan.store, marks, plan.choices, len(changes), as_of, before),
        changes,
        tuple(_lapses(current, name, day)),
        tuple(Event(change.change, State.PROPOSED, day, by) for change in changes),
        sum(known.state in AGREED for known in current.changes) if current else 0,
    )


def _agrees(plan: StorePlan, current: InForce) -> bool:
    """Tell whether the moves are those in force without what the export shows carried out.

    What was carried out on the very day of the export may show in it or not.
    """
    if plan.choices != current.choices:
        return False
    moves = [move.says for move in plan.moves]
    return any(
        moves == [known.says for known in current.changes if not _shown(known, plan.seen_on, days)]
        for days in (0, 1)
    )


def _shown(known: Known, seen_on: date, days: int) -> bool:
    """Tell whether an export shows a change carried out, `days` or more after it was."""
    if known.state not in CARRIED_OUT and known.state is not State.BACKED_OUT:
        return False
    done = known.carried_at or known.at
    return (seen_on - done.date()).days >= days


def _day(as_of: date, current: InForce | None) -> datetime:
    """Return when the new plan takes effect: not before what was decided on the old one."""
    start = datetime.combine(as_of, time())
    return max([start, *(known.at for known in current.changes)] if current else [start])


def _change(move: Move, store: str, plan: str, as_of: date, by: str) -> Change:
    return Change(
        change=change_id(plan, move.position),
        plan=plan,
        store=store,
        station=move.station,
        from_channel=move.from_channel,
        to_channel=move.to_channel,
        position=move.position,
        parking=move.parking,
        clear_air_before=move.clear_air_before,
        clear_air_after=move.clear_air_after,
        labels=move.labels,
        sureness=move.sureness,
        proposed_by=by,
        proposed_on=as_of,
    )


def _lapses(current: InForce | None, name: str, day: datetime) -> Sequence[Event]:
    if current is None:
        return ()
    note = f"superseded by plan {name} of {day:%Y-%m-%d}"
    return [
        Event(known.change, State.LAPSED, day, PROGRAM, note)
        for known in current.changes
        if known.state in open_states()
    ]
