"""The plan step: every store's problem out of the database, every store's plan back into it."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from itertools import groupby, islice
from operator import attrgetter

from pipeline.database import Database
from pipeline.fresh import CHUNK, choose, fingerprint, keep, run_mark, stale, store_marks
from pipeline.plan.costs import hit
from pipeline.plan.cover import cover
from pipeline.plan.decide import Terms
from pipeline.plan.explain import Case, Evidence
from pipeline.plan.further import on_the_air
from pipeline.plan.joint import of_each, owed_next_door, sure_of
from pipeline.plan.read import Joined, ScanTerms, scan_terms, unit_rows
from pipeline.plan.requests import WifiStanding, avoided, requests
from pipeline.plan.rows import StoreRows, store_case
from pipeline.plan.scan import Outlook, Prospects, ScanVisit, outlooks
from pipeline.plan.sensitivity import Doubt, sensitivity
from pipeline.plan.stakes import Stakes
from pipeline.plan.store import StorePlan, plan_and_hold, with_channels
from pipeline.plan.wifi import WifiTerms
from pipeline.progress import Progress, mapped
from pipeline.radio.coexistence import Rejection
from pipeline.reasons import Unplanned, why_unplanned
from pipeline.records import StoreStation
from pipeline.settings import Settings
from pipeline.tables.plan import (
    CoverPlace,
    CoverStore,
    Move,
    OwedNextDoor,
    PlanProof,
    PlanSensitivity,
    ScanNext,
    StationPlan,
    UnplannedStore,
    WifiAvoid,
    WifiRequest,
)

KEPT = 64  # stores planned between one commit and the next


def plan(database: Database, settings: Settings, progress: Progress) -> None:
    """Fill the tables of the plan for the day of this run; skip stores whose inputs are unchanged.

    Plans are committed some stores at a time; an interrupted run resumes.
    """
    # Read once, not for every few stores.
    with database.held("change_story", "station_then", "channel_refused", "station_bound"):
        _plan(database, settings, progress)


def _plan(database: Database, settings: Settings, progress: Progress) -> None:
    joined = database.records(Joined, "plan", "joined")
    marks = _marks(database, settings, joined)
    due = stale(database, "plan", marks).stores
    limits = dict(settings.limits)
    work = partial(_planned, limits=limits, asked=scan_terms(database, limits))
    units = _units(due, joined)
    planned = mapped(work, _rows(database, settings, units, joined), len(units))
    watched = iter(progress.over(planned, "planning", len(units)))
    while some := list(islice(watched, KEPT)):
        each = [one for unit in some for one in unit]
        stores = [one.store for one in each]
        with database.transaction():
            _keep(database, stores, each)
            keep(database, "plan", stores, marks)


def _marks(database: Database, settings: Settings, joined: Sequence[Joined]) -> dict[str, str]:
    """Return the fingerprint of what each store's plan is made from.

    That of stores planned together is of them all: where one is due, so are the others.
    """
    inputs = database.frame("plan", "inputs")
    choose(database, inputs["store"].to_list())
    names = ("stations", "refused", "then")
    frames = [inputs, *(database.frame("plan", name) for name in names)]
    told = [*settings.wifi_own, *map(repr, settings.places), settings.path_loss]
    marks = store_marks(frames, run_mark(database, settings.limits, *told))
    for joint, group in groupby(joined, key=attrgetter("joint")):
        own = list(group)
        parts = [f"{one.store} {one.unseen} {marks.get(one.store, '')}" for one in own]
        marks |= {one.store: fingerprint(joint, *parts) for one in own}
    return marks


def _units(due: Sequence[str], joined: Sequence[Joined]) -> list[list[str]]:
    """Return the stores due, those planned together as one, at the first of them."""
    joint_of = {one.store: one.joint for one in joined}
    groups: dict[str, list[str]] = {}
    for store in due:
        groups.setdefault(joint_of.get(store, store), []).append(store)
    for one in joined:  # also those that have nothing to plan
        if one.joint in groups and one.store not in groups[one.joint]:
            groups[one.joint].append(one.store)
    return list(groups.values())


def _rows(
    database: Database, settings: Settings, units: Sequence[list[str]], joined: Sequence[Joined]
) -> Iterator[StoreRows]:
    """Yield what each of the units rests on."""
    for first in range(0, len(units), CHUNK):
        yield from unit_rows(database, settings, units[first : first + CHUNK], joined)


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


@dataclass(frozen=True, slots=True)
class _Planned:
    """What came of one store: a plan and how sure it is, or the reason why there is none."""

    store: str
    plan: StorePlan | None = None
    sensitivity: PlanSensitivity | None = None
    unplanned: UnplannedStore | None = None
    owed: tuple[OwedNextDoor, ...] = ()
    scans: tuple[ScanNext, ...] = ()
    cover: CoverStore | None = None
    places: tuple[CoverPlace, ...] = ()
    requests: tuple[WifiRequest, ...] = ()
    avoid: tuple[WifiAvoid, ...] = ()


def _planned(rows: StoreRows, limits: Mapping[str, float], asked: ScanTerms) -> list[_Planned]:
    """Plan a store, or those that are planned together."""
    parts = rows.parts or (rows,)
    given = [_given(part, limits) for part in parts if part.given or not part.stations]
    if len(given) == len(parts):
        return given
    found, case, stakes, sure = _solved(rows, limits)
    scans = scans_of(case, stakes, found.stations, terms_of(limits), asked)
    if not rows.parts:
        one = _with_scans(_Planned(rows.store, found, sure), scans)
        return [_beside(one, rows, case, found, limits)]
    plans = of_each(found, case)
    planned = [part for part in parts if part.store not in {one.store for one in given}]
    return given + [
        _beside(
            _with_scans(
                _Planned(
                    part.store,
                    plans[part.store],
                    sure_of(sure, case, part.store),
                    owed=owed_next_door(case, found, part.store, _alone(part, limits)),
                ),
                scans,
            ),
            part,
            case.seen_from(part.store),
            found,
            limits,
        )
        for part in planned
    ]


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
        known=[[_scanned(case.evidence.get((s.station, c))) for c in s.choices] for s in stations],
        channels=[s.choices for s in stations],
    )
    at_home: dict[str, list[int]] = {}
    for i, station in enumerate(stations):
        store = case.homes[station.station][0] if case.homes else case.problem.store
        at_home.setdefault(store, []).append(i)
    found = outlooks(prospects, list(at_home.values()), asked.unsettled_most)
    visit = _Visit(asked.visit, terms.earshot)
    return {
        store: ScansOfStore(
            outlook.unsettled, tuple(_scan_rows(case, store, stations, outlook, visit))
        )
        for store, outlook in zip(at_home, found, strict=True)
    }


def _scanned(known: Evidence | None) -> tuple[float, float]:
    return (1.0, 1.0) if known is None else known.scanned


def _scan_rows(
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


def _with_scans(one: _Planned, scans: Mapping[str, ScansOfStore]) -> _Planned:
    """Return a planned store with the scans that settle its decision."""
    found, sure = scans[one.store], one.sensitivity
    return replace(
        one,
        sensitivity=sure and replace(sure, unsettled=round(found.unsettled, 4)),
        scans=found.rows,
    )


def _beside(
    one: _Planned, rows: StoreRows, case: Case, found: StorePlan, limits: Mapping[str, float]
) -> _Planned:
    """Return a store's plan with what no channel settles: labels out of reach, Wi-Fi of others."""
    after = [station.channel_planned for station in found.stations]
    stations = tuple(
        replace(s, choices=tuple(sorted({*s.choices, channel})))
        for s, channel in zip(case.problem.stations, after, strict=True)
    )
    case = replace(case, problem=replace(case.problem, stations=stations))
    standing = WifiStanding.of(case, after, rows.wifi, WifiTerms.of(limits))
    labels = cover(rows.cover, limits)
    return replace(
        one,
        cover=labels.store,
        places=on_the_air(case, after, rows.cover, labels.places, limits),
        requests=requests(standing),
        avoid=avoided(standing),
    )


