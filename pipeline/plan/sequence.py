"""The order of moves from one assignment to another, one station at a time."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise, permutations

from pipeline.plan.assign import TOLERANCE
from pipeline.plan.network import (
    OneStationCosts,
    TwoStationCosts,
    check_complete,
    checked,
    to_grid,
)
from pipeline.plan.passage import (
    Flood,
    Ground,
    State,
    beam,
    direct,
    ground,
    lowest,
    shortcut,
    shortest,
)

EXACT_MOVES = 12
"""Up to this many moves the order is searched exactly."""

BUDGET = 100_000
"""States looked at per search for a way with parking."""

_WIDTH = 60
_STORES_TRIED = 4


@dataclass(frozen=True)
class Step:
    """One change of one station; a parking step does not lead where the station ends."""

    station: int
    from_choice: int
    to_choice: int
    parking: bool


@dataclass(frozen=True)
class Order:
    """Steps from before to after.

    Attributes:
        steps: in order; one station changes at a time.
        costs: cost before any step and after each step, in the caller's units.
        proven: no other way is better by worst state, then number of steps, then how early
            `first` is done, then sum of costs; otherwise the best way found.
    """

    steps: tuple[Step, ...]
    costs: tuple[float, ...]
    proven: bool

    @property
    def worst(self) -> float:
        """Cost of the worst state on the way, both ends included."""
        return max(self.costs)

    def back_out(self, done: int | None = None) -> tuple[Step, ...]:
        """Steps that lead back to before, from the end or after the first `done` steps."""
        before: dict[int, int] = {}
        for step in self.steps:
            before.setdefault(step.station, step.from_choice)
        return tuple(
            Step(s.station, s.to_choice, s.from_choice, s.from_choice != before[s.station])
            for s in reversed(self.steps[:done])
        )


def order_moves(  # noqa: PLR0913 - two inputs, two ends; the rest are options with defaults
    one_station_costs: OneStationCosts,
    two_station_costs: TwoStationCosts,
    *,
    before: Sequence[int],
    after: Sequence[int],
    first: Collection[int] = (),
    budget: int = BUDGET,
) -> Order:
    """Find the order of moves that keeps the store best off on the way.

    Wanted, in this order: no state between worse than the worse of both ends, fewest steps, the
    stations of `first` done as early as that allows, least sum of costs over the states between, so
    that the benefit comes early, and the earlier station first. Where no order of direct moves
    keeps to the worse end, stations are parked on another of their choices on the way; stations
    that stay where they are are left alone. Where nothing keeps to it, the excess is the least that
    can be had with each station parked at most once: more would be many disruptions for little.
    States closer than `TOLERANCE`, relative, count as equal.

    Args:
        one_station_costs: as for `assign`.
        two_station_costs: as for `assign`.
        before: choice of each station now.
        after: choice of each station at the end.
        first: stations to be done before the others.
        budget: states looked at in each search for parking. A way is proven up to `EXACT_MOVES`
            moves unless that is used up.

    Raises:
        ValueError: an entry is not as described; the sentence names it.
    """
    costs = checked(one_station_costs, two_station_costs)
    check_complete("before", before, costs)
    check_complete("after", after, costs)
    network = to_grid(costs, None, costs.most()).network
    land = ground(network, before, after, first)
    way, proven = _way(land, budget)
    now, steps, prices = list(before), [], [costs.total(before)]
    for old, new in pairwise(way):
        k = next(k for k, (a, b) in enumerate(zip(old, new, strict=True)) if a != b)
        station = land.stations[k]
        now[station] = new[k]
        steps.append(Step(station, old[k], new[k], new[k] != land.after[k]))
        prices.append(costs.total(now))
    return Order(tuple(steps), tuple(prices), proven)


def order_by_store(
    one_station_costs: OneStationCosts,
    two_station_costs: TwoStationCosts,
    ends: tuple[Sequence[int], Sequence[int]],
    first: Collection[int],
    homes: Sequence[str],
) -> Order:
    """Find the order of the moves of stores that are changed in different nights.

    Each store's moves are made together; of the orders of up to `_STORES_TRIED` stores that is
    taken which has the stores of `first` first, then the lowest worst state, then the least sum.
    `ends` are the choices before and after, `homes` the store of each station.
    """
    before, after = ends
    moved = sorted({home for home, a, b in zip(homes, before, after, strict=True) if a != b})
    urgent = {homes[i] for i in first}

    def through(stores: Sequence[str]) -> Order:
        steps: tuple[Step, ...] = ()
        costs: tuple[float, ...] = ()
        now, proven = tuple(before), True
        for store in stores or [""]:
            rows = zip(homes, now, after, strict=True)
            then = tuple(b if home == store else a for home, a, b in rows)
            found = order_moves(
                one_station_costs, two_station_costs, before=now, after=then, first=first
            )
            steps, costs = steps + found.steps, costs + found.costs[len(costs) > 0 :]
            now, proven = then, proven and found.proven
        return Order(steps, costs, proven)

    def wanted(stores: Sequence[str]) -> tuple[list[bool], float, float]:
        found = through(stores)
        return [store not in urgent for store in stores], found.worst, sum(found.costs)

    orders = list(permutations(moved)) if 1 < len(moved) <= _STORES_TRIED else [tuple(moved)]
    return through(min(orders, key=wanted) if len(orders) > 1 else orders[0])


def _way(land: Ground, budget: int) -> tuple[list[State], bool]:
    """Choose between direct moves and parking; say whether the choice is proven."""
    if not land.stations:
        return [land.before], True
    end = max(land.cost(land.before), land.cost(land.after))
    ceiling = end + int(end * TOLERANCE)
    few = len(land.stations) <= EXACT_MOVES
    worst, way = direct(land, ceiling) if few else beam(land, ceiling, _WIDTH)
    if worst <= ceiling:
        return way, few
    kept = lowest(land, ceiling, ceiling, budget, once=False)
    if kept.way:
        return _with_parking(land, kept, budget if few else 0, once=False)
    least = lowest(land, ceiling, worst - 1, budget, once=True)
    if not least.way:
        return way, few and kept.complete and least.complete
    best, proven = _with_parking(land, least, budget if few else 0, once=True)
    return best, proven and kept.complete


def _with_parking(
    land: Ground, flood: Flood, budget: int, *, once: bool
) -> tuple[list[State], bool]:
    """Shorten a way without passing through anything dearer; say whether it is proven."""
    best = shortest(land, flood.worst, budget, once=once)
    return (best, True) if best else (shortcut(flood.way or []), False)
