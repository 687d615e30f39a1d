"""What the database holds of a store, as the plan needs it, and the problem made from it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from math import fsum

from pipeline.plan.costs import StoreProblem, clear_air
from pipeline.plan.cover import CoverRows
from pipeline.plan.explain import Case, Evidence, Level
from pipeline.plan.wifi import WifiHere
from pipeline.radio.channels import CHANNELS
from pipeline.reasons import Bond, RefusedMove, Unplanned
from pipeline.records import OFF_AIR, Heard, StoreStation
from pipeline.tables.declare import packed
from pipeline.tables.run import PermittedChannel
from pipeline.tables.survey import Earshot, EarshotNextDoor

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
class RefusedChannel:
    """A channel refused for a station, and the interval of the gain of then, in clear air."""

    store: str
    station: str
    channel: int
    plan: str
    by: str
    day: date
    until: date | None
    note: str | None
    gain_low: float | None
    gain_high: float | None


@dataclass(frozen=True, slots=True)
class StationThen:
    """A station when its store's plan was proposed, and the channel it was to end on.

    `channel` is None for one that was not on the air.
    """

    store: str
    plan: str
    station: str
    channel: int | None
    final: int | None
    of_store: str | None = None  # of those planned together, the station's own; None: the store


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
    own_a: float  # of the Beta before it is reckoned to be no better than others
    own_b: float
    __reduce__ = packed


@dataclass(frozen=True, slots=True)
class StoreRows:
    """What the database holds of one store, as the plan needs it; no stations: nothing to plan.

    Of stores planned together it holds them all (`parts`), their stations called as by `called`.
    """

    store: str
    stations: Sequence[StationToday]
    choices: Sequence[PermittedChannel]
    evidence: Sequence[EvidenceRow]
    heard: Sequence[Earshot]
    refused: Sequence[RefusedChannel] = ()
    then: Sequence[StationThen] = ()
    held: Unplanned | None = None  # why the store is not planned
    wifi: Sequence[WifiHere] = ()
    cover: CoverRows = field(default_factory=CoverRows)
    parts: tuple["StoreRows", ...] = ()
    homes: Mapping[str, tuple[str, str]] = field(default_factory=dict)

    @property
    def given(self) -> bool:
        """Whether no plan is made: its neighbours take its channels as they are."""
        return self.held is not None or not self.choices


def unseen(part: StoreRows) -> StoreRows:
    """Return a store that recent exports leave out: its stations stay on their last known channels.

    Others are planned around them; one that is bound already, or on no channel, is left as it is.
    """
    return replace(
        part,
        stations=[
            replace(row, kept_on=row.channel, kept_why="unseen")
            if row.kept_on is None and row.channel in CHANNELS
            else row
            for row in part.stations
        ],
    )


def called(station: str, store: str) -> str:
    """Return what a station is called among those of other stores."""
    return f"{station} ({store})"


def joint_rows(
    joint: str, stores: Iterable[StoreRows], heard: Sequence[EarshotNextDoor]
) -> StoreRows:
    """Return stores that are planned together as one, under the name `joint`."""
    parts = [_renamed(part) for part in stores]
    through = [
        Earshot(
            store=joint,
            station=called(row.station, row.store),
            neighbour=called(row.neighbour, row.neighbour_store),
            heard_dbm=row.heard_dbm,
            spread_db=row.spread_db,
            source=row.source,
            distance_m=None,
            hit_co=row.hit_co,
            hit_adjacent=row.hit_adjacent,
            hit_alternate=row.hit_alternate,
        )
        for row in heard
    ]
    return StoreRows(
        joint,
        stations=[row for part in parts for row in part.stations],
        choices=(),
        evidence=[row for part in parts for row in part.evidence],
        heard=[*(row for part in parts for row in part.heard), *through],
        refused=[row for part in parts if not part.given for row in part.refused],
        then=[row for part in parts for row in part.then],
        parts=tuple(parts),
        homes={name: home for part in parts for name, home in part.homes.items()},
    )


def _renamed(part: StoreRows) -> StoreRows:
    """Return a store's rows with its stations called by their store too.

    Where it is not planned they stay as they are, and those to be installed are left out.
    """
    store = part.store

    def name(station: str) -> str:
        return called(station, store)

    rows = [replace(row, station=name(row.station)) for row in part.stations]
    if part.given:
        on_air = [row for row in rows if row.channel in CHANNELS]
        rows = [replace(row, kept_on=row.channel, kept_why=None) for row in on_air]
    return replace(
        part,
        stations=rows,
        evidence=[replace(row, station=name(row.station)) for row in part.evidence],
        heard=[
            replace(row, station=name(row.station), neighbour=name(row.neighbour))
            for row in part.heard
        ],
        refused=[replace(row, station=name(row.station)) for row in part.refused],
        then=[
            replace(row, station=called(row.station, row.of_store or store)) for row in part.then
        ],
        homes={name(row.station): (store, row.station) for row in part.stations},
    )


def store_case(rows: StoreRows, limits: Mapping[str, float]) -> Case:
    """Return a store's problem with the evidence behind it, from its rows."""
    known = {row.station for row in rows.stations}
    heard = [row for row in rows.heard if {row.station, row.neighbour} <= known]
    parts = rows.parts or (rows,)
    permitted = {part.store: tuple(row.channel for row in part.choices) for part in parts}
    evidence = {(row.station, row.channel): _evidence(row) for row in rows.evidence}
    problem = StoreProblem(
        store=rows.store,
        stations=tuple(_station(row, permitted[row.store], ()) for row in rows.stations),
        heard=tuple(
            Heard(row.station, row.neighbour, (row.hit_co, row.hit_adjacent, row.hit_alternate))
            for row in heard
        ),
        busy={at: known.reckoned for at, known in evidence.items()},
        cost={at: known.cost for at, known in evidence.items()},
        lost={at: lost for part in parts for at, lost in _lost(part).items()},
        price_per_move=limits["price_per_move"],
        own_weight=limits["own_traffic_weight"],
    )
    refused = still_refused(problem, rows.refused, rows.then)
    stations = tuple(_station(row, permitted[row.store], refused) for row in rows.stations)
    return Case(
        problem=replace(problem, stations=stations),
        evidence=evidence,
        levels={
            (row.station, row.neighbour): Level(row.heard_dbm, row.spread_db, row.source)
            for row in rows.heard
        },
        permitted=permitted.get(rows.store, ()),
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
        homes=rows.homes if rows.parts else {},
        permitted_in=permitted if rows.parts else {},
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
        own=(row.own_a, row.own_b),
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


def still_refused(
    problem: StoreProblem, refused: Sequence[RefusedChannel], then: Sequence[StationThen]
) -> list[RefusedChannel]:
    """Return the refusals that stand: with a day, or with a gain that is still within its interval.

    The gain is that of then by the evidence of now: all stations on the channels of then, against
    all where the plan wanted them. One that was not known then ends no refusal.
    """
    return [row for row in refused if row.until is not None or _alike(problem, row, then)]


def _alike(problem: StoreProblem, row: RefusedChannel, then: Sequence[StationThen]) -> bool:
    if row.gain_low is None or row.gain_high is None:
        return True
    old = {
        one.station: (one.channel or OFF_AIR, one.final or OFF_AIR)
        for one in then
        if one.plan == row.plan
    }
    ways = [old.get(s.station, (s.channel, s.channel)) for s in problem.stations]
    at = [s.station for s in problem.stations].index(row.station)
    before, after = (clear_air(problem, channels)[at] for channels in zip(*ways, strict=True))
    return row.gain_low <= after - before <= row.gain_high
