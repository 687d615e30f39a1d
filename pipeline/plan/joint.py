"""Stores planned together: what their plan says of each, and what each owes to the others."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import fsum

from pipeline.plan.costs import hit, one_station_costs, share_cost
from pipeline.plan.explain import NOTABLE, Case
from pipeline.plan.store import StorePlan, with_channels
from pipeline.reasons import Air, Reason, from_json, sentence, to_json
from pipeline.tables.plan import Move, OwedNextDoor, PlanProof, PlanSensitivity, StationPlan


def of_each(plan: StorePlan, case: Case) -> dict[str, StorePlan]:
    """Return the plan by store, with each one's own stations called by their keys.

    The cost is parted by who hears: that of a pair of two stores belongs to the store that listens.
    What the plan may lack to the bound is parted in the same shares.
    """
    stores = sorted({store for store, _ in case.homes.values()})
    before = _cost_by_store(case, [row.channel_now or 0 for row in plan.stations])
    after = _cost_by_store(case, [row.channel_planned for row in plan.stations])
    return {
        store: StorePlan(
            tuple(
                _station(row, case, store)
                for row in plan.stations
                if case.homes[row.station][0] == store
            ),
            _moves(plan.moves, case, store),
            _proof(plan.proof, store, before[store], after[store]),
        )
        for store in stores
    }


def _proof(joint: PlanProof, store: str, before: float, after: float) -> PlanProof:
    part = after / joint.cost if joint.cost else 0.0
    return replace(
        joint,
        store=store,
        cost=after,
        bound=after if joint.optimal else after - part * (joint.cost - joint.bound),
        cost_now=before,
    )


def _cost_by_store(case: Case, channels: Sequence[int]) -> dict[str, float]:
    """Return what complete channels cost, by the store of the station that hears."""
    problem = with_channels(case.problem, {})
    on = {s.station: c for s, c in zip(problem.stations, channels, strict=True)}
    station = {s.station: s for s in problem.stations}
    terms: dict[str, list[float]] = {store: [] for store, _ in case.homes.values()}
    for s, row in zip(problem.stations, one_station_costs(problem), strict=True):
        terms[case.homes[s.station][0]].append(row[s.choices.index(on[s.station])])
    for heard in problem.heard:
        chance = hit(heard, on[heard.station], on[heard.neighbour])
        cost = share_cost(station[heard.neighbour].air_share * chance) * problem.own_weight
        terms[case.homes[heard.station][0]].append(station[heard.station].weight * cost)
    return {store: fsum(found) for store, found in terms.items()}


def _station(row: StationPlan, case: Case, store: str) -> StationPlan:
    reason = _told(from_json(row.facts), case, store)
    return replace(
        row,
        store=store,
        station=case.homes[row.station][1],
        reason=sentence(reason),
        facts=to_json(reason),
    )


def _moves(moves: Sequence[Move], case: Case, store: str) -> tuple[Move, ...]:
    own = [move for move in moves if case.homes[move.station][0] == store]
    groups = list(dict.fromkeys(move.group_no for move in own))
    told = []
    for position, move in enumerate(own, start=1):
        reason = _told(from_json(move.facts), case, store)
        told.append(
            replace(
                move,
                store=store,
                station=case.homes[move.station][1],
                position=position,
                group_no=groups.index(move.group_no) + 1,
                reason=sentence(reason),
                facts=to_json(reason),
            )
        )
    return tuple(told)


def _told(reason: Reason, case: Case, store: str) -> Reason:
    """Return a reason in which the stations of its own store are called by their keys alone."""
    name = _name(case, store)
    together = reason.together
    return replace(
        reason,
        today=reason.today and _air(reason.today, name),
        planned=_air(reason.planned, name),
        staying=reason.staying and _air(reason.staying, name),
        together=together and replace(together, others=tuple(map(name, together.others))),
    )


def _name(case: Case, store: str) -> Callable[[str], str]:
    def name(station: str) -> str:
        home, key = case.homes[station]
        return key if home == store else station

    return name


def _air(air: Air, name: Callable[[str], str]) -> Air:
    named = tuple(replace(one, name=name(one.name)) for one in air.neighbours)
    return replace(air, neighbours=named)


def sure_of(sure: PlanSensitivity, case: Case, store: str) -> PlanSensitivity:
    """Return how sure the joint plan is, as told in one of its stores: its share by stations."""
    own = sum(home == store for home, _ in case.homes.values())
    part = own / len(case.problem.stations)
    worst = None if sure.worst is None else sure.worst * part
    sure = replace(sure, store=store, regret=sure.regret * part, worst=worst)
    if not sure.ask:
        return sure
    ask = {
        key: _name(case, store)(said) if key in {"station", "neighbour"} else said
        for key, said in json.loads(sure.ask).items()
    }
    return replace(sure, ask=json.dumps(ask, ensure_ascii=False))


def owed_next_door(
    case: Case, joint: StorePlan, store: str, alone: StorePlan
) -> tuple[OwedNextDoor, ...]:
    """Return the stations of a store whose channel is another than in its plan alone, and why.

    `joint` is the plan of all the stores of the case, `alone` that of the store as if nobody were
    next door, its stations called as in the case.
    """
    on = {row.station: row.channel_planned for row in joint.stations}
    return tuple(
        _owed(case, on, store, row.station, row.channel_planned)
        for row in alone.stations
        if row.channel_planned != on[row.station]
    )


def _owed(
    case: Case, on: Mapping[str, int], store: str, station: str, channel: int
) -> OwedNextDoor:
    """Return what moved a station away from its channel alone: the loudest next door on it."""
    loud = sorted(
        (-case.levels[station, heard.neighbour].heard_dbm, heard.neighbour)
        for heard in case.problem.heard
        if heard.station == station and case.homes[heard.neighbour][0] != store
        if hit(heard, channel, on[heard.neighbour]) >= NOTABLE
    )
    level, name = loud[0] if loud else (None, None)
    other, neighbour = (None, None) if name is None else case.homes[name]
    return OwedNextDoor(
        store=store,
        station=case.homes[station][1],
        channel_alone=channel,
        neighbour_store=other,
        neighbour=neighbour,
        heard_dbm=None if level is None else -level,
    )
