"""Agreed against found: what kind of departure each difference is. Pure; knows no database.

There is at most one row for a station, a field and a span of days. What stands at the end of the
span comes before what happened within it. Drift, deviation, replaced hardware, new, gone and
renamed are reported in every span until they are settled; an approved change in one span only, the
first to find it. What a baseline approved afterwards stays a departure of the span.
"""

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property

from pipeline.audit.follow import Agreed, Life, agreed_by_life, follow
from pipeline.audit.records import (
    FIELDS,
    STATION,
    ByOrder,
    Difference,
    DriftKind,
    Judged,
    Span,
    StoreFacts,
    Values,
    judge,
)
from pipeline.tables.audit import Baseline, Departure

_BASELINE, _EARLIER = "baseline", "earlier export"
_STANDING = frozenset(
    {
        DriftKind.DEVIATION, DriftKind.DRIFT, DriftKind.REPLACED, DriftKind.RENAMED, DriftKind.NEW,
        DriftKind.GONE, DriftKind.UNSEEN,
    }
)  # fmt: skip

_AS_AGREED = frozenset({DriftKind.REVERTED, DriftKind.BACK})


@dataclass(frozen=True, slots=True)
class StoreStory:
    """A store's stations followed through its exports, and what was agreed of each."""

    facts: StoreFacts
    days: tuple[date, ...]
    lives: tuple[Life, ...]
    agreed: tuple[Agreed, ...]


@dataclass(frozen=True, slots=True)
class Swallowed:
    """A departure as it stood when a baseline approved it, and the row that did."""

    departure: Departure
    approval: Baseline


@dataclass(frozen=True, slots=True)
class _View:
    """A store in one span: `before` and `upto` count its exports up to start and end.

    Nothing departs on days before `since`. `baseline`: an approver froze the store by then, so a
    station that the baseline does not name is one too many.
    """

    story: StoreStory
    span: Span
    before: int
    upto: int
    since: date
    baseline: bool


def story_of(facts: StoreFacts) -> StoreStory:
    """Return a store's facts in the order of what they speak of; once for all spans."""
    lives, agreed = agreed_by_life(follow(facts.snapshots), facts.agreements)
    return StoreStory(facts, tuple(s.day for s in facts.snapshots), lives, agreed)


def departures(story: StoreStory, span: Span) -> tuple[Departure, ...]:
    """Return what differs in a store over a span of days, by station and field."""
    return audited(story, span)[0]


def audited(story: StoreStory, span: Span) -> tuple[tuple[Departure, ...], tuple[Swallowed, ...]]:
    """Return the departures, and apart those that a baseline approved within the span."""
    swallowed: list[Swallowed] = []
    late: dict[tuple[str, str], Departure] = {}
    for approval in _approvals(story, span):
        for one in _on_the_eve(story, span, approval):
            settled = approval.get((one.subject, one.field))
            if settled is None or settled.value != one.found:
                continue
            late[one.subject, one.field] = _accepted(one, settled)
            if one.kind != DriftKind.APPROVED:
                swallowed.append(Swallowed(one, settled))
    rows = {(row.subject, row.field): row for row in _departing(story, span)}
    back = {at: row for at, row in rows.items() if row.kind in _AS_AGREED}
    every = {**back, **late, **{at: rows[at] for at in rows.keys() - back.keys()}}.values()
    return tuple(sorted(every, key=lambda row: (row.subject, FIELDS.index(row.field)))), tuple(
        swallowed
    )


_Approval = Mapping[tuple[str, str], Baseline]
"""A version approved by a person: its rows by station and field."""


def _approvals(story: StoreStory, span: Span) -> list[_Approval]:
    """Return what people approved within a span, version by version."""
    found: dict[tuple[date, int], dict[tuple[str, str], Baseline]] = {}
    for row in story.facts.agreements:
        if row.change is None and span.start < row.approved_on <= span.end:
            version = found.setdefault((row.approved_on, row.version), {})
            version[row.station, row.field] = row
    return [rows for _, rows in sorted(found.items())]


