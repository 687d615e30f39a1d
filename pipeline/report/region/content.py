"""What a region's review says: its records, and the answers made from them."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from pipeline.wording import Wording

ANYWHERE = "*"  # stands for no one store, or no one region
_NAMED = 3  # stores; more are counted
_DUE_SOON_DAYS = 45
_STOP, _FIX = "stop", "fix"


class ChangeProgress(StrEnum):
    """How far a change has come, the furthest first."""

    VERIFIED = "verified"
    IMPLEMENTED = "implemented"
    FAILED = "failed"
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
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class StoreLine:
    """A store in the review; clear air is 0..1, weighted by labels, None if not known."""

    region: str
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

    def count(self, progress: ChangeProgress) -> int:
        """Return how many of its changes have come so far."""
        found: int = getattr(self, progress.value)
        return found

    @property
    def changes(self) -> int:
        """All its changes: done, failed and to come."""
        return sum(self.count(progress) for progress in ChangeProgress)

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
        return StoreStanding.DONE if self.done == self.changes else StoreStanding.UNDER_WAY


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
    promised: float
    measured: float


@dataclass(frozen=True, slots=True)
class PendingChange:
    """A change that waits for a decision."""

    region: str
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
class LateChange:
    """A change that is late; `why` is overdue, no_night or unchecked."""

    region: str
    store: str
    name: str
    station: str
    from_channel: int
    to_channel: int
    why: str
    since: date
    reason: str | None


@dataclass(frozen=True, slots=True)
class UnapprovedDeparture:
    """A departure from the baseline that nobody approved."""

    region: str
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
class RegionContent:
    """Everything a region's review says."""

    region: str
    as_of: date
    stores: tuple[StoreLine, ...]
    steps: tuple[DayOfChanges, ...]
    promises: tuple[MeasuredChange, ...]
    pending: tuple[PendingChange, ...]
    late: tuple[LateChange, ...]
    astray: tuple[UnapprovedDeparture, ...]
    findings: tuple[FindingLine, ...]
    anywhere: tuple[FindingLine, ...]  # of no one store
    expiring: tuple[ExpiringException, ...]
    deadlines: tuple[OpenDeadline, ...]

    def count(self, progress: ChangeProgress) -> int:
        """Return how many changes of the region have come so far."""
        return sum(store.count(progress) for store in self.stores)

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
        """The country of most of its stores, the first by code among equals."""
        codes = sorted(store.country for store in self.stores if store.country)
        return max(sorted(set(codes)), key=codes.count, default=None)

    def clear_air(self, *, planned: bool) -> float | None:
        """Return clear air over the region, weighted by labels, or None if not known."""
        known = [
            (air, s.weight)
            for s in self.stores
            if (air := s.clear_air_planned if planned else s.clear_air_now) is not None
        ]
        total = sum(weight for _, weight in known)
        return sum(air * weight for air, weight in known) / total if total else None


@dataclass(frozen=True, slots=True)
class AnswerLine:
    """A line of an answer: how many, of what, where; a `grave` one is marked."""

    count: str
    text: str
    where: str = ""
    grave: bool = False


def decisions(content: RegionContent, words: Wording) -> list[AnswerLine]:
    """Return what the manager must decide."""
    lines = []
    waiting = [p for p in content.pending if p.state == "proposed"]
    deferred = [p.store for p in content.pending if p.state != "proposed"]
    if waiting:
        oldest = words.day(min(p.proposed_on for p in waiting))
        stores = [p.store for p in waiting]
        lines.append(_counted(words, "review.decide_changes", stores, day=oldest))
    if deferred:
        lines.append(_counted(words, "review.decide_deferred", deferred))
    if unput := [s.store for s in content.stores for _ in range(s.unput)]:
        lines.append(_counted(words, "review.decide_unput", unput))
    if content.astray:
        stations = len({(a.store, a.subject) for a in content.astray})
        stores = [a.store for a in content.astray]
        lines.append(_counted(words, "review.decide_astray", stores, count=stations))
    for over in (True, False):
        found = [e for e in content.expiring if e.over is over]
        if found:
            key = "review.exceptions_over" if over else "review.exceptions_ending"
            first = words.day(min(e.until for e in found))
            lines.append(_counted(words, key, [e.store for e in found], day=first))
    return lines


