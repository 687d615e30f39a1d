"""One list of what is there and not listed, and listed and never seen, and its answers; pure."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from pipeline.match.keys import OpenKey
from pipeline.match.lives import (
    LIKE_KEY,
    MOVED,
    SAME_ADDRESS,
    SAME_HARDWARE,
    Device,
    Followed,
    FoundDevice,
    ListedRow,
    Question,
    find_devices,
    follow_list,
)
from pipeline.tables.cells import hardware_address, network_address
from pipeline.tables.taken import InventoryAnswer, InventoryItem

ADD, MATCH, IGNORE = "add", "match", "ignore"
UNLISTED, NETWORK, UNSEEN = "unlisted", "network", "unseen"
RENAMED, CHANGED, TWICE = "renamed", "changed", "twice"


@dataclass(frozen=True, slots=True)
class Unlisted:
    """A station that exports name and no list has, as `keys` judged it."""

    written: str
    sources: tuple[str, ...]
    judged: OpenKey


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """A station of another store with a hardware address."""

    store: str
    eui64: str
    other: str
    station: str


@dataclass(frozen=True, slots=True)
class StockFacts:
    """What is known of one store: the rows of its lists in order of days, and all beside them.

    `unseen` are the stations of the latest list that nothing but it names; `answers` hold the last
    of each item.
    """

    store: str
    rows: Sequence[ListedRow] = ()
    devices: Sequence[Device] = ()
    unlisted: Sequence[Unlisted] = ()
    unseen: Collection[str] = ()
    elsewhere: Sequence[Elsewhere] = ()
    answers: Sequence[InventoryAnswer] = ()


@dataclass(frozen=True, slots=True)
class StoreStock:
    """The list of one store, and the keys that go on under others: those of before, by key."""

    items: tuple[InventoryItem, ...]
    links: Mapping[str, str]


def take_stock(facts: StockFacts, as_of: date) -> StoreStock:
    """Return a store's list as it stands on a day."""
    followed = follow_list(facts.rows)
    last = max((row.seen_on for row in facts.rows), default=None)
    now = {row.station: row for row in facts.rows if row.seen_on == last}
    found = list(find_devices(facts.devices, [*now.values(), *_added(facts, now)]))
    answers = {answer.item: answer for answer in facts.answers}
    items = [_decided(item, answers.get(item.item), as_of) for item in _items(facts, followed,
             found)]  # fmt: skip
    told = {item.item for item in items}
    items += [
        _decided(_of_answer(answer), answer, as_of)
        for answer in facts.answers
        if answer.item not in told and answer.decision == ADD and answer.station not in now
        and answer.what in {UNLISTED, NETWORK}
    ]  # fmt: skip
    return StoreStock(tuple(items), {**followed.links, **_links(items, now)})


def _added(facts: StockFacts, now: Mapping[str, ListedRow]) -> Iterator[ListedRow]:
    """Yield the stations that were added by decision and that the list does not have yet."""
    for answer in facts.answers:
        if answer.decision == ADD and answer.station is not None and answer.station not in now:
            yield ListedRow(
                facts.store, answer.station, answer.on, None, None, None, answer.eui64,
                answer.ip_address, answer.port, None,
            )  # fmt: skip


def _links(items: Sequence[InventoryItem], now: Mapping[str, ListedRow]) -> Mapping[str, str]:
    """Return the keys that a decision made another's: gone ones, and stations listed twice."""
    found: dict[str, str] = {}
    for item in items:
        if item.decision == MATCH and item.station is not None:
            if item.what == RENAMED and item.station not in now:
                found[item.station] = item.subject
            elif item.what == TWICE and item.station in now:
                found[item.subject] = item.station
    return found


