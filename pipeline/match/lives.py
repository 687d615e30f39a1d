"""Follow the stations of a store's list from export to export: who is whom, and what to ask; pure.

A station is known by its key. One that is new on the list goes on with the life of one that is gone
only where its hardware address can be no other's and nothing says that it hangs elsewhere; every
other likeness is a question. A key that has other hardware than before stays the station it was (it
was replaced), unless that hardware, or all else that is told of it, was another station's.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date
from itertools import groupby
from operator import attrgetter

from pipeline.match.keys import nearest
from pipeline.tables.cells import hardware_address

SAME_ADDRESS, SAME_HARDWARE = "same address", "same hardware address"
REPLACED, MOVED = "replaced hardware", "moved store"
SAME_PLACE, SAME_NAME, LIKE_KEY = "same place", "same name", "like key"


@dataclass(frozen=True, slots=True)
class ListedRow:
    """What a stations export says of a station on a day, as far as it tells who it is.

    `place` is floor and position.
    """

    store: str
    station: str
    seen_on: date
    name: str | None
    mounted: str | None
    place: str | None
    eui64: str | None
    ip_address: str | None
    port: int | None
    hardware: str | None

    @property
    def address(self) -> tuple[str, int | None] | None:
        """Network address and port: radios of one housing differ in the port alone."""
        return None if self.ip_address is None else (self.ip_address, self.port)

    @property
    def device(self) -> str | None:
        """The hardware address, where it is one."""
        return self.eui64 and hardware_address(self.eui64)


@dataclass(frozen=True, slots=True)
class Question:
    """A station of the list of which it is to be said which station it is.

    `what` is 'renamed', 'changed' or 'twice', as in inventory_item.
    """

    what: str
    row: ListedRow
    likely: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Followed:
    """The lives of a store's list.

    `links` has, for each key that is gone and goes on under another, that key; `questions` are of
    stations on the latest list.
    """

    links: Mapping[str, str]
    questions: tuple[Question, ...]


def follow_list(rows: Sequence[ListedRow]) -> Followed:
    """Return the lives of one store's rows, given in order of days."""
    walk = _Walk()
    for _, group in groupby(rows, key=attrgetter("seen_on")):
        walk.meet({row.station: row for row in group})
    questions = [q for q in walk.questions if q.row.station in walk.now]
    return Followed(walk.links, (*questions, *_twice(walk)))


