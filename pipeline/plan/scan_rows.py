"""The scans asked of each store, from the plan's case."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline.plan.costs import hit
from pipeline.plan.decide import Terms
from pipeline.plan.explain import Case, Evidence
from pipeline.plan.scan import Outlook, Prospects, ScanVisit, outlooks
from pipeline.plan.stakes import Stakes
from pipeline.plan.store import with_channels
from pipeline.records import StoreStation
from pipeline.tables.plan import ScanNext, StationPlan


@dataclass(frozen=True, slots=True)
class ScanTerms:
    """A visit, and below which chance of a change a decision is settled."""

    visit: ScanVisit
    unsettled_most: float


@dataclass(frozen=True, slots=True)
class _Visit:
    """A visit, and the chance of being heard from which an own station disturbs it, 0..1."""

    scan: ScanVisit
    earshot: float


@dataclass(frozen=True, slots=True)
class ScansOfStore:
    """The chance that more data would change a store's plan, and the scans that settle it."""

    unsettled: float
    rows: tuple[ScanNext, ...]


def scans_of(
    case: Case, stakes: Stakes, plan: Sequence[StationPlan], terms: Terms, asked: ScanTerms
) -> dict[str, ScansOfStore]:
    """Return the scans of each store of a case, by the plan of all its stations and its stakes.

    For a station still to be installed, scans are taken near its place.
    """
    stations = with_channels(case.free, {}).stations
    pairs = zip(stations, plan, strict=True)
    after = [station.choices.index(one.channel_planned) for station, one in pairs]
    prospects = Prospects(
        stakes,
        tuple(after),
        terms,
        asked.visit,
        seed=case.problem.store,
        known=[[_own(case.evidence.get((s.station, c))) for c in s.choices] for s in stations],
        channels=[s.choices for s in stations],
    )
    at_home: dict[str, list[int]] = {}
    for i, station in enumerate(stations):
        store = case.homes[station.station][0] if case.homes else case.problem.store
        at_home.setdefault(store, []).append(i)
    found = outlooks(prospects, list(at_home.values()), asked.unsettled_most)
    visit = _Visit(asked.visit, terms.earshot)
    return {
        store: ScansOfStore(outlook.unsettled, tuple(_rows(case, store, stations, outlook, visit)))
        for store, outlook in zip(at_home, found, strict=True)
    }


def _own(known: Evidence | None) -> tuple[float, float]:
    return (1.0, 1.0) if known is None else known.scanned


def _rows(
    case: Case, store: str, stations: Sequence[StoreStation], outlook: Outlook, visit: _Visit
) -> Iterator[ScanNext]:
    # `quiet`: an own station would be heard in a scan of the channel, where it is today.
    on = {one.station: one.channel for one in case.problem.stations}
    for place, one in enumerate(outlook.asked, start=1):
        station = stations[one.station]
        for at, carried in sorted(one.channels.items(), key=lambda item: (-item[1], item[0])):
            turn, channel = one.turns[at], station.choices[at]
            yield ScanNext(
                store=store,
                station=case.homes[station.station][1] if case.homes else station.station,
                place=place,
                channel=channel,
                visits=one.visits,
                readings=visit.scan.readings,
                worth=one.worth,
                carried=carried,
                quiet=any(
                    heard.station == station.station
                    and hit(heard, channel, on[heard.neighbour]) >= visit.earshot
                    for heard in case.problem.heard
                ),
                turns_at=turn.share,
                channel_then=None if turn.choice is None else station.choices[turn.choice],
            )
