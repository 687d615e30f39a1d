"""Records of the audit step, quarters of the calendar, and what a difference is. Pure.

A difference between agreed and found was ordered by somebody, or nobody did. Days are those of the
store: snapshot days and register times are on its own calendar and clock, so a quarter begins and
ends at its own midnight. Moments in UTC are brought there before they are counted.
"""

import csv
import re
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from functools import cache
from pathlib import Path
from types import MappingProxyType

from pipeline.errors import QuarterUnreadable
from pipeline.tables.audit import Baseline
from pipeline.tables.changes import Change, ChangeEvent

_MONTHS = 3
_QUARTERS = 4
_FORM = re.compile(r"(\d{4})-Q([1-4])")


@dataclass(frozen=True, slots=True, order=True)
class Quarter:
    """A quarter of the calendar; `number` is 1 to 4."""

    year: int
    number: int

    @property
    def name(self) -> str:
        """Its name, such as 2026-Q3."""
        return f"{self.year:04}-Q{self.number}"

    @property
    def first(self) -> date:
        """Its first day."""
        return date(self.year, _MONTHS * (self.number - 1) + 1, 1)

    @property
    def last(self) -> date:
        """Its last day."""
        return self.next.first - timedelta(days=1)

    @property
    def next(self) -> "Quarter":
        """The quarter after it."""
        year, number = divmod(self.number, _QUARTERS)
        return Quarter(self.year + year, number + 1)


@dataclass(frozen=True, slots=True)
class Span:
    """The days after `start` up to and including `end`; `quarter` names it, if it is one's."""

    start: date
    end: date
    quarter: str = ""


def quarter_of(day: date) -> Quarter:
    """Return the quarter a day lies in."""
    return Quarter(day.year, (day.month - 1) // _MONTHS + 1)


def read_quarter(text: str) -> Quarter:
    """Return the quarter of a name such as 2026-Q3.

    Raises:
        QuarterUnreadable: the text is no such name.
    """
    found = _FORM.fullmatch(text.strip().upper())
    if found is None:
        raise QuarterUnreadable(text)
    return Quarter(int(found[1]), int(found[2]))


def quarters_to(first: date, last: Quarter) -> Iterator[Quarter]:
    """Yield the quarters from that of a day up to and including the last."""
    quarter = quarter_of(first)
    while quarter <= last:
        yield quarter
        quarter = quarter.next


def span_of(quarter: Quarter, as_of: date) -> Span:
    """Return the days of a quarter, but none after the day of the run."""
    return Span(quarter.first - timedelta(days=1), min(quarter.last, as_of), quarter.name)


# The configuration that is agreed and looked for again, field by field, as texts. `station` is the
# station's own name in the exports: present under that name, or absent (None).
FIELDS = (
    "station", "channel", "pan_id", "tx_power_dbm", "eui64", "ip_address", "port", "firmware",
    "hardware", "name", "mounted", "place",
)  # fmt: skip
STATION, CHANNEL, EUI64, HARDWARE = (
    FIELDS.index(name) for name in ("station", "channel", "eui64", "hardware")
)
Values = tuple[str | None, ...]  # one for each of FIELDS; None: absent, or not stated
NOTHING: Values = (None,) * len(FIELDS)

ANY = "*"
_DRIFT_RULE = "drift"
_RULES = Path(__file__).resolve().parent / "exception_fields.csv"


class DriftKind(StrEnum):
    """What a difference between agreed and found comes to."""

    APPROVED = "approved change"
    ACCEPTED = "approved afterwards"  # by a baseline, once it had been found
    DEVIATION = "deviation"  # an exception on file approves it
    DRIFT = "drift"  # nobody approved it
    REPLACED = "replaced hardware"
    RENAMED = "renamed"  # other name, same hardware address
    NEW = "new"
    GONE = "gone"
    UNSEEN = "unseen"  # no export of the store speaks of the span
    REVERTED = "reverted"  # departed before, back at what is agreed
    BACK = "changed and changed back"  # within the span


class ByOrder(StrEnum):
    """Whether what was found was ordered; nothing can be said of a station no export speaks of."""

    AS_ORDERED = "as ordered"
    DIFFERENTLY = "done differently"  # neither the channel ordered nor that of before
    UNDONE = "undone"  # ordered, found, and put back
    NOBODY = "not ordered"
    EXCEPTED = "excepted"


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One stations export of a store: what it says of each station, by name.

    `decided` is what people said of stations of it: the name each had before, None for a new one.
    """

    day: date
    stations: Mapping[str, Values]
    decided: Mapping[str, str | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ChangeStory:
    """A change of the register, with what became of it, oldest first."""

    change: Change
    events: tuple[ChangeEvent, ...]
    given_on: Mapping[int, date] = field(default_factory=dict)
    """When approvals that a new plan repeats were given, by the number of the event."""

    def last(self, day: date) -> ChangeEvent | None:
        """Return the last event up to and including a day."""
        at = bisect_right(self.events, day, key=lambda event: event.at.date())
        return self.events[at - 1] if at else None

    def number(self, day: date) -> int:
        """Return the number of its last event up to and including a day; 0 before the first."""
        last = self.last(day)
        return last.seq if last else 0

    def approval(self, day: date) -> ChangeEvent | None:
        """Return its last approval by a person up to and including a day."""
        return next((e for e in reversed(self.events) if _approves(e) and e.at.date() <= day), None)

    def approved(self, day: date) -> tuple[str, date] | None:
        """Return who approved it last, up to a day, and on what day."""
        last = self.approval(day)
        return (last.by, self.given_on.get(last.seq, last.at.date())) if last else None

    def ordered(self, day: date) -> int:
        """Return the channel that was ordered by a day; the one proposed if no other was."""
        approval = self.approval(day)
        return (approval and approval.channel) or self.change.to_channel

    def ordered_on(self, day: date) -> date | None:
        """Return the day of its last approval up to and including a day."""
        approval = self.approval(day)
        return approval.at.date() if approval else None


@dataclass(frozen=True, slots=True)
class OnFile:
    """An exception and the days it was on file: from `since` until before `gone`."""

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

    `first_run` is the day of the first run: until then nobody could agree to anything.
    """

    store: str
    snapshots: tuple[Snapshot, ...]
    agreements: tuple[Baseline, ...]
    changes: tuple[ChangeStory, ...]
    exceptions: tuple[OnFile, ...]
    first_run: date


def _approves(event: ChangeEvent) -> bool:
    """Tell a decision from a change that is to be done still, since it was not done."""
    return event.state == "approved" and event.result is None


@cache
def _fields_of_rules() -> Mapping[str, str]:
    with _RULES.open(encoding="utf-8", newline="") as lines:
        return MappingProxyType({row["rule"]: row["field"] for row in csv.DictReader(lines)})


def excepts(rule: str, field: str) -> bool:
    """Tell whether an exception to a rule approves a departure in a field.

    It does where the rule judges that field's own value. An exception to `drift`, or to
    `drift-channel` and the like, is one to the baseline itself.
    """
    if rule == _DRIFT_RULE:
        return True
    if rule.startswith(f"{_DRIFT_RULE}-"):
        return rule == f"{_DRIFT_RULE}-{field.replace('_', '-')}"
    return _fields_of_rules().get(rule) == field


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
