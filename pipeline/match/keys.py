"""Take keys of stores and stations for the listed keys they stand for; pure.

A key that no list has is taken for a listed one if exactly one is the same but for case, blanks and
leading zeros of its number-only parts; a station's also if it is the hardware or network address of
exactly one station of the store. A blank between two digits parts numbers and stays. Where a list
has two keys that are the same in this way they stay two, and nothing is taken for either.
"""

import re
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import combinations

from pipeline.tables.cells import BLANKS, hardware_address, network_address

UNKNOWN, AMBIGUOUS, IGNORED = "unknown", "ambiguous", "ignored"
HARDWARE, NETWORK, DECIDED = "hardware address", "IP address", "decision"
NEXT_DOOR = "the store, next door"
_PARTS = re.compile(r"[^\W_]+")
_LIKENESS = 0.6  # of 0..1, as difflib has it: one letter in three may differ
_NEAR_MOST = 100  # keys of one store, or stores, for which a likely match is looked for


@dataclass(frozen=True, slots=True)
class Mention:
    """A store, or a station of one, as exports of one kind name it."""

    store: str
    station: str | None
    source: str
    rows: int


@dataclass(frozen=True, slots=True)
class ListedStation:
    """A station that stations exports list, with an address they ever gave it."""

    store: str
    station: str
    eui64: str | None
    ip_address: str | None


@dataclass(frozen=True, slots=True)
class MatchedKey:
    """The listed key that a written one is taken for, and how; `store`: it is another store's."""

    key: str
    way: str
    store: str | None = None


@dataclass(frozen=True, slots=True)
class OpenKey:
    """Why a written key is taken for none, and the listed keys it may stand for."""

    cause: str
    likely: tuple[str, ...]


JudgedKeys = dict[str, MatchedKey | OpenKey]
"""What became of each key that no list has."""


def _no_blanks(key: str) -> str:
    def kept(match: re.Match[str]) -> str:
        before, after = key[: match.start()][-1:], key[match.end() :][:1]
        return " " if before.isdecimal() and after.isdecimal() else ""

    return BLANKS.sub(kept, key)


def _no_zeros(key: str) -> str:
    def kept(match: re.Match[str]) -> str:
        part = match[0]
        return (part.lstrip("0") or "0") if part.isdecimal() else part

    return _PARTS.sub(kept, key)


_FOLDS: Mapping[str, Callable[[str], str]] = {
    "case": str.casefold,
    "blanks": _no_blanks,
    "leading zeros": _no_zeros,
}


def fold(key: str) -> str:
    """Return what is left of a key without case, blanks and leading zeros of numbers."""
    return _folded(key, _FOLDS)


def _folded(key: str, ways: Iterable[str]) -> str:
    for way in ways:
        key = _FOLDS[way](key)
    return key


def way_between(written: str, listed: str) -> str:
    """Return the fewest of case, blanks and leading zeros that make two keys the same.

    The keys must fold alike.
    """
    ways = (ways for count in (1, 2) for ways in combinations(_FOLDS, count))
    alike = (w for w in ways if _folded(written, w) == _folded(listed, w))
    return ", ".join(next(alike, tuple(_FOLDS)))


def judge_stores(
    listed: Collection[str], described: Collection[str], told: Mapping[str, Collection[str]]
) -> JudgedKeys:
    """Judge the stores that no stations export lists.

    `listed` are those of stations exports, `described` those of stores exports; `told` gives the
    sources that name each store. A store of either list that is taken for none is no doubt: it
    stands as it is.
    """
    alike: defaultdict[str, tuple[set[str], set[str]]] = defaultdict(lambda: (set(), set()))
    for place, keys in enumerate((listed, described)):
        for key in keys:
            alike[fold(key)][place].add(key)
    judged: JudgedKeys = {}
    unknown: list[str] = []
    for key in sorted({*described, *told} - set(listed)):
        own, more = alike.get(fold(key), (set(), set()))
        found = own or more
        if len(found) == 1 and len(more) <= 1:
            (target,) = found
            if target != key:
                judged[key] = MatchedKey(target, way_between(key, target))
        elif found and key not in described:
            judged[key] = OpenKey(AMBIGUOUS, tuple(sorted(own | more)))
        elif not found:
            unknown.append(key)
    return judged | _near(unknown, {*listed, *described}, told)