def _solved(
    rows: StoreRows, limits: Mapping[str, float]
) -> tuple[StorePlan, Case, Stakes, PlanSensitivity]:
    case = store_case(rows, limits)
    found, case, stakes = plan_and_hold(case, int(limits["solver_effort"]), terms_of(limits))
    after = [station.channel_planned for station in found.stations]
    draws = int(limits["sensitivity_draws"])
    sure, kept = sensitivity(case, after, _doubt(limits), draws)
    stations = (replace(s, kept=share) for s, share in zip(found.stations, kept, strict=True))
    return replace(found, stations=tuple(stations)), case, stakes, sure


def _alone(part: StoreRows, limits: Mapping[str, float]) -> StorePlan:
    """Return the plan of a store as if nobody were next door."""
    case = store_case(part, limits)
    return plan_and_hold(case, int(limits["solver_effort"]), terms_of(limits))[0]


def _given(rows: StoreRows, limits: Mapping[str, float]) -> _Planned:
    """Return what is said of a store that is not planned."""
    if not (rows.stations or rows.homes):
        return _Planned(rows.store)
    labels = cover(rows.cover, limits)
    return _Planned(
        rows.store,
        unplanned=_unplanned(rows.store, rows.held or _NO_CHANNEL),
        cover=labels.store,
        places=labels.places,
    )


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


def _keep(database: Database, stores: Sequence[str], found: Sequence[_Planned]) -> None:
    plans = [one.plan for one in found if one.plan is not None]
    stations = [station for plan in plans for station in plan.stations]
    moves = [move for plan in plans for move in plan.moves]
    proofs = [plan.proof for plan in plans]
    doubts = [one.sensitivity for one in found if one.sensitivity is not None]
    unplanned = [one.unplanned for one in found if one.unplanned is not None]
    owed = [row for one in found for row in one.owed]
    scans = [row for one in found for row in one.scans]
    choose(database, stores)
    database.clear_chosen(
        Move, StationPlan, PlanProof, PlanSensitivity, UnplannedStore, OwedNextDoor, ScanNext
    )
    database.clear_chosen(CoverStore, CoverPlace, WifiRequest, WifiAvoid)
    database.put(StationPlan, stations)
    database.put(Move, moves)
    database.put(PlanProof, proofs)
    database.put(PlanSensitivity, doubts)
    database.put(UnplannedStore, unplanned)
    database.put(OwedNextDoor, owed)
    database.put(ScanNext, scans)
    database.put(CoverStore, [one.cover for one in found if one.cover is not None])
    database.put(CoverPlace, [place for one in found for place in one.places])
    database.put(WifiRequest, [row for one in found for row in one.requests])
    database.put(WifiAvoid, [row for one in found for row in one.avoid])