def _on_the_eve(story: StoreStory, span: Span, approval: _Approval) -> list[Departure]:
    """Return the departures up to the day of an approval, as if it had not been given.

    Where no export of the span is older than the approval, they are those that the last export
    before shows: what was ordered and found so was told then.
    """
    given = next(iter(approval.values()))
    until = given.approved_on, given.version
    earlier = [a for a in story.facts.agreements if (a.approved_on, a.version) < until]
    before = story_of(replace(story.facts, agreements=tuple(earlier)))
    eve, told = replace(span, end=given.approved_on), _STANDING - {DriftKind.UNSEEN}
    last = story.days[at - 1] if (at := bisect_right(story.days, eve.end)) else None
    if last is not None and last <= eve.start and earlier:
        eve = replace(eve, start=last - timedelta(days=1))
    else:
        told |= {DriftKind.APPROVED}
    return [row for row in _departing(before, eve) if row.kind in told]


def _accepted(one: Departure, approval: Baseline) -> Departure:
    """Return a departure as settled by the baseline that approved it; one ordered stays so."""
    if one.kind == DriftKind.APPROVED:
        return one
    return replace(
        one,
        kind=DriftKind.ACCEPTED.value,
        stood_days=None,
        approved_by=approval.approved_by,
        approved_on=approval.approved_on,
    )


def _departing(story: StoreStory, span: Span) -> list[Departure]:
    """Return what differs, apart from what a baseline approved within the span."""
    before = bisect_right(story.days, span.start)
    upto = bisect_right(story.days, span.end)
    agreed: Sequence[Agreed] = story.agreed
    first = min((a.approved_on for a in story.facts.agreements if whole(a)), default=None)
    if first is not None and first <= span.end:
        view = _View(story, span, before, upto, first, baseline=True)
    elif upto:
        since, agreed = _as_found(story, span, upto)
        view = _View(story, span, before, upto, since, baseline=False)
    else:
        return []
    stations = map(_StationSpan, [view] * len(agreed), story.lives, agreed)
    return [row for station in stations for row in station.rows()]


def _as_found(story: StoreStory, span: Span, upto: int) -> tuple[date, list[Agreed]]:
    """Return what each station is held against where the store has no baseline, and since when.

    That is what was agreed of it by a verified change; else what the last export before the span,
    or before the first run, says of it; else the first export that lists it. What differed before
    the first run differs from nothing agreed.
    """
    start = max(span.start, story.facts.first_run)
    reference = max(0, min(bisect_right(story.days, start), upto) - 1)
    since = max(span.start, story.days[reference])
    found = []
    for life, agreed in zip(story.lives, story.agreed, strict=True):
        at = next((n for n in range(reference, upto) if life.seen[n] is not None), None)
        row = None if at is None else life.seen[at]
        day = since if at == reference else story.days[at or 0]
        found.append(agreed.beside(day, row) if row else Agreed())
    return since, found


