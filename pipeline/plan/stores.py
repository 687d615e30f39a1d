"""The plan step: every store's problem out of the database, every store's plan back into it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import groupby
from operator import itemgetter
from typing import Any

from pipeline.database import Database
from pipeline.frames import frame_of
from pipeline.parallel import mapped
from pipeline.plan.costs import StoreProblem
from pipeline.plan.explain import Case, Evidence, Level
from pipeline.plan.outcome import Move, Proof, StationPlan, StorePlan, Unplanned
from pipeline.plan.redraw import Doubt
from pipeline.plan.sensitivity import Sensitivity, sensitivity
from pipeline.plan.store import plan_store
from pipeline.progress import Progress
from pipeline.radio.coexistence import Rejection
from pipeline.records import Heard, StoreStation
from pipeline.settings import Settings

Row = tuple[Any, ...]
_TABLES = ("move", "station_plan", "plan_proof", "plan_sensitivity", "unplanned_store")


@dataclass(frozen=True, slots=True)
class StoreRows:
    """What the database holds of one store, as the plan needs it; no stations: nothing to plan."""

    store: str
    stations: Sequence[Row]
    choices: Sequence[int]
    evidence: Sequence[Row]
    heard: Sequence[Row]


def plan(database: Database, settings: Settings, progress: Progress) -> None:
    """Fill the tables of the plan for the day of this run, store by store."""
    stores = list(_store_rows(database))
    work = partial(_planned, limits=dict(settings.limits))
    found = progress.over(mapped(work, stores, len(stores)), "planning", len(stores))
    _keep(database, list(found))


@dataclass(frozen=True, slots=True)
class _Planned:
    """What came of one store: a plan and how sure it is, or the reason why there is none."""

    plan: StorePlan | None
    sensitivity: Sensitivity | None
    unplanned: Unplanned | None


def _planned(rows: StoreRows, limits: Mapping[str, float]) -> _Planned:
    if not rows.choices:
        return _Planned(None, None, Unplanned(rows.store, _NO_CHANNEL))
    case = store_case(rows, limits["price_per_move"])
    found = plan_store(case, int(limits["solver_effort"]), limits["readings_minimum"])
    after = [station.channel_planned for station in found.stations]
    sure = sensitivity(case, after, _doubt(limits), int(limits["sensitivity_draws"]))
    return _Planned(found, sure, None)


def case_of(database: Database, settings: Settings, store: str) -> Case | None:
    """Return the problem of one store with its evidence; None where no plan can be made."""
    for rows in _store_rows(database):
        if rows.store == store and rows.choices:
            return store_case(rows, settings.limits["price_per_move"])
    return None


def _doubt(limits: Mapping[str, float]) -> Doubt:
    return Doubt(
        cca_threshold_dbm=limits["cca_threshold_dbm"],
        rejection=Rejection(limits["adjacent_rejection_db"], limits["alternate_rejection_db"]),
        residual_spread_db=limits["measured_spread_db"],
    )


_NO_CHANNEL = (
    "no permitted channel is one that all its labels listen on; "
    "permit another channel in the rules file, or have the labels set up again"
)


def store_case(rows: StoreRows, price_per_move: float) -> Case:
    """Return a store's problem with the evidence behind it, from its rows."""
    evidence = {
        (station, channel): Evidence(*figures) for _, station, channel, *figures in rows.evidence
    }
    levels = {(row[1], row[2]): Level(*row[3:6]) for row in rows.heard}
    locked = frozenset(row[1] for row in rows.stations if row[5])
    known = {row[1] for row in rows.stations}
    problem = StoreProblem(
        store=rows.store,
        stations=tuple(_station(row, rows.choices) for row in rows.stations),
        heard=tuple(
            Heard(station, other, (co, adjacent, alternate))
            for _, station, other, _, _, _, co, adjacent, alternate in rows.heard
            if station in known and other in known
        ),
        busy={at: known.bound for at, known in evidence.items()},
        price_per_move=price_per_move,
    )
    return Case(problem, evidence, levels, locked)


def _station(row: Row, choices: Sequence[int]) -> StoreStation:
    _, station, channel, weight, air_share, locked = row
    return StoreStation(
        station, channel, (channel,) if locked else tuple(choices), weight, air_share
    )


def _store_rows(database: Database) -> Iterator[StoreRows]:
    """Yield every store that has stations, in name order."""
    choices: Mapping[str, list[Row]] = _by_store(database.rows("plan", "choices"))
    evidence = _by_store(database.rows("plan", "evidence"))
    heard = _by_store(database.rows("plan", "heard"))
    for store, stations in _by_store(database.rows("plan", "stations")).items():
        permitted = [channel for _, channel in choices.get(store, [])]
        yield StoreRows(store, stations, permitted, evidence[store], heard.get(store, []))


def _by_store(rows: Sequence[Row]) -> dict[str, list[Row]]:
    return {store: list(group) for store, group in groupby(rows, key=itemgetter(0))}


def _keep(database: Database, found: Sequence[_Planned]) -> None:
    plans = [one.plan for one in found if one.plan is not None]
    stations = [station for plan in plans for station in plan.stations]
    moves = [move for plan in plans for move in plan.moves]
    proofs = [plan.proof for plan in plans]
    doubts = [one.sensitivity for one in found if one.sensitivity is not None]
    unplanned = [one.unplanned for one in found if one.unplanned is not None]
    with database.transaction():
        for table in _TABLES:
            database.run("plan", f"clear_{table}")
        database.insert("plan", "insert_station_plan", frame_of(StationPlan, stations))
        database.insert("plan", "insert_move", frame_of(Move, moves))
        database.insert("plan", "insert_plan_proof", frame_of(Proof, proofs))
        database.insert("plan", "insert_plan_sensitivity", frame_of(Sensitivity, doubts))
        database.insert("plan", "insert_unplanned_store", frame_of(Unplanned, unplanned))
