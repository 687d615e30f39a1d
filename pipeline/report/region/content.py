"""What a review says, of a region or of the chain: its records, and what follows from them."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Protocol

from pipeline.effect.compare import UpdateCost
from pipeline.effect.gather import RolloutProof
from pipeline.records import Inputs, Seal
from pipeline.report.quarter.content import ToAnswer
from pipeline.report.region.wanted import StoreToScan, ToAsk, ToOrder
from pipeline.wording import Wording, wording

ANYWHERE = "*"  # stands for no one store, or no one region; as a region's name for the chain


class ChangeProgress(StrEnum):
    """How far a change has come, the furthest first."""

    VERIFIED = "verified"
    IMPLEMENTED = "implemented"
    FAILED = "failed"
    DIFFERENTLY = "differently"
    UNDONE = "undone"
    SCHEDULED = "scheduled"
    APPROVED = "approved"
    TO_DECIDE = "to_decide"
    UNPUT = "unput"


class StoreStanding(StrEnum):
    """Where a store stands."""

    UNPLANNED = "unplanned"
    TO_DECIDE = "to_decide"
    UNDER_WAY = "under_way"
    DONE = "done"
    UNDONE = "undone"
    NOTHING = "nothing"


class OfRegion(Protocol):
    """A row of a region."""

    @property
    def region(self) -> str:
        """The region's name, or `ANYWHERE`."""
        ...


class OfStore(OfRegion, Protocol):
    """A row of a store."""

    @property
    def store(self) -> str:
        """The store's key, or `ANYWHERE`."""
        ...


@dataclass(frozen=True, slots=True)
class StoreLine:
    """A store in the review; clear air is 0..1, weighted by labels, None if not known."""

    region: str
    store: str
    name: str
    country: str | None
    last_seen_on: date
    stations: int
    to_install: int  # beside these
    labels: int
    clear_air_now: float | None
    clear_air_planned: float | None
    weight: int
    verified: int
    implemented: int
    failed: int
    differently: int
    undone: int
    to_put_right: int  # of those done differently, those without a later order
    scheduled: int
    approved: int
    to_decide: int
    unput: int
    overdue: int
    next_work: datetime | None
    laid_out: date | None  # its first night in the schedule, firm or not
    stop: int
    fix: int
    astray: int
    unanswered: int  # stations of these that nobody has said are to be put back
    unagreed: int
    unplanned: str | None
    to_answer: int  # entries of what is there and not listed, or the other way round

    def count(self, progress: ChangeProgress) -> int:
        """Return how many of its changes have come so far."""
        found: int = getattr(self, progress.value)
        return found

    @property
    def changes(self) -> int:
        """All its changes: done, failed, undone and to come."""
        return sum(self.count(progress) for progress in ChangeProgress)

    @property
    def open(self) -> int:
        """Its changes still to be carried out."""
        return self.scheduled + self.approved + self.to_decide + self.unput

    @property
    def done(self) -> int:
        """Its changes that were carried out and did not fail."""
        return self.verified + self.implemented

    @property
    def standing(self) -> StoreStanding:
        """Where it stands."""
        if self.unplanned is not None:
            return StoreStanding.UNPLANNED
        if not self.changes:
            return StoreStanding.NOTHING
        if self.to_decide or self.unput:
            return StoreStanding.TO_DECIDE
        if self.undone == self.changes:
            return StoreStanding.UNDONE
        settled = self.done + self.undone == self.changes
        return StoreStanding.DONE if settled else StoreStanding.UNDER_WAY


@dataclass(frozen=True, slots=True)
class DayOfChanges:
    """Changes carried out on a day, or scheduled for it."""

    region: str
    day: date
    done: bool
    count: int


@dataclass(frozen=True, slots=True)
class MeasuredChange:
    """A change whose effect was measured; clear air is 0..1."""

    region: str
    store: str
    station: str
    was: float
    promised: float | None  # None: nothing was promised of the channel ordered
    measured: float
    gained_low: float | None
    gained_high: float | None


@dataclass(frozen=True, slots=True)
class PendingChange:
    """A change that waits for a decision."""

    region: str
    store: str
    name: str
    station: str
    from_channel: int | None
    to_channel: int
    clear_air_before: float | None
    clear_air_after: float | None
    sureness: str
    proposed_on: date
    state: str
    first: bool  # it settles what must not go on


@dataclass(frozen=True, slots=True)
class LateChange:
    """A change that is late; `why` is overdue, no_night, labels or unchecked."""

    region: str
    store: str
    name: str
    station: str
    from_channel: int | None
    to_channel: int
    why: str
    since: date
    reason: str | None


@dataclass(frozen=True, slots=True)
class ChangeOtherwise:
    """A change that was carried out and does not stand as ordered; `closed` says how."""

    region: str
    store: str
    name: str
    station: str
    from_channel: int | None
    ordered_channel: int
    channel_found: int | None
    closed: str
    closed_on: date
    decided_by: str | None
    done_by: str | None


