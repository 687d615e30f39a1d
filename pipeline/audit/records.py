"""Records of the audit step. Days are days of the store's own calendar."""

from bisect import bisect_right
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from pipeline.audit.agreed import Agreement
from pipeline.audit.follow import Snapshot


class Kind(StrEnum):
    """What a difference between agreed and found comes to."""

    APPROVED = "approved change"
    DEVIATION = "deviation"  # an exception on file approves it
    DRIFT = "drift"  # nobody approved it
    REPLACED = "replaced hardware"
    RENAMED = "renamed"  # other name, same hardware address
    NEW = "new"
    GONE = "gone"
    UNSEEN = "unseen"  # no export of the store speaks of the span
    REVERTED = "reverted"  # departed before, back at what is agreed
    BACK = "changed and changed back"  # within the span


STANDING = frozenset(
    {Kind.DEVIATION, Kind.DRIFT, Kind.REPLACED, Kind.RENAMED, Kind.NEW, Kind.GONE, Kind.UNSEEN}
)
"""Kinds that are told again in every span until they are settled."""


@dataclass(frozen=True, slots=True)
class Happening:
    """A state a change of the register came to."""

    day: date
    state: str
    by: str


@dataclass(frozen=True, slots=True)
class Order:
    """A change in the register, with what became of it, oldest first."""

    change: str
    plan: str
    station: str
    to_channel: str
    parking: bool
    happenings: tuple[Happening, ...]

    def last(self, day: date) -> Happening | None:
        """Return what became of it up to and with a day."""
        at = bisect_right(self.happenings, day, key=lambda happening: happening.day)
        return self.happenings[at - 1] if at else None

    def approver(self, day: date) -> str | None:
        """Return who approved it last up to and with a day."""
        by = [h.by for h in self.happenings if h.state == "approved" and h.day <= day]
        return by[-1] if by else None


@dataclass(frozen=True, slots=True)
class OnFile:
    """An exception with the days it was on file: from `since` up to before `gone`."""

    rule: str
    subject: str  # '*': any
    reason: str
    approved_by: str
    until: date
    since: date
    gone: date | None

    def holds(self, day: date) -> bool:
        """Tell whether it was on file on a day and had not run out."""
        return self.since <= day <= self.until and (self.gone is None or day < self.gone)


@dataclass(frozen=True, slots=True)
class StoreFacts:
    """Everything dated that is known of a store.

    `began` is the day of the first stations export of any store.
    """

    store: str
    snapshots: tuple[Snapshot, ...]
    agreements: tuple[Agreement, ...]
    orders: tuple[Order, ...]
    exceptions: tuple[OnFile, ...]
    began: date


@dataclass(frozen=True, slots=True)
class Departure:
    """One difference. `meanwhile` is a value met within the span that is neither agreed nor found.

    `first_seen` is the day of the export that first showed it, of a station unseen the day of the
    last one that lists it; `stood_days` how long it has stood by the end of the span, None where it
    stands no more. `basis` is 'baseline', or 'earlier export' where nothing was agreed.
    """

    store: str
    subject: str
    field: str
    kind: Kind
    agreed: str | None
    found: str | None
    meanwhile: str | None
    first_seen: date | None
    stood_days: int | None
    approved_by: str | None
    approved_on: date | None
    change: str | None
    exception: str | None
    basis: str
