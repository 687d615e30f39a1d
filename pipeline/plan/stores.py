"""The plan step: every store's problem out of the database, every store's plan back into it."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from itertools import groupby, islice
from operator import attrgetter
from typing import TypeVar

from pipeline.database import Database
from pipeline.errors import UnknownSelection
from pipeline.fresh import CHUNK, choose, fingerprint, keep, narrowed, run_mark, stale, store_marks
from pipeline.parallel import mapped
from pipeline.plan.decide import Terms
from pipeline.plan.explain import Case
from pipeline.plan.joint import of_each, owed_next_door, sure_of
from pipeline.plan.refused import RefusedChannel, StationThen
from pipeline.plan.rows import (
    EvidenceRow,
    StationToday,
    StoreRows,
    joint_rows,
    store_case,
    unseen,
)
from pipeline.plan.sensitivity import Doubt, sensitivity
from pipeline.plan.store import StorePlan, plan_and_hold
from pipeline.progress import Progress
from pipeline.radio.coexistence import Rejection
from pipeline.reasons import Unplanned, why_unplanned
from pipeline.settings import Settings
from pipeline.tables.plan import (
    Move,
    OwedNextDoor,
    PlanProof,
    PlanSensitivity,
    StationPlan,
    UnplannedStore,
)
from pipeline.tables.run import PermittedChannel
from pipeline.tables.survey import Earshot, EarshotNextDoor

KEPT = 64  # stores planned between one commit and the next


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
    joined = database.records(Joined, "plan", "joined")
    marks = _marks(database, settings, joined)
    due = stale(database, "plan", marks).stores
    work = partial(_planned, limits=dict(settings.limits))
    units = _units(due, joined)
    planned = mapped(work, _rows(database, units, joined), len(units))
    watched = iter(progress.over(planned, "planning", len(units)))
    while some := list(islice(watched, KEPT)):
        each = [one for unit in some for one in unit]
        stores = [one.store for one in each]
        with database.transaction():
            _keep(database, stores, each)
            keep(database, "plan", stores, marks)


@dataclass(frozen=True, slots=True)
class Joined:
    """A store planned together with others, as `joint`; `unseen`: no recent export has it."""

    store: str
    joint: str
    unseen: bool


def _marks(database: Database, settings: Settings, joined: Sequence[Joined]) -> dict[str, str]:
    """Return the fingerprint of what each store's plan is made from.

    That of stores planned together is of them all: where one is due, so are the others.
    """
    inputs = database.frame("plan", "inputs")
    choose(database, inputs["store"].to_list())
    names = ("stations", "refused", "then")
    frames = [inputs, *(database.frame("plan", name) for name in names)]
    marks = store_marks(frames, run_mark(database, settings.limits))
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
    database: Database, units: Sequence[list[str]], joined: Sequence[Joined]
) -> Iterator[StoreRows]:
    """Yield what each of the units rests on."""
    for first in range(0, len(units), CHUNK):
        yield from _unit_rows(database, units[first : first + CHUNK], joined)


@dataclass(frozen=True, slots=True)
class _Planned:
    """What came of one store: a plan and how sure it is, or the reason why there is none."""

    store: str
    plan: StorePlan | None = None
    sensitivity: PlanSensitivity | None = None
    unplanned: UnplannedStore | None = None
    owed: tuple[OwedNextDoor, ...] = ()


def _planned(rows: StoreRows, limits: Mapping[str, float]) -> list[_Planned]:
    """Plan a store, or those that are planned together."""
    parts = rows.parts or (rows,)
    given = [_given(part) for part in parts if part.given or not part.stations]
    if len(given) == len(parts):
        return given
    found, case, sure = _solved(rows, limits)
    if not rows.parts:
        return [_Planned(rows.store, found, sure)]
    plans = of_each(found, case)
    planned = [part for part in parts if part.store not in {one.store for one in given}]
    return given + [
        _Planned(
            part.store,
            plans[part.store],
            sure_of(sure, case, part.store),
            owed=owed_next_door(case, found, part.store, _alone(part, limits)),
        )
        for part in planned
    ]


def _solved(
    rows: StoreRows, limits: Mapping[str, float]
) -> tuple[StorePlan, Case, PlanSensitivity]:
    case = store_case(rows, limits)
    found, case = plan_and_hold(case, int(limits["solver_effort"]), terms_of(limits))
    after = [station.channel_planned for station in found.stations]
    draws = int(limits["sensitivity_draws"])
    sure, kept = sensitivity(case, after, _doubt(limits), draws)
    stations = (replace(s, kept=share) for s, share in zip(found.stations, kept, strict=True))
    return replace(found, stations=tuple(stations)), case, sure


def _alone(part: StoreRows, limits: Mapping[str, float]) -> StorePlan:
    """Return the plan of a store as if nobody were next door."""
    case = store_case(part, limits)
    return plan_and_hold(case, int(limits["solver_effort"]), terms_of(limits))[0]


def _given(rows: StoreRows) -> _Planned:
    """Return what is said of a store that is not planned."""
    if not (rows.stations or rows.homes):
        return _Planned(rows.store)
    return _Planned(rows.store, unplanned=_unplanned(rows.store, rows.held or _NO_CHANNEL))


def case_of(database: Database, settings: Settings, store: str) -> Case | None:
    """Return the problem of one store with its evidence; None where no plan can be made.

    Of stores planned together it is that of all: `Case.seen_from` names their stations.
    """
    joined = database.records(Joined, "plan", "joined")
    joint = {one.store: one.joint for one in joined}.get(store)
    unit = [one.store for one in joined if one.joint == joint] if joint else [store]
    (rows,) = _unit_rows(database, [unit], joined)
    own = next((part for part in rows.parts or (rows,) if part.store == store), None)
    if own is None or own.given or not own.stations:
        return None
    return store_case(rows, settings.limits).seen_from(store)


def known_case(database: Database, settings: Settings, store: str) -> Case:
    """Return the problem of one store, as `case_of` does.

    Raises:
        UnknownSelection: no plan can be made for it.
    """
    case = case_of(database, settings, store)
    if case is None:
        raise UnknownSelection("planned store", store, database.column("run", "planned_stores"))
    return case


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


def _unit_rows(
    database: Database, units: Sequence[Sequence[str]], joined: Sequence[Joined]
) -> list[StoreRows]:
    """Return what the plan needs of some stores; of a unit of several, all of them as one."""
    stores = [store for unit in units for store in unit]
    found = {rows.store: rows for rows in _store_rows(database, stores)}
    together = {one.store: one for one in joined}
    heard = _by_store(database.records(EarshotNextDoor, "plan", "heard_next_door"))
    return [
        joint_rows(
            together[unit[0]].joint,
            [unseen(found[store]) if together[store].unseen else found[store] for store in unit],
            [row for store in unit for row in heard.get(store, [])],
        )
        if unit[0] in together
        else found[unit[0]]
        for unit in units
    ]


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
    "OfStore",
    StationToday,
    PermittedChannel,
    EvidenceRow,
    Earshot,
    EarshotNextDoor,
    RefusedChannel,
    StationThen,
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
    owed = [row for one in found for row in one.owed]
    choose(database, stores)
    database.clear_chosen(
        Move, StationPlan, PlanProof, PlanSensitivity, UnplannedStore, OwedNextDoor
    )
    database.put(StationPlan, stations)
    database.put(Move, moves)
    database.put(PlanProof, proofs)
    database.put(PlanSensitivity, doubts)
    database.put(UnplannedStore, unplanned)
    database.put(OwedNextDoor, owed)
