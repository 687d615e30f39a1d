"""Read what the reports of stores say from the database, and work out the key figures."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice
from math import fsum
from operator import attrgetter
from statistics import median
from typing import Any, TypeVar

from pipeline.database import Database
from pipeline.fresh import choose, narrowed, program, store_marks
from pipeline.reasons import brief, from_json, sentence, to_json
from pipeline.records import Inputs, Seal, Severity
from pipeline.report.rule_book import RuleBook, rule_book
from pipeline.report.store.asked import CoverTerms, StoreNeeds
from pipeline.report.store.content import (
    EarshotPair,
    HeldStation,
    KeyFigures,
    LevelSource,
    PlanInForce,
    PlannedMove,
    PlannedStation,
    PlanQuality,
    Rated,
    Refusal,
    RegisteredChange,
    Store,
    StoreContent,
    StoreFinding,
    StoreInputs,
    StoreSeal,
    WifiGroup,
)
from pipeline.report.store.followed import ChangeOutcome
from pipeline.report.store.next_door import Beside, JoinedStore, NextDoor, Owed
from pipeline.report.store.scans import ScanAsked
from pipeline.tables.changes import LabelBehind
from pipeline.tables.plan import CoverPlace, CoverStore, WifiAvoid, WifiRequest
from pipeline.tables.run import PermittedChannel
from pipeline.tables.survey import EdEvidence
from pipeline.tables.taken import InventoryItem
from pipeline.wording import Wording, wording

CHUNK = 200  # stores whose contents are in memory at once
MARKED = 1000  # stores whose rows, but not their contents, are in memory at once
# What is read of each store: the statement, the record of its rows, and its parameters.
_READ: tuple[tuple[str, type[Any], Mapping[str, object]], ...] = (
    ("store_head", Store, {}),
    ("store_stations", PlannedStation, {}),
    ("store_moves", PlannedMove, {}),
    ("store_air", EdEvidence, {}),
    ("store_findings", StoreFinding, {}),
    ("store_pairs", EarshotPair, {}),
    ("store_wifi", WifiGroup, {}),
    ("store_proofs", PlanQuality, {}),
    ("store_permitted", PermittedChannel, {}),
    ("store_plans", PlanInForce, {}),
    ("store_changes", RegisteredChange, {"plan": None}),
    ("store_refusals", Refusal, {}),
    ("store_seals", StoreSeal, {}),
    ("store_inputs", StoreInputs, {}),
    ("store_outcomes", ChangeOutcome, {}),
    ("store_behind", LabelBehind, {}),
    ("store_levels", LevelSource, {}),
    ("store_found", InventoryItem, {}),
    ("store_joined", JoinedStore, {}),
    ("store_next_door", NextDoor, {}),
    ("store_owed", Owed, {}),
    ("store_scans", ScanAsked, {}),
    ("store_cover", CoverStore, {}),
    ("store_places", CoverPlace, {}),
    ("store_requests", WifiRequest, {}),
    ("store_avoid", WifiAvoid, {}),
    ("store_cover_terms", CoverTerms, {}),
)
_NARROWED = ("earshot", "ed_evidence", "wifi_matched")
_SURENESS = ("high", "fair", "low")
Row = TypeVar("Row")
Reasoned = TypeVar("Reasoned", PlannedStation, PlannedMove, RegisteredChange)
_Figure = Callable[[PlannedStation], float | None]
_now: _Figure = attrgetter("clear_air_now")
_planned: _Figure = attrgetter("clear_air_planned")


class _Rows:
    """The rows of some stores, by record and store."""

    def __init__(self, database: Database) -> None:
        self.book = rule_book(database)
        self._found: dict[type[Any], dict[str, list[Any]]] = {}
        for name, kind, values in _READ:
            rows = self._found.setdefault(kind, defaultdict(list))
            for row in database.records(kind, "report", name, values):
                rows[row.store].append(row)

    def of(self, store: str, kind: type[Row]) -> tuple[Row, ...]:
        """Return the rows of a store, in the order they were read."""
        return tuple(self._found[kind][store])


def store_contents(
    database: Database, stores: Sequence[str], approvers: tuple[str, ...] = ()
) -> Iterator[StoreContent]:
    """Yield the contents of the named stores, in ascending order of their names.

    At most `CHUNK` stores are in memory at once. `approvers` may decide on changes.
    """
    for chunk in _chunks(stores, CHUNK):
        with narrowed(database, chunk, *_NARROWED):
            rows = _Rows(database)
        for store in chunk:
            for head in rows.of(store, Store):
                yield _content(head, rows, approvers)


def content_marks(
    database: Database, stores: Sequence[str], approvers: tuple[str, ...] = ()
) -> dict[str, str]:
    """Return the fingerprint of each store's content, and of the program that words it.

    It is made from the rows that `store_contents` reads, without making the contents.
    """
    marks: dict[str, str] = {}
    words = repr(rule_book(database))
    for chunk in _chunks(stores, MARKED):
        with narrowed(database, chunk, *_NARROWED):
            frames = [database.frame("report", name, values) for name, _, values in _READ]
            marks |= store_marks(frames, program(), words, *approvers)
    return marks


def back_out_content(database: Database, store: str, plan: str) -> StoreContent:
    """Return a store's content with a plan of the register in place of the one in force."""
    (content,) = store_contents(database, [store])
    choose(database, [store])
    of = {"plan": plan}
    (proposed,) = database.records(PlanInForce, "report", "proposed", of)
    changes = database.records(RegisteredChange, "report", "store_changes", of)
    return replace(content, plan=proposed, changes=tuple(changes))


