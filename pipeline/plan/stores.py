"""The plan step: every store's problem out of the database, every store's plan back into it."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from functools import partial
from itertools import groupby, islice
from math import fsum
from operator import attrgetter
from typing import TypeVar

from pipeline.database import Database
from pipeline.fresh import choose, keep, narrowed, run_mark, stale, store_marks
from pipeline.parallel import mapped
from pipeline.plan.costs import StoreProblem
from pipeline.plan.decide import Terms
from pipeline.plan.explain import Case, Evidence, Level
from pipeline.plan.refused import RefusedChannel, StationThen, still_refused
from pipeline.plan.sensitivity import Doubt, sensitivity
from pipeline.plan.store import StorePlan, plan_and_hold
from pipeline.progress import Progress
from pipeline.radio.coexistence import Rejection
from pipeline.reasons import Bond, RefusedMove, Unplanned, why_unplanned
from pipeline.records import OFF_AIR, Heard, StoreStation
from pipeline.settings import Settings
from pipeline.tables.declare import packed
from pipeline.tables.plan import Move, PlanProof, PlanSensitivity, StationPlan, UnplannedStore
from pipeline.tables.run import PermittedChannel
from pipeline.tables.survey import Earshot

KEPT = 64  # stores planned between one commit and the next
_AS_OTHERS = 10.0  # readings, worth as much as independent ones


@dataclass(frozen=True, slots=True)
class StationToday:
    """A station of today, or one to be installed, which has no channel yet.

    `kept_on` is the channel it is bound to, or None, and why.
    """

    store: str
    station: str
    channel: int | None
    weight: float
    air_share: float
    kept_on: int | None
    kept_why: str | None
    kept_by: str | None
    kept_since: date | None
    kept_detail: str | None
    kept_facts: str | None
    first: bool  # its move comes before others

    @property
    def free(self) -> bool:
        """Whether it may have any channel; one changed lately may, if that is sure to gain."""
        return self.kept_on is None or self.kept_why == "settled"


@dataclass(frozen=True, slots=True)
class EvidenceRow:
    """What is known of one station's channel; figures as in `Evidence`."""

    store: str
    station: str
    channel: int
    share: float | None
    low: float | None
    high: float | None
    cost: float
    a: float
    b: float
    worth: float
    readings: int
    own_traffic: bool
    source: str
    wifi: str | None
    lost: float | None
    __reduce__ = packed


@dataclass(frozen=True, slots=True)
class StoreRows:
    """What the database holds of one store, as the plan needs it; no stations: nothing to plan."""

    store: str
    stations: Sequence[StationToday]
    choices: Sequence[PermittedChannel]
    evidence: Sequence[EvidenceRow]
    heard: Sequence[Earshot]
    refused: Sequence[RefusedChannel] = ()
    then: Sequence[StationThen] = ()
    held: Unplanned | None = None  # why the store is not planned


@dataclass(frozen=True, slots=True)
class HeldStore:
    """A store with stations on channels nobody here knows: why, the first of them, how many."""

    store: str
    cause: str
    subject: str
    stations: int

    def reason(self) -> Unplanned:
        """Return why the store is not planned."""
        return Unplanned(self.cause, self.subject, self.stations - 1)


def plan(database: Database, settings: Settings, progress: Progress) -> None:
    """Fill the tables of the plan for the day of this run; skip stores whose inputs are unchanged.

    Plans are committed some stores at a time; an interrupted run resumes.
    """
    # Read once, not for every few stores.
    with database.held("station_then", "station_bound", "channel_refused"):
        _plan(database, settings, progress)


def _plan(database: Database, settings: Settings, progress: Progress) -> None:
    marks = _marks(database, settings)
    found = stale(database, "plan", marks)
    work = partial(_planned, limits=dict(settings.limits))
    rows = (each for stores in found.chunks() for each in _store_rows(database, stores))
    planned = mapped(work, rows, len(found.stores))
    watched = iter(progress.over(planned, "planning", len(found.stores)))
    while some := list(islice(watched, KEPT)):
        stores = [one.store for one in some]
        with database.transaction():
            _keep(database, stores, some)
            keep(database, "plan", stores, marks)


