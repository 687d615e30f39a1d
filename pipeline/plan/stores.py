"""The plan step: every store's problem out of the database, every store's plan back into it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import groupby, islice
from operator import itemgetter
from typing import Any

from pipeline.database import Database
from pipeline.due import choose, due, keep, narrowed, run_mark, store_marks
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
KEPT = 64  # stores planned between one commit and the next
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
    """Fill the tables of the plan for the day of this run, anew for the stores that are due.

    What is planned is kept some stores at a time; a run cut off goes on where it stopped.
    """
    marks = _marks(database, settings)
    found = due(database, "plan", marks)
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
    frames = [inputs, database.frame("plan", "stations")]
    return store_marks(frames, run_mark(database, settings.limits))


@dataclass(frozen=True, slots=True)
class _Planned:
    """What came of one store: a plan and how sure it is, or the reason why there is none."""

    store: str
    plan: StorePlan | None = None
    sensitivity: Sensitivity | None = None
    unplanned: Unplanned | None = None


def _planned(rows: StoreRows, limits: Mapping[str, float]) -> _Planned:
    if not rows.stations:
        return _Planned(rows.store)
    if not rows.choices:
        return _Planned(rows.store, unplanned=Unplanned(rows.store, _NO_CHANNEL))
    case = store_case(rows, limits["price_per_move"])
    found = plan_store(case, int(limits["solver_effort"]), limits["readings_minimum"])
    after = [station.channel_planned for station in found.stations]
    sure = sensitivity(case, after, _doubt(limits), int(limits["sensitivity_draws"]))
    return _Planned(rows.store, found, sure)


def case_of(database: Database, settings: Settings, store: str) -> Case | None:
    """Return the problem of one store with its evidence; None where no plan can be made."""
    (rows,) = _store_rows(database, [store])
    if not (rows.stations and rows.choices):
        return None
    return store_case(rows, settings.limits["price_per_move"])


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
    locked = frozenset(row[1] for row in rows.stations if row[5] is not None)
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
    _, station, channel, weight, air_share, kept_on = row
    return StoreStation(
        station, channel, tuple(choices) if kept_on is None else (kept_on,), weight, air_share
    )


def _store_rows(database: Database, stores: Sequence[str]) -> list[StoreRows]:
    """Return what the plan needs of some stores, in name order."""
    with narrowed(database, stores, "label_seen"):
        found = {
            name: _by_store(database.rows("plan", name))
            for name in ("stations", "choices", "evidence", "heard")
        }
    return [
        StoreRows(
            store,
            stations=found["stations"].get(store, []),
            choices=[channel for _, channel in found["choices"].get(store, [])],
            evidence=found["evidence"].get(store, []),
            heard=found["heard"].get(store, []),
        )
        for store in stores
    ]


def _by_store(rows: Sequence[Row]) -> dict[str, list[Row]]:
    return {store: list(group) for store, group in groupby(rows, key=itemgetter(0))}


def _keep(database: Database, stores: Sequence[str], found: Sequence[_Planned]) -> None:
    plans = [one.plan for one in found if one.plan is not None]
    stations = [station for plan in plans for station in plan.stations]
    moves = [move for plan in plans for move in plan.moves]
    proofs = [plan.proof for plan in plans]
    doubts = [one.sensitivity for one in found if one.sensitivity is not None]
    unplanned = [one.unplanned for one in found if one.unplanned is not None]
    choose(database, stores)
    for table in _TABLES:
        database.run("plan", f"clear_{table}")
    database.insert("plan", "insert_station_plan", frame_of(StationPlan, stations))
    database.insert("plan", "insert_move", frame_of(Move, moves))
    database.insert("plan", "insert_plan_proof", frame_of(Proof, proofs))
    database.insert("plan", "insert_plan_sensitivity", frame_of(Sensitivity, doubts))
    database.insert("plan", "insert_unplanned_store", frame_of(Unplanned, unplanned))
