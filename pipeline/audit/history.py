"""One station's life, to be read without SQL: what it was set to, when, and who approved it."""

from bisect import bisect_right
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import IntEnum

from pipeline.audit.baseline import store_facts
from pipeline.audit.drift import StoreStory, story_of
from pipeline.audit.follow import Agreed, Life
from pipeline.audit.records import (
    CHANNEL,
    FIELDS,
    STATION,
    ByOrder,
    Difference,
    DriftKind,
    Judged,
    Values,
    judge,
)
from pipeline.database import Database
from pipeline.errors import UnknownSelection
from pipeline.tables.audit import ClearAirKept
from pipeline.tables.changes import ChangeEvent

_AS_AGREED = "as agreed"
_WENT = frozenset({"not done", "done differently", "accepted"})
"""Results that say what became of a change better than the state it is in then."""


class LineKind(IntEnum):
    """What a line tells of; on one day in this order."""

    REGISTER = 1  # an event of a change
    AGREED = 2  # a version of the baseline
    FOUND = 3  # an export shows another configuration
    MISSING = 4  # an export does not list it


@dataclass(frozen=True, slots=True)
class LifeLine:
    """One line of a station's life.

    `until` is the last day an export confirms what is said, None for what happens on a day. `by` is
    who approved or did it. `clear_air` is the last figure of a run for the channel of then, 0..1.
    """

    day: date
    until: date | None
    what: LineKind
    text: str
    by: str | None
    clear_air: float | None


def life(database: Database, store: str, station: str) -> tuple[LifeLine, ...]:
    """Return a station's life up to the day of the run, oldest first, under all its names.

    Raises:
        UnknownSelection: no export or baseline names the store, or the station in it.
    """
    as_of: date = database.value("audit", "as_of")
    stories = [story_of(facts) for facts in store_facts(database, as_of, store)]
    if not stories:
        raise UnknownSelection("store", store, database.column("audit", "known_stores"))
    number = _number(stories[0], station)
    names = stories[0].lives[number].known_as(date.max)
    kept = database.records(ClearAirKept, "audit", "air", {"store": store, "last": as_of})
    lines = [
        *_found(stories[0], number, [one for one in kept if one.station in names]),
        *_agreed(stories[0].agreed[number]),
        *_register(stories[0], names),
    ]
    return tuple(sorted(lines, key=lambda line: (line.day, line.what)))


def _number(story: StoreStory, station: str) -> int:
    """Return which life a name means: the one that took it last."""
    took = [
        (day, number)
        for number, one in enumerate(story.lives)
        for day, name in one.names
        if name == station
    ]
    if not took:
        known = sorted({name for one in story.lives for _, name in one.names})
        raise UnknownSelection(f"station of store {story.facts.store}", station, known)
    return max(took)[1]


def _found(story: StoreStory, number: int, air: Sequence[ClearAirKept]) -> Iterator[LifeLine]:
    """Yield every configuration met, with the first and the last day an export shows it."""
    one, agreed = story.lives[number], story.agreed[number]
    last: Values | None = None
    for start, end, row in _stretches(story, one):
        if row is None:
            yield LifeLine(start, end, LineKind.MISSING, "the exports do not list it", None, None)
            continue
        text = _configuration(row) if last is None else _difference(last, row)
        standing = _standing(story, number, row, end)
        yield LifeLine(
            start, end, LineKind.FOUND, f"{text}; {standing}",
            _approver(agreed, row, end) if standing == _AS_AGREED else None,
            _clear_air(air, row, end),
        )  # fmt: skip
        last = row


def _stretches(story: StoreStory, one: Life) -> Iterator[tuple[date, date, Values | None]]:
    """Yield first day, last day and row of every stretch of exports that say the same."""
    met = [at for at, row in enumerate(one.seen) if row is not None]
    if not met:
        return
    start = met[0]
    for at in range(met[0], len(one.seen)):
        after = at + 1
        if after == len(one.seen) or one.seen[after] != one.seen[start]:
            yield story.days[start], story.days[at], one.seen[start]
            start = after


def _configuration(row: Values) -> str:
    told = [f"{_words(name)} {value}" for name, value in zip(FIELDS, row, strict=True) if value]
    return ", ".join(told)


