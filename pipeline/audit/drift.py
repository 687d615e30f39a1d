"""Agreed against found: what kind of departure each difference is. Pure; knows no database.

There is at most one row for a station, a field and a span of days. What stands at the end of the
span comes before what happened within it. Drift, deviation, replaced hardware, new, gone and
renamed are reported in every span until they are settled; an approved change in one span only, the
first to find it.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

from pipeline.audit.calendar import Span
from pipeline.audit.follow import Agreed, Life, agreed_by_life, follow
from pipeline.audit.records import (
    ANY,
    CHANNEL,
    EUI64,
    FIELDS,
    HARDWARE,
    STATION,
    ChangeStory,
    DriftKind,
    OnFile,
    StoreFacts,
    Values,
    excepts,
)
from pipeline.tables.audit import Baseline, Departure

_BASELINE, _EARLIER = "baseline", "earlier export"
_COVERS = frozenset({"approved", "scheduled", "implemented", "ineffective"})
_CARRIED = frozenset({"implemented", "ineffective"})
_VERIFIED, _BACKED_OUT = "verified", "backed out"
_STANDING = frozenset(
    {
        DriftKind.DEVIATION, DriftKind.DRIFT, DriftKind.REPLACED, DriftKind.RENAMED, DriftKind.NEW,
        DriftKind.GONE, DriftKind.UNSEEN,
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class StoreStory:
    """A store's stations followed through its exports, and what was agreed of each."""

    facts: StoreFacts
    days: tuple[date, ...]
    lives: tuple[Life, ...]
    agreed: tuple[Agreed, ...]


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


@dataclass(frozen=True, slots=True)
class Difference:
    """A field of a station that departs from what is agreed, on a day.

    `names` are those the station went by up to that day, `wanted` what is agreed of all its fields,
    `agreement` the row about this one, `row` what was found of all of them (None: not listed).
    """

    names: frozenset[str]
    place: int
    day: date
    wanted: Values
    agreement: Baseline | None
    row: Values | None


@dataclass(frozen=True, slots=True)
class Judged:
    """What a departure is, and the change or exception that approves it."""

    kind: DriftKind
    change: ChangeStory | None = None
    exception: OnFile | None = None


def story_of(facts: StoreFacts) -> StoreStory:
    """Return a store's facts in the order of what they speak of; once for all spans."""
    lives, agreed = agreed_by_life(follow(facts.snapshots), facts.agreements)
    return StoreStory(facts, tuple(s.day for s in facts.snapshots), lives, agreed)


def departures(story: StoreStory, span: Span) -> tuple[Departure, ...]:
    """Return what differs in a store over a span of days, by station and field."""
    before = bisect_right(story.days, span.start)
    upto = bisect_right(story.days, span.end)
    agreed: Sequence[Agreed] = story.agreed
    frozen = [a.approved_on for a in story.facts.agreements if a.change is None]
    first = min(frozen, default=None)
    if first is not None and first <= span.end:
        view = _View(story, span, before, upto, first, baseline=True)
    elif upto:
        since, agreed = _as_found(story, span, upto)
        view = _View(story, span, before, upto, since, baseline=False)
    else:
        return ()
    stations = map(_StationSpan, [view] * len(agreed), story.lives, agreed)
    rows = [row for station in stations for row in station.rows()]
    return tuple(sorted(rows, key=lambda row: (row.subject, FIELDS.index(row.field))))


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
            judged = self._judged(self.end, place, self._last)
            if not self._told_before(place, judged.kind):
                name = _value(self._last, STATION) or self._wanted[STATION]
                yield self._row(name, place, judged, found, self._since(place))
        elif self._moved(place) and found == wanted:
            if not self._told_before(place, DriftKind.APPROVED):
                yield self._settled(DriftKind.APPROVED, place)
        elif self.before and self._departs(self.start, place, self._first):
            yield self._settled(DriftKind.REVERTED, place)
        else:
            yield from self._back(place)

    def _departs(self, day: date, place: int, row: Values | None) -> bool:
        """Tell whether a field departs; one not stated, or not agreed, cannot."""
        if day < self.view.since and self.agreed.row(day, place) is None:
            return False
        wanted, found = self.agreed.on(day)[place], _value(row, place)
        return wanted != found and (place == STATION or None not in {wanted, found})

    def _judged(self, day: date, place: int, row: Values | None) -> Judged:
        names, agreement = self.life.known_as(day), self.agreed.row(day, place)
        one = Difference(names, place, day, self.agreed.on(day), agreement, row)
        return judge(one, self.view.story.facts)

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
        return self._judged(self.start, place, self._first).kind is DriftKind.APPROVED

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

    def _settled(self, kind: DriftKind, place: int) -> Departure:
        """Return the row of what departs no more: approved, or back at what is agreed."""
        found = _value(self._last, place)
        at = self.upto - 1
        while at > self.before and _value(self.seen[at - 1], place) == found:
            at -= 1
        before = _value(self._first, place) if kind is DriftKind.REVERTED else None
        name = _value(self._last, STATION) or _value(self._first, STATION) or self._was[STATION]
        return self._row(name, place, Judged(kind), found, self.days[at], before)

    def _back(self, place: int) -> Iterator[Departure]:
        """Yield the row of a field that departed within the span and is back."""
        for at in range(self.before, self.upto):
            row, day = self.seen[at], self.days[at]
            if (row is not None or place == STATION) and self._departs(day, place, row):
                then = self._judged(day, place, row)
                judged = Judged(DriftKind.BACK, then.change, then.exception)
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
        ordered = self._ordered(place, judged)
        by, on, change = self._approval(place, replace(judged, change=judged.change or ordered))
        stands = judged.kind in _STANDING and first_seen is not None
        return Departure(
            quarter=self.view.span.quarter,
            store=self.view.story.facts.store,
            subject=name or "",
            field=FIELDS[place],
            kind=judged.kind.value,
            agreed=str(ordered.change.to_channel) if ordered else self._wanted[place],
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
        )

    def _is_agreed(self, place: int) -> bool:
        return self.view.baseline or self.agreed.row(self.end, place) is not None

    def _ordered(self, place: int, judged: Judged) -> ChangeStory | None:
        """Return the change carried out last, where drift leaves the station elsewhere.

        Its channel is the one to put the station on, not the channel of before.
        """
        if place != CHANNEL or judged.kind is not DriftKind.DRIFT:
            return None
        names, agreement = self.life.known_as(self.end), self.agreed.row(self.end, place)
        last = _last_said(names, self.view.story.facts.changes, self.end)
        if last is None or not _holds(last, agreement, self.end):
            return None
        event = last.last(self.end)
        return last if event and event.state in _CARRIED and not last.change.parking else None

    def _approval(self, place: int, judged: Judged) -> tuple[str | None, date | None, str | None]:
        """Return who last approved what is there, on what day, and by which change."""
        row, story = self.agreed.row(self.end, place), judged.change
        if story is not None:
            last = story.last(self.end)
            return story.approver(self.end), last.at.date() if last else None, story.change.change
        by, on, change = (row.approved_by, row.approved_on, row.change) if row else (None,) * 3
        return (judged.exception.approved_by if judged.exception else by), on, change