def _items(
    facts: StockFacts, followed: Followed, found: Sequence[FoundDevice]
) -> Iterator[InventoryItem]:
    devices = {one.device.ip_address: one for one in found if one.station is None}
    devices |= {h: one for one in found if one.station is None and (h := one.device.hardware)}
    merged: set[Device] = set()
    for stranger in facts.unlisted:
        key = hardware_address(stranger.written) or network_address(stranger.written) or ""
        same = devices.get(key)
        merged |= {same.device} if same else set()
        yield _unlisted(facts.store, stranger, same)
    for one in found:
        if one.station is None and one.device not in merged:
            yield _network(facts, one)
    for question in followed.questions:
        yield _question(facts, question)
    # Of a station that may be another one it is not known yet what names it.
    seen = {one.station for one in found} | {asked.row.station for asked in followed.questions}
    for station in sorted(facts.unseen):
        if station not in seen:
            row = next(row for row in reversed(facts.rows) if row.station == station)
            yield _item(UNSEEN, facts.store, station, row=row)


def _item(  # noqa: PLR0913 - what there is to say of an item
    what: str,
    store: str,
    subject: str,
    *,
    row: ListedRow | None = None,
    device: Device | None = None,
    sources: Sequence[str] = (),
    likely: Sequence[str] = (),
    why: str | None = None,
    name: str = "",
) -> InventoryItem:
    told: ListedRow | Device | None = row or device
    return InventoryItem(
        item=name or f"{store} {what} {subject}",
        store=store,
        what=what,
        subject=subject,
        ip_address=told.ip_address if told else None,
        port=told.port if told else None,
        eui64=told.eui64 if told else None,
        device=device.device if device else row.hardware if row else None,
        sources=", ".join(sources) or None,
        seen_on=told.seen_on if told else None,
        likely=", ".join(likely) or None,
        why=why if likely else None,
        decision=None,
        station=None,
        channel=None,
        decided_by=None,
        decided_on=None,
        until=None,
        note=None,
        open=True,
    )


def _unlisted(store: str, stranger: Unlisted, same: FoundDevice | None) -> InventoryItem:
    written, judged = stranger.written, stranger.judged
    why = SAME_ADDRESS if network_address(written) else LIKE_KEY
    why = SAME_HARDWARE if hardware_address(written) else why
    sources = (*stranger.sources, NETWORK) if same else stranger.sources
    return _item(
        UNLISTED, store, written, device=same.device if same else None, sources=sources,
        likely=judged.likely or (same.likely if same else ()), why=why,
    )  # fmt: skip


def _network(facts: StockFacts, one: FoundDevice) -> InventoryItem:
    likely, why = one.likely, one.why
    if why != SAME_HARDWARE and (away := _elsewhere(facts, one.device.eui64)):
        likely, why = away, MOVED
    return _item(
        NETWORK, facts.store, one.device.subject, device=one.device, sources=(NETWORK,),
        likely=likely, why=why,
    )  # fmt: skip


def _elsewhere(facts: StockFacts, eui64: str | None) -> tuple[str, ...]:
    return tuple(f"{o.other} {o.station}" for o in facts.elsewhere if eui64 and o.eui64 == eui64)


def _question(facts: StockFacts, asked: Question) -> InventoryItem:
    day = "" if asked.what == TWICE else f" {asked.row.seen_on}"
    name = f"{facts.store} {asked.what} {asked.row.station}{day}"
    return _item(
        asked.what, facts.store, asked.row.station, row=asked.row, likely=asked.likely,
        why=asked.why, name=name,
    )  # fmt: skip


def _of_answer(answer: InventoryAnswer) -> InventoryItem:
    """Return the item of an answer that nothing but the answer tells of any more."""
    item = _item(answer.what, answer.store, answer.subject, name=answer.item)
    return replace(
        item, ip_address=answer.ip_address, port=answer.port, eui64=answer.eui64,
        device=answer.device, seen_on=answer.on,
    )  # fmt: skip


def _decided(item: InventoryItem, answer: InventoryAnswer | None, as_of: date) -> InventoryItem:
    if answer is None:
        return item
    return replace(
        item,
        decision=answer.decision,
        station=answer.station,
        channel=answer.channel,
        decided_by=answer.by,
        decided_on=answer.on,
        until=answer.until,
        note=answer.note or None,
        open=answer.until is not None and as_of > answer.until,
    )