class _Walk:
    """What is known of a store's stations while its exports are read."""

    def __init__(self) -> None:
        self.known: dict[str, ListedRow] = {}
        self.first: dict[str, date] = {}
        self.now: Mapping[str, ListedRow] = {}
        self.links: dict[str, str] = {}
        self.questions: list[Question] = []

    def meet(self, now: Mapping[str, ListedRow]) -> None:
        """Take one export: settle who its stations are, then remember what it says of them."""
        self.now = now
        if self.known:
            for key in sorted(now):
                if key in self.known:
                    self._other(now[key], self.known[key])
                else:
                    self._new(now[key])
        for key, row in now.items():
            self.first.setdefault(key, row.seen_on)
            self.known[key] = _filled(row, self.known.get(key))

    def _new(self, row: ListedRow) -> None:
        """Link a key that is new to the one it was before, or ask."""
        owners = self._owners(row)
        gone = [key for key in owners if key not in self.now and key not in self.links]
        if owners == gone and len(gone) == 1 and self._sure(row, self.known[gone[0]]):
            self.links[gone[0]] = row.station
            return
        likely, why = (owners, SAME_HARDWARE) if owners else self._like(row)
        still = [key for key in owners if key in self.now and not self._gave_up(key, row)]
        if likely and likely != still:  # of one that is listed still, see `_twice`
            self.questions.append(Question("renamed", row, tuple(likely), why))

    def _sure(self, row: ListedRow, was: ListedRow) -> bool:
        """Tell whether a new key with a gone one's hardware, and no other, hangs where it did."""
        others = [other for key, other in self.now.items() if key != row.station]
        if any(other.device == row.device for other in others) or not _fits(row, was):
            return False
        new = [other for other in others if other.station not in self.known]
        told = [(of, getattr(was, of)) for of in ("address", "place")]
        return not any(value and getattr(other, of) == value for other in new for of, value in told)

    def _gave_up(self, key: str, row: ListedRow) -> bool:
        """Tell whether a key that had a station's hardware has other hardware now."""
        return self.now[key].device not in {None, row.device}

    def _owners(self, row: ListedRow) -> list[str]:
        """Return the other keys that had a row's hardware when they were last listed."""
        if row.device is None:
            return []
        return [k for k, was in sorted(self.known.items()) if k != row.station and k not in
                self.links and was.device == row.device]  # fmt: skip

    def _like(self, row: ListedRow) -> tuple[list[str], str]:
        """Return the keys that are gone, or are others now, and were like a new one."""
        rest = {key: was for key, was in sorted(self.known.items()) if key not in self.links}
        for of, why in _LIKENESS:
            told = getattr(row, of)
            alike = [k for k, was in rest.items() if told and self._left(k, was, of) == told]
            if alike:
                both = row.device and all(rest[key].device for key in alike)
                return alike, REPLACED if both else why
        last = max(was.seen_on for was in self.known.values())
        gone = (k for k, was in rest.items() if k not in self.now and was.seen_on == last)
        near = nearest(row.station, gone)
        return ([near], LIKE_KEY) if near is not None else ([], "")

    def _left(self, key: str, was: ListedRow, of: str) -> object:
        """Return what a key had before and has no more."""
        kept = key in self.now and getattr(self.now[key], of) in {None, getattr(was, of)}
        return None if kept else getattr(was, of)

    def _other(self, row: ListedRow, was: ListedRow) -> None:
        """Ask where a key that was listed before stands for what was another station's."""
        if row.device is not None and row.device == was.device:
            return
        owners = self._owners(row)
        if owners:
            self._ask_changed(row, owners, SAME_HARDWARE)
        elif row.device is None or was.device is None:
            for of, why in _LIKENESS:
                if taken := self._had(row, was, of):
                    self._ask_changed(row, taken, why)
                    return
        elif not _anything_kept(row, was):
            self._ask_changed(row, [], REPLACED)

    def _had(self, row: ListedRow, was: ListedRow, of: str) -> list[str]:
        """Return the other keys that had what a key has now and did not have."""
        told, before = getattr(row, of), getattr(was, of)
        if None in {told, before} or told == before:
            return []
        return [k for k, w in sorted(self.known.items()) if k != row.station and k not in
                self.links and getattr(w, of) == told]  # fmt: skip

    def _ask_changed(self, row: ListedRow, others: Sequence[str], why: str) -> None:
        self.questions.append(Question("changed", row, (row.station, *others), why))


_LIKENESS = (("address", SAME_ADDRESS), ("place", SAME_PLACE), ("name", SAME_NAME))
_LOCAL = ("place", "mounted", "name", "address")


def _fits(row: ListedRow, was: ListedRow) -> bool:
    """Tell whether a box hangs where it did: by its place, else by name and address."""
    same = {
        of: None if None in {getattr(row, of), getattr(was, of)} else
        getattr(row, of) == getattr(was, of)
        for of in _LOCAL
    }  # fmt: skip
    if same["place"] is None:
        told = {same["name"], same["address"]}
        return same["mounted"] is not False and True in told and False not in told
    return same["place"] and same["mounted"] is not False


def _anything_kept(row: ListedRow, was: ListedRow) -> bool:
    """Tell whether a key with new hardware kept its place, name or address, or tells none."""
    told = [of for of in _LOCAL if None not in {getattr(row, of), getattr(was, of)}]
    return not told or any(getattr(row, of) == getattr(was, of) for of in told)


