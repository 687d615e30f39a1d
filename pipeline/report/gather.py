"""Read what the reports say from the database, some stores at a time."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import TypeVar

from pipeline.database import Database
from pipeline.due import narrowed, program, store_marks
from pipeline.reasons import from_json, sentence
from pipeline.records import Finding, Severity
from pipeline.report.content import (
    Air,
    Change,
    Move,
    Pair,
    Plan,
    Proof,
    Station,
    Store,
    StoreContent,
    Wifi,
)
from pipeline.report.key_figures import key_figures
from pipeline.report.rule_book import RuleBook, rule_book
from pipeline.report.wording import wording

CHUNK = 200  # stores held in memory at once
MARKED = 1000  # stores whose rows, not their contents, are held in memory at once
# What is read of each store: SQL files of this step, with the values of their parameters.
_READ: Mapping[str, Mapping[str, object]] = {
    "store": {}, "station": {}, "move": {}, "evidence": {}, "finding": {}, "pair": {}, "wifi": {},
    "proof": {}, "permitted": {}, "plan": {}, "change": {"plan": None},
}  # fmt: skip
Row = TypeVar("Row")
Reasoned = TypeVar("Reasoned", Station, Move)


@dataclass(frozen=True, slots=True)
class _Found:
    """A finding as kept: the English sentence, and the facts for any other language."""

    rule: str
    severity: str
    store: str
    subject: str
    detail: str
    facts: str | None
    excepted: str | None


@dataclass(frozen=True, slots=True)
class _Parts:
    """The rows of one chunk of stores, by store."""

    stations: Mapping[str, list[Station]]
    moves: Mapping[str, list[Move]]
    air: Mapping[str, list[Air]]
    findings: Mapping[str, list[_Found]]
    book: RuleBook
    pairs: Mapping[str, list[Pair]]
    wifi: Mapping[str, list[Wifi]]
    proofs: Mapping[str, list[Proof]]
    permitted: Mapping[str, list[int]]
    plans: Mapping[str, list[Plan]]
    changes: Mapping[str, list[Change]]
    approvers: tuple[str, ...]


def store_contents(
    database: Database, stores: Sequence[str], approvers: tuple[str, ...] = ()
) -> Iterator[StoreContent]:
    """Yield the contents of the named stores in ascending order of their names.

    At most `CHUNK` stores are held in memory at once. `approvers` may decide on changes.
    """
    for chunk in _chunks(stores, CHUNK):
        yield from _chunk(database, chunk, approvers)


def content_marks(
    database: Database, stores: Sequence[str], approvers: tuple[str, ...] = ()
) -> dict[str, str]:
    """Return the fingerprint of each store's content, and of the program that words it.

    It is made from the very rows `store_contents` reads, without making the content.
    """
    marks: dict[str, str] = {}
    words = repr(rule_book(database))
    for chunk in _chunks(stores, MARKED):
        with narrowed(database, chunk, "earshot", "ed_evidence", "wifi_seen"):
            frames = [database.frame("report", name, values) for name, values in _READ.items()]
            marks |= store_marks(frames, program(), words, *approvers)
    return marks


def _chunks(stores: Sequence[str], most: int) -> Iterator[tuple[str, ...]]:
    remaining = iter(sorted(stores))
    while chunk := tuple(islice(remaining, most)):
        yield chunk


def _chunk(
    database: Database, chunk: Sequence[str], approvers: tuple[str, ...]
) -> Iterator[StoreContent]:
    with narrowed(database, chunk, "earshot", "ed_evidence", "wifi_seen"):
        read = {name: database.rows("report", name, values) for name, values in _READ.items()}

    def rows(name: str, record: Callable[..., Row]) -> Mapping[str, list[Row]]:
        found: dict[str, list[Row]] = defaultdict(list)
        for store, *values in read[name]:
            found[store].append(record(*values))
        return found

    parts = _Parts(
        stations=rows("station", Station),
        moves=rows("move", Move),
        air=rows("evidence", Air),
        findings=rows("finding", _Found),
        book=rule_book(database),
        pairs=rows("pair", Pair),
        wifi=rows("wifi", Wifi),
        proofs=rows("proof", Proof),
        permitted=rows("permitted", int),
        plans=rows("plan", Plan),
        changes=rows("change", Change),
        approvers=approvers,
    )
    for values in read["store"]:
        yield _content(Store(*values), parts)


def _finding(found: _Found, book: RuleBook, language: str) -> Finding:
    """Return a finding with its title and sentence in the store's language."""
    return Finding(
        rule=found.rule,
        severity=Severity(found.severity),
        store=found.store,
        subject=found.subject,
        detail=book.sentence(found.rule, language, found.facts, found.detail),
        excepted=found.excepted,
        title=book.title(found.rule, language),
    )


def _worded(about: Reasoned, language: str) -> Reasoned:
    """Return a station or move with its reason in the store's language."""
    if not about.facts:
        return about
    return replace(about, reason=sentence(from_json(about.facts), language))


def _content(store: Store, parts: _Parts) -> StoreContent:
    key = store.store
    proofs = parts.proofs.get(key, [])
    language = wording(store.country).language
    stations = tuple(_worded(station, language) for station in parts.stations.get(key, ()))
    moves = tuple(_worded(move, language) for move in parts.moves.get(key, ()))
    air = tuple(parts.air.get(key, ()))
    findings = tuple(_finding(f, parts.book, language) for f in parts.findings.get(key, ()))
    pairs = tuple(parts.pairs.get(key, ()))
    plans = parts.plans.get(key, [])
    return StoreContent(
        store=store,
        stations=stations,
        moves=moves,
        air=air,
        findings=findings,
        pairs=pairs,
        wifi=tuple(parts.wifi.get(key, ())),
        proof=proofs[0] if proofs else None,
        permitted=tuple(parts.permitted.get(key, ())),
        figures=key_figures(stations, moves, air, findings, pairs),
        plan=plans[0] if plans else None,
        changes=tuple(parts.changes.get(key, ())) if plans else (),
        approvers=parts.approvers,
    )
