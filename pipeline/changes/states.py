"""The states of a change and the transitions between them: one table, transitions.csv."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from functools import cache
from pathlib import Path
from types import MappingProxyType

from pipeline.errors import EventOutOfOrder, TransitionIllegal
from pipeline.tables.changes import ChangeEvent

PROGRAM = "quietaisle"
"""Who an event is by where no person made it."""

_NO_PROMISE = (None, None, None)
_NO_CELL = (None, None, None, None)
_TABLE = Path(__file__).resolve().parent / "transitions.csv"


class ChangeState(StrEnum):
    """Where a change stands."""

    PROPOSED = "proposed"
    APPROVED = "approved"
    REFUSED = "refused"
    DEFERRED = "deferred"
    SCHEDULED = "scheduled"
    IMPLEMENTED = "implemented"
    VERIFIED = "verified"
    INEFFECTIVE = "ineffective"
    BACKED_OUT = "backed out"
    LAPSED = "lapsed"


class Trigger(StrEnum):
    """What moves a change from one state to the next."""

    PROPOSE = "propose"
    DECIDE = "decide"
    SCHEDULE = "schedule"
    RESULT = "result"  # reported by those who did the work
    TAKE_OVER = "take over"  # reported of a station set for the first time, with every check
    VERIFY = "verify"
    SUPERSEDE = "supersede"


CARRIED_OUT = frozenset({ChangeState.IMPLEMENTED, ChangeState.VERIFIED, ChangeState.INEFFECTIVE})
"""States in which the station's channel was changed and not changed back."""

AGREED = frozenset({ChangeState.APPROVED, ChangeState.SCHEDULED, ChangeState.IMPLEMENTED})
"""States in which people have agreed on a change that no export has judged: plans keep to it."""


@dataclass(frozen=True, slots=True)
class ChangeStanding:
    """Where a change stands, and since when."""

    change: str
    state: str
    at: datetime


def new_event(  # noqa: PLR0913, PLR0917 - the columns of a row
    change: str,
    state: ChangeState,
    at: datetime,
    by: str,
    note: str = "",
    result: str | None = None,
    due: datetime | None = None,
    *,
    channel: int | None = None,
    until: date | None = None,
    workbook: str | None = None,
    carried: str | None = None,
) -> ChangeEvent:
    """Return an event that is not in the register yet: its number is 0."""
    said = (change, state.value, at, by, note, result, due)
    return ChangeEvent(0, *said, channel, until, workbook, carried, *_NO_PROMISE, *_NO_CELL)


def placed(event: ChangeEvent, place: Mapping[str, str]) -> ChangeEvent:
    """Return an event with where it stands in its workbook, from `written_at`."""
    found: ChangeEvent = replace(event, **place)  # type: ignore[arg-type] # texts for its texts
    return found


@cache
def transitions() -> Mapping[tuple[str | None, str, str], str]:
    """Return the meaning of every allowed (state, next state, trigger); None: not yet proposed."""
    with _TABLE.open(encoding="utf-8", newline="") as lines:
        return MappingProxyType({_transition(row): row["meaning"] for row in csv.DictReader(lines)})


def _transition(row: Mapping[str, str]) -> tuple[str | None, str, str]:
    now = ChangeState(row["state"]) if row["state"] else None
    return now, ChangeState(row["next"]), Trigger(row["step"])


@cache
def open_states() -> frozenset[str]:
    """Return the states that lapse when another plan takes the place of the change's plan."""
    return frozenset(now for now, then, _ in transitions() if now and then == ChangeState.LAPSED)


def may(now: str | None, asked: str, trigger: Trigger) -> bool:
    """Tell whether a trigger may lead from one state to another."""
    return (now, asked, trigger) in transitions()


def admit(standing: ChangeStanding | None, event: ChangeEvent, trigger: Trigger) -> ChangeStanding:
    """Return where a change stands after an event.

    Raises:
        TransitionIllegal: the table of transitions does not have it.
        EventOutOfOrder: it is dated before the change's last event.
    """
    now = standing.state if standing else None
    if not may(now, event.state, trigger):
        raise TransitionIllegal(event.change, now, event.state, trigger)
    if standing is not None and event.at < standing.at:
        raise EventOutOfOrder(event.change, event.at, standing.at)
    return ChangeStanding(event.change, event.state, event.at)
