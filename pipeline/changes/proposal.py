"""What a run's plan means for the register: nothing new, or a plan that supersedes another."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from hashlib import sha256

from pipeline.changes.states import (
    AGREED,
    CARRIED_OUT,
    PROGRAM,
    ChangeState,
    new_event,
    open_states,
)
from pipeline.tables.changes import Change, ChangeEvent, ChangePlan
from pipeline.tables.run import ThisRun

_ORDERED = (ChangeState.APPROVED, ChangeState.SCHEDULED)
_SETTLED = AGREED | CARRIED_OUT
SCHEME = 1
"""The way fingerprints are made; a new number makes every plan a new one."""


@dataclass(frozen=True, slots=True)
class ProposedMove:
    """One step of this run's plan, with what it rests on."""

    store: str
    station: str
    from_channel: int | None
    to_channel: int
    position: int
    parking: bool
    clear_air_before: float | None
    clear_air_before_low: float | None
    clear_air_before_high: float | None
    clear_air_after: float | None
    clear_air_after_low: float | None
    clear_air_after_high: float | None
    chance: float | None
    labels: int
    sureness: str
    free_of_own_before: float | None
    group_no: int | None
    facts: str
    pan_id: int | None  # of a first setting, as the two that follow
    tx_power_dbm: float | None
    name: str | None


@dataclass(frozen=True, slots=True)
class PlannedStore:
    """A store this run planned: its permitted channels, and the day of the export it rests on."""

    store: str
    choices: str
    seen_on: date


@dataclass(frozen=True, slots=True)
class ChangeInForce:
    """A change of the plan in force, where it stands, and when it was carried out, if it was.

    `to_channel` is the one ordered; `agreed_on`, `agreed_in` (the plan), `agreed_by` and `workbook`
    are of the last order a person gave.
    """

    store: str
    change: str
    station: str
    from_channel: int | None
    to_channel: int
    position: int
    parking: bool
    state: str
    at: datetime
    carried_at: datetime | None
    agreed_on: date | None
    agreed_in: str | None
    agreed_by: str | None
    workbook: str | None


@dataclass(frozen=True, slots=True)
class StoreCase:
    """This run's plan for a store, and beside it the plan in force with its changes, if any."""

    planned: PlannedStore
    moves: Sequence[ProposedMove]
    current: ChangePlan | None
    changes: Sequence[ChangeInForce]


@dataclass(frozen=True, slots=True)
class Proposed:
    """A new plan of a store in the register, and how many open changes lapsed for it.

    `freed` counts the changes people had agreed on and that it does not ask for: the store's plans
    need no longer keep to them. `carried` counts those that it asks for too, approved in it.
    """

    store: str
    plan: str
    moves: int
    lapsed: int
    freed: int
    carried: int

    @property
    def to_replan(self) -> bool:
        """Whether what the store's plan is bound to is no longer what it was made from."""
        return bool(self.freed or self.carried)


@dataclass(frozen=True, slots=True)
class Proposal:
    """What the register gains for one store; the plan has no number yet."""

    plan: ChangePlan
    changes: tuple[Change, ...]
    lapses: tuple[ChangeEvent, ...]
    proposals: tuple[ChangeEvent, ...]
    agreed: tuple[ChangeEvent, ...]  # approvals of the plan before that stand
    freed: int

    @property
    def said(self) -> Proposed:
        """What the run says of it."""
        plan, lapsed, carried = self.plan, len(self.lapses), len(self.agreed)
        return Proposed(plan.store, plan.plan, plan.moves, lapsed, self.freed, carried)


def fingerprint(planned: PlannedStore, moves: Sequence[ProposedMove]) -> str:
    """Return 64 hex digits that stand for what the plan says: moves in order, permitted channels.

    Figures of clear air are left out: new readings that lead to the same moves make no new plan.
    """
    said = [SCHEME, planned.store, planned.choices, [_says(move) for move in moves]]
    return sha256(json.dumps(said, ensure_ascii=False).encode()).hexdigest()