def _chunks(stores: Sequence[str], most: int) -> Iterator[tuple[str, ...]]:
    remaining = iter(sorted(stores))
    while chunk := tuple(islice(remaining, most)):
        yield chunk


def _content(store: Store, rows: _Rows, approvers: tuple[str, ...]) -> StoreContent:
    key, words = store.store, wording(store.country)
    book = rows.book
    stations = tuple(_worded(station, book, words) for station in rows.of(key, PlannedStation))
    moves = tuple(_worded(move, book, words) for move in rows.of(key, PlannedMove))
    air = rows.of(key, EdEvidence)
    beside = tuple(_rule_named(row, book, words) for row in rows.of(key, NextDoor))
    pairs = rows.of(key, EarshotPair)
    findings = tuple(_finding(found, book, words) for found in rows.of(key, StoreFinding))
    plan = next(iter(rows.of(key, PlanInForce)), None)
    changes = rows.of(key, RegisteredChange) if plan else ()
    return StoreContent(
        store=store,
        stations=stations,
        moves=moves,
        air=air,
        findings=findings,
        pairs=pairs,
        wifi=rows.of(key, WifiGroup),
        proof=next(iter(rows.of(key, PlanQuality)), None),
        permitted=tuple(one.channel for one in rows.of(key, PermittedChannel)),
        figures=key_figures(stations, moves, air, findings, pairs, beside=beside),
        plan=plan,
        changes=tuple(_worded(change, book, words) for change in changes),
        refusals=rows.of(key, Refusal),
        held=tuple(_held(stations, book, words)),
        levels=rows.of(key, LevelSource),
        approvers=approvers,
        seal=next((Seal(s.size, s.root, s.as_of) for s in rows.of(key, StoreSeal)), None),
        inputs=next((Inputs(i.files, i.digest) for i in rows.of(key, StoreInputs)), None),
        outcomes=rows.of(key, ChangeOutcome),
        behind=rows.of(key, LabelBehind),
        found=rows.of(key, InventoryItem),
        neighbours=Beside(rows.of(key, JoinedStore), beside, rows.of(key, Owed)),
        scans=rows.of(key, ScanAsked),
        asked=StoreNeeds(
            cover=next(iter(rows.of(key, CoverStore)), None),
            places=rows.of(key, CoverPlace),
            requests=rows.of(key, WifiRequest),
            avoid=rows.of(key, WifiAvoid),
            terms=next(iter(rows.of(key, CoverTerms)), None),
        ),
    )


def _finding(found: StoreFinding, book: RuleBook, words: Wording) -> StoreFinding:
    """Return a finding with its title and sentence in the store's language."""
    return replace(
        found,
        severity=Severity(found.severity),
        title=book.title(found.rule, words.language),
        detail=book.sentence(found.rule, words, found.facts, found.detail),
    )


def _worded(about: Reasoned, book: RuleBook, words: Wording) -> Reasoned:
    """Return a station with its reason in the store's language, a move or change in short."""
    if not about.facts:
        return about
    if isinstance(about, PlannedStation):
        return replace(about, reason=_told(about.facts, book, words.country))
    short = brief(from_json(about.facts), words.language, words.country)
    return replace(about, reason=short)


def _told(facts: str, book: RuleBook, country: str | None) -> str:
    """Return a reason as a sentence, with what a rule says of it."""
    reason, words = from_json(facts), wording(country)
    bond = reason.bond
    if bond is not None and bond.by is not None and bond.detail is not None:
        said = book.sentence(bond.by, words, bond.facts, bond.detail)
        bond = replace(bond, detail=said, by=book.title(bond.by, words.language))
        reason = replace(reason, bond=bond)
    return sentence(reason, words.language, words.country)


def _rule_named(row: NextDoor, book: RuleBook, words: Wording) -> NextDoor:
    """Return a row with the rule that holds the station next door called by its title."""
    reason = from_json(row.facts) if row.facts else None
    bond = None if reason is None else reason.bond
    if reason is None or bond is None or bond.why != "held" or bond.by is None:
        return row
    named = replace(bond, by=book.title(bond.by, words.language))
    return replace(row, facts=to_json(replace(reason, bond=named)))