def _marks(database: Database, settings: Settings) -> dict[str, str]:
    """Return the fingerprint of what each store's plan is made from."""
    inputs = database.frame("plan", "inputs")
    choose(database, inputs["store"].to_list())
    names = ("stations", "refused", "then")
    frames = [inputs, *(database.frame("plan", name) for name in names)]
    return store_marks(frames, run_mark(database, settings.limits))


@dataclass(frozen=True, slots=True)
class _Planned:
    """What came of one store: a plan and how sure it is, or the reason why there is none."""

    store: str
    plan: StorePlan | None = None
    sensitivity: PlanSensitivity | None = None
    unplanned: UnplannedStore | None = None


def _planned(rows: StoreRows, limits: Mapping[str, float]) -> _Planned:
    if not rows.stations:
        return _Planned(rows.store)
    if rows.held is not None:
        return _Planned(rows.store, unplanned=_unplanned(rows.store, rows.held))
    if not rows.choices:
        return _Planned(rows.store, unplanned=_unplanned(rows.store, _NO_CHANNEL))
    case = store_case(rows, limits)
    found, case = plan_and_hold(case, int(limits["solver_effort"]), terms_of(limits))
    after = [station.channel_planned for station in found.stations]
    draws = int(limits["sensitivity_draws"])
    sure, kept = sensitivity(case, after, _doubt(limits), draws)
    stations = (replace(s, kept=share) for s, share in zip(found.stations, kept, strict=True))
    return _Planned(rows.store, replace(found, stations=tuple(stations)), sure)


def case_of(database: Database, settings: Settings, store: str) -> Case | None:
    """Return the problem of one store with its evidence; None where no plan can be made."""
    (rows,) = _store_rows(database, [store])
    if not (rows.stations and rows.choices) or rows.held is not None:
        return None
    return store_case(rows, settings.limits)


def terms_of(limits: Mapping[str, float]) -> Terms:
    """Return what the rules file asks of moves."""
    return Terms(
        least_chance=limits["least_chance_of_gain"],
        per_visit=limits["price_per_visit"],
        earshot=limits["earshot_probability"],
    )


def _doubt(limits: Mapping[str, float]) -> Doubt:
    return Doubt(
        cca_threshold_dbm=limits["cca_threshold_dbm"],
        rejection=Rejection(limits["adjacent_rejection_db"], limits["alternate_rejection_db"]),
        residual_spread_db=limits["measured_spread_db"],
    )


_NO_CHANNEL = Unplanned("no-channel")


def _unplanned(store: str, why: Unplanned) -> UnplannedStore:
    facts = json.dumps(asdict(why))
    return UnplannedStore(store, why_unplanned(facts), facts)


def store_case(rows: StoreRows, limits: Mapping[str, float]) -> Case:
    """Return a store's problem with the evidence behind it, from its rows."""
    known = {row.station for row in rows.stations}
    heard = [row for row in rows.heard if {row.station, row.neighbour} <= known]
    choices = tuple(row.channel for row in rows.choices)
    evidence = {(row.station, row.channel): _evidence(row) for row in rows.evidence}
    problem = StoreProblem(
        store=rows.store,
        stations=tuple(_station(row, choices, ()) for row in rows.stations),
        heard=tuple(
            Heard(row.station, row.neighbour, (row.hit_co, row.hit_adjacent, row.hit_alternate))
            for row in heard
        ),
        busy={at: known.reckoned for at, known in evidence.items()},
        cost={at: known.cost for at, known in evidence.items()},
        lost=_lost(rows),
        price_per_move=limits["price_per_move"],
        own_weight=limits["own_traffic_weight"],
    )
    refused = still_refused(problem, rows.refused, rows.then)
    stations = tuple(_station(row, choices, refused) for row in rows.stations)
    return Case(
        problem=replace(problem, stations=stations),
        evidence=evidence,
        levels={
            (row.station, row.neighbour): Level(row.heard_dbm, row.spread_db, row.source)
            for row in rows.heard
        },
        permitted=choices,
        bonds={
            row.station: Bond(
                row.kept_why, row.kept_by, row.kept_since, row.kept_detail, row.kept_facts
            )
            for row in rows.stations
            if row.kept_on is not None and row.kept_why is not None
        },
        refused={
            row.station: RefusedMove(row.channel, row.by, row.day, row.until, row.note)
            for row in refused
        },
        first=frozenset(row.station for row in rows.stations if row.first),
    )


