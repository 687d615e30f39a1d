"""Follow every station of a store through its exports, and say what was agreed of each.

A station is known by its name. Where a name is new, or stands for other hardware than before, the
hardware address (EUI-64) tells whether it is a station known under another name, unless people said
which it is. What is taken of one export rests on that export and earlier ones alone, so later
exports change nothing.
"""

import re
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import groupby

from pipeline.audit.records import EUI64, FIELDS, NOTHING, STATION, Snapshot, Values
from pipeline.tables.audit import Baseline

_ADDRESS = re.compile(r"[0-9a-f]{16}")
_LOCAL = tuple(FIELDS.index(name) for name in ("ip_address", "name", "mounted", "place"))


@dataclass(frozen=True, slots=True)
class Life:
    """One station through a store's exports.

    `names` holds each name with the day it was first met under it; `seen` one entry for each
    snapshot of the store: None where the station is not listed. A value an export does not state
    is the one stated last.
    """

    names: tuple[tuple[date, str], ...]
    seen: tuple[Values | None, ...]

    def known_as(self, day: date) -> frozenset[str]:
        """Return the names it went by up to and including a day."""
        return frozenset(name for met, name in self.names if met <= day)


@dataclass(slots=True)
class _Growing:
    """A life while it is being followed."""

    names: list[tuple[date, str]]
    seen: list[Values | None]
    last: Values = field(default=())

    def meet(self, day: date, row: Values, number: int) -> None:
        """Keep what snapshot `number` says of it."""
        if row[STATION] != (self.names[-1][1] if self.names else None):
            self.names.append((day, str(row[STATION])))
        if self.last and None in row:
            row = tuple(
                old if new is None else new for new, old in zip(row, self.last, strict=True)
            )
        if row != self.last:
            self.last = row
        self._miss(number)
        self.seen.append(self.last)

    def _miss(self, number: int) -> None:
        self.seen.extend([None] * (number - len(self.seen)))

    def done(self, snapshots: int) -> Life:
        """Return the finished life."""
        self._miss(snapshots)
        return Life(tuple(self.names), tuple(self.seen))


def follow(snapshots: Sequence[Snapshot]) -> tuple[Life, ...]:
    """Return the life of every station met in a store's exports, given in the order of days."""
    lives: list[_Growing] = []
    named: dict[str, _Growing] = {}
    for number, snapshot in enumerate(snapshots):
        rows = snapshot.stations
        known = None if snapshot.decided else _known(rows, named)
        if known is None:
            known = _recognised(rows, named, lives, snapshot.decided)
            named = _renamed(named, known)
        for station, row in rows.items():
            known[station].meet(snapshot.day, row, number)
    return tuple(life.done(len(snapshots)) for life in lives)


def _known(
    rows: Mapping[str, Values], named: Mapping[str, _Growing]
) -> Mapping[str, _Growing] | None:
    """Return the lives by name where every name stands for the hardware it stood for before."""
    for station, row in rows.items():
        life = named.get(station)
        if life is None or row[EUI64] not in {None, life.last[EUI64]}:
            return None
    return named


def _recognised(
    rows: Mapping[str, Values],
    named: Mapping[str, _Growing],
    lives: list[_Growing],
    decided: Mapping[str, str | None],
) -> dict[str, _Growing]:
    """Return the life each listed station belongs to; a station never met begins a new one."""
    by_hardware = _by_hardware(rows, lives)
    found: dict[str, _Growing] = {}
    taken: set[int] = set()

    def take(wishes: Iterable[tuple[str, _Growing | None]]) -> None:
        for station, life in wishes:
            if life is not None and station not in found and id(life) not in taken:
                found[station] = life
                taken.add(id(life))

    told = {s: named.get(decided[s] or "") for s in sorted(decided) if s in rows}
    take(told.items())
    left = [s for s in sorted(rows) if s not in told]
    wished = {s: _follows_hardware(rows[s], named.get(s), by_hardware.get(s)) for s in left}
    take((s, named.get(s)) for s, hardware in wished.items() if not hardware)
    take((s, by_hardware.get(s)) for s, hardware in wished.items() if hardware)
    take((s, named.get(s)) for s in wished)
    for station in sorted(rows):
        if station not in found:
            found[station] = _Growing([], [])
            lives.append(found[station])
    return found


def _follows_hardware(row: Values, named: _Growing | None, same: _Growing | None) -> bool:
    """Tell whether a listed station is the one its hardware was, not the one its name was.

    Where both are known and differ, it is the one whose place and address it has kept: with a
    renumbered station these travel along, with exchanged hardware they stay.
    """
    if same is None or same is named:
        return False
    if named is None:
        return True
    return _alike(row, same.last) > _alike(row, named.last)


def _alike(row: Values, other: Values) -> int:
    return sum(row[at] is not None and row[at] == other[at] for at in _LOCAL)