def proposal(case: StoreCase, run: ThisRun, by: str) -> Proposal | None:
    """Return what the register gains, or None where the plan says what is in force already.

    What is left of the plan in force once part of it was carried out or refused is no new plan. Nor
    does a look back at a day before the plan in force make one. What people approved, and the new
    plan asks for too, is approved in it.
    """
    planned, current = case.planned, case.current
    if current is None and not case.moves:
        return None
    if current is not None and (run.as_of < current.proposed_on or _agrees(case, current)):
        return None
    marks = fingerprint(planned, case.moves)
    before = current.plan if current else None
    name = sha256(f"{marks} {before or ''}".encode()).hexdigest()[:10]
    # Not before what was decided on the plan in force.
    day = max([datetime.combine(run.as_of, time()), *(known.at for known in case.changes)])
    changes = tuple(_change(move, name, run.as_of, by) for move in case.moves)
    agreed = _agreed(case)
    return Proposal(
        ChangePlan(
            number=0,
            plan=name,
            store=planned.store,
            fingerprint=marks,
            choices=planned.choices,
            moves=len(changes),
            proposed_on=run.as_of,
            run=run.run,
            supersedes=before,
        ),
        changes,
        tuple(_lapses(case.changes, name, day)),
        tuple(new_event(change.change, ChangeState.PROPOSED, day, by) for change in changes),
        tuple(
            _approval(change.change, agreed[change.station], before, day)
            for change in changes
            if change.station in agreed
        ),
        sum(known.state in AGREED and known.station not in agreed for known in case.changes),
    )


def _agreed(case: StoreCase) -> Mapping[str, ChangeInForce]:
    """Return the last step of each station whose approved way ends where the new plan's does."""
    ends = {move.station: move.to_channel for move in case.moves}
    last = {known.station: known for known in case.changes}
    unsettled = {known.station for known in case.changes if known.state not in _SETTLED}
    return {
        station: known
        for station, known in last.items()
        if known.state in _ORDERED and known.to_channel == ends.get(station)
        if station not in unsettled
    }


def _approval(change: str, known: ChangeInForce, before: str | None, day: datetime) -> ChangeEvent:
    note = f"approved on {known.agreed_on} in plan {known.agreed_in}"
    by, workbook = known.agreed_by or PROGRAM, known.workbook
    state = ChangeState.APPROVED
    return new_event(change, state, day, by, note, workbook=workbook, carried=before)


def _says(step: ProposedMove | ChangeInForce) -> tuple[str, int | None, int, bool]:
    """Return what is to be done, whatever its place in the order."""
    return step.station, step.from_channel, step.to_channel, step.parking


def _agrees(case: StoreCase, current: ChangePlan) -> bool:
    """Tell whether the moves are those in force without what was refused or is carried out.

    An export of the very day on which work was done may show it or not. A refused move that the
    plan asks for again is put forward again.
    """
    if case.planned.choices != current.choices:
        return False
    moves, seen_on = [_says(move) for move in case.moves], case.planned.seen_on
    standing = [known for known in case.changes if known.state != ChangeState.REFUSED]
    return any(
        moves == [_says(known) for known in standing if not _shown(known, seen_on, days)]
        for days in (0, 1)
    )


def _shown(known: ChangeInForce, seen_on: date, days: int) -> bool:
    """Tell whether an export shows a change carried out, `days` or more after it was."""
    if known.state not in {*CARRIED_OUT, ChangeState.BACKED_OUT}:
        return False
    return (seen_on - (known.carried_at or known.at).date()).days >= days


def _change(move: ProposedMove, plan: str, as_of: date, by: str) -> Change:
    return Change(
        change=f"{plan}-{move.position:02}",
        plan=plan,
        store=move.store,
        station=move.station,
        from_channel=move.from_channel,
        to_channel=move.to_channel,
        position=move.position,
        parking=move.parking,
        clear_air_before=move.clear_air_before,
        clear_air_before_low=move.clear_air_before_low,
        clear_air_before_high=move.clear_air_before_high,
        clear_air_after=move.clear_air_after,
        clear_air_after_low=move.clear_air_after_low,
        clear_air_after_high=move.clear_air_after_high,
        chance=move.chance,
        labels=move.labels,
        sureness=move.sureness,
        proposed_by=by,
        proposed_on=as_of,
        free_of_own_before=move.free_of_own_before,
        group_no=move.group_no,
        facts=move.facts or None,
        pan_id=move.pan_id,
        tx_power_dbm=move.tx_power_dbm,
        name=move.name,
    )


def _lapses(changes: Sequence[ChangeInForce], name: str, day: datetime) -> Iterator[ChangeEvent]:
    note = f"superseded by plan {name} of {day:%Y-%m-%d}"
    for known in changes:
        if known.state in open_states():
            yield new_event(known.change, ChangeState.LAPSED, day, PROGRAM, note)