class _StationSpan:
    """One station in one span."""

    def __init__(self, view: _View, life: Life, agreed: Agreed) -> None:
        self.view, self.life, self.agreed = view, life, agreed
        self.days, self.seen = view.story.days, life.seen
        self.start, self.end = view.span.start, view.span.end
        self.before, self.upto = view.before, view.upto

    def rows(self) -> Iterator[Departure]:
        """Yield what differs."""
        if self.upto == self.before:
            yield from self._unseen()
        elif not self._quiet():
            yield from self._field(STATION)
            if self._last is not None and self._wanted[STATION] is not None:
                for place in range(STATION + 1, len(FIELDS)):
                    yield from self._field(place)

    @cached_property
    def _last(self) -> Values | None:
        return self.seen[self.upto - 1]

    @cached_property
    def _first(self) -> Values | None:
        return self.seen[self.before - 1] if self.before else None

    @cached_property
    def _wanted(self) -> Values:
        return self.agreed.on(self.end)

    @cached_property
    def _was(self) -> Values:
        return self.agreed.on(self.start)

    def _quiet(self) -> bool:
        """Tell whether all exports from the start to the end of the span say what was agreed."""
        if self.view.since > self.start or self.agreed.moved(self.start, self.end):
            return False
        told = self.seen[max(0, self.before - 1) : self.upto]
        return all(row == self._wanted for row in told)

    def _unseen(self) -> Iterator[Departure]:
        name = self._wanted[STATION]
        if name is not None:
            listed = [at for at in range(self.upto) if self.seen[at] is not None]
            last = self.days[listed[-1]] if listed else None
            yield self._row(name, STATION, Judged(DriftKind.UNSEEN), None, last)

    def _field(self, place: int) -> Iterator[Departure]:
        found, wanted = _value(self._last, place), self._wanted[place]
        if self._departs(self.end, place, self._last):
            judged = self._judged(self.end, place, self.upto - 1)
            if not self._told_before(place, judged.kind):
                name = _value(self._last, STATION) or self._wanted[STATION]
                yield self._row(name, place, judged, found, self._since(place))
        elif self._moved(place) and found == wanted:
            yield from self._agreed_to(place)
        elif self.before and self._departs(self.start, place, self._first):
            then = self._judged(self.start, place, self.before - 1)
            yield self._settled(replace(then, kind=DriftKind.REVERTED), place)
        else:
            yield from self._back(place)

    def _departs(self, day: date, place: int, row: Values | None) -> bool:
        """Tell whether a field departs; one not stated, or not agreed, cannot."""
        if day < self.view.since and self.agreed.row(day, place) is None:
            return False
        wanted, found = self.agreed.on(day)[place], _value(row, place)
        return wanted != found and (place == STATION or None not in {wanted, found})

    def _judged(self, day: date, place: int, at: int) -> Judged:
        """Return what a departure is on a day, as export number `at` shows it."""
        agreement = self.agreed.row(day, place)
        one = Difference(
            self.life.known_as(day), place, day, self.days[at], self.agreed.on(day), agreement,
            self.seen[at],
        )  # fmt: skip
        return judge(one, self.view.story.facts)

    def _agreed_to(self, place: int) -> Iterator[Departure]:
        """Yield the row of a change that was verified or undone; an approval is told apart."""
        agreement = self.agreed.row(self.end, place)
        if agreement is None or agreement.change is None:
            return
        if not self._told_before(place, DriftKind.APPROVED):
            own = (s for s in self.view.story.facts.changes if s.change.change == agreement.change)
            story = next(own, None)
            last = story.last(self.end) if story else None
            undone = last is not None and last.state == "backed out"
            by_order = ByOrder.UNDONE if undone else ByOrder.AS_ORDERED
            yield self._settled(Judged(DriftKind.APPROVED, by_order), place)

    def _moved(self, place: int) -> bool:
        """Tell whether what is agreed of a field moved within the span."""
        was = self._was
        if was[place] == self._wanted[place] or self.view.since > self.start:
            return False
        if place == STATION:
            return self.view.baseline
        return None not in {was[STATION], was[place]}

    def _told_before(self, place: int, kind: DriftKind) -> bool:
        """Tell whether an approved change was found, and so told, in an earlier span already."""
        if kind is not DriftKind.APPROVED or not self.before:
            return False
        if _value(self._first, place) != _value(self._last, place):
            return False
        if not self._departs(self.start, place, self._first):
            return False
        return self._judged(self.start, place, self.before - 1).kind is DriftKind.APPROVED

    def _since(self, place: int) -> date:
        """Return the day of the export from which on a field departs to the end."""
        at = self.upto - 1
        while at > 0:
            row = self.seen[at - 1]
            if row is None and place != STATION:
                break
            if not self._departs(self.days[at - 1], place, row):
                break
            at -= 1
        return self.days[at]

    def _settled(self, judged: Judged, place: int) -> Departure:
        """Return the row of what departs no more: ordered, or back at what is agreed."""
        found = _value(self._last, place)
        at = self.upto - 1
        while at > self.before and _value(self.seen[at - 1], place) == found:
            at -= 1
        reverted = judged.kind is DriftKind.REVERTED
        before = _value(self._first, place) if reverted else None
        judged = replace(judged, by_order=_put_back(judged)) if reverted else judged
        name = _value(self._last, STATION) or _value(self._first, STATION) or self._was[STATION]
        return self._row(name, place, judged, found, self.days[at], before)

    def _back(self, place: int) -> Iterator[Departure]:
        """Yield the row of a field that departed within the span and is back."""
        for at in range(self.before, self.upto):
            row, day = self.seen[at], self.days[at]
            if (row is not None or place == STATION) and self._departs(day, place, row):
                then = self._judged(day, place, at)
                judged = replace(then, kind=DriftKind.BACK, by_order=_put_back(then))
                value = _value(row, place)
                name = _value(self._last, STATION) or _value(row, STATION) or self._was[STATION]
                yield self._row(name, place, judged, _value(self._last, place), day, value)
                return

    def _row(  # noqa: PLR0913, PLR0917 - what a row says
        self,
        name: str | None,
        place: int,
        judged: Judged,
        found: str | None,
        first_seen: date | None,
        meanwhile: str | None = None,
    ) -> Departure:
        by, on, change = self._approval(place, judged)
        differently = judged.by_order is ByOrder.DIFFERENTLY and judged.kind is DriftKind.DRIFT
        ordered = judged.change if differently else None
        stands = judged.kind in _STANDING and first_seen is not None
        return Departure(
            quarter=self.view.span.quarter,
            store=self.view.story.facts.store,
            subject=name or "",
            field=FIELDS[place],
            kind=judged.kind.value,
            agreed=str(ordered.ordered(self.end)) if ordered else self._wanted[place],
            found=found,
            meanwhile=meanwhile,
            first_seen=first_seen,
            stood_days=(self.end - first_seen).days if stands and first_seen else None,
            approved_by=by,
            approved_on=on,
            change=change,
            exception=judged.exception.reason if judged.exception else None,
            basis=_BASELINE if self._is_agreed(place) else _EARLIER,
            clear_air_lost=None,  # known once the departures of all stores are
            by_order=judged.by_order.value if judged.by_order else None,
            cause=None,
            answer=None,  # what people answered is joined to them in the database
            answered_by=None,
            answered_on=None,
        )

    def _is_agreed(self, place: int) -> bool:
        return self.view.baseline or self.agreed.row(self.end, place) is not None

    def _approval(self, place: int, judged: Judged) -> tuple[str | None, date | None, str | None]:
        """Return who last approved what is there, on what day, and by which change."""
        row, told = self.agreed.row(self.end, place), self.view.story.facts.changes
        made = next((one for one in told if row and one.change.change == row.change), None)
        if (story := judged.change or (None if judged.exception else made)) is not None:
            return *(story.approved(self.end) or (None, None)), story.change.change
        by, on, change = (row.approved_by, row.approved_on, row.change) if row else (None,) * 3
        return (judged.exception.approved_by if judged.exception else by), on, change


def _put_back(then: Judged) -> ByOrder | None:
    """Return whether what is back now was ordered: what had been found as ordered is undone."""
    return ByOrder.UNDONE if then.by_order is ByOrder.AS_ORDERED else then.by_order


def whole(agreement: Baseline) -> bool:
    """Tell whether a row is of an approval of all a store has, not of some fields."""
    return agreement.change is None and agreement.field == FIELDS[STATION]


def _value(row: Values | None, place: int) -> str | None:
    return None if row is None else row[place]
