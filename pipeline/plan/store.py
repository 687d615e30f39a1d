"""The plan of one store, computed from its problem alone."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

from pipeline.plan.costs import (
    Priced,
    StoreProblem,
    beside_costs,
    clear_air,
    one_station_costs,
    priced,
    tie_costs,
    two_station_costs,
)
from pipeline.plan.decide import Chances, Decision, Group, Terms, decide
from pipeline.plan.explain import (
    Case,
    Evidence,
    Rival,
    crowding,
    reason_of,
    sureness,
)
from pipeline.plan.refusing import AnswerToRefusal, decide_anew
from pipeline.plan.sequence import Order, order_by_store
from pipeline.plan.stakes import Choice, Stakes
from pipeline.progress import part, reached
from pipeline.reasons import Bond, RefusedMove, SharedPairs, Together, from_json, sentence, to_json
from pipeline.records import OFF_AIR, StoreStation
from pipeline.tables.plan import Move, PlanProof, StationPlan

_GAIN = 1e-9  # costs closer than this are equal
_LONG = 60  # stations beyond which it is told how many refusals are answered, and only once
_SEARCHED = 0.3  # of a long plan's time, that the search for it takes; the rest are refusals


@dataclass(frozen=True, slots=True)
class StorePlan:
    """Everything the plan says of one store."""

    stations: tuple[StationPlan, ...]
    moves: tuple[Move, ...]
    proof: PlanProof


def plan_store(case: Case, effort: int, terms: Terms) -> StorePlan:
    """Return the best plan of a store, its proof and its moves in order.

    `effort` bounds the search by a count, never by a clock. Every station needs a choice. Moves
    keep to the `terms`, unless the channel of today is not permitted.
    """
    return plan_and_hold(case, effort, terms)[0]


def plan_and_hold(case: Case, effort: int, terms: Terms) -> tuple[StorePlan, Case, Stakes]:
    """Return what `plan_store` does, the case with the stations that it held, and what is at stake.

    A station that was changed lately moves again only for a good reason: what must not go on, or a
    gain that is sure.
    """
    wide = with_channels(case.free, {})  # each station starts where it is
    tables = priced(wide)
    stakes, ties = stakes_of(case, tables), tie_costs(wide.stations)
    chances, held = Chances(), set[int]()
    settle = partial(decide, terms=terms, ties=ties, effort=effort, chances=chances)
    with part(0.0, _SEARCHED):
        best = settle(stakes)
        while unsure := _unsure(case, stakes, best.groups):
            held |= unsure
            for i in unsure:
                stakes = stakes.allowing(i, [stakes.present[i]])
            best = settle(stakes)
    case = case.holding(frozenset(wide.stations[i].station for i in held))

    def solve(best: Decision, i: int, choices: Sequence[int]) -> AnswerToRefusal:
        asked = len(stakes.movers(best.choice)) + len(case.bonds) + len(case.refused)
        with part(1.0, 1.0):  # one refusal takes so little that only its end is told
            found = decide_anew(
                stakes, terms, best, i, choices,
                ties=ties, effort=effort, chances=chances, refusals=asked,
            )  # fmt: skip
        if len(wide.stations) > _LONG:
            reached((i + 1) / len(wide.stations))
        return found

    with part(_SEARCHED, 1.0):
        anew = _Anew(case, stakes, best, wide, solve)
        if len(wide.stations) <= _LONG and (better := anew.better()) is not None:
            anew = replace(anew, best=settle(stakes, start=better))
        return _told(case, tables, anew, terms), case, stakes


def _unsure(case: Case, stakes: Stakes, groups: Sequence[Group]) -> set[int]:
    """Return the stations changed lately that would move again without a good reason."""
    return {
        i
        for group in groups
        for i in group.stations
        if group.chance is not None and sureness(group.chance, None) != "high"
        if stakes.free[i] and case.settled(case.problem.stations[i].station)
    }


@dataclass(frozen=True)
class _Anew:
    """What refusals cost: the plan `best` solved anew, with other choices for one station."""

    case: Case
    stakes: Stakes
    best: Decision
    wide: StoreProblem
    solve: Callable[[Decision, int, Sequence[int]], AnswerToRefusal]

    @cached_property
    def answers(self) -> dict[int, AnswerToRefusal]:
        """What is decided where a station is refused its channel.

        Only of one that moves or is bound: of others, that no other channel earns a move is said.
        """
        asked = {
            at: self._left(at, station)
            for at, station in enumerate(self.case.free.stations)
            if self.best.choice[at] != self.stakes.present[at] or station.station in self.case.bonds
        }
        return {at: self.solve(self.best, at, left) for at, left in asked.items() if left}

    def _left(self, at: int, station: StoreStation) -> list[int]:
        """Return what else a station may take if nothing binds it; one refused stays so."""
        refused = self.case.refused.get(station.station)
        return [
            a
            for a, channel in enumerate(self.wide.stations[at].choices)
            if channel in station.choices and a != self.best.choice[at]
            if refused is None or channel != refused.channel
        ]

    def better(self) -> Choice | None:
        """Return the best answer to a refusal where that is a better plan than the plan is."""
        found = [
            (answer.more, answer.choice)
            for answer in self.answers.values()
            if answer.more < -_GAIN and not _unsure(self.case, self.stakes, answer.groups)
            if all(a in some for a, some in zip(answer.choice, self.stakes.allowed, strict=True))
        ]
        return min(found)[1] if found else None

    def refused(self, at: int) -> Rival:
        """Return what it costs to refuse a station its channel, and which it then takes.

        Where nothing binds it, that is never less than nothing: the plan might do the same.
        """
        if at not in self.answers:
            return None, None, False
        found, station = self.answers[at], self.wide.stations[at]
        more = found.more if station.station in self.case.bonds else max(0.0, found.more)
        return more, station.choices[found.choice[at]], not found.exact

    def refusal(self, at: int) -> RefusedMove | None:
        """Return a station's refusal with what it costs: so much less would the plan, without."""
        station = self.wide.stations[at]
        refused = self.case.refused.get(station.station)
        if refused is None or refused.channel not in station.choices:
            return refused
        allowed = sorted({*self.stakes.allowed[at], station.choices.index(refused.channel)})
        found = self.solve(self.best, at, allowed)
        saved = round(max(0.0, -found.more), 6)
        return replace(refused, cost=saved, at_least=not found.exact)


