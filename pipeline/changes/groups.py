"""Changes that need one another are one decision; what an order or half a group is worth. Pure."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.changes.review import Draft
from pipeline.changes.states import ChangeState, Trigger
from pipeline.forms import SPLIT, says
from pipeline.records import OFF_AIR, OrderPrice, grouped
from pipeline.tables.changes import Change, ChangeEvent

Channels = Mapping[str, int]
OrderPricing = Callable[[str, Channels, Channels], OrderPrice | None]
"""Price the second choice of channels in a store against the first; who is named in neither stays
on its channel of today, and one on `OFF_AIR` is not installed. None where the store cannot be
priced."""

_DECIDED = frozenset({ChangeState.APPROVED, ChangeState.REFUSED, ChangeState.DEFERRED})
_LEAST = 0.0005  # points of clear air are told to one decimal


def unknown_price(_store: str, _before: Channels, _after: Channels) -> None:
    """Price nothing."""
    return


@dataclass(frozen=True)
class Decided:
    """The changes of one plan, and the last decision on each, if any."""

    changes: Sequence[Change]
    decisions: Mapping[str, ChangeEvent]

    @property
    def store(self) -> str:
        """The store of the plan."""
        return self.changes[0].store

    def finals(self) -> Mapping[str, Change]:
        """Return the last step of each station."""
        return {change.station: change for change in self.changes}

    def state(self, change: Change) -> str | None:
        """Return what was decided of a change; None: nothing yet."""
        found = self.decisions.get(change.change)
        return found.state if found else None

    def channels(self) -> dict[str, int]:
        """Return the channel of each station once all is done that is not refused."""
        stays = {c.station: c.from_channel or OFF_AIR for c in reversed(self.changes)}
        return {
            station: stays[station]
            if self.state(last) == ChangeState.REFUSED
            else self.ordered(last)
            for station, last in self.finals().items()
        }

    def ordered(self, change: Change) -> int:
        """Return the channel a change leads to: the one ordered, else the one proposed."""
        found = self.decisions.get(change.change)
        return (found and found.channel) or change.to_channel

    def groups(self) -> list[list[Change]]:
        """Return the changes that are one decision each, in the order of the plan."""
        found: dict[object, list[Change]] = {}
        for change in self.changes:
            key = change.station if change.group_no is None else change.group_no
            found.setdefault(key, []).append(change)
        return list(found.values())


def decided(changes: Sequence[Change], events: Sequence[ChangeEvent]) -> Decided:
    """Return the changes of a plan with the last decision on each; `events` are oldest first."""
    last = {e.change: e for e in events if e.state in _DECIDED and e.result is None}
    return Decided(sorted(changes, key=lambda change: change.position), last)


def parted(
    plan: Decided, drafts: Sequence[Draft], price: OrderPricing
) -> Iterator[tuple[Draft, str]]:
    """Yield the drafts that would decide a group in parts without saying so, and what to do."""
    asked = {draft.change.change: draft for draft in drafts}
    for group in plan.groups():
        mine = [asked[change.change] for change in group if change.change in asked]
        if not mine or len({plan.state(change) for change in group}) == 1:
            continue
        why = _on_the_way(plan, group) or _unsaid(plan, group, price)
        yield from ((draft, why) for draft in mine if why)


def _on_the_way(plan: Decided, group: Sequence[Change]) -> str | None:
    """Return why the steps of one station cannot be decided differently, if they are."""
    by_station = sorted(group, key=lambda change: change.station)
    for station, steps in grouped(by_station, "station").items():
        if len({plan.state(step) for step in steps}) > 1:
            return (
                f"{station} moves by way of a parking channel: decide the same for its "
                f"{len(steps)} steps"
            )
    return None


def _unsaid(plan: Decided, group: Sequence[Change], price: OrderPricing) -> str | None:
    """Return why a group cannot be decided in parts; None where a remark says it is meant."""
    decisions = [plan.decisions.get(change.change) for change in group]
    if any(event is not None and says(event.note, SPLIT) for event in decisions):
        return None
    changes = _listed(change.change for change in group)
    worth = _worth(_half(plan, group, price))
    return (
        f"{_named(group)} need one another: decide the same for {changes}, "
        f"or write '{SPLIT}' in the remark of one of them{f', which {worth}' if worth else ''}"
    )


def _half(plan: Decided, group: Sequence[Change], price: OrderPricing) -> OrderPrice | None:
    """Price a group of which only the approved part is made against the whole of it."""
    whole, half = plan.channels(), plan.channels()
    for change in reversed(group):
        whole[change.station] = plan.ordered(plan.finals()[change.station])
        if plan.state(change) != ChangeState.APPROVED:
            half[change.station] = change.from_channel or OFF_AIR
    return price(plan.store, whole, half)


def priced(
    plan: Decided, drafts: Sequence[Draft], price: OrderPricing
) -> tuple[list[Draft], list[tuple[str, str]]]:
    """Return drafts with the promise of what they order, and (change, sentence) of each price."""
    told: list[tuple[str, str]] = []
    out: list[Draft] = []
    for draft in drafts:
        event, change = draft.event, draft.change
        if draft.trigger is not Trigger.DECIDE or event.channel is None:
            out.append(draft)
            continue
        ordered = plan.channels()
        proposed = {**ordered, change.station: change.to_channel}
        worth = price(plan.store, proposed, ordered)
        air = None if worth is None else worth.air.get(change.station)
        kept = event
        if air is not None:
            value, low, high = air
            kept = replace(event, promised=value, promised_low=low, promised_high=high)
        out.append(replace(draft, event=kept))
        told.append((change.change, _order_told(change, kept, worth)))
    told += _halves_told(plan, {draft.change.change for draft in drafts}, price)
    return out, told


def _halves_told(plan: Decided, asked: set[str], price: OrderPricing) -> Iterator[tuple[str, str]]:
    for group in plan.groups():
        states = {plan.state(change) for change in group}
        mine = [change.change for change in group if change.change in asked]
        if mine and len(states) > 1 and ChangeState.APPROVED in states:
            worth = _worth(_half(plan, group, price)) or "is not priced: the store has no plan"
            yield mine[0], f"{_named(group)}: doing only part of what needs one another {worth}"


def _named(group: Sequence[Change]) -> str:
    return _listed(dict.fromkeys(change.station for change in group))


def _listed(names: Iterable[str]) -> str:
    """Return names as a text, such as 'A, B and C'."""
    *others, last = names
    return f"{', '.join(others)} and {last}" if others else last


def _order_told(change: Change, event: ChangeEvent, worth: OrderPrice | None) -> str:
    head = f"{change.station}: channel {event.channel} instead of {change.to_channel}"
    if worth is None:
        return f"{head} is not priced: the store has no plan"
    promise = "clear air there is not known"
    if event.promised is not None:
        promise = f"clear air {event.promised:.0%} promised"
        if event.promised_low is not None and event.promised_high is not None:
            promise += f" ({event.promised_low:.0%} to {event.promised_high:.0%})"
        if change.clear_air_after is not None:
            promise += f", {change.clear_air_after:.0%} as proposed"
    return f"{head} {_worth(worth)}; {promise}"


def _worth(worth: OrderPrice | None) -> str:
    if worth is None:
        return ""
    if abs(worth.gained) < _LEAST:
        return "leaves the store's clear air as it is"
    verb = "costs" if worth.gained < 0 else "gains"
    return f"{verb} {100 * abs(worth.gained):.1f} points of the store's clear air"
