"""The store in numbers: the arithmetic of a report, done before anything is laid out."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from math import fsum
from operator import attrgetter
from statistics import median

from pipeline.records import Finding, Severity
from pipeline.report.content import Air, KeyFigures, Move, Pair, Rated, Station

SURENESS = ("high", "fair", "low")
_Figure = Callable[[Station], float | None]
_now: _Figure = attrgetter("clear_air_now")
_planned: _Figure = attrgetter("clear_air_planned")


def key_figures(
    stations: Sequence[Station],
    moves: Sequence[Move],
    air: Sequence[Air],
    findings: Sequence[Finding],
    pairs: Sequence[Pair],
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


def _weighted(stations: Sequence[Station], figure: _Figure) -> float | None:
    """Return the mean over the labels served; over the stations where none has labels."""
    known = [(value, s.weight) for s in stations if (value := figure(s)) is not None]
    if not known:
        return None
    total = fsum(weight for _, weight in known)
    if total <= 0:
        return fsum(value for value, _ in known) / len(known)
    return fsum(value * weight for value, weight in known) / total


def _weakest(stations: Sequence[Station], figure: _Figure) -> Rated | None:
    rated = [Rated(s.station, value) for s in stations if (value := figure(s)) is not None]
    return min(rated, key=attrgetter("value"), default=None)


def _shared(pairs: Sequence[Pair], channel: Mapping[str, int | None]) -> tuple[Pair, ...]:
    return tuple(
        pair
        for pair in pairs
        if (own := channel.get(pair.station)) is not None and own == channel.get(pair.neighbour)
    )


def _by_severity(findings: Sequence[Finding]) -> Mapping[Severity, int]:
    standing = Counter(f.severity for f in findings if f.excepted is None)
    return {severity: standing[severity] for severity in Severity}
