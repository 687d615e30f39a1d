"""What the plan reads of stores from the database: rows, and the problem they make."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter
from typing import TypeVar

from pipeline.database import Database
from pipeline.errors import UnknownSelection
from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.grid import correlation
from pipeline.fresh import narrowed
from pipeline.plan.cover import (
    CoverLabels,
    CoverRows,
    CoverStation,
    LabelLevel,
)
from pipeline.plan.explain import Case
from pipeline.plan.rows import (
    EvidenceRow,
    RefusedChannel,
    StationThen,
    StationToday,
    StoreRows,
    joint_rows,
    store_case,
    unseen,
)
from pipeline.plan.scan import ScanVisit, visit_of
from pipeline.plan.wifi import WifiHere, owned
from pipeline.reasons import Unplanned
from pipeline.settings import Settings
from pipeline.tables.run import PermittedChannel
from pipeline.tables.survey import Earshot, EarshotNextDoor, PathFit


@dataclass(frozen=True, slots=True)
class ScanTerms:
    """A visit, and below which chance of a change a decision is settled."""

    visit: ScanVisit
    unsettled_most: float


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


@dataclass(frozen=True, slots=True)
class Joined:
    """A store planned together with others, as `joint`; `unseen`: no recent export has it."""

    store: str
    joint: str
    unseen: bool


def case_of(database: Database, settings: Settings, store: str) -> Case | None:
    """Return the problem of one store with its evidence; None where no plan can be made.

    Of stores planned together it is that of all: `Case.seen_from` names their stations.
    """
    found = _case_and_rows(database, settings, store)
    return None if found is None else found[0]


def known_case(database: Database, settings: Settings, store: str) -> tuple[Case, StoreRows]:
    """Return what `case_of` does, with what the database holds of the store itself.

    Raises:
        UnknownSelection: no plan can be made for it.
    """
    found = _case_and_rows(database, settings, store)
    if found is None:
        raise UnknownSelection("planned store", store, database.column("run", "planned_stores"))
    return found


def _case_and_rows(
    database: Database, settings: Settings, store: str
) -> tuple[Case, StoreRows] | None:
    joined = database.records(Joined, "plan", "joined")
    joint = {one.store: one.joint for one in joined}.get(store)
    unit = [one.store for one in joined if one.joint == joint] if joint else [store]
    (rows,) = unit_rows(database, settings, [unit], joined)
    own = next((part for part in rows.parts or (rows,) if part.store == store), None)
    if own is None or own.given or not own.stations:
        return None
    return store_case(rows, settings.limits).seen_from(store), own


def scan_terms(database: Database, limits: Mapping[str, float]) -> ScanTerms:
    """Return what a visit of a survey is, and when a decision is settled."""
    alike = database.value("plan", "visit_correlation")
    if alike is None:  # nothing was surveyed yet
        alike = correlation(Assumptions().visit_spread)
    return ScanTerms(visit_of(alike, limits["readings_minimum"]), limits["unsettled_most"])


def unit_rows(
    database: Database,
    settings: Settings,
    units: Sequence[Sequence[str]],
    joined: Sequence[Joined],
) -> list[StoreRows]:
    """Return what the plan needs of some stores; of a unit of several, all of them as one."""
    stores = [store for unit in units for store in unit]
    found = {rows.store: rows for rows in _store_rows(database, settings, stores)}
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


def _store_rows(database: Database, settings: Settings, stores: Sequence[str]) -> list[StoreRows]:
    """Return what the plan needs of some stores, in name order."""
    with narrowed(database, stores, "label_matched", "wifi_matched"):
        stations = _by_store(database.records(StationToday, "plan", "stations"))
        choices = _by_store(database.records(PermittedChannel, "plan", "choices"))
        evidence = _by_store(database.records(EvidenceRow, "plan", "evidence"))
        heard = _by_store(database.records(Earshot, "plan", "heard"))
        refused = _by_store(database.records(RefusedChannel, "plan", "refused"))
        then = _by_store(database.records(StationThen, "plan", "then"))
        wifi = _by_store(database.records(WifiHere, "plan", "wifi_here"))
        covers = _cover_rows(database, settings)
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
            wifi=owned(wifi.get(store, []), settings.wifi_own),
            cover=covers.get(store, CoverRows()),
        )
        for store in stores
    ]


def _cover_rows(database: Database, settings: Settings) -> dict[str, CoverRows]:
    """Return what is known of labels and places, of the stores chosen that have labels."""
    stations = _by_store(database.records(CoverStation, "plan", "cover_stations"))
    levels = _by_store(database.records(LabelLevel, "plan", "cover_levels"))
    fits = {fit.store: fit for fit in database.records(PathFit, "plan", "cover_fits")}
    return {
        one.store: CoverRows(
            labels=one,
            stations=stations.get(one.store, []),
            levels=levels.get(one.store, []),
            fit=fits.get(one.store),
            given=[place for place in settings.places if place.store == one.store],
            model=settings.path_loss,
        )
        for one in database.records(CoverLabels, "plan", "cover_labels")
    }


OfStore = TypeVar(
    "OfStore",
    StationToday,
    PermittedChannel,
    EvidenceRow,
    Earshot,
    EarshotNextDoor,
    RefusedChannel,
    StationThen,
    WifiHere,
    CoverStation,
    LabelLevel,
)


def _by_store(rows: Sequence[OfStore]) -> dict[str, list[OfStore]]:
    return {store: list(group) for store, group in groupby(rows, key=attrgetter("store"))}
