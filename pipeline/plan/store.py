"""The plan of one store, computed from its problem alone."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.plan.costs import Priced, StoreProblem, clear_air, priced, tie_costs
from pipeline.plan.explain import Case, Evidence, reason_of, sureness
from pipeline.plan.sequence import Order, order_moves
from pipeline.plan.worth import chance_of_gain, earning
from pipeline.reasons import from_json, sentence, to_json
from pipeline.tables.plan import Move, PlanProof, StationPlan


@dataclass(frozen=True, slots=True)
class StorePlan:
    """Everything the plan says of one store."""

    stations: tuple[StationPlan, ...]
    moves: tuple[Move, ...]
    proof: PlanProof


def plan_store(case: Case, effort: int, least_chance: float) -> StorePlan:
    """Return the best plan of a store, its proof and its moves in order.

    `effort` bounds the search by a count, never by a clock. Every station needs a choice. A move
    must gain with `least_chance`, unless its channel of today is not permitted.
    """
    problem = case.problem
    before = [station.channel for station in problem.stations]
    tables = priced(problem)
    best = earning(
        tables.one,
        tables.two,
        [s.choices.index(s.channel) if s.channel in s.choices else None for s in problem.stations],
        lambda at, choice: _chance(case, tables, at, _channels(problem, choice)),
        least=least_chance,
        ties=tie_costs(problem.stations),
        effort=effort,
    )
    after = _channels(problem, best.choice)
    wide = with_channels(problem, {})  # each station starts where it is
    order = _order(wide, before, after)
    stations = _station_plans(case, tables, before, after)
    return StorePlan(
        stations=stations,
        moves=_moves(wide, order, stations),
        proof=PlanProof(
            store=problem.store,
            cost=best.cost,
            bound=best.bound,
            optimal=best.optimal,
            cost_now=priced(wide).total(before),
            solver=best.solver,
            order_proven=order.proven,
            worst_step=order.worst,
        ),
    )


def _channels(problem: StoreProblem, choice: Sequence[int]) -> list[int]:
    return [s.choices[a] for s, a in zip(problem.stations, choice, strict=True)]


def _chance(case: Case, tables: Priced, at: int, after: Sequence[int]) -> float:
    """Return the chance that the move of one station gains anything, the others as planned."""
    station = case.problem.stations[at]
    ends = []
    for channel in (station.channel, after[at]):
        known = case.evidence[station.station, channel]
        own = tables.own(at, channel, after) / station.weight
        ends.append((known.a, known.b, own))
    return chance_of_gain(*ends)


def with_channels(problem: StoreProblem, more: Mapping[str, int]) -> StoreProblem:
    """Widen each station's choices by its channel of today, permitted or not, and by `more`."""
    stations = tuple(
        replace(s, choices=tuple(sorted({*s.choices, s.channel, more.get(s.station, s.channel)})))
        for s in problem.stations
    )
    return replace(problem, stations=stations)


def _order(wide: StoreProblem, before: Sequence[int], after: Sequence[int]) -> Order:
    # The way is judged by clear air alone: the price of moves is settled by then.
    free = priced(replace(wide, price_per_move=0.0))
    return order_moves(free.one, free.two, before=free.choice(before), after=free.choice(after))


def _station_plans(
    case: Case, tables: Priced, before: Sequence[int], after: Sequence[int]
) -> tuple[StationPlan, ...]:
    problem = case.problem
    now, planned = clear_air(problem, before), clear_air(problem, after)
    plans = []
    for at, station in enumerate(problem.stations):
        here = case.evidence.get((station.station, before[at]))
        there = case.evidence[station.station, after[at]]
        before_air, after_air = _interval(here, now[at]), _interval(there, planned[at])
        movable = after[at] != before[at] and station.channel in station.choices
        chance = _chance(case, tables, at, after) if movable else None
        rival = min(tables.others(at, after), default=(None, None))
        reason = reason_of(case, at, (before, after), rival, _sureness(chance, after_air))
        plans.append(
            StationPlan(
                store=problem.store,
                station=station.station,
                channel_now=before[at],
                channel_planned=after[at],
                clear_air_now=before_air[0],
                clear_air_now_low=before_air[1],
                clear_air_now_high=before_air[2],
                clear_air_planned=after_air[0],
                clear_air_planned_low=after_air[1],
                clear_air_planned_high=after_air[2],
                chance=chance,
                busy_now=None if here is None else here.share,
                busy_planned=there.share,
                source_planned=there.source,
                next_best_channel=rival[1],
                next_best_cost=rival[0],
                sureness=reason.sureness,
                reason=sentence(reason),
                facts=to_json(reason),
            )
        )
    return tuple(plans)


_Interval = tuple[float | None, float | None, float | None]


def _interval(known: Evidence | None, air: float) -> _Interval:
    """Return clear air with its 5 and 95 % points; all None where the channel is not known."""
    if known is None or known.share is None or known.low is None or known.high is None:
        return None, None, None
    own = air / max(1e-9, 1 - known.reckoned)
    return air, own * (1 - known.high), own * (1 - known.low)


def _sureness(chance: float | None, air: _Interval) -> str:
    _, low, high = air
    return sureness(chance, None if low is None or high is None else high - low)


def _moves(wide: StoreProblem, order: Order, plans: Sequence[StationPlan]) -> tuple[Move, ...]:
    moves = []
    for position, step in enumerate(order.steps, start=1):
        station, planned = wide.stations[step.station], plans[step.station]
        reason = replace(from_json(planned.facts), parked=step.parking)
        moves.append(
            Move(
                store=wide.store,
                station=station.station,
                from_channel=station.choices[step.from_choice],
                to_channel=station.choices[step.to_choice],
                position=position,
                parking=step.parking,
                clear_air_before=planned.clear_air_now,
                clear_air_before_low=planned.clear_air_now_low,
                clear_air_before_high=planned.clear_air_now_high,
                clear_air_after=planned.clear_air_planned,
                clear_air_after_low=planned.clear_air_planned_low,
                clear_air_after_high=planned.clear_air_planned_high,
                chance=planned.chance,
                reason=sentence(reason),
                facts=to_json(reason),
            )
        )
    return tuple(moves)
