"""Beside across the wall: who is heard there, and what the two stores owe to one another."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline.reasons import Reason, from_json
from pipeline.report.kit.column import Look, SheetColumn, Value, worded
from pipeline.wording import Wording

_NAMED = 4  # stations of a side; more are counted


@dataclass(frozen=True, slots=True)
class NextDoor:
    """A station of the store and one next door that can disturb one another.

    `hit` is the chance of it, 0..1, the greater of both ways; `in_earshot`: it is as much as the
    rules ask. The channels are those of the station next door, `facts` those of its plan's reason,
    `unplanned` why its store has no plan.
    """

    store: str
    station: str
    neighbour_store: str
    store_name: str
    neighbour: str
    heard_dbm: float
    source: str
    hit: float
    in_earshot: bool
    own_now: int | None
    own_planned: int | None
    channel_now: int | None
    channel_planned: int | None
    facts: str
    unplanned: str | None

    @property
    def called(self) -> str:
        """The station next door by its own key and its store's."""
        return f"{self.neighbour} ({self.neighbour_store})"


@dataclass(frozen=True, slots=True)
class Owed:
    """A station planned otherwise because of another next door, in its own store or the other.

    `channel_alone` is its channel in the plan of its own store alone (`of_store`); `store` is the
    one whose report says so.
    """

    store: str
    of_store: str
    station: str
    channel_now: int | None
    channel_planned: int | None
    channel_alone: int
    neighbour_store: str | None
    neighbour: str | None
    heard_dbm: float | None


@dataclass(frozen=True, slots=True)
class JoinedStore:
    """A store that another is planned together with."""

    store: str
    other: str
    name: str


@dataclass(frozen=True, slots=True)
class Beside:
    """What there is to say of the stores next door; nothing of a store without any."""

    stores: tuple[JoinedStore, ...] = ()
    rows: tuple[NextDoor, ...] = ()
    owed: tuple[Owed, ...] = ()


NOBODY = Beside()


def next_door_lines(found: Beside, words: Wording) -> Iterator[str]:
    """Yield what a store is to know of next door: who is heard, who moves for whom, who stays."""
    if not found.stores:
        return
    near = [row for row in found.rows if row.in_earshot]
    stores = ", ".join(f"{one.other} {one.name}" for one in found.stores)
    if near:
        own, there = {row.station for row in near}, {row.called for row in near}
        named = {"own": _named(sorted(own), words), "there": _named(sorted(there), words)}
        yield words("next_door.heard", stores=stores, **named)
    else:
        yield words("next_door.far", stores=stores)
    for one in found.owed:
        yield _owed(one, words)
    told = {row.called: row for row in near if row.channel_now is not None}
    for called, row in sorted(told.items()):
        if why := _kept(row, words):
            channel = words.number(row.channel_planned or row.channel_now)
            yield words("next_door.stays", station=called, channel=channel, why=why)


def _named(names: Sequence[str], words: Wording) -> str:
    shown = ", ".join(names[:_NAMED])
    rest = len(names) - _NAMED
    return shown if rest <= 0 else f"{shown}, {words.counted('held.more', rest)}"


def _owed(one: Owed, words: Wording) -> str:
    """Return why a station is planned otherwise than it would be alone."""
    home, other = one.of_store == one.store, one.neighbour_store
    moves = one.channel_now != one.channel_planned
    key = f"next_door.{'moves' if moves else 'keeps'}_{'for' if one.neighbour else 'room'}"
    # The stations of the store that reads it go by their own keys.
    neighbour = one.neighbour if other == one.store else f"{one.neighbour} ({other})"
    return words(
        key,
        station=one.station if home else f"{one.station} ({one.of_store})",
        planned=words.channel(one.channel_planned),
        alone=words.channel(one.channel_alone),
        neighbour=neighbour,
        heard=words.number(one.heard_dbm),
    )


def _kept(row: NextDoor, words: Wording) -> str:
    """Return what keeps a station next door where it is, for the plan of this store to go by."""
    if row.unplanned is not None:
        return words("next_door.unplanned")
    reason: Reason | None = from_json(row.facts) if row.facts else None
    if reason is None or reason.moves:
        return ""
    bond, refused = reason.bond, reason.refused
    if bond is not None:
        named = {"by": bond.by or "", "day": words.day(bond.since)}
        return words(f"next_door.kept_{bond.why}", **named)
    if refused is not None:
        return words("next_door.kept_refused", by=refused.by or "", day=words.day(refused.on))
    return ""


def _stays(row: NextDoor, words: Wording) -> Value:
    return _kept(row, words) or None


NEXT_DOOR: tuple[SheetColumn[NextDoor], ...] = (
    SheetColumn("station", Look.LONG, "column.station", 30),
    SheetColumn("own_now", Look.COUNT, "column.channel"),
    SheetColumn("own_planned", Look.COUNT, "column.planned"),
    SheetColumn("neighbour_store", Look.LONG, "next_door.column_store", 20),
    SheetColumn("store_name", Look.LONG, "next_door.column_name", 30),
    SheetColumn("neighbour", Look.LONG, "next_door.column_station", 30),
    SheetColumn("channel_now", Look.COUNT, "next_door.column_channel"),
    SheetColumn("channel_planned", Look.COUNT, "next_door.column_planned"),
    SheetColumn("heard_dbm", Look.LEVEL, "next_door.column_level"),
    SheetColumn(worded("next_door", "source"), Look.TEXT, "next_door.column_source"),
    SheetColumn("hit", Look.PERCENT, "next_door.column_hit"),
    SheetColumn(_stays, Look.LONG, "next_door.column_stays", 40),
)