def _filled(row: ListedRow, was: ListedRow | None) -> ListedRow:
    """Return a row with what it does not state as it was stated last."""
    if was is None:
        return row
    lacking = [f.name for f in fields(row) if getattr(row, f.name) is None]
    return replace(row, **{name: getattr(was, name) for name in lacking})


def _twice(walk: _Walk) -> Iterator[Question]:
    """Yield the stations of the latest list that one listed before may be: one box listed twice."""
    rows = sorted(walk.now.values(), key=lambda row: (walk.first[row.station], row.station))
    for at, row in enumerate(rows):
        for other in rows[:at]:
            if why := _one_box(other, row):
                yield Question("twice", row, (other.station,), why)
                break


def _one_box(one: ListedRow, other: ListedRow) -> str | None:
    """Return why two rows may be of one box, by the surest that both tell; None where they are not.

    Radios of one housing share their place, and the address but for the port.
    """
    for of, why in (("device", SAME_HARDWARE), ("address", SAME_ADDRESS), ("place", SAME_PLACE)):
        told = {getattr(one, of), getattr(other, of)}
        if None not in told:
            return why if len(told) == 1 else None
    return None


def latest(key: str, links: Mapping[str, str]) -> str:
    """Return the key that a station goes by in the end."""
    met = {key}
    while (key := links.get(key, key)) not in met:
        met.add(key)
    return key


@dataclass(frozen=True, slots=True)
class Device:
    """A device of a store's latest network list."""

    store: str
    ip_address: str
    port: int | None
    eui64: str | None
    device: str | None
    seen_on: date

    @property
    def hardware(self) -> str | None:
        """The hardware address, where it is one."""
        return self.eui64 and hardware_address(self.eui64)

    @property
    def subject(self) -> str:
        """Address and port, as people write them."""
        host = f"[{self.ip_address}]" if ":" in self.ip_address else self.ip_address
        return self.ip_address if self.port is None else f"{host}:{self.port}"


@dataclass(frozen=True, slots=True)
class FoundDevice:
    """Whose each device is: the station, or the stations it may be and why."""

    device: Device
    station: str | None
    likely: tuple[str, ...] = ()
    why: str | None = None


def find_devices(devices: Sequence[Device], listed: Collection[ListedRow]) -> Iterator[FoundDevice]:
    """Yield what each device of a store's network list is.

    It is a station's where both have a hardware address that neither list has twice; else where
    the address is one station's and one device's, and no hardware address speaks against it.
    """
    counts = Counter(d.hardware for d in devices)
    by_hardware: defaultdict[str | None, list[str]] = defaultdict(list)
    for row in listed:
        by_hardware[row.device].append(row.station)
    sure = {
        device: found[0]
        for device in devices
        if device.hardware is not None and counts[device.hardware] == 1
        and len(found := by_hardware.get(device.hardware, [])) == 1
    }  # fmt: skip
    taken = set(sure.values())
    rest = [device for device in devices if device not in sure]
    at = {d: [r for r in listed if _at(d, r) and r.station not in taken] for d in rest}
    claims = Counter(row.station for rows in at.values() for row in rows)
    for device in devices:
        if device in sure:
            yield FoundDevice(device, sure[device])
        else:
            yield _judged(device, at[device], claims, by_hardware.get(device.hardware, []))


def _judged(
    device: Device, at: Sequence[ListedRow], claims: Mapping[str, int], same: Sequence[str]
) -> FoundDevice:
    if device.hardware is not None and same:
        return FoundDevice(device, None, tuple(same), SAME_HARDWARE)
    other = [row for row in at if None not in {row.device, device.hardware}]
    likely = tuple(row.station for row in at)
    if len(at) == 1 and not other and claims[at[0].station] == 1:
        return FoundDevice(device, at[0].station)
    return FoundDevice(device, None, likely, (REPLACED if other else SAME_ADDRESS) if at else None)


def _at(device: Device, row: ListedRow) -> bool:
    """Tell whether a device answers where a station does."""
    ports = {device.port, row.port}
    return device.ip_address == row.ip_address and (len(ports) == 1 or None in ports)
