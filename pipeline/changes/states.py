"""The states of a change and the transitions between them: one table, transitions.csv."""

import csv
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Protocol

from pipeline.errors import EventOutOfOrder, TransitionIllegal

_TABLE = Path(__file__).resolve().parent / "transitions.csv"


class State(StrEnum):
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


class Step(StrEnum):
    """What moves a change from one state to the next."""

    PROPOSE = "propose"
    DECIDE = "decide"
    SCHEDULE = "schedule"
    RESULT = "result"  # reported by those who did the work
    VERIFY = "verify"
    SUPERSEDE = "supersede"


CARRIED_OUT = frozenset({State.IMPLEMENTED, State.VERIFIED, State.INEFFECTIVE})
"""States in which the station's channel was changed and not changed back."""

AGREED = frozenset({State.APPROVED, State.SCHEDULED, State.IMPLEMENTED})
"""States in which people have agreed on a change and no export has judged it: plans keep to it."""


class Happened(Protocol):
    """What the rules of the register need to know of an event."""

    @property
    def change(self) -> str:
        """The change it is about."""

    @property
    def state(self) -> State:
        """The state it leads to."""

    @property
    def at(self) -> datetime:
        """When it happened."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a change stands, and since when."""

    state: State
    at: datetime


@cache
def transitions() -> Mapping[tuple[State | None, State, Step], str]:
    """Return the meaning of every allowed (state, next state, step); None: not yet proposed."""
    with _TABLE.open(encoding="utf-8", newline="") as lines:
        return MappingProxyType({_transition(row): row["meaning"] for row in csv.DictReader(lines)})


def _transition(row: Mapping[str, str]) -> tuple[State | None, State, Step]:
    now = State(row["state"]) if row["state"] else None
    return now, State(row["next"]), Step(row["step"])


@cache
def open_states() -> frozenset[State]:
    """Return the states that lapse when another plan takes the place of the change's plan."""
    return frozenset(now for now, then, _ in transitions() if now and then is State.LAPSED)


def may(now: State | None, asked: State, step: Step) -> bool:
    """Tell whether a step may lead from one state to another."""
    return (now, asked, step) in transitions()


def admit(standing: Standing | None, event: Happened, step: Step) -> Standing:
    """Return where a change stands after an event.

    Raises:
        TransitionIllegal: the table of transitions does not have it.
        EventOutOfOrder: it is dated before the change's last event.
    """
    now = standing.state if standing else None
    if not may(now, event.state, step):
        raise TransitionIllegal(event.change, now, event.state, step)
    if standing is not None and event.at < standing.at:
        raise EventOutOfOrder(event.change, event.at, standing.at)
    return Standing(event.state, event.at)


def state_on(events: Iterable[Happened], day: date) -> State | None:
    """Return the state at the end of a day of a change with these events, oldest first."""
    upto = [event.state for event in events if event.at.date() <= day]
    return upto[-1] if upto else None
