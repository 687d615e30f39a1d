"""The plan of one store, computed from its problem alone."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.plan.assign import Assignment, assign
from pipeline.plan.costs import (
    StoreProblem,
    clear_air,
    one_station_costs,
    tie_costs,
    two_station_costs,
)
from pipeline.plan.explain import Case, move_reason, stay_reason, sureness
from pipeline.plan.outcome import Move, Proof, StationPlan, StorePlan
from pipeline.plan.sequence import Order, order_moves


def plan_store(case: Case, effort: int, readings_minimum: float) -> StorePlan:
    """Return the best plan of a store, its proof and its moves in order.

    `effort` bounds the search by a count, never by a clock. Every station needs a choice.
    """
    problem = case.problem
    before = [station.channel for station in problem.stations]
    best = assign(
        one_station_costs(problem),
        two_station_costs(problem),
        ties=tie_costs(problem.stations),
        effort=effort,
    )
    after = [s.choices[a] for s, a in zip(problem.stations, best.choice, strict=True)]
    wide = _with_channels_of_today(problem)
    order = _order(wide, before, after)
    return StorePlan(
        stations=_station_plans(case, before, after, readings_minimum),
        moves=_moves(case, wide, order, before, after),
        proof=_proof(wide, best, order, before),
    )


def _with_channels_of_today(problem: StoreProblem) -> StoreProblem:
    """Widen each station's choices by its channel of today, permitted or not: it starts there."""
    stations = tuple(
        replace(s, choices=tuple(sorted({*s.choices, s.channel}))) for s in problem.stations
    )
    return replace(problem, stations=stations)


def _order(wide: StoreProblem, before: Sequence[int], after: Sequence[int]) -> Order:
    # The way is judged by clear air alone: the price of moves is settled by then.
    free = replace(wide, price_per_move=0.0)
    return order_moves(
        one_station_costs(free),
        two_station_costs(free),
        before=_choices(wide, before),
        after=_choices(wide, after),
    )


def _choices(problem: StoreProblem, channels: Sequence[int]) -> list[int]:
    return [s.choices.index(c) for s, c in zip(problem.stations, channels, strict=True)]


def _cost(problem: StoreProblem, channels: Sequence[int]) -> float:
    choice = _choices(problem, channels)
    one, two = one_station_costs(problem), two_station_costs(problem)
    return sum(row[a] for row, a in zip(one, choice, strict=True)) + sum(
        table[choice[i]][choice[j]] for (i, j), table in two.items()
    )


def _proof(wide: StoreProblem, best: Assignment, order: Order, before: Sequence[int]) -> Proof:
    return Proof(
        store=wide.store,
        cost=best.cost,
        bound=best.bound,
        optimal=best.optimal,
        cost_now=_cost(wide, before),
        solver=best.solver,
        order_proven=order.proven,
        worst_step=order.worst,
    )


def _station_plans(
    case: Case, before: Sequence[int], after: Sequence[int], readings_minimum: float
) -> tuple[StationPlan, ...]:
    problem = case.problem
    now, planned = clear_air(problem, before), clear_air(problem, after)
    plans = []
    for at, station in enumerate(problem.stations):
        known = case.evidence[station.station, after[at]]
        other, extra = _next_best(problem, at, after)
        moved = before[at] != after[at]
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
                next_best_channel=other,
                next_best_cost=extra,
                sureness=sureness(known, readings_minimum),
                reason=move_reason(case, at, before, after)
                if moved
                else stay_reason(case, at, after),
            )
        )
    return tuple(plans)


def _next_best(
    problem: StoreProblem, at: int, after: Sequence[int]
) -> tuple[int | None, float | None]:
    """Return the best other channel for one station, the rest kept, and what it would cost more."""
    planned = _cost(problem, after)
    others = [c for c in problem.stations[at].choices if c != after[at]]
    if not others:
        return None, None
    costs = [_cost(problem, [*after[:at], c, *after[at + 1 :]]) - planned for c in others]
    cheapest = min(range(len(others)), key=lambda k: (costs[k], others[k]))
    return others[cheapest], costs[cheapest]


def _moves(
    case: Case, wide: StoreProblem, order: Order, before: Sequence[int], after: Sequence[int]
) -> tuple[Move, ...]:
    now, planned = clear_air(wide, before), clear_air(wide, after)
    moves = []
    for position, step in enumerate(order.steps, start=1):
        station = wide.stations[step.station]
        reason = move_reason(case, step.station, before, after)
        if step.parking:
            reason = f"parked on the way, so that no state between is worse; then: {reason}"
        moves.append(
            Move(
                store=wide.store,
                station=station.station,
                from_channel=station.choices[step.from_choice],
                to_channel=station.choices[step.to_choice],
                position=position,
                parking=step.parking,
                clear_air_before=now[step.station],
                clear_air_after=planned[step.station],
                reason=reason,
            )
        )
    return tuple(moves)