def _told(case: Case, tables: Priced, anew: _Anew, terms: Terms) -> StorePlan:
    """Return what a plan says of its decision."""
    problem, wide, best = case.problem, tables.problem, anew.best
    before = [station.channel for station in problem.stations]
    after = [s.choices[a] for s, a in zip(wide.stations, best.choice, strict=True)]
    order, ordered = _order(case, tables, before, after)
    groups = {i: group for group in best.groups for i in group.stations}
    crowd = crowding(problem, (before, after), terms.earshot)
    stations = _station_plans(case, anew, (before, after), groups, crowd)
    return StorePlan(
        stations=stations,
        moves=_moves(ordered, order, stations, groups),
        proof=PlanProof(
            store=problem.store,
            cost=best.cost,
            bound=best.bound,
            optimal=best.optimal,
            cost_now=tables.total(before),
            solver=best.solver,
            order_proven=order.proven,
            worst_step=order.worst,
        ),
    )


def stakes_of(case: Case, tables: Priced) -> Stakes:
    """Return what is at stake; `tables` are of stations that may also stay where they are."""
    wide = tables.problem
    beta = [
        [_beta(case.evidence.get((s.station, channel))) for channel in s.choices]
        for s in wide.stations
    ]
    return Stakes(
        one=tables.one,
        two=tables.two,
        beside=beside_costs(wide),
        busy=[[wide.noise(s.station, c) for c in s.choices] for s in wide.stations],
        beta=beta,
        weight=[s.weight for s in wide.stations],
        lost=[[wide.lost_cost(s.station, c) for c in s.choices] for s in wide.stations],
        present=tuple(s.choices.index(s.channel) for s in wide.stations),
        allowed=[
            [at for at, channel in enumerate(s.choices) if channel in narrow.choices]
            for s, narrow in zip(wide.stations, case.problem.stations, strict=True)
        ],
        price=wide.price_per_move,
        homes=tuple(case.homes[s.station][0] for s in wide.stations) if case.homes else (),
        agreed=frozenset(
            i
            for i, s in enumerate(wide.stations)
            if _agreed(case, s.station) and s.channel in case.permits(s.station)
        ),
    )


def _agreed(case: Case, station: str) -> bool:
    bond = case.bonds.get(station)
    return bond is not None and bond.why in {"agreed", "put_back"}


def _must_move(case: Case, station: StoreStation) -> bool:
    """Tell whether a station may not stay on its channel; what is agreed was a choice."""
    free = case.permits(station.station) if _agreed(case, station.station) else station.choices
    return station.channel not in free


def with_channels(problem: StoreProblem, more: Mapping[str, int]) -> StoreProblem:
    """Widen each station's choices by its channel of today, permitted or not, and by `more`."""
    stations = tuple(
        replace(s, choices=tuple(sorted({*s.choices, s.channel, more.get(s.station, s.channel)})))
        for s in problem.stations
    )
    return replace(problem, stations=stations)


