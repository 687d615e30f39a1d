"""Stores whose lists of stations were mutated in known ways: what exports say, and the truth."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from random import Random
from typing import Any

from pipeline.match.lives import Device, ListedRow

BEFORE, AFTER = date(2026, 6, 30), date(2026, 9, 30)
MUTATIONS = (
    "renamed", "re-addressed", "replaced", "replaced and renamed", "names exchanged",
    "hardware exchanged", "addresses exchanged", "duplicated", "gone", "new", "hung elsewhere",
    "name passed on",
)  # fmt: skip
# What each mutation gives a place anew, or two places one from the other.
_ANEW: Mapping[str, tuple[str, ...]] = {
    "renamed": ("station",), "re-addressed": ("ip_address",), "replaced": ("eui64",),
    "replaced and renamed": ("eui64", "station"),
}  # fmt: skip
_EXCHANGED = {
    "names exchanged": "station", "hardware exchanged": "eui64",
    "addresses exchanged": "ip_address",
}  # fmt: skip
_TOLD = ("eui64", "ip_address", "place", "name", "mounted")


@dataclass(slots=True)
class Place:
    """A place in a store with what hangs there: its number is the truth about its life."""

    number: int
    row: ListedRow


@dataclass(frozen=True, slots=True)
class Inventory:
    """Two exports of a store, its network list, and whose life each key and device is."""

    store: str
    rows: tuple[ListedRow, ...]
    devices: tuple[Device, ...]
    before: dict[str, int]  # the place of each key of the first export
    after: dict[str, int]  # and of the second
    mutations: tuple[str, ...]

    def of(self, day: date) -> dict[str, ListedRow]:
        """Return the rows of a day by key."""
        return {row.station: row for row in self.rows if row.seen_on == day}


class _Store:
    """Draws one store and mutates it."""

    def __init__(self, seed: int) -> None:
        self.draw = Random(f"inventory {seed}")
        self.name = f"S{seed}"
        self.numbers = 0
        self.places: list[Place] = []

    def hardware(self) -> str:
        """Return a hardware address that nothing else in the store has."""
        self.numbers += 1
        return f"02005e{self.numbers:010x}"

    def place(self) -> Place:
        """Return a new place with a new station in it."""
        hardware, at = self.hardware(), self.numbers
        row = ListedRow(
            self.name, f"{self.draw.choice('KLMNOPQ')}{at:02}", BEFORE, f"aisle {at}",
            self.draw.choice(("ceiling", "wall")), f"0 / {at} / {at % 7}", hardware,
            f"10.0.0.{at}", 4840, None,
        )  # fmt: skip
        return Place(at, row)

    def mutate(self, kind: str) -> None:
        """Change one or two places, or what is said of them."""
        rest = [place for place in self.places if place.row.seen_on == BEFORE]
        if len(rest) < 2:
            return
        one, other = self.draw.sample(rest, 2)
        fresh = self.place()
        if kind in _ANEW:
            new = {name: getattr(fresh.row, name) for name in _ANEW[kind]}
            one.row = replace(one.row, seen_on=AFTER, **new)
        elif kind in _EXCHANGED:
            mine, theirs = (getattr(place.row, _EXCHANGED[kind]) for place in (one, other))
            one.row = replace(one.row, seen_on=AFTER, **{_EXCHANGED[kind]: theirs})
            other.row = replace(other.row, seen_on=AFTER, **{_EXCHANGED[kind]: mine})
        elif kind == "name passed on":  # the other's key goes to this one; that one gets a new one
            one.row = replace(one.row, seen_on=AFTER, station=other.row.station)
            other.row = replace(other.row, seen_on=AFTER, station=fresh.row.station)
        else:
            self._come_or_go(kind, one, fresh)

    def _come_or_go(self, kind: str, one: Place, fresh: Place) -> None:
        """Take a place off the list, or put one more on it."""
        if kind in {"gone", "hung elsewhere"}:
            self.places.remove(one)
        if kind == "duplicated":
            copy = replace(one.row, station=fresh.row.station, seen_on=AFTER)
            self.places.append(Place(one.number, copy))
        elif kind != "gone":
            hardware = (one if kind == "hung elsewhere" else fresh).row.eui64
            self.places.append(
                Place(fresh.number, replace(fresh.row, eui64=hardware, seen_on=AFTER))
            )


def inventory(seed: int) -> Inventory:
    """Return a store with one to three mutations; some exports do not tell every field."""
    store = _Store(seed)
    store.places = [store.place() for _ in range(store.draw.randint(3, 8))]
    silent = {field for field in _TOLD if store.draw.random() < 0.2}
    first = [(place.number, place.row) for place in store.places]
    mutations = store.draw.sample(MUTATIONS, store.draw.randint(1, 3))
    for kind in mutations:
        store.mutate(kind)
    then = [(place.number, replace(place.row, seen_on=AFTER)) for place in store.places]
    nothing: dict[str, Any] = dict.fromkeys(silent)
    rows = [
        replace(row, **nothing)
        for _, row in (*first, *sorted(then, key=lambda one: one[1].station))
    ]
    devices = [
        Device(store.name, row.ip_address or "", row.port, row.eui64, "radio", AFTER)
        for _, row in then
        if store.draw.random() < 0.9
    ]
    devices += [Device(store.name, "10.0.9.9", 4840, store.hardware(), "radio", AFTER)]
    return Inventory(
        store.name, tuple(rows), tuple(dict.fromkeys(devices)),
        {row.station: number for number, row in first},
        {row.station: number for number, row in then}, tuple(mutations),
    )  # fmt: skip
