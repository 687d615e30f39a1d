"""Whether a change did what it promised, from what the exports after it say. Pure."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from pipeline.changes.states import State

DONE, DIFFERENTLY, NOT_DONE, BACKED_OUT = "done", "done differently", "not done", "backed out"
"""What came of the work on a change."""


@dataclass(frozen=True, slots=True)
class Found:
    """A change that waits, and what the latest exports say of its station."""

    change: str
    store: str
    station: str
    from_channel: int
    to_channel: int
    parking: bool
    state: State
    due: datetime | None
    shown: bool  # its last event is from an export, not from a person
    channel_found: int | None
    connected: bool | None  # None: the export does not say
    seen_on: date
    channels_before: tuple[int, ...]  # those its way leads over before this step
    channels_after: tuple[int, ...]  # those after it, its own first
    labels_before: int
    labels_after: int | None  # None: no labels export since
    clear_air_before: float
    promised: float
    measured: float | None
    readings: int
    sureness: str
    undone: int  # other changes of its plan that are not carried out


@dataclass(frozen=True, slots=True)
class Verdict:
    """What follows for the change: the states it goes through, how the work went, and why."""

    states: tuple[State, ...]
    result: str | None
    note: str


@dataclass(frozen=True, slots=True)
class Yardstick:
    """What a change must reach, from the rules file."""

    shortfall: float  # clear air may be this far below the promise
    labels_back: float  # share of its labels that must be back
    readings_minimum: float  # fewer say nothing yet


def yardstick(limits: Mapping[str, float]) -> Yardstick:
    """Return the limits that a change is judged by."""
    return Yardstick(
        limits["clear_air_shortfall"], limits["labels_back_share"], limits["readings_minimum"]
    )


def outcome(found: Found) -> str:
    """Return how the work went by the channel alone: done, not done or done differently."""
    if found.channel_found in found.channels_after:
        return DONE
    return NOT_DONE if found.channel_found in found.channels_before else DIFFERENTLY


def judge(found: Found, by: Yardstick) -> Verdict:
    """Return what the exports mean for one change."""
    went = outcome(found)
    if went == NOT_DONE:
        return _not_done(found)
    first = () if found.state in {State.IMPLEMENTED, State.INEFFECTIVE} else (State.IMPLEMENTED,)
    seen = f"the export of {found.seen_on} has it on channel {found.channel_found}"
    if went == DIFFERENTLY:
        if found.state is State.INEFFECTIVE:
            return Verdict((), went, f"still done differently: {seen}")
        note = f"{seen}, approved was {found.to_channel}"
        return Verdict((*first, State.INEFFECTIVE), went, note)
    if found.parking:
        return Verdict((*first, State.VERIFIED), went, f"{seen}; a step on the way")
    return _effect(found, by, first)


def _not_done(found: Found) -> Verdict:
    seen = f"the export of {found.seen_on} has it on channel {found.channel_found} as before"
    if found.state is State.INEFFECTIVE or (found.state is State.IMPLEMENTED and found.shown):
        return Verdict((State.BACKED_OUT,), BACKED_OUT, seen)
    if found.state is State.IMPLEMENTED:
        return Verdict((State.APPROVED,), NOT_DONE, f"reported as done, but {seen}")
    if found.state is State.SCHEDULED and found.due and found.due.date() < found.seen_on:
        return Verdict((State.APPROVED,), NOT_DONE, f"its night is over, but {seen}")
    return Verdict((), None, f"not done yet: {seen}")


def _effect(found: Found, by: Yardstick, first: tuple[State, ...]) -> Verdict:
    wrong, missing = list(_wrong(found, by)), list(_missing(found, by))
    if wrong:
        if found.state is State.INEFFECTIVE:
            return Verdict((), DONE, "; ".join(wrong))
        return Verdict((*first, State.INEFFECTIVE), DONE, "; ".join(wrong))
    if missing:
        return Verdict(first, DONE, "; ".join(missing))
    return Verdict((*first, State.VERIFIED), DONE, _sound(found))


def _wrong(found: Found, by: Yardstick) -> Iterator[str]:
    if found.connected is False:
        yield f"the station is not connected in the export of {found.seen_on}"
    if found.labels_after is not None and not _labels_back(found, by):
        yield f"{found.labels_after} labels are back of {found.labels_before}"
    if _enough(found, by) and (found.measured or 0.0) < found.promised - by.shortfall:
        rest = f", with {found.undone} other changes of the plan not carried out"
        yield f"{_air(found)}{rest if found.undone else ''}"


def _missing(found: Found, by: Yardstick) -> Iterator[str]:
    if found.labels_before and found.labels_after is None:
        yield "no labels export since the change"
    if not _enough(found, by):
        yield (
            f"{found.readings} readings since the change on channel {found.channel_found}, "
            f"{by.readings_minimum:.0f} needed: scan the store again"
        )


def _sound(found: Found) -> str:
    labels = "" if found.labels_after is None else f", {found.labels_after} labels served"
    return f"{_air(found)}{labels}"


def _air(found: Found) -> str:
    return f"clear air {found.measured:.0%} measured, {found.promised:.0%} promised"


def _labels_back(found: Found, by: Yardstick) -> bool:
    return (found.labels_after or 0) >= by.labels_back * found.labels_before


def _enough(found: Found, by: Yardstick) -> bool:
    return found.measured is not None and found.readings >= by.readings_minimum
