"""The match step: work out from all facts which listed key each written one is taken for."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from pipeline.database import Database
from pipeline.fresh import choose, fingerprint, keep, program
from pipeline.match.keys import (
    DECIDED,
    IGNORED,
    UNKNOWN,
    JudgedKeys,
    ListedStation,
    MatchedKey,
    Mention,
    OpenKey,
    judge_next_door,
    judge_stations,
    judge_stores,
    nearest,
)
from pipeline.match.lives import Device, ListedRow, latest
from pipeline.match.stock import (
    ADD,
    IGNORE,
    MATCH,
    UNLISTED,
    Elsewhere,
    StockFacts,
    Unlisted,
    take_stock,
)
from pipeline.records import NewKey, grouped
from pipeline.tables.taken import InventoryAnswer, InventoryItem, KeyMatch, KeyPair, KeyUnmatched

DESCRIBED = "stores"  # the source that describes stores
REFUSED = "quarantine"  # rows that could not be taken name a store, but nothing reads them
NAMED = 5  # new stores, and new stations, for which a likely match is looked for
_STEP = "match"


@dataclass(frozen=True, slots=True)
class _Newcomer:
    """A store or station new in this run, with the keys of those that are gone."""

    store: str
    station: str | None
    gone: list[str]


def match(database: Database, as_of: date) -> None:
    """Fill the tables of matched keys, and the list of what is there and what is listed.

    All exports count for the keys, whatever the day of the run; the list is that of `as_of`. Skip
    it if no export and no answer has come since. Facts stay as the files wrote them; views read
    them under the keys found here.
    """
    mark = fingerprint(program(), as_of.isoformat(), *database.column(_STEP, "facts"))
    if database.mapping("fresh", "known", {"step": _STEP}) == {"": mark}:
        return
    with database.transaction():
        database.clear(KeyMatch, KeyUnmatched, KeyPair, InventoryItem)
        database.run(_STEP, "told")
        answers = database.records(InventoryAnswer, _STEP, "answers", {"as_of": as_of})
        found = None
        if database.value(_STEP, "strangers"):
            found = _matching(database, answers, as_of)
            _keep_keys(database, found)
        items, links = _stock(database, found, answers, as_of)
        database.put(InventoryItem, items)
        if links:
            _keep_keys(database, _matching(database, answers, as_of, links))
        database.run(_STEP, "drop_told")
        choose(database, [""])
        keep(database, _STEP, [""], {"": mark})


def _keep_keys(database: Database, found: "Matching") -> None:
    database.clear(KeyMatch, KeyUnmatched, KeyPair)
    database.put(KeyMatch, found.matches())
    database.put(KeyUnmatched, found.unmatched())
    database.put(KeyPair, found.pairs())


_Links = Mapping[str, Mapping[str, str]]
"""By store: the key that each station gone from the list, or listed twice, goes by now."""
_NONE: _Links = MappingProxyType({})


def _matching(
    database: Database,
    answers: Sequence[InventoryAnswer],
    as_of: date,
    links: _Links = _NONE,
) -> "Matching":
    return Matching(
        database.records(Mention, _STEP, "mentions"),
        database.records(ListedStation, _STEP, "listed"),
        database.mapping(_STEP, "only_heard"),
        answers=answers,
        as_of=as_of,
        links=links,
    )


def _stock(
    database: Database, found: "Matching | None", answers: Sequence[InventoryAnswer], as_of: date
) -> tuple[list[InventoryItem], _Links]:
    """Return what is there and not listed, or listed and not there, store by store."""
    day = {"as_of": as_of}
    devices = grouped(database.records(Device, _STEP, "stock_devices", day), "store")
    elsewhere = grouped(database.records(Elsewhere, _STEP, "stock_elsewhere", day), "store")
    unseen: defaultdict[str, list[str]] = defaultdict(list)
    for one in database.records(_Unseen, _STEP, "stock_unseen", day):
        unseen[one.store].append(one.station)
    known = {**day, "unseen": sorted(unseen)}
    rows = grouped(database.records(ListedRow, _STEP, "stock_rows", known), "store")
    decided = grouped(answers, "store")
    unlisted = found.unlisted() if found else {}
    items: list[InventoryItem] = []
    links: dict[str, Mapping[str, str]] = {}
    for store in sorted({*rows, *devices, *unseen, *decided, *unlisted}):
        facts = StockFacts(
            store, rows.get(store, ()), devices.get(store, ()), unlisted.get(store, ()),
            unseen.get(store, ()), elsewhere.get(store, ()), decided.get(store, ()),
        )  # fmt: skip
        stock = take_stock(facts, as_of)
        items += stock.items
        if stock.links:
            links[store] = stock.links
    return items, links


@dataclass(frozen=True, slots=True)
class _Unseen:
    store: str
    station: str


def new_keys(database: Database) -> tuple[NewKey, ...]:
    """Return the stores, then the stations, that no earlier run met.

    The first `NAMED` of each come with the key they may have had before, of those that are gone.
    """
    found: list[NewKey] = []
    looked: Counter[bool] = Counter()
    for one in database.records(_Newcomer, _STEP, "new_keys"):
        looked[one.station is None] += 1
        named = looked[one.station is None] <= NAMED
        likely = nearest(one.station or one.store, one.gone) if named else None
        found.append(NewKey(one.store, one.station, likely))
    return tuple(found)


class Matching:
    """What became of every store and station that exports name."""

    def __init__(  # noqa: PLR0913 - what exports say, and what people said of it
        self,
        mentions: Sequence[Mention],
        listed: Sequence[ListedStation],
        only_heard: Mapping[str, Sequence[str]] | None = None,
        *,
        answers: Sequence[InventoryAnswer] = (),
        as_of: date = date.max,
        links: _Links = _NONE,
    ) -> None:
        """Match keys; `only_heard`: those that a store's stations heard and nothing else names."""
        self._mentions, self._links = mentions, links
        own: defaultdict[str, list[ListedStation]] = defaultdict(list)
        for one in (*listed, *_added(answers)):
            own[one.store].append(one)
        sources: defaultdict[str, set[str]] = defaultdict(set)
        for each in mentions:
            sources[each.store].add(each.source)
        described = {each.store for each in mentions if each.source == DESCRIBED}
        self._stores = judge_stores(own, described, sources)
        told = self._told_stations()
        self._stations = {
            store: judge_stations(own[store], told[store]) for store in sorted(told) if store in own
        }
        self._take_next_door(listed, only_heard or {})
        self._told = told
        self._open = {
            store: {key: one for key, one in judged.items() if isinstance(one, OpenKey)}
            for store, judged in self._stations.items()
        }
        self._decide(answers, {(one.store, one.station) for one in listed}, as_of)

    def _decide(
        self,
        answers: Iterable[InventoryAnswer],
        listed: AbstractSet[tuple[str, str]],
        as_of: date,
    ) -> None:
        """Put what people decided of unlisted keys in the place of what their letters say."""
        for one in answers:
            judged = self._stations.get(one.store, {})
            if one.what != UNLISTED or not isinstance(judged.get(one.subject), OpenKey):
                continue
            if one.decision == MATCH and one.station and (one.store, one.station) in listed:
                judged[one.subject] = MatchedKey(one.station, DECIDED)
            elif one.decision == IGNORE and one.until is not None and as_of <= one.until:
                judged[one.subject] = OpenKey(IGNORED, self._open[one.store][one.subject].likely)

    def unlisted(self) -> Mapping[str, Sequence[Unlisted]]:
        """Return the stations that no list has, by store, whatever was decided of them."""
        return {
            store: [
                Unlisted(key, tuple(sorted(self._told[store][key] - {REFUSED})), one)
                for key, one in sorted(keys.items())
            ]
            for store, keys in self._open.items()
            if keys
        }

    def _take_next_door(
        self, listed: Sequence[ListedStation], only_heard: Mapping[str, Sequence[str]]
    ) -> None:
        """Take what was only heard, and is like no station of its own store, for one next door."""
        open_keys: defaultdict[str, set[str]] = defaultdict(set)
        for store, heard in only_heard.items():
            judged = self._stations.get(_key(self._stores, store), {})
            known = {one: judged.get(one) for one in heard}
            unknown = {k for k, o in known.items() if isinstance(o, OpenKey) and o.cause == UNKNOWN}
            open_keys[_key(self._stores, store)] |= unknown
        for store, found in judge_next_door(listed, open_keys).items():
            self._stations[store] |= found

    def _told_stations(self) -> Mapping[str, Mapping[str, AbstractSet[str]]]:
        """Return the sources that name each station, by the store's listed key."""
        told: defaultdict[str, defaultdict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
        for each in self._mentions:
            if each.station is not None:
                told[_key(self._stores, each.store)][each.station].add(each.source)
        return told

    def pairs(self) -> list[KeyPair]:
        """Return the pairs that read otherwise than written, and those they are taken for."""
        alone = [(store, None) for store in self._stores]
        written = {(each.store, each.station) for each in self._mentions} | set(alone)
        written |= {(store, key) for store, links in self._links.items() for key in links}
        read = {pair: self._read(*pair) for pair in written}
        times = Counter(read.values())
        other = {pair: to for pair, to in read.items() if pair != to}
        other |= {to: to for to in other.values() if times[to] > 1}
        return [
            KeyPair(*pair, *to, alone=times[to] == 1)
            for pair, to in sorted(other.items(), key=repr)
        ]

    def _read(self, store: str, station: str | None) -> tuple[str, str | None]:
        store = _key(self._stores, store)
        judged = self._stations.get(store, {}).get(station or "")
        if isinstance(judged, MatchedKey):
            store, station = judged.store or store, judged.key
        return store, station and latest(station, self._links.get(store, {}))

    def matches(self) -> list[KeyMatch]:
        """Return the keys taken for listed ones, by kind of export."""
        return [
            KeyMatch(kind, store, written, judged.key, judged.way, source, rows)
            for (kind, store, written, source), (judged, rows) in self._strangers().items()
            if isinstance(judged, MatchedKey)
        ]

    def unmatched(self) -> list[KeyUnmatched]:
        """Return the keys taken for none, by kind of export."""
        return [
            KeyUnmatched(
                kind, store, written, judged.cause, ", ".join(judged.likely) or None, source, rows
            )
            for (kind, store, written, source), (judged, rows) in self._strangers().items()
            if isinstance(judged, OpenKey)
        ]

    def _strangers(self) -> Mapping[tuple[str, str, str, str], tuple[MatchedKey | OpenKey, int]]:
        """Return what became of each key that no list has, and in how many rows it stands.

        The keys are (kind, store, written, source), ascending.
        """
        found: dict[tuple[str, str, str, str], tuple[MatchedKey | OpenKey, int]] = {}

        def count(
            judged: MatchedKey | OpenKey | None, key: tuple[str, str, str, str], rows: int
        ) -> None:
            if judged is not None:
                found[key] = (judged, found.get(key, (judged, 0))[1] + rows)

        for each in self._mentions:
            if each.source == REFUSED:
                continue
            store, station = _key(self._stores, each.store), each.station
            judged = self._stores.get(each.store)
            count(judged, ("store", store, each.store, each.source), each.rows)
            if station is not None:
                judged = self._stations.get(store, {}).get(station)
                count(judged, ("station", store, station, each.source), each.rows)
        return dict(sorted(found.items()))


def _added(answers: Iterable[InventoryAnswer]) -> list[ListedStation]:
    """Return the stations that are listed by decision."""
    return [
        ListedStation(one.store, one.station, one.eui64, one.ip_address)
        for one in answers
        if one.decision == ADD and one.station is not None
    ]


def _key(judged: JudgedKeys, written: str) -> str:
    """Return the listed key that a written one is taken for; itself where it is taken for none."""
    found = judged.get(written)
    return found.key if isinstance(found, MatchedKey) else written
