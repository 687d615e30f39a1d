"""The records a region's review is laid out from."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

ANYWHERE = "*"  # what concerns no one store, or no one region


class Progress(StrEnum):
    """How far a change is, the furthest first."""

    VERIFIED = "verified"
    IMPLEMENTED = "implemented"
    FAILED = "failed"
    SCHEDULED = "scheduled"
    APPROVED = "approved"
    TO_DECIDE = "to_decide"
    UNPUT = "unput"


DONE = (Progress.VERIFIED, Progress.IMPLEMENTED)


class Standing(StrEnum):
    """Where a store stands, in one word."""

    UNPLANNED = "unplanned"
    TO_DECIDE = "to_decide"
    UNDER_WAY = "under_way"
    DONE = "done"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class StoreLine:
    """One store in the review. Clear air is 0..1, weighted by labels; None: not known."""

    store: str
    name: str
    country: str | None
    last_seen_on: date
    stations: int
    labels: int
    clear_air_now: float | None
    clear_air_planned: float | None
    weight: int
    verified: int
    implemented: int
    failed: int
    scheduled: int
    approved: int
    to_decide: int
    unput: int
    overdue: int
    next_work: datetime | None
    stop: int
    fix: int
    astray: int
    unplanned: str | None

    def count(self, progress: Progress) -> int:
        """Return how many of its changes are so far."""
        found: int = getattr(self, progress.value)
        return found

    @property
    def changes(self) -> int:
        """All its changes, done, failed and to come."""
        return sum(self.count(progress) for progress in Progress)

    @property
    def done(self) -> int:
        """Its changes carried out that did not fail."""
        return sum(self.count(progress) for progress in DONE)

    @property
    def standing(self) -> Standing:
        """Where it stands."""
        if self.unplanned is not None:
            return Standing.UNPLANNED
        if not self.changes:
            return Standing.NOTHING
        if self.to_decide or self.unput:
            return Standing.TO_DECIDE
        return Standing.DONE if self.done == self.changes else Standing.UNDER_WAY


@dataclass(frozen=True, slots=True)
class Step:
    """Changes carried out on a day, or scheduled for one."""

    day: date
    done: bool
    count: int


@dataclass(frozen=True, slots=True)
class Promise:
    """One measured change; clear air 0..1."""

    store: str
    station: str
    was: float
    promised: float
    measured: float


@dataclass(frozen=True, slots=True)
class Pending:
    """A change that waits for a decision."""

    store: str
    name: str
    station: str
    from_channel: int
    to_channel: int
    clear_air_before: float
    clear_air_after: float
    sureness: str
    proposed_on: date
    state: str


@dataclass(frozen=True, slots=True)
class Late:
    """A change that is behind; `why` is overdue, no_night or unchecked."""

    store: str
    name: str
    station: str
    from_channel: int
    to_channel: int
    why: str
    since: date
    reason: str | None


@dataclass(frozen=True, slots=True)
class Astray:
    """A departure from the baseline that nobody approved."""

    store: str
    name: str
    subject: str
    field: str
    agreed: str | None
    found: str | None
    kind: str
    first_seen: date | None
    stood_days: int | None
    clear_air_lost: float | None


@dataclass(frozen=True, slots=True)
class Found:
    """A finding to settle."""

    store: str
    name: str
    severity: str
    rule: str
    subject: str
    detail: str
    facts: str | None
    title: str = ""


@dataclass(frozen=True, slots=True)
class Expiring:
    """An exception that runs out soon, or has (`over`)."""

    store: str
    rule: str
    subject: str
    reason: str
    approved_by: str
    until: date
    over: bool


@dataclass(frozen=True, slots=True)
class Due:
    """A deadline with the changes still open before it; `store` None: of the whole region."""

    by: date
    reason: str
    store: str | None
    open: int
    changes: int


@dataclass(frozen=True, slots=True)
class RegionContent:
    """Everything a region's review says."""

    region: str
    as_of: date
    stores: tuple[StoreLine, ...]
    steps: tuple[Step, ...]
    promises: tuple[Promise, ...]
    pending: tuple[Pending, ...]
    late: tuple[Late, ...]
    astray: tuple[Astray, ...]
    findings: tuple[Found, ...]
    anywhere: tuple[Found, ...]  # what concerns no one store
    expiring: tuple[Expiring, ...]
    deadlines: tuple[Due, ...]

    def count(self, progress: Progress) -> int:
        """Return how many changes of the region are so far."""
        return sum(store.count(progress) for store in self.stores)

    @property
    def changes(self) -> int:
        """All changes of the region."""
        return sum(store.changes for store in self.stores)

    @property
    def done(self) -> int:
        """Those carried out that did not fail."""
        return sum(store.done for store in self.stores)

    @property
    def country(self) -> str | None:
        """The country most of its stores are in, the first by its code where several are."""
        codes = sorted(store.country for store in self.stores if store.country)
        return max(sorted(set(codes)), key=codes.count, default=None)

    def clear_air(self, *, planned: bool) -> float | None:
        """Return clear air over the region, weighted by labels; None: not known."""
        known = [(s.clear_air_planned if planned else s.clear_air_now, s.weight)
                 for s in self.stores]  # fmt: skip
        told = [(air, weight) for air, weight in known if air is not None]
        total = sum(weight for _, weight in told)
        return sum(air * weight for air, weight in told) / total if total else None
