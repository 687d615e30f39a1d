"""What one difference between agreed and found is: who ordered it, or that nobody did. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.audit.records import (
    ANY,
    CHANNEL,
    EUI64,
    FIELDS,
    HARDWARE,
    STATION,
    ByOrder,
    ChangeStory,
    DriftKind,
    OnFile,
    StoreFacts,
    Values,
    excepts,
)
from pipeline.tables.audit import Baseline

_TO_COME = frozenset({"approved", "scheduled"})
_COVERS = _TO_COME | {"implemented", "ineffective"}
_VERIFIED, _BACKED_OUT = "verified", "backed out"


@dataclass(frozen=True, slots=True)
class Difference:
    """A field of a station that departs from what is agreed, on a day.

    `names` are those the station went by up to that day, `wanted` what is agreed of all its fields,
    `agreement` the row about this one, `row` what was found of all of them (None: not listed) by
    the export of `seen_on`.
    """

    names: frozenset[str]
    place: int
    day: date
    seen_on: date
    wanted: Values
    agreement: Baseline | None
    row: Values | None

    @property
    def found(self) -> str | None:
        """What was found of the field."""
        return None if self.row is None else self.row[self.place]


@dataclass(frozen=True, slots=True)
class Judged:
    """What a departure is, whether it was ordered, and the change or exception behind it."""

    kind: DriftKind
    by_order: ByOrder | None = None
    change: ChangeStory | None = None
    exception: OnFile | None = None


def judge(one: Difference, facts: StoreFacts) -> Judged:
    """Return what a departure is: ordered, under an exception, done differently, or nobody's."""
    own = [story for story in facts.changes if story.change.station in one.names]
    if one.place == CHANNEL:
        change = _ordering(one, own)
        if change is not None:
            return Judged(DriftKind.APPROVED, ByOrder.AS_ORDERED, change=change)
    for exception in facts.exceptions:
        meant = exception.subject == ANY or exception.subject in one.names
        if meant and exception.holds(one.day) and excepts(exception.rule, FIELDS[one.place]):
            return Judged(DriftKind.DEVIATION, ByOrder.EXCEPTED, exception=exception)
    if one.place == CHANNEL:
        change = _done_differently(one, own)
        if change is not None:
            return Judged(DriftKind.DRIFT, ByOrder.DIFFERENTLY, change=change)
    return Judged(_unordered(one), ByOrder.NOBODY)


def _unordered(one: Difference) -> DriftKind:
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


def _ordering(one: Difference, own: Sequence[ChangeStory]) -> ChangeStory | None:
    """Return the change that ordered a channel which the baseline does not have yet.

    A verified change has moved the baseline and covers nothing more, unless it is a parking step
    whose plan is still under way. What was agreed anew since ends what was ordered before.
    """
    for story in reversed(own):
        last = story.last(one.day)
        if last is None or str(story.ordered(one.day)) != one.found:
            continue
        if not _holds(story, one.agreement, one.day):
            continue
        if last.state in _COVERS or (last.state == _VERIFIED and _parked(story, own, one.day)):
            return story
    return None


def _done_differently(one: Difference, own: Sequence[ChangeStory]) -> ChangeStory | None:
    """Return the order that was carried out on another channel than ordered, if one was.

    It is the one spoken of last, passing over those to come: the station is where it was before
    them, or no export is younger than their approval.
    """
    for story in sorted(own, key=lambda story: story.number(one.day), reverse=True):
        last = story.last(one.day)
        if last is None or last.state not in {*_COVERS, _VERIFIED, _BACKED_OUT}:
            continue
        if last.state in _TO_COME:
            ordered_on = story.ordered_on(one.day)
            before = one.found == str(story.change.from_channel)
            if before or ordered_on is None or one.seen_on <= ordered_on:
                continue
        holds = last.state in _COVERS and _holds(story, one.agreement, one.day)
        return story if holds and not story.change.parking else None
    return None


def _holds(story: ChangeStory, agreement: Baseline | None, day: date) -> bool:
    """Tell whether nothing was agreed after a change's last event."""
    last = story.last(day)
    return last is not None and (agreement is None or last.at.date() >= agreement.approved_on)


def _parked(story: ChangeStory, own: Sequence[ChangeStory], day: date) -> bool:
    """Tell whether a parking step's plan still has a step of the same station under way."""
    plan = story.change.plan
    others = [other.last(day) for other in own if other.change.plan == plan and other is not story]
    return story.change.parking and any(e is not None and e.state in _COVERS for e in others)