def _order(
    case: Case, tables: Priced, before: Sequence[int], after: Sequence[int]
) -> tuple[Order, StoreProblem]:
    """Return the order of the moves, and the problem that its choices are of.

    Nothing is parked that is set for the first time: it goes where it ends.
    """
    # The way is judged by clear air alone: the price of moves is settled by then.
    problem = replace(tables.problem, price_per_move=0.0)
    stations = tuple(
        replace(s, choices=(OFF_AIR, channel)) if s.channel == OFF_AIR else s
        for s, channel in zip(problem.stations, after, strict=True)
    )
    if stations != problem.stations:
        problem = replace(problem, stations=stations)
        tables = Priced(problem, tables.one, two_station_costs(problem))
    ends = Priced(problem, [], {}).choice(before), Priced(problem, [], {}).choice(after)
    first = [i for i, s in enumerate(problem.stations) if s.station in case.first]
    one = one_station_costs(problem)
    homes = [case.homes[s.station][0] for s in stations] if case.homes else [""] * len(stations)
    return order_by_store(one, tables.two, ends, first, homes), problem


def _beta(known: Evidence | None) -> tuple[float, float]:
    return (1.0, 1.0) if known is None else (known.a, known.b)


def _station_plans(
    case: Case,
    anew: _Anew,
    ends: tuple[Sequence[int], Sequence[int]],
    groups: Mapping[int, Group],
    crowd: Mapping[int, SharedPairs],
) -> tuple[StationPlan, ...]:
    problem, (before, after) = case.problem, ends
    now, planned = clear_air(problem, before), clear_air(problem, after)
    plans = []
    for at, station in enumerate(problem.stations):
        here = case.evidence.get((station.station, before[at]))
        there = case.evidence[station.station, after[at]]
        before_air, after_air = interval(here, now[at]), interval(there, planned[at])
        group = groups.get(at)
        chance = None if group is None or _must_move(case, station) else group.chance
        rival = anew.refused(at)
        reason = replace(
            reason_of(case, at, ends, rival, _sureness(chance, after_air)),
            refused=anew.refusal(at),
            together=_together(problem, at, group),
            bond=_bond(case, station.station, group),
            crowd=crowd.get(at),
        )
        plans.append(
            StationPlan(
                store=problem.store,
                station=station.station,
                channel_now=before[at] or None,
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
                kept=None,  # until the evidence has been drawn anew
            )
        )
    return tuple(plans)


def _bond(case: Case, station: str, group: Group | None) -> Bond | None:
    """Return what binds a station; of an agreed move that stands alone, with its gain."""
    bond = case.bonds.get(station)
    if bond is None or group is None or group.gain is None or group.chance is None:
        return bond
    if len(group.stations) > 1:
        return bond
    return replace(bond, gain=round(group.gain, 6) + 0.0, chance=round(group.chance, 4))


def _together(problem: StoreProblem, at: int, group: Group | None) -> Together | None:
    """Return what a reason says of a station's group; None where it moves alone or not at all."""
    if group is None or len(group.stations) == 1:
        return None
    others = tuple(problem.stations[i].station for i in group.stations if i != at)
    gain = None if group.gain is None else round(group.gain, 6)
    return Together(others, gain, None if group.chance is None else round(group.chance, 4))


_Interval = tuple[float | None, float | None, float | None]


def interval(known: Evidence | None, air: float) -> _Interval:
    """Return clear air with its 5 and 95 % points; all None where the channel is not known."""
    if known is None or known.share is None or known.low is None or known.high is None:
        return None, None, None
    own = air / max(1e-9, 1 - known.reckoned)
    return air, own * (1 - known.high), own * (1 - known.low)


def _sureness(chance: float | None, air: _Interval) -> str:
    _, low, high = air
    return sureness(chance, None if low is None or high is None else high - low)


def _moves(
    wide: StoreProblem,
    order: Order,
    plans: Sequence[StationPlan],
    groups: Mapping[int, Group],
) -> tuple[Move, ...]:
    heads = list(dict.fromkeys(groups[step.station].stations for step in order.steps))
    moves = []
    for position, step in enumerate(order.steps, start=1):
        station, planned = wide.stations[step.station], plans[step.station]
        reason = replace(from_json(planned.facts), parked=step.parking)
        group = groups[step.station]
        moves.append(
            Move(
                store=wide.store,
                station=station.station,
                from_channel=station.choices[step.from_choice] or None,
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
                group_no=heads.index(group.stations) + 1,
                group_gain=group.gain,
                pan_id=None,
                tx_power_dbm=None,
                name=None,
            )
        )
    return tuple(moves)
