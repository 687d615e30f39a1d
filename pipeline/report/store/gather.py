"""Read what the reports of stores say from the database, and work out the key figures."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from math import fsum
from operator import attrgetter
from statistics import median
from typing import TypeVar

from pipeline.database import Database
from pipeline.due import choose, narrowed, program, store_marks
from pipeline.reasons import from_json, sentence
from pipeline.records import Finding, Severity
from pipeline.report.store.content import (
    ChannelAir,
    EarshotPair,
    KeyFigures,
    PlanInForce,
    PlannedMove,
    PlannedStation,
    PlanProof,
    Rated,
    RegisteredChange,
    Store,
    StoreContent,
    WifiGroup,
)
from pipeline.wording import wording

CHUNK = 200  # stores held in memory at once
MARKED = 1000  # stores whose rows, not their contents, are held in memory at once
# What is read of each store: SQL files of this step, with the values of their parameters.
_READ: Mapping[str, Mapping[str, object]] = {
    "store": {}, "station": {}, "move": {}, "evidence": {}, "finding": {}, "pair": {}, "wifi": {},
    "proof": {}, "permitted": {}, "plan": {}, "change": {"plan": None},
}  # fmt: skip
Row = TypeVar("Row")
Reasoned = TypeVar("Reasoned", PlannedStation, PlannedMove)


@dataclass(frozen=True, slots=True)
class _Parts:
    """The rows of one chunk of stores, by store."""

    stations: Mapping[str, list[PlannedStation]]
    moves: Mapping[str, list[PlannedMove]]
    air: Mapping[str, list[ChannelAir]]
    findings: Mapping[str, list[Finding]]
    pairs: Mapping[str, list[EarshotPair]]
    wifi: Mapping[str, list[WifiGroup]]
    proofs: Mapping[str, list[PlanProof]]
    permitted: Mapping[str, list[int]]
    plans: Mapping[str, list[PlanInForce]]
    changes: Mapping[str, list[RegisteredChange]]
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
    for chunk in _chunks(stores, MARKED):
        with narrowed(database, "report", chunk):
            frames = [database.frame("report", name, values) for name, values in _READ.items()]
            marks |= store_marks(frames, program(), *approvers)
    return marks


def back_out_content(database: Database, store: str, plan: str) -> StoreContent:
    """Return a store's content with a plan of the register and its changes for the one in force."""
    (content,) = store_contents(database, [store])
    choose(database, [store])
    rows = database.rows("report", "change", {"plan": plan})
    changes = tuple(RegisteredChange(*row[1:]) for row in rows)
    proposed_by, proposed_on = database.rows("report", "proposed", {"plan": plan})[0]
    return replace(content, plan=PlanInForce(plan, proposed_on, proposed_by), changes=changes)


def _chunks(stores: Sequence[str], most: int) -> Iterator[tuple[str, ...]]:
    remaining = iter(sorted(stores))
    while chunk := tuple(islice(remaining, most)):
        yield chunk


def _chunk(
    database: Database, chunk: Sequence[str], approvers: tuple[str, ...]
) -> Iterator[StoreContent]:
    with narrowed(database, "report", chunk):
        read = {name: database.rows("report", name, values) for name, values in _READ.items()}

    def rows(name: str, record: Callable[..., Row]) -> Mapping[str, list[Row]]:
        found: dict[str, list[Row]] = defaultdict(list)
        for store, *values in read[name]:
            found[store].append(record(*values))
        return found

    parts = _Parts(
        stations=rows("station", PlannedStation),
        moves=rows("move", PlannedMove),
        air=rows("evidence", ChannelAir),
        findings=rows("finding", _finding),
        pairs=rows("pair", EarshotPair),
        wifi=rows("wifi", WifiGroup),
        proofs=rows("proof", PlanProof),
        permitted=rows("permitted", int),
        plans=rows("plan", PlanInForce),
        changes=rows("change", RegisteredChange),
        approvers=approvers,
    )
    for values in read["store"]:
        yield _content(Store(*values), parts)


def _finding(  # noqa: PLR0913, PLR0917 - one argument a column
    rule: str, severity: str, store: str, subject: str, detail: str, excepted: str | None
) -> Finding:
    return Finding(rule, Severity(severity), store, subject, detail, excepted)


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
    findings = tuple(parts.findings.get(key, ()))
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


SURENESS = ("high", "fair", "low")
_Figure = Callable[[PlannedStation], float | None]
_now: _Figure = attrgetter("clear_air_now")
_planned: _Figure = attrgetter("clear_air_planned")


def key_figures(
    stations: Sequence[PlannedStation],
    moves: Sequence[PlannedMove],
    air: Sequence[ChannelAir],
    findings: Sequence[Finding],
    pairs: Sequence[EarshotPair],
) -> KeyFigures:
    """Return the figures of one store; `pairs` are those in earshot of each other."""
    sources = Counter(cell.source for cell in air)
    measured = [cell for cell in air if cell.source == "measured"]
    return KeyFigures(
        stations=len(stations),
        stations_moved=sum(station.moved for station in stations),
        steps=len(moves),
        parking_steps=sum(move.parking for move in moves),
        clear_air_now=_weighted(stations, _now),
        clear_air_planned=_weighted(stations, _planned),
        weakest_now=_weakest(stations, _now),
        weakest_planned=_weakest(stations, _planned),
        shared_now=_shared(pairs, {s.station: s.channel for s in stations}),
        shared_planned=_shared(pairs, {s.station: s.final_channel for s in stations}),
        findings=_by_severity(findings),
        excepted=sum(finding.excepted is not None for finding in findings),
        measured=sources["measured"],
        inferred=sources["inferred"],
        absent=sources["absent"],
        own_traffic=sum(cell.own_traffic for cell in air),
        readings_median=median(cell.readings for cell in measured) if measured else None,
        newest_scan=max((c.newest_at for c in measured if c.newest_at), default=None),
        sureness={word: sum(s.sureness == word for s in stations) for word in SURENESS},
        labels=sum(s.labels for s in stations),
        weak_labels=sum(s.weak_labels for s in stations),
        silent_labels=sum(s.silent_labels for s in stations),
        lone_labels=sum(s.lone_labels for s in stations),
    )


def _weighted(stations: Sequence[PlannedStation], figure: _Figure) -> float | None:
    """Return the mean over the labels served; over the stations where none has labels."""
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


def _by_severity(findings: Sequence[Finding]) -> Mapping[Severity, int]:
    standing = Counter(f.severity for f in findings if f.excepted is None)
    return {severity: standing[severity] for severity in Severity}