def _held(
    stations: Sequence[PlannedStation], book: RuleBook, words: Wording
) -> Iterator[HeldStation]:
    """Yield the stations that a rule, a refusal or a change made lately keeps where they are."""
    for station in stations:
        reason = from_json(station.facts) if station.facts and not station.moved else None
        if reason is None:
            continue
        bond, refused = reason.bond, reason.refused
        if bond is not None and bond.why in {"held", "settled"}:
            by = book.title(bond.by, words.language) if bond.why == "held" and bond.by else bond.by
            yield HeldStation(station.station, bond.why, by, bond.since)
        elif bond is None and refused is not None:
            yield HeldStation(station.station, "refused", refused.by, refused.on)


def key_figures(  # noqa: PLR0913 - what a store holds, kind by kind
    stations: Sequence[PlannedStation],
    moves: Sequence[PlannedMove],
    air: Sequence[EdEvidence],
    findings: Sequence[StoreFinding],
    pairs: Sequence[EarshotPair],
    *,
    beside: Sequence[NextDoor] = (),
) -> KeyFigures:
    """Return the key figures of a store; `pairs` are its stations in earshot of each other.

    Of the stations `beside` it, those in earshot count as pairs too.
    """
    pairs = [*pairs, *_through(beside)]
    sources = Counter(cell.source for cell in air)
    measured = [cell for cell in air if cell.source == "measured"]
    every, moves = stations, [move for move in moves if move.kind != "first"]
    installed = [station for station in stations if not station.to_install]
    stations = installed or every
    return KeyFigures(
        stations=len(installed),
        to_install=len(every) - len(installed),
        stations_moved=sum(station.moved for station in installed),
        steps=len(moves),
        parking_steps=sum(move.parking for move in moves),
        clear_air_now=_weighted(stations, _now),
        clear_air_planned=_weighted(stations, _planned),
        weakest_now=_weakest(stations, _now),
        weakest_planned=_weakest(stations, _planned),
        shared_now=_shared(pairs, _channels(every, "channel", beside, "channel_now")),
        shared_planned=_shared(pairs, _channels(every, "final_channel", beside, "channel_planned")),
        findings=_by_severity(findings),
        excepted=sum(finding.excepted is not None for finding in findings),
        measured=sources["measured"],
        inferred=sources["inferred"],
        absent=sources["absent"],
        own_traffic=sum(cell.own_traffic for cell in air),
        readings_median=median(cell.readings for cell in measured) if measured else None,
        newest_scan=max((c.newest_at for c in measured if c.newest_at), default=None),
        sureness={word: sum(s.sureness == word for s in stations) for word in _SURENESS},
        labels=sum(s.labels for s in stations),
        weak_labels=sum(s.weak_labels for s in stations),
        silent_labels=sum(s.silent_labels for s in stations),
        lone_labels=sum(s.lone_labels for s in stations),
    )


def _through(beside: Sequence[NextDoor]) -> list[EarshotPair]:
    """Return the pairs in earshot through the wall."""
    near = [row for row in beside if row.in_earshot]
    return [EarshotPair(r.store, r.station, r.called, r.hit, r.heard_dbm) for r in near]


def _channels(
    own: Sequence[PlannedStation], channel: str, beside: Sequence[NextDoor], there: str
) -> Mapping[str, int | None]:
    """Return the channels, by station, of a store and of those beside it."""
    next_door = {row.called: getattr(row, there) for row in beside}
    return next_door | {one.station: getattr(one, channel) for one in own}


def _weighted(stations: Sequence[PlannedStation], figure: _Figure) -> float | None:
    """Return the mean over the labels served, or over the stations if none has labels."""
    known = [(value, s.weight) for s in stations if (value := figure(s)) is not None]
    if not known:
        return None
    total = fsum(weight for _, weight in known)
    if total <= 0:
        return fsum(value for value, _ in known) / len(known)
    return fsum(value * weight for value, weight in known) / total


def _weakest(stations: Sequence[PlannedStation], figure: _Figure) -> Rated | None:
    rated = [Rated(s.station, value) for s in stations if (value := figure(s)) is not None]
    return min(rated, key=attrgetter("value"), default=None)


def _shared(
    pairs: Sequence[EarshotPair], channel: Mapping[str, int | None]
) -> tuple[EarshotPair, ...]:
    return tuple(
        pair
        for pair in pairs
        if (own := channel.get(pair.station)) is not None and own == channel.get(pair.neighbour)
    )


def _by_severity(findings: Sequence[StoreFinding]) -> Mapping[Severity, int]:
    standing = Counter(f.severity for f in findings if f.excepted is None)
    return {severity: standing[severity] for severity in Severity}
