"""The plan of one store, computed from its problem alone."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.plan.assign import assign
from pipeline.plan.costs import Priced, StoreProblem, clear_air, priced, tie_costs
from pipeline.plan.explain import Case, reason_of, sureness
from pipeline.plan.sequence import Order, order_moves
from pipeline.reasons import from_json, sentence, to_json
from pipeline.tables.plan import Move, PlanProof, StationPlan


@dataclass(frozen=True, slots=True)
class StorePlan:
    """Everything the plan says of one store."""

    stations: tuple[StationPlan, ...]
    moves: tuple[Move, ...]
    proof: PlanProof


def plan_store(case: Case, effort: int, readings_minimum: float) -> StorePlan:
    """Return the best plan of a store, its proof and its moves in order.

    `effort` bounds the search by a count, never by a clock. Every station needs a choice.
    """
    problem = case.problem
    before = [station.channel for station in problem.stations]
    tables = priced(problem)
    best = assign(tables.one, tables.two, ties=tie_costs(problem.stations), effort=effort)
    after = [s.choices[a] for s, a in zip(problem.stations, best.choice, strict=True)]
    wide = with_channels(problem, {})  # each station starts where it is
    order = _order(wide, before, after)
    stations = _station_plans(case, tables, before, after, readings_minimum)
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
    case: Case,
    tables: Priced,
    before: Sequence[int],
    after: Sequence[int],
    readings_minimum: float,
) -> tuple[StationPlan, ...]:
    problem = case.problem
    now, planned = clear_air(problem, before), clear_air(problem, after)
    plans = []
    for at, station in enumerate(problem.stations):
        known = case.evidence[station.station, after[at]]
        rival = min(tables.others(at, after), default=(None, None))
        sure = sureness(known, readings_minimum)
        reason = reason_of(case, at, (before, after), rival, sure)
        plans.append(
            StationPlan(
                store=problem.store,
                station=station.station,
                channel_now=before[at],
                channel_planned=after[at],
                clear_air_now=now[at],
                clear_air_planned=planned[at],
                busy_now=problem.noise(station.station, before[at]),
                busy_planned=problem.noise(station.station, after[at]),
                source_planned=known.source,
                next_best_channel=rival[1],
                next_best_cost=rival[0],
                sureness=sure,
                reason=sentence(reason),
                facts=to_json(reason),
            )
        )
    return tuple(plans)


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
                clear_air_after=planned.clear_air_planned,
                reason=sentence(reason),
                facts=to_json(reason),
            )
        )
    return tuple(moves)