def _lost(rows: StoreRows) -> dict[tuple[str, int], float]:
    """Return the frames lost to weak interference as the plan reckons with them.

    Ten readings more are taken to be as the store's are on average, so that a few readings decide
    little. An unread channel loses as many as the store's, and no fewer than the one left for it.
    """
    told = [row for row in rows.evidence if row.lost is not None]
    total = fsum(row.worth for row in told)
    if not total:
        return {}
    mean = fsum(row.worth * (row.lost or 0.0) for row in told) / total
    read = {
        (row.station, row.channel): (row.worth * (row.lost or 0.0) + _AS_OTHERS * mean)
        / (row.worth + _AS_OTHERS)
        for row in told
    }
    here = {
        row.station: read.get((row.station, row.channel or OFF_AIR), mean) for row in rows.stations
    }
    unread = {station: max(mean, lost) for station, lost in here.items()}
    return {
        (row.station, row.channel): read.get(
            (row.station, row.channel), unread.get(row.station, mean)
        )
        for row in rows.evidence
    }


def _evidence(row: EvidenceRow) -> Evidence:
    return Evidence(
        share=row.share,
        low=row.low,
        high=row.high,
        cost=row.cost,
        a=row.a,
        b=row.b,
        worth=row.worth,
        readings=row.readings,
        own_traffic=row.own_traffic,
        source=row.source,
        wifi=row.wifi,
        lost=row.lost,
    )


def _station(
    row: StationToday, choices: tuple[int, ...], refused: Sequence[RefusedChannel]
) -> StoreStation:
    """Return a station with its choices: those not refused, unless that leaves none."""
    no = {each.channel for each in refused if each.station == row.station}
    left = tuple(channel for channel in choices if channel not in no)
    return StoreStation(
        station=row.station,
        channel=row.channel or OFF_AIR,
        choices=(left or choices) if row.free else (row.kept_on or row.channel or OFF_AIR,),
        weight=row.weight,
        air_share=row.air_share,
    )


def _store_rows(database: Database, stores: Sequence[str]) -> list[StoreRows]:
    """Return what the plan needs of some stores, in name order."""
    with narrowed(database, stores, "label_matched"):
        stations = _by_store(database.records(StationToday, "plan", "stations"))
        choices = _by_store(database.records(PermittedChannel, "plan", "choices"))
        evidence = _by_store(database.records(EvidenceRow, "plan", "evidence"))
        heard = _by_store(database.records(Earshot, "plan", "heard"))
        refused = _by_store(database.records(RefusedChannel, "plan", "refused"))
        then = _by_store(database.records(StationThen, "plan", "then"))
    held = {one.store: one.reason() for one in database.records(HeldStore, "plan", "held")}
    return [
        StoreRows(
            store,
            stations=stations.get(store, []),
            choices=choices.get(store, []),
            evidence=evidence.get(store, []),
            heard=heard.get(store, []),
            refused=refused.get(store, []),
            then=then.get(store, []),
            held=held.get(store),
        )
        for store in stores
    ]


OfStore = TypeVar(
    "OfStore", StationToday, PermittedChannel, EvidenceRow, Earshot, RefusedChannel, StationThen
)


def _by_store(rows: Sequence[OfStore]) -> dict[str, list[OfStore]]:
    return {store: list(group) for store, group in groupby(rows, key=attrgetter("store"))}


def _keep(database: Database, stores: Sequence[str], found: Sequence[_Planned]) -> None:
    plans = [one.plan for one in found if one.plan is not None]
    stations = [station for plan in plans for station in plan.stations]
    moves = [move for plan in plans for move in plan.moves]
    proofs = [plan.proof for plan in plans]
    doubts = [one.sensitivity for one in found if one.sensitivity is not None]
    unplanned = [one.unplanned for one in found if one.unplanned is not None]
    choose(database, stores)
    database.clear_chosen(Move, StationPlan, PlanProof, PlanSensitivity, UnplannedStore)
    database.put(StationPlan, stations)
    database.put(Move, moves)
    database.put(PlanProof, proofs)
    database.put(PlanSensitivity, doubts)
    database.put(UnplannedStore, unplanned)