def judge_stations(
    listed: Iterable[ListedStation], told: Mapping[str, Collection[str]]
) -> JudgedKeys:
    """Judge the stations named in one store that none of its stations exports lists.

    `told` gives the sources that name each station.
    """
    known = {one.station for one in listed}
    by_fold, by_hardware, by_network = _index(listed)
    judged: JudgedKeys = {}
    unknown: list[str] = []
    for key in sorted(set(told) - known):
        ways = {
            HARDWARE: by_hardware.get(hardware_address(key), set()),
            NETWORK: by_network.get(network_address(key), set()),
            "": by_fold.get(fold(key), set()),
        }
        found = sorted(set().union(*ways.values()))
        if len(found) == 1:
            way = next((way for way, keys in ways.items() if way and keys), "")
            judged[key] = MatchedKey(found[0], way or way_between(key, found[0]))
        elif found:
            judged[key] = OpenKey(AMBIGUOUS, tuple(found))
        else:
            unknown.append(key)
    return judged | _near(unknown, known, told)


def judge_next_door(
    listed: Collection[ListedStation], told: Mapping[str, Collection[str]]
) -> Mapping[str, JudgedKeys]:
    """Judge keys that a store's stations only heard, against the stations of other stores.

    One is taken for the station elsewhere that has it for its hardware address; or for its key,
    where no two stores of the chain have a key in common. Names such as 01, which every store has,
    say nothing of who was heard.
    """
    places: defaultdict[str, set[tuple[str, str]]] = defaultdict(set)
    addresses: defaultdict[str | None, set[tuple[str, str]]] = defaultdict(set)
    for one in listed:
        places[fold(one.station)].add((one.store, one.station))
        addresses[one.eui64 and hardware_address(one.eui64)].add((one.store, one.station))
    apart = all(len({store for store, _ in found}) == 1 for found in places.values())
    judged: dict[str, JudgedKeys] = {}
    for store, keys in told.items():
        for key in sorted(keys):
            address = hardware_address(key)
            by_address = addresses.get(address, set()) if address else set()
            found = by_address or (places.get(fold(key), set()) if apart else set())
            if len(found) == 1 and (place := next(iter(found)))[0] != store:
                judged.setdefault(store, {})[key] = MatchedKey(place[1], NEXT_DOOR, place[0])
    return judged


_Index = Mapping[str | None, set[str]]


def _index(listed: Iterable[ListedStation]) -> tuple[_Index, _Index, _Index]:
    """Return the listed stations by folded key, hardware address and network address."""
    found: tuple[defaultdict[str | None, set[str]], ...] = tuple(defaultdict(set) for _ in range(3))
    for one in listed:
        keys = (
            fold(one.station),
            one.eui64 and hardware_address(one.eui64),
            one.ip_address and network_address(one.ip_address),
        )
        for index, key in zip(found, keys, strict=True):
            if key:
                index[key].add(one.station)
    by_fold, by_hardware, by_network = found
    return by_fold, by_hardware, by_network


def _near(
    unknown: Iterable[str], listed: Collection[str], told: Mapping[str, Collection[str]]
) -> JudgedKeys:
    """Return a doubt for each unknown key, with the listed key most like it, if one is.

    A listed key that the same kind of export names itself is not meant by another.
    """
    doubts: JudgedKeys = {}
    for place, key in enumerate(unknown):
        likely = None
        if place < _NEAR_MOST:
            likely = nearest(key, (k for k in listed if not set(told[key]) & set(told.get(k, ()))))
        doubts[key] = OpenKey(UNKNOWN, (likely,) if likely is not None else ())
    return doubts


def nearest(key: str, keys: Iterable[str]) -> str | None:
    """Return the key most like another, case and blanks aside; None where none is much like it."""
    ways = ("case", "blanks")
    by_fold = {_folded(one, ways): one for one in sorted(keys, reverse=True)}
    found = get_close_matches(_folded(key, ways), sorted(by_fold), 1, _LIKENESS)
    return by_fold[found[0]] if found else None