def judge(one: Difference, facts: StoreFacts) -> Judged:
    """Return what a departure is: approved by a change, by an exception, or of which kind."""
    if one.place == CHANNEL:
        change = _approving(one, facts.changes)
        if change is not None:
            return Judged(DriftKind.APPROVED, change=change)
    for exception in facts.exceptions:
        meant = exception.subject == ANY or exception.subject in one.names
        if meant and exception.holds(one.day) and excepts(exception.rule, FIELDS[one.place]):
            return Judged(DriftKind.DEVIATION, exception=exception)
    return Judged(_unapproved(one))


def _unapproved(one: Difference) -> DriftKind:
    wanted, row = one.wanted, one.row
    if one.place == STATION:
        if wanted[STATION] is None:
            return DriftKind.NEW
        return DriftKind.GONE if row is None else DriftKind.RENAMED
    if one.place == HARDWARE and row is not None:
        known = None not in {wanted[EUI64], row[EUI64]}
        replaced = known and wanted[EUI64] != row[EUI64]
        return DriftKind.REPLACED if replaced else DriftKind.DRIFT
    return DriftKind.REPLACED if one.place == EUI64 else DriftKind.DRIFT


def _approving(one: Difference, changes: Sequence[ChangeStory]) -> ChangeStory | None:
    """Return the change that approves a channel which the baseline does not have yet.

    A verified change has moved the baseline and approves nothing more, unless it is a parking step
    whose plan is still under way. What was agreed anew since ends what was approved before.
    """
    own = [story for story in changes if story.change.station in one.names]
    for story in reversed(own):
        last = story.last(one.day)
        if last is None or str(story.change.to_channel) != _value(one.row, CHANNEL):
            continue
        if not _holds(story, one.agreement, one.day):
            continue
        if last.state in _COVERS or (last.state == _VERIFIED and _parked(story, own, one.day)):
            return story
    return None


def _holds(story: ChangeStory, agreement: Baseline | None, day: date) -> bool:
    """Tell whether nothing was agreed after a change's last event."""
    last = story.last(day)
    return last is not None and (agreement is None or last.at.date() >= agreement.approved_on)


def _last_said(
    names: frozenset[str], changes: Sequence[ChangeStory], day: date
) -> ChangeStory | None:
    """Return the change of a station of which the register spoke last, of those carried out."""
    said = {*_CARRIED, _VERIFIED, _BACKED_OUT}
    own = [
        story
        for story in changes
        if story.change.station in names and (e := story.last(day)) is not None and e.state in said
    ]
    return max(own, key=lambda story: story.number(day), default=None)


def _parked(story: ChangeStory, own: Sequence[ChangeStory], day: date) -> bool:
    """Tell whether a parking step's plan still has a step of the same station under way."""
    plan = story.change.plan
    others = [other.last(day) for other in own if other.change.plan == plan and other is not story]
    return story.change.parking and any(e is not None and e.state in _COVERS for e in others)


def _value(row: Values | None, place: int) -> str | None:
    return None if row is None else row[place]