def delays(content: RegionContent, words: Wording) -> list[AnswerLine]:
    """Return what is late: deadlines, missed nights, no nights, unchecked work."""
    lines = [
        _deadline(due, content.as_of, words)
        for due in content.deadlines
        if (due.by - content.as_of).days <= _DUE_SOON_DAYS
    ]
    for why, grave in (("overdue", True), ("no_night", False), ("unchecked", False)):
        late = [one for one in content.late if one.why == why]
        if late:
            days = words.number((content.as_of - min(one.since for one in late)).days)
            stores = [one.store for one in late]
            lines.append(_counted(words, f"late.{why}", stores, grave=grave, days=days))
    return lines


def _deadline(due: OpenDeadline, as_of: date, words: Wording) -> AnswerLine:
    left = (due.by - as_of).days
    key = "review.deadline_passed" if left < 0 else "review.deadline"
    text = words.counted(
        key, due.open, all=words.number(due.changes), day=words.day(due.by), reason=due.reason
    )
    return AnswerLine(words.number(due.open), text, due.store or "", grave=left < 0)


def risks(content: RegionContent, words: Wording) -> list[AnswerLine]:
    """Return what is at risk: grave findings, failed changes, stores without a plan."""
    lines = list(_findings(content.findings, _STOP, words))
    if failed := [s.store for s in content.stores for _ in range(s.failed)]:
        lines.append(_counted(words, "review.risk_failed", failed, grave=True))
    if unplanned := [s.store for s in content.stores if s.unplanned is not None]:
        lines.append(_counted(words, "review.risk_unplanned", unplanned))
    lines += _findings(content.findings, _FIX, words)
    for rule, title in dict.fromkeys((f.rule, f.title) for f in content.anywhere):
        subjects = [f.subject for f in content.anywhere if f.rule == rule]
        text = words("review.risk_anywhere", title=title)
        lines.append(AnswerLine(words.number(len(subjects)), text, _named(words, subjects)))
    return lines


def _findings(
    findings: Iterable[FindingLine], severity: str, words: Wording
) -> Iterator[AnswerLine]:
    """Yield the findings of a severity by rule, the most first."""
    meant = [f for f in findings if f.severity == severity]
    for rule in _most_first([f.rule for f in meant]):
        found = [f for f in meant if f.rule == rule]
        text = words("review.risk_finding", title=found[0].title, n=words(f"severity.{severity}"))
        where = _named(words, _most_first([f.store for f in found]))
        yield AnswerLine(words.number(len(found)), text, where, grave=severity == _STOP)


def _counted(
    words: Wording,
    key: str,
    stores: Sequence[str],
    *,
    count: int | None = None,
    grave: bool = False,
    **values: str,
) -> AnswerLine:
    """Return a line that counts something in stores, each named once for every case."""
    n = len(stores) if count is None else count
    where = _named(words, _most_first(stores))
    return AnswerLine(words.number(n), words.counted(key, n, **values), where, grave)


def _most_first(stores: Iterable[str]) -> list[str]:
    ranked = sorted(Counter(stores).items(), key=lambda pair: (-pair[1], pair[0]))
    return [store for store, _ in ranked]


def _named(words: Wording, names: Sequence[str]) -> str:
    """Return the first names, and how many more there are."""
    shown = ", ".join(names[:_NAMED])
    rest = len(names) - _NAMED
    return shown if rest <= 0 else words("review.and_more", names=shown, n=words.number(rest))


def verdict(content: RegionContent, words: Wording) -> str:
    """Return the review in a few sentences: how far, whether it helps, what waits."""
    parts = [_how_far(content, words)]
    if content.promises:
        means = {key: words.percent(mean) for key, mean in promise_means(content).items()}
        parts.append(words.counted("review.helping", len(content.promises), **means))
    waiting = len(content.pending) + content.count(ChangeProgress.UNPUT)
    if waiting:
        parts.append(words.counted("review.waiting", waiting))
    return " ".join(parts)


def _how_far(content: RegionContent, words: Wording) -> str:
    if not content.changes:
        return words("review.nothing_to_change")
    stores = sum(bool(s.done) for s in content.stores)
    concerned = sum(bool(s.changes) for s in content.stores)
    if not content.done:
        return words.counted("review.not_begun", content.changes, stores=words.number(concerned))
    return words.counted(
        "review.how_far", content.done, all=words.number(content.changes),
        stores=words.number(stores), concerned=words.number(concerned),
    )  # fmt: skip


def promise_means(content: RegionContent) -> Mapping[str, float]:
    """Return mean clear air of the measured changes: was, promised and measured."""
    count = len(content.promises)
    return {
        key: sum(getattr(one, key) for one in content.promises) / count
        for key in ("was", "promised", "measured")
    }
