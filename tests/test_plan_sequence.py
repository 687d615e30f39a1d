"""The order of moves against an exhaustive search of all ways, and its rules."""

import itertools

import pytest
from plan_instances import One, Two, clear_air_costs, every_choice, seeded, total

from pipeline.plan.assign import TOLERANCE, assign
from pipeline.plan.sequence import Order, Step, order_moves

State = tuple[int, ...]


def excess(order: Order) -> float:
    """Return by how much the worst state is worse than the worse end; 0 where the rule is kept."""
    over = order.worst - max(order.costs[0], order.costs[-1])
    return over if over > TOLERANCE * order.worst else 0.0


def _follows(one: State, other: State, before: State, after: State, *, once: bool) -> bool:
    """Say whether one step leads from a state to another, with at most one parking or any."""
    changed = [i for i, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
    if len(changed) != 1:
        return False
    i = changed[0]
    return not once or (one[i] == before[i]) or (one[i] != after[i] and other[i] == after[i])


def _exhaustive(one: One, two: Two, before: State, after: State) -> tuple[float, int, float]:
    """Worst state, number of steps and sum between of the wanted way, by looking at every way."""
    movers = [i for i, a in enumerate(before) if a != after[i]]
    states = [
        s
        for s in every_choice(one)
        if all(s[i] == before[i] for i in range(len(one)) if i not in movers)
    ]
    cost = {s: total(one, two, s) for s in states}
    end = max(cost[before], cost[after])
    levels = sorted({max(c, end) for c in cost.values()})
    for worst, once in [(end, False), *((level, True) for level in levels)]:
        allowed = [s for s in states if cost[s] <= worst]
        near = {
            s: [t for t in allowed if _follows(s, t, before, after, once=once)] for s in allowed
        }
        sums, steps = {before: 0.0}, 0
        while sums and after not in sums and steps <= len(states):
            steps += 1
            reached: dict[State, float] = {}
            for state, so_far in sums.items():
                for new in near[state]:
                    onward = so_far + (0 if new == after else cost[new])
                    reached[new] = min(onward, reached.get(new, onward))
            sums = reached
        if after in sums:
            return worst, steps, sums[after]
    raise AssertionError("the dearest level lets every way pass")


def _whole_costs(seed: int, stations: int, choices: int) -> tuple[One, Two, State, State]:
    """Whole costs, so that sums are exact, and two ends that differ in most stations."""
    dice = seeded(seed)
    high = dice.choice((3, 10, 100))
    one = [[float(dice.randrange(high)) for _ in range(choices)] for _ in range(stations)]
    two = {
        pair: [[float(dice.randrange(high)) for _ in range(choices)] for _ in range(choices)]
        for pair in itertools.combinations(range(stations), 2)
    }
    before, after = (tuple(dice.randrange(choices) for _ in range(stations)) for _ in range(2))
    if dice.random() < 0.5:
        after = assign(one, two).choice
    return one, two, before, after


def _check_way(one: One, two: Two, before: State, after: State, order: Order) -> None:
    """The steps lead from before to after and the stated costs are those of the states."""
    now, costs = list(before), [total(one, two, before)]
    for step in order.steps:
        assert now[step.station] == step.from_choice != step.to_choice
        assert step.parking == (step.to_choice != after[step.station])
        now[step.station] = step.to_choice
        costs.append(total(one, two, now))
    assert tuple(now) == after
    assert order.costs == tuple(costs)
    assert order.worst == max(costs)


@pytest.mark.parametrize(
    ("seed", "stations", "choices"),
    [(seed, 3, 4) for seed in range(25)]
    + [(seed, 4, 3) for seed in range(25)]
    + [(seed, 5, 3) for seed in range(6)]
    + [pytest.param(seed, 6, 3, marks=pytest.mark.slow) for seed in range(40)]
    + [pytest.param(seed, 5, 4, marks=pytest.mark.slow) for seed in range(20)],
)
def test_agrees_with_exhaustive_search(seed: int, stations: int, choices: int) -> None:
    """The way has the wanted worst state, then fewest steps, then the smallest sum between."""
    one, two, before, after = _whole_costs(seed, stations, choices)

    order = order_moves(one, two, before=before, after=after)

    _check_way(one, two, before, after, order)
    between = sum(order.costs[1:-1])
    assert order.proven
    assert (order.worst, len(order.steps), between) == _exhaustive(one, two, before, after)


def _lateness(one: One, two: Two, before: State, after: State, order: Order) -> int:
    """Return how late the first station must be, over every way as good and as short as this."""
    states = [s for s in every_choice(one) if total(one, two, s) <= order.worst]
    ways: list[tuple[State, ...]] = [(before,)]
    for _ in order.steps:
        ways = [
            (*way, new)
            for way in ways
            for new in states
            if _follows(way[-1], new, before, after, once=excess(order) > 0)
            if all(x == y or y != z for x, y, z in zip(new, before, after, strict=True))
        ]
    late = [sum(s[0] != after[0] for s in way[1:-1]) for way in ways if way[-1] == after]
    return min(late)


@pytest.mark.parametrize("seed", range(30))
def test_what_comes_first_is_done_as_early_as_the_order_allows(seed: int) -> None:
    """No way with the same worst state and number of steps has the first station done earlier."""
    one, two, before, after = _whole_costs(seed, 4, 3)
    plain = order_moves(one, two, before=before, after=after)

    order = order_moves(one, two, before=before, after=after, first=[0])

    _check_way(one, two, before, after, order)
    assert (order.worst, len(order.steps)) == (plain.worst, len(plain.steps))
    now, late = before, 0
    for step in order.steps[:-1]:
        now = tuple(step.to_choice if i == step.station else a for i, a in enumerate(now))
        late += now[0] != after[0]
    assert late == _lateness(one, two, before, after, order)


def test_swap_goes_through_a_parking_choice() -> None:
    """Two stations that trade places step aside when meeting would be worse than both ends."""
    clash = [[9.0, 0.0, 0.0], [0.0, 9.0, 0.0], [0.0, 0.0, 9.0]]
    one = [[1.0, 0.0, 1.0], [0.0, 1.0, 0.5]]

    order = order_moves(one, {(0, 1): clash}, before=(0, 1), after=(1, 0))

    assert order.steps == (
        Step(1, 1, 2, parking=True),
        Step(0, 0, 1, parking=False),
        Step(1, 2, 0, parking=False),
    )
    assert excess(order) == 0


def test_swap_without_a_parking_choice_states_its_excess() -> None:
    """With two choices only, the swap must pass through a clash, and says by how much."""
    clash = [[9.0, 0.0], [0.0, 9.0]]

    order = order_moves([[1.0, 0.0]] * 2, {(0, 1): clash}, before=(0, 1), after=(1, 0))

    assert len(order.steps) == 2
    assert order.proven
    assert excess(order) == 8  # both on the better choice: 9 against 1 at either end


@pytest.mark.parametrize("seed", range(36))
def test_swap_in_a_store_is_no_worse_than_it_must_be(seed: int) -> None:
    """Stations in earshot trade channels at no cost between while a channel far off is free.

    With four stations and more on five channels there may be none; then the excess is the
    least of all ways.
    """
    stations = 2 + seed % 6
    _, two, _ = clear_air_costs(seed, stations)
    flat = [[0.1] * 5 for _ in range(stations)]
    before = tuple(i % 5 for i in range(stations))
    after = (before[1], before[0], *before[2:])

    order = order_moves(flat, two, before=before, after=after)

    _check_way(flat, two, before, after, order)
    assert order.proven
    if stations < 4:
        assert excess(order) == 0
        assert len(order.steps) == 3
    assert order.worst == pytest.approx(_exhaustive(flat, two, before, after)[0], rel=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_way_to_the_plan_keeps_to_the_worse_end(seed: int) -> None:
    """From the channels of today to the best plan no state between is worse than today."""
    one, two, now = clear_air_costs(seed, 4 + seed)
    best = assign(one, two)

    order = order_moves(one, two, before=now, after=best.choice)

    _check_way(one, two, tuple(now), best.choice, order)
    assert excess(order) == 0


@pytest.mark.parametrize("done", range(4))
def test_back_out_returns_to_before_from_any_step(done: int) -> None:
    """Backing out undoes the steps done, last first."""
    one, two, now = clear_air_costs(40, 6)
    order = order_moves(one, two, before=now, after=assign(one, two).choice)
    at = list(now)
    for step in order.steps[:done]:
        at[step.station] = step.to_choice

    for step in order.back_out(done):
        assert at[step.station] == step.from_choice
        at[step.station] = step.to_choice
        assert step.parking == (step.to_choice != now[step.station])

    assert at == now
    assert len(order.back_out()) == len(order.steps)


def test_nothing_to_do_is_an_empty_order() -> None:
    """Equal ends need no step."""
    order = order_moves([[1, 2]], {}, before=(1,), after=(1,))

    assert (order.steps, order.costs, order.proven) == ((), (2.0,), True)
    assert order.back_out() == ()


def test_many_moves_are_best_found() -> None:
    """Beyond the exact size the order still keeps to the worse end and says it is not proven."""
    one, two, now = clear_air_costs(3, 30, 60, 60)
    after = assign(one, two, effort=200).choice

    order = order_moves(one, two, before=now, after=after)

    _check_way(one, two, tuple(now), after, order)
    assert sum(a != b for a, b in zip(now, after, strict=True)) > 12
    assert not order.proven
    assert excess(order) == 0


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ((0,), (0, 1), "before has 1 entries"),
        ((0, 1), (0, 2), r"after\[1\] is 2"),
        ((0, -1), (0, 1), r"before\[1\] is -1"),
    ],
)
def test_ends_that_do_not_fit_are_named(before: State, after: State, words: str) -> None:
    """A choice that a station does not have is refused with a sentence that says which."""
    with pytest.raises(ValueError, match=words):
        order_moves([[0, 0], [0, 0]], {}, before=before, after=after)
