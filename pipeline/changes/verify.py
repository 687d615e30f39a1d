"""Hold the exports against what was approved and promised, and say what became of each change."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from pipeline.changes.effect import (
    NOTHING,
    WORSE,
    Measured,
    Share,
    astray,
    awaited,
    follow,
    measured,
    said,
    share_of,
    verdict,
)
from pipeline.changes.register import append, this_run
from pipeline.changes.states import PROGRAM, ChangeState, Trigger, new_event
from pipeline.database import Database
from pipeline.fresh import choose
from pipeline.settings import Settings
from pipeline.tables.changes import ChangeCheck, ChangeEvent, ChangeLabels

DONE, DIFFERENTLY, NOT_DONE, BACKED_OUT = "done", "done differently", "not done", "backed out"
"""What came of the work on a change."""

_NOON = timedelta(hours=12)  # a night runs from noon to noon and has the date of its evening
_CARRIED = (ChangeState.IMPLEMENTED, ChangeState.INEFFECTIVE)


@dataclass(frozen=True, slots=True)
class Waiting:
    """A change that waits for an export, and what the latest exports say of its station."""

    change: str
    store: str
    station: str
    from_channel: int | None
    ordered_channel: int
    parking: bool
    state: str
    at: datetime  # of its last event
    due: datetime | None
    shown: bool  # its last event is from an export, not from a person
    channel_found: int | None
    found_before: int | None  # when it was judged last; None: never
    connected: bool | None  # None: the export does not say
    seen_on: date
    channels_before: Sequence[int | None]  # those its way leads over before this step; None: off
    channels_after: Sequence[int]  # those from this step on
    labels_before: int
    since: date  # readings of later days were taken after the change
    clear_air_before: float | None  # None: not known
    clear_air_before_low: float | None
    clear_air_before_high: float | None
    promised: float | None  # None: not known
    promised_low: float | None
    promised_high: float | None
    free_of_own: float  # share of time that own neighbours leave free
    sureness: str
    left_channel: int | None  # it was on this before the whole plan; None: not on the air
    free_of_own_before: float | None  # None: not known
    undone: int  # other changes of its plan that are not carried out
    planned: bool  # the export says that it is still to be installed
    pan_id: int | None  # ordered, of a first setting; None: none
    pan_id_found: int | None

    @property
    def first(self) -> bool:
        """Whether its station was set for the first time, so that there is no before."""
        return self.from_channel is None

    @property
    def put_right(self) -> bool:
        """Whether it was done differently when judged last, and is as ordered now."""
        found = self.found_before
        return (
            self.state == ChangeState.INEFFECTIVE
            and found is not None
            and found not in self.channels_after
            and self.channel_found in self.channels_after
        )

    @property
    def before(self) -> Share | None:
        """Clear air before the change."""
        return share_of(
            self.clear_air_before, self.clear_air_before_low, self.clear_air_before_high
        )

    @property
    def promise(self) -> Share | None:
        """Clear air promised."""
        return share_of(self.promised, self.promised_low, self.promised_high)


@dataclass(frozen=True, slots=True)
class Found:
    """What exports since a change show: the air by its scans, and its labels; None: none known."""

    scans: Measured
    labels: ChangeLabels | None

    @property
    def air(self) -> Share | None:
        """Clear air measured; None: not known."""
        return self.scans.air


@dataclass(frozen=True, slots=True)
class Judgement:
    """What follows for the change: the states it goes through, how the work went, and why."""

    states: tuple[ChangeState, ...]
    result: str | None
    note: str


@dataclass(frozen=True, slots=True)
class Yardstick:
    """What a change must reach, from the rules file."""

    shortfall: float  # clear air may be this far below the promise
    labels_back: float  # share of its labels that must be back at it; fewer are a failure
    labels_verified: float  # share that must be heard again before it is verified
    readings_minimum: float  # fewer say nothing yet
    silent_after_days: float  # so soon after the change no label is lost yet


@dataclass(frozen=True, slots=True)
class Check:
    """What was found of a change that waits for an export, and what follows from it.

    `state` is the change's state afterwards; where it is still open, `note` says what is missing.
    """

    change: str
    store: str
    station: str
    parking: bool
    ordered_channel: int
    channel_found: int | None
    state: str
    result: str | None
    note: str
    promised: float | None
    measured: float | None

    @property
    def said(self) -> str:
        """What was ordered and found, where it is not as ordered; else how the work went."""
        if self.result in {DIFFERENTLY, NOT_DONE, BACKED_OUT}:
            found = "" if self.channel_found is None else f", found on {self.channel_found}"
            ordered = f"ordered {self.ordered_channel}{found}"
            return f"{ordered}: {'undone' if self.result == BACKED_OUT else self.result}"
        return f"{self.state} ({self.result})" if self.result else self.state

    @property
    def follows(self) -> str:
        """What to do about work that is not as ordered; empty where there is nothing to do."""
        if self.result == DIFFERENTLY:
            ordered, found = self.ordered_channel, self.channel_found
            return f"move it to channel {ordered} on the next visit, or approve channel {found}"
        if self.result == NOT_DONE:
            return "the approval stands: schedule it anew, or take the approval back"
        if self.result == BACKED_OUT:
            return "nothing is owed; the next plan says whether the station should move at all"
        return ""


def verify(database: Database, settings: Settings) -> tuple[Check, ...]:
    """Judge every change that waits for an export; call it after survey and before propose.

    Only exports of a day after the change's last event count. A second run on the same exports
    finds nothing new.

    Returns:
        One check for each change there is something to say of, open ones with what is missing.
    """
    measure = yardstick(settings.limits)
    as_of = this_run(database).as_of
    labels = follow(database, settings.limits["interval_share"])
    waiting, air = _waiting(database, settings.limits, as_of)
    judged = [
        (one, found := Found(air.get(one.change, NOTHING), labels.get(one.change)),
         judge(one, found, measure))
        for one in waiting
    ]  # fmt: skip
    with database.transaction():
        _keep(database, judged, as_of)
    return tuple(_check(*each) for each in judged)


def not_as_ordered(database: Database, stores: Sequence[str]) -> Mapping[str, int]:
    """Return how many ordered changes of some stores ended otherwise, by how they did."""
    return database.mapping("changes", "not_as_ordered", {"stores": stores})


def not_put_right(database: Database, stores: Sequence[str]) -> tuple[Check, ...]:
    """Return the changes of some stores that stand otherwise than ordered, with no later order."""
    return tuple(database.records(Check, "changes", "not_put_right", {"stores": stores}))


def yardstick(limits: Mapping[str, float]) -> Yardstick:
    """Return the limits that a change is judged by."""
    return Yardstick(
        limits["clear_air_shortfall"],
        limits["labels_back_share"],
        limits["labels_verified_share"],
        limits["readings_minimum"],
        limits["silent_after_days"],
    )


def judge(one: Waiting, found: Found, by: Yardstick) -> Judgement:
    """Return what the exports mean for one change. Pure."""
    if one.channel_found is None and not one.planned:
        return Judgement((), None, f"the export of {one.seen_on} does not say its channel")
    if one.planned or one.channel_found in one.channels_before:
        return _not_done(one)
    first = () if one.state in _CARRIED else (ChangeState.IMPLEMENTED,)
    seen = f"the export of {one.seen_on} has it on channel {one.channel_found}"
    if one.channel_found not in one.channels_after:
        if one.state == ChangeState.INEFFECTIVE and one.channel_found == one.found_before:
            return Judgement((), DIFFERENTLY, f"still done differently: {seen}")
        note = f"{seen}, ordered was {one.ordered_channel}"
        return Judgement((*first, ChangeState.INEFFECTIVE), DIFFERENTLY, note)
    if one.put_right:
        first = (ChangeState.IMPLEMENTED,)
    if one.parking:
        return Judgement((*first, ChangeState.VERIFIED), DONE, f"{seen}; a step on the way")
    return _effect(one, found, by, first)


def _not_done(one: Waiting) -> Judgement:
    found = f"has it on channel {one.channel_found} as before"
    seen = f"the export of {one.seen_on} {'lists it as planned' if one.planned else found}"
    implemented = one.state == ChangeState.IMPLEMENTED
    if one.state == ChangeState.INEFFECTIVE or (implemented and one.shown):
        return Judgement((ChangeState.BACKED_OUT,), BACKED_OUT, seen)
    if implemented:
        return Judgement((ChangeState.APPROVED,), NOT_DONE, f"reported as done, but {seen}")
    night_over = one.due is not None and (one.due - _NOON).date() < one.seen_on
    if one.state == ChangeState.SCHEDULED and night_over:
        return Judgement((ChangeState.APPROVED,), NOT_DONE, f"its night is over, but {seen}")
    return Judgement((), None, f"not done yet: {seen}")


def _effect(one: Waiting, found: Found, by: Yardstick, first: tuple[ChangeState, ...]) -> Judgement:
    wrong, missing = "; ".join(_wrong(one, found, by)), "; ".join(_missing(one, found, by))
    if wrong:
        if one.state == ChangeState.INEFFECTIVE and not one.put_right:
            return Judgement((), DONE, wrong)
        return Judgement((*first, ChangeState.INEFFECTIVE), DONE, wrong)
    if missing:
        reported = one.state == ChangeState.IMPLEMENTED and not one.shown
        return Judgement((ChangeState.IMPLEMENTED,) if reported else first, DONE, missing)
    return Judgement(
        (*first, ChangeState.VERIFIED), DONE, f"{_air(one, found)}{said(found.labels)}"
    )


def _wrong(one: Waiting, found: Found, by: Yardstick) -> Iterator[str]:
    if one.connected is False:
        yield f"the station is not connected in the export of {one.seen_on}"
    if one.pan_id is not None and one.pan_id_found not in {one.pan_id, None}:
        yield f"its PAN ID is {one.pan_id_found:#06x}, ordered was {one.pan_id:#06x}"
    yield from astray(found.labels, by.labels_back, by.silent_after_days)
    if found.scans.readings >= by.readings_minimum and _short(one, found, by):
        rest = f", with {one.undone} other changes of the plan not carried out"
        yield f"{_air(one, found)}{rest if one.undone else ''}"


def _short(one: Waiting, found: Found, by: Yardstick) -> bool:
    """Tell whether the air is surely worse than before, or surely short of the promise."""
    if verdict(_gain(one, found)) == WORSE:
        return True
    short = None if found.air is None or one.promise is None else found.air.less(one.promise)
    return short is not None and short.high < -by.shortfall


def _gain(one: Waiting, found: Found) -> Share | None:
    """Return the gain over what the channel left has now, or had before if it was not scanned."""
    before = found.scans.left or one.before
    return None if found.air is None or before is None else found.air.less(before)


def _missing(one: Waiting, found: Found, by: Yardstick) -> Iterator[str]:
    yield from awaited(found.labels, one.labels_before, by.labels_back, by.labels_verified)
    if found.scans.readings < by.readings_minimum:
        yield (
            f"{found.scans.readings} readings since the change on channel {one.channel_found}, "
            f"{by.readings_minimum:.0f} needed: scan the store again"
        )


def _air(one: Waiting, found: Found) -> str:
    promised = "not known" if one.promised is None else f"{one.promised:.0%}"
    if found.air is None:
        return f"clear air not measured, promised {promised}"
    air = f"{found.air.value:.0%} ({found.air.low:.0%} to {found.air.high:.0%})"
    shown = "" if one.first else f": {verdict(_gain(one, found))}"
    return f"clear air {air} measured, {promised} promised{shown}"


def _waiting(
    database: Database, limits: Mapping[str, float], as_of: date
) -> tuple[list[Waiting], dict[str, Measured]]:
    """Return what the exports say of every change that waits for them, and what scans show."""
    stores = database.column("changes", "waiting_stores")
    if not stores:
        return [], {}
    choose(database, stores)
    waiting = database.records(Waiting, "changes", "waiting")
    return waiting, measured(database, waiting, limits, as_of)


_Judged = tuple[Waiting, Found, Judgement]


def _keep(database: Database, judged: Sequence[_Judged], as_of: date) -> None:
    """Keep the events of the judgements, and with the last one of each the facts behind it."""
    events: list[ChangeEvent] = []
    facts: list[tuple[int, Waiting, Found]] = []
    for one, found, judgement in judged:
        events.extend(_events(one, judgement, as_of))
        if judgement.states:
            facts.append((len(events) - 1, one, found))
    first = append(database, Trigger.VERIFY, events)
    database.put(ChangeCheck, [_facts(first + at, one, found, as_of) for at, one, found in facts])


def _events(one: Waiting, judgement: Judgement, as_of: date) -> Iterator[ChangeEvent]:
    """Yield the events of a judgement: carried out when exported, judged on the day of the run.

    Work reported on the morning of that day was reported before.
    """
    for state in judgement.states:
        day = one.seen_on if state is ChangeState.IMPLEMENTED else as_of
        at = max(one.at, datetime.combine(day, datetime.min.time()))
        yield new_event(one.change, state, at, PROGRAM, judgement.note, judgement.result)


def _facts(seq: int, one: Waiting, found: Found, as_of: date) -> ChangeCheck:
    gain, labels = _gain(one, found), found.labels
    told = None if labels is None or labels.told_on is None else labels
    return ChangeCheck(
        seq=seq,
        change=one.change,
        checked_on=as_of,
        seen_on=one.seen_on,
        channel_found=one.channel_found,
        connected=one.connected,
        labels_before=one.labels_before,
        labels_after=None if told is None else told.labels_back,
        clear_air_before=one.clear_air_before,
        promised=one.promised,
        measured=None if found.air is None else found.air.value,
        readings=found.scans.readings,
        sureness=one.sureness,
        measured_low=None if found.air is None else found.air.low,
        measured_high=None if found.air is None else found.air.high,
        gained=None if gain is None else gain.value,
        gained_low=None if gain is None else gain.low,
        gained_high=None if gain is None else gain.high,
        verdict=None if one.parking or one.first else verdict(gain),
        labels_due=None if told is None else told.labels_due,
        labels_listed=None if told is None else told.labels_listed,
        success_before=None if told is None else told.success_before,
        success_after=None if told is None else told.success_after,
        success_gained=None if told is None else told.success_gained,
        success_gained_low=None if told is None else told.success_gained_low,
        success_gained_high=None if told is None else told.success_gained_high,
    )


def _check(one: Waiting, found: Found, judgement: Judgement) -> Check:
    return Check(
        change=one.change,
        store=one.store,
        station=one.station,
        parking=one.parking,
        ordered_channel=one.ordered_channel,
        channel_found=one.channel_found,
        state=judgement.states[-1] if judgement.states else one.state,
        result=judgement.result,
        note=judgement.note,
        promised=one.promised,
        measured=None if found.air is None else found.air.value,
    )
