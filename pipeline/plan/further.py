"""A further station beside a plan: what it would hear, its channel, and what it costs others."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import fsum, hypot

from pipeline.cover.floors import Spot
from pipeline.plan.costs import Priced, clear_air, priced
from pipeline.plan.cover import CoverRows, indoors_of, usual_power_dbm
from pipeline.plan.explain import Case
from pipeline.radio.coexistence import Rejection, channel_rejection_db
from pipeline.radio.propagation import exceedance_probability
from pipeline.records import OFF_AIR, Heard, StoreStation
from pipeline.tables.plan import CoverPlace


def with_station(
    case: Case, rows: CoverRows, spot: Spot, labels: float, limits: Mapping[str, float]
) -> Case:
    """Return a case with one station more, not yet on the air, that serves so many labels.

    What it hears of others, and they of it, follows from distance; its evidence is that of the
    nearest station whose place is known, for want of a scan there.
    """
    problem, new = case.problem, spot.name
    served = sum(s.weight for s in problem.stations) / max(len(problem.stations), 1)
    total = max(1, rows.labels.labels if rows.labels else 0)
    part = min(1.0, labels / total)
    busy = sum(s.air_share for s in problem.stations)
    station = StoreStation(
        station=new,
        channel=OFF_AIR,
        choices=case.permitted_in[case.of] if case.homes and case.of else case.permitted,
        weight=max(0.1, served * len(problem.stations) * part),
        air_share=min(0.95, busy * part),
    )
    near = _nearest(case, rows, spot)
    copied = {(new, c): e for (s, c), e in case.evidence.items() if s == near}
    heard = _heard(case, rows, spot, limits)
    return replace(
        case,
        problem=replace(
            problem,
            stations=(*problem.stations, station),
            heard=(*problem.heard, *heard),
            busy={**problem.busy, **{at: e.reckoned for at, e in copied.items()}},
            cost=None
            if problem.cost is None
            else {**problem.cost, **{at: e.cost for at, e in copied.items()}},
            lost={**problem.lost, **_copied(problem.lost, near, new)},
        ),
        evidence={**case.evidence, **copied},
        homes={**case.homes, new: (case.of, new)} if case.homes and case.of else case.homes,
    )


def _copied(
    figures: Mapping[tuple[str, int], float], near: str, new: str
) -> dict[tuple[str, int], float]:
    return {
        (new, channel): value for (station, channel), value in figures.items() if station == near
    }


def _nearest(case: Case, rows: CoverRows, spot: Spot) -> str:
    """Return the nearest station of the problem; the first where no place is known."""
    known = {s.station for s in case.problem.stations}
    placed = [s for s in rows.stations if s.station in known and s.x_m is not None]
    if not placed:
        return case.problem.stations[0].station
    return min(
        placed,
        key=lambda s: (
            abs(s.floor - spot.floor),
            hypot((s.x_m or 0.0) - spot.x_m, (s.y_m or 0.0) - spot.y_m),
            s.station,
        ),
    ).station


def _heard(case: Case, rows: CoverRows, spot: Spot, limits: Mapping[str, float]) -> list[Heard]:
    """Return who hears the new station and whom it hears, each way."""
    known = {s.station for s in case.problem.stations}
    indoors, _ = indoors_of(rows, limits)
    found = []
    for row in rows.stations:
        if row.station not in known or row.x_m is None or row.y_m is None:
            continue
        floors = abs(row.floor - spot.floor)
        far_m = hypot(row.x_m - spot.x_m, row.y_m - spot.y_m, floors * indoors.floor_height_m)
        loss_db = indoors.loss_db(max(0.5, far_m), floors)
        for at, other, power in (
            (row.station, spot.name, spot.power_dbm),
            (spot.name, row.station, row.power_dbm),
        ):
            hits = _hits(power - loss_db, indoors.spread_db, limits)
            if hits[0] >= limits["earshot_least"]:
                found.append(Heard(at, other, hits))
    return found


def _hits(
    level_dbm: float, spread_db: float, limits: Mapping[str, float]
) -> tuple[float, float, float]:
    """Return the chances that a level disturbs on the same channel, the next, the next but one."""
    rejection = Rejection(limits["adjacent_rejection_db"], limits["alternate_rejection_db"])
    co, adjacent, alternate = (
        exceedance_probability(
            level_dbm - channel_rejection_db(apart, rejection),
            limits["cca_threshold_dbm"],
            spread_db,
        )
        for apart in range(3)
    )
    return co, adjacent, alternate


def on_the_air(
    case: Case,
    after: Sequence[int],
    rows: CoverRows,
    places: Sequence[CoverPlace],
    limits: Mapping[str, float],
) -> tuple[CoverPlace, ...]:
    """Return places with the channel each would take beside the plan, and what that costs others.

    `after` are the plan's channels by station of the case.
    """
    power = usual_power_dbm(rows)
    found = []
    for place in places:
        spot = Spot(f"+{place.place}", place.floor, place.x_m, place.y_m, power)
        wider = with_station(case, rows, spot, place.rescued, limits)
        tables = priced(wider.problem)
        costs = [
            (_beside(tables, after, a), channel)
            for a, channel in enumerate(wider.problem.stations[-1].choices)
        ]
        channel = min(costs)[1]
        lost = _mean_air(wider, [*after, OFF_AIR]) - _mean_air(wider, [*after, channel])
        found.append(replace(place, channel=channel, air_lost=max(0.0, lost)))
    return tuple(found)


def _beside(tables: Priced, after: Sequence[int], choice: int) -> float:
    """Return what the last station costs on a choice, the others on the plan's channels."""
    stations = tables.problem.stations
    last, cost = len(stations) - 1, tables.one[-1][choice]
    for (i, j), table in tables.two.items():
        if j == last:
            cost += table[stations[i].choices.index(after[i])][choice]
    return cost


def _mean_air(case: Case, channels: Sequence[int]) -> float:
    """Return clear air over the stations before the last, by labels."""
    air = clear_air(case.problem, channels)[:-1]
    weights = [s.weight for s in case.problem.stations[:-1]]
    total = fsum(weights)
    if not total:
        return fsum(air) / max(1, len(air))
    return fsum(w * a for w, a in zip(weights, air, strict=True)) / total
