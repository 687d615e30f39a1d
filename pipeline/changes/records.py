"""Records of the changes step. Clear air is 0..1; times are on the store's own clock."""

from dataclasses import dataclass
from datetime import date, datetime

from pipeline.changes.states import State

PROGRAM = "quietaisle"
"""Who an event is by where no person made it."""


@dataclass(frozen=True, slots=True)
class Change:
    """One step of a plan as proposed: facts that never change."""

    change: str
    plan: str
    store: str
    station: str
    from_channel: int
    to_channel: int
    position: int
    parking: bool
    clear_air_before: float
    clear_air_after: float
    labels: int
    sureness: str
    proposed_by: str
    proposed_on: date


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened to a change.

    `result` says how work went where the event is about that: done, done differently, not done or
    backed out. `due` is when work on a scheduled change starts.
    """

    change: str
    state: State
    at: datetime
    by: str
    note: str = ""
    result: str | None = None
    due: datetime | None = None


@dataclass(frozen=True, slots=True)
class Proposed:
    """A new plan of a store in the register, and how many open changes lapsed for it.

    `freed` is how many changes people had agreed on, to which the store's plans need not keep
    any more.
    """

    store: str
    plan: str
    moves: int
    superseded: str | None
    lapsed: int
    freed: int


@dataclass(frozen=True, slots=True)
class Booking:
    """The night of an approved change; `due` is when work starts, on the store's own clock."""

    change: str
    due: datetime
    note: str


@dataclass(frozen=True, slots=True)
class Refusal:
    """Something in a workbook that was not taken, where it stands, and what to do."""

    workbook: str
    store: str | None
    sheet: str | None
    cell: str | None
    sentence: str

    def __str__(self) -> str:
        """Return the refusal as one line."""
        place = [
            f"{word} {value}"
            for word, value in (("store", self.store), ("sheet", self.sheet), ("cell", self.cell))
            if value
        ]
        return f"{self.workbook}: {', '.join(place)}{': ' if place else ''}{self.sentence}"


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of one workbook that came back."""

    workbook: str
    store: str | None
    decisions: int
    results: int
    repeated: int  # decisions and results that the register has already
    refusals: tuple[Refusal, ...]


@dataclass(frozen=True, slots=True)
class Check:
    """What was found of a change that waits for an export, and what follows from it.

    `state` is the change's state afterwards; where it is still open, `note` says what is missing.
    """

    change: str
    store: str
    station: str
    state: State
    result: str | None
    note: str
    promised: float
    measured: float | None


@dataclass(frozen=True, slots=True)
class Calibration:
    """How promises of one kind held: `promised` and `measured` are means over the changes.

    `error` is measured less promised on average, `absolute_error` its size, `held` the share of
    changes at which the air was at least as clear as promised.
    """

    sureness: str  # 'all': whatever the evidence
    promised_from: float
    promised_to: float
    changes: int
    promised: float
    measured: float
    error: float
    absolute_error: float
    held: float