def _difference(before: Values, row: Values) -> str:
    changed = [
        f"{_words(name)} {old or 'not stated'} to {new}"
        for name, old, new in zip(FIELDS, before, row, strict=True)
        if old != new
    ]
    return ", ".join(changed) or "listed again, as before"


def _standing(story: StoreStory, number: int, row: Values, day: date) -> str:
    """Return whether what was found is what was agreed, and what each difference is."""
    one, agreed = story.lives[number], story.agreed[number]
    wanted = agreed.on(day)
    if not any(wanted) or (wanted[STATION] is None and agreed.row(day, STATION) is not None):
        return "nothing is agreed"
    told = []
    for place, (want, value) in enumerate(zip(wanted, row, strict=True)):
        if None not in {want, value} and want != value:
            agreement = agreed.row(day, place)
            differs = Difference(one.known_as(day), place, day, day, wanted, agreement, row)
            told.append(f"{_words(FIELDS[place])} is {_judged(judge(differs, story.facts), day)}")
    return f"not as agreed: {', '.join(told)}" if told else _AS_AGREED


def _judged(judged: Judged, day: date) -> str:
    kind = "changed" if judged.kind is DriftKind.DRIFT else judged.kind.value
    if judged.exception is not None:
        return (
            f"{kind} under an exception ({judged.exception.reason}; {judged.exception.approved_by})"
        )
    if judged.change is not None and judged.by_order is ByOrder.DIFFERENTLY:
        ordered = judged.change.ordered(day)
        return f"done differently: channel {ordered} was ordered ({judged.change.change.change})"
    if judged.change is not None:
        return f"an {judged.kind} ({judged.change.change.change})"
    return f"{kind}, approved by nobody"


def _approver(agreed: Agreed, row: Values, day: date) -> str | None:
    """Return who approved the channel found, where it is the agreed one."""
    agreement = agreed.row(day, CHANNEL)
    met = agreement is not None and agreement.value == row[CHANNEL]
    return agreement.approved_by if met and agreement else None


def _clear_air(air: Sequence[ClearAirKept], row: Values, day: date) -> float | None:
    """Return the last figure noted by a day for the channel of then."""
    own = [one for one in air if one.station == row[STATION]]
    at = bisect_right(own, day, key=lambda one: one.as_of)
    return own[at - 1].clear_air if at and str(own[at - 1].channel) == row[CHANNEL] else None


def _agreed(agreed: Agreed) -> Iterator[LifeLine]:
    """Yield every version of the baseline that speaks of the station."""
    for day, rows in zip(agreed.days, agreed.rows, strict=True):
        for version in sorted({row.version for row in rows if row and row.approved_on == day}):
            own = [row for row in rows if row is not None and row.version == version]
            values = ", ".join(f"{_words(row.field)} {row.value or 'none'}" for row in own)
            text = f"baseline version {version} ({own[0].reason}): {values}"
            yield LifeLine(day, None, LineKind.AGREED, text, own[0].approved_by, None)


def _register(story: StoreStory, names: Collection[str]) -> Iterator[LifeLine]:
    """Yield what became of every change of the station."""
    events = [
        (one.change, event)
        for one in story.facts.changes
        if one.change.station in names
        for event in one.events
    ]
    ordered: dict[str, int] = {}
    for change, event in sorted(events, key=lambda e: (e[0].station, e[1].at, e[1].seq)):
        if event.state == "approved":
            ordered[change.change] = event.channel or change.to_channel
        to = ordered.get(change.change, change.to_channel)
        before = change.from_channel
        channels = f"first setting, channel {to}" if before is None else f"channel {before} to {to}"
        step = f"change {change.change}, {channels}{' (parking)' if change.parking else ''}"
        text = f"{step}: {_became(event)}{f' ({event.note})' if event.note else ''}"
        yield LifeLine(event.at.date(), None, LineKind.REGISTER, text, event.by, None)


def _became(event: ChangeEvent) -> str:
    if event.result in _WENT:
        return event.result
    if event.state == "approved" and event.channel is not None:
        return "approved with another channel than proposed"
    return event.state


def _words(field: str) -> str:
    return {"tx_power_dbm": "power dBm", "eui64": "hardware address"}.get(
        field, field.replace("_", " ")
    )