@dataclass(frozen=True, slots=True)
class Astray(ToAnswer):
    """What somebody must answer in a region, as the quarter's audit tells it."""

    region: str


@dataclass(frozen=True, slots=True)
class FindingLine:
    """A finding to settle."""

    region: str
    store: str
    name: str
    severity: str
    rule: str
    subject: str
    detail: str
    facts: str | None
    title: str


@dataclass(frozen=True, slots=True)
class ExpiringException:
    """An exception that ends soon, or has ended (`over`)."""

    region: str
    store: str
    rule: str
    subject: str
    reason: str
    approved_by: str
    until: date
    over: bool


@dataclass(frozen=True, slots=True)
class OpenDeadline:
    """A deadline and the changes still open; `store` None: it holds for the whole region."""

    by: date
    reason: str
    store: str | None
    open: int
    changes: int


@dataclass(frozen=True, slots=True)
class JoinedStores:
    """A store planned together with another, which may be of another region (None: of the same).

    `pairs` are those of their stations in earshot through the wall, of which some share a channel.
    """

    region: str
    store: str
    other: str
    other_region: str | None
    pairs: int
    shared_now: int
    shared_planned: int


@dataclass(frozen=True, slots=True)
class RegionInputs:
    """The files that told of the stores of a region, as `Inputs`."""

    region: str
    files: int
    digest: str


@dataclass(frozen=True, slots=True)
class RegionSeal:
    """The seal of the register that took in the last entry of any store of a region."""

    region: str
    size: int
    root: str
    as_of: date


@dataclass(frozen=True, slots=True)
class RegionContent:
    """Everything a review says; that of the chain has its regions, with no more than their rows."""

    region: str
    as_of: date
    stores: tuple[StoreLine, ...]
    steps: tuple[DayOfChanges, ...]
    promises: tuple[MeasuredChange, ...]
    pending: tuple[PendingChange, ...]
    late: tuple[LateChange, ...]
    otherwise: tuple[ChangeOtherwise, ...]
    astray: tuple[Astray, ...]
    findings: tuple[FindingLine, ...]
    anywhere: tuple[FindingLine, ...]  # of no one store
    expiring: tuple[ExpiringException, ...]
    deadlines: tuple[OpenDeadline, ...]
    seal: Seal | None
    inputs: Inputs | None = None
    joined: tuple[JoinedStores, ...] = ()
    orders: tuple[ToOrder, ...] = ()
    requests: tuple[ToAsk, ...] = ()
    proof: RolloutProof | None = None
    chain: RolloutProof | None = None
    costs: tuple[UpdateCost, ...] = ()  # of updates, over the chain; empty: too few data
    offer: float | None = None  # what time lost to own neighbours weighs; None: as in the plan
    approvers: tuple[str, ...] = ()
    parts: tuple["RegionContent", ...] = ()  # of the chain
    scans: tuple[StoreToScan, ...] = ()  # the store worth most per visit first

    def named(self, words: Wording) -> str:
        """Return what it is about: the region, or the chain."""
        return words("chain.name") if self.parts else self.region

    def titled(self, words: Wording) -> str:
        """Return the title of the review."""
        return words("chain.title" if self.parts else "review.title", region=self.region)

    def place(self, row: "OfStore") -> str:
        """Return whose a row is: the store, or in the chain's review its region."""
        return row.region if self.parts and row.region != ANYWHERE else row.store

    def count(self, progress: ChangeProgress) -> int:
        """Return how many changes of the region have come so far."""
        return sum(store.count(progress) for store in self.stores)

    @property
    def needed(self) -> tuple[ToOrder | ToAsk, ...]:
        """What to order, and whom to ask."""
        orders = sorted(self.orders, key=lambda one: (-one.rescued, one.store, one.rank))
        return (*orders, *sorted(self.requests, key=lambda one: (-one.plan_gives, one.store)))

    @property
    def changes(self) -> int:
        """All changes of the region."""
        return sum(store.changes for store in self.stores)

    @property
    def done(self) -> int:
        """The changes that were carried out and did not fail."""
        return sum(store.done for store in self.stores)

    @property
    def country(self) -> str | None:
        """The country of most of its stores, the first by code among equals.

        None for a chain of several languages.
        """
        codes = sorted(store.country for store in self.stores if store.country)
        if self.parts and len({wording(code).language for code in codes}) > 1:
            return None
        return max(sorted(set(codes)), key=codes.count, default=None)

    def clear_air(self, *, planned: bool) -> float | None:
        """Return clear air over the region, weighted by labels, or None if not known.

        As planned, a store without a plan stays as it is.
        """
        if planned and all(s.clear_air_planned is None for s in self.stores):
            return None
        known = [
            (air, s.weight)
            for s in self.stores
            if (air := _or(s.clear_air_planned, s.clear_air_now) if planned else s.clear_air_now)
            is not None
        ]
        total = sum(weight for _, weight in known)
        return sum(air * weight for air, weight in known) / total if total else None


def _or(value: float | None, other: float | None) -> float | None:
    return other if value is None else value