def _by_hardware(rows: Mapping[str, Values], lives: Sequence[_Growing]) -> Mapping[str, _Growing]:
    """Return the life with the hardware of each listed station, where it can be only one."""
    listed = Counter(row[EUI64] for row in rows.values())
    carried = Counter(life.last[EUI64] for life in lives)
    owner = {life.last[EUI64]: life for life in lives}
    return {
        station: owner[address]
        for station, row in rows.items()
        if (address := row[EUI64]) is not None
        and _is_address(address)
        and listed[address] == carried[address] == 1
    }


def _is_address(text: str) -> bool:
    """Tell an EUI-64 from a malformed one, and from a blank written as one digit throughout."""
    return bool(_ADDRESS.fullmatch(text)) and len(set(text)) > 1


def _renamed(named: Mapping[str, _Growing], found: Mapping[str, _Growing]) -> dict[str, _Growing]:
    """Return the lives by the name each goes by now."""
    moved = {id(life) for life in found.values()}
    kept = {name: life for name, life in named.items() if id(life) not in moved}
    return {**kept, **found}


@dataclass(frozen=True, slots=True)
class Agreed:
    """What was agreed of one station from each day on on which that changed."""

    days: tuple[date, ...] = ()
    values: tuple[Values, ...] = ()
    rows: tuple[tuple[Baseline | None, ...], ...] = ()  # of each day, one for each of FIELDS

    def on(self, day: date) -> Values:
        """Return what was agreed on a day; nothing before the first agreement."""
        at = bisect_right(self.days, day)
        return self.values[at - 1] if at else NOTHING

    def row(self, day: date, place: int) -> Baseline | None:
        """Return the agreement in force on a day about one field."""
        at = bisect_right(self.days, day)
        return self.rows[at - 1][place] if at else None

    def beside(self, day: date, row: Values) -> "Agreed":
        """Return what holds where a station's row is the measure from a day on.

        Each field that was agreed keeps what was agreed of it.
        """
        days = sorted({day, *self.days})
        own = [self.on(each) for each in days]
        filled = [
            values if each < day else _filled(values, row)
            for each, values in zip(days, own, strict=True)
        ]
        nobody = (None,) * len(FIELDS)
        rows = [self.rows[at - 1] if (at := bisect_right(self.days, d)) else nobody for d in days]
        return Agreed(tuple(days), tuple(filled), tuple(rows))

    def moved(self, start: date, end: date) -> bool:
        """Tell whether anything was agreed after `start` up to and with `end`."""
        return bisect_right(self.days, start) != bisect_right(self.days, end)


def _filled(values: Values, row: Values) -> Values:
    return tuple(old if new is None else new for new, old in zip(values, row, strict=True))


def agreed_by_life(
    lives: Sequence[Life], agreements: Sequence[Baseline]
) -> tuple[tuple[Life, ...], tuple[Agreed, ...]]:
    """Return what is agreed of each life.

    A station of the baseline that no export ever named gets a life of its own, without sightings;
    the lives come back with these added.
    """
    order = sorted(agreements, key=lambda a: (a.approved_on, a.version, a.station, a.field))
    spans = _spans(lives)
    grown = list(lives)
    unmet: dict[str, int] = {}
    rows: dict[int, list[Baseline]] = defaultdict(list)
    for agreement in order:
        owner = _owner(lives, spans.get(agreement.station, ()), agreement)
        if owner is None:
            if agreement.station not in unmet:
                unmet[agreement.station] = len(grown)
                grown.append(_never_seen(agreement, lives))
            owner = unmet[agreement.station]
        rows[owner].append(agreement)
    return tuple(grown), tuple(_folded(rows.get(number, ())) for number in range(len(grown)))


def _spans(lives: Sequence[Life]) -> Mapping[str, list[int]]:
    """Return the numbers of the lives that ever went by each name."""
    spans: dict[str, list[int]] = defaultdict(list)
    for number, life in enumerate(lives):
        for _, name in life.names:
            if number not in spans[name]:
                spans[name].append(number)
    return spans


def _owner(lives: Sequence[Life], numbers: Sequence[int], agreement: Baseline) -> int | None:
    """Return the life an agreement speaks of: the one that last took the name by that day.

    Else one that begins under that name later on. What a station is called later never counts, so
    that an agreement means the same however much is known by now.
    """
    station, day = agreement.station, agreement.approved_on
    took = [
        (met, number)
        for number in numbers
        for met, name in lives[number].names
        if name == station and met <= day
    ]
    if took:
        return max(took)[1]
    return next((n for n in numbers if lives[n].names[0][1] == station), None)


def _never_seen(agreement: Baseline, lives: Sequence[Life]) -> Life:
    snapshots = len(lives[0].seen) if lives else 0
    return Life(((agreement.approved_on, agreement.station),), (None,) * snapshots)


def _folded(agreements: Sequence[Baseline]) -> Agreed:
    days, values, rows = [], [], []
    now: list[Baseline | None] = [None] * len(FIELDS)
    for day, group in groupby(agreements, key=lambda a: a.approved_on):
        for agreement in group:
            now[FIELDS.index(agreement.field)] = agreement
        days.append(day)
        values.append(tuple(None if a is None else a.value for a in now))
        rows.append(tuple(now))
    return Agreed(tuple(days), tuple(values), tuple(rows))
