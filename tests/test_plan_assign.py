"""The assignment against brute force, its checks of the input and its options."""

import itertools
import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from plan_instances import (
    One,
    Two,
    clear_air_costs,
    every_choice,
    least,
    mixed_costs,
    seeded,
    thin_costs,
    total,
)

from pipeline.plan.assign import TOLERANCE, Assignment, assign

unchecked: Callable[..., Assignment] = assign


def _seeds(quick: int, every: int) -> list[object]:
    """Seeds of a series: the first few always, the rest in the slow run."""
    return [
        seed if seed < quick else pytest.param(seed, marks=pytest.mark.slow)
        for seed in range(every)
    ]


@pytest.mark.parametrize("seed", _seeds(60, 300))
def test_agrees_with_brute_force(seed: int) -> None:
    """No complete choice is cheaper, and the bound is below the cheapest."""
    one, two = mixed_costs(seed)

    found = assign(one, two)

    cheapest = min(total(one, two, choice) for choice in every_choice(one))
    assert found.cost == total(one, two, found.choice)
    assert found.cost == pytest.approx(cheapest, rel=TOLERANCE, abs=0)
    assert found.bound <= cheapest
    assert found.optimal


def test_no_stations_cost_nothing() -> None:
    """An empty store has the empty choice, which is optimal."""
    found = assign([], {})

    assert (found.choice, found.cost, found.bound, found.optimal) == ((), 0.0, 0.0, True)


def test_stations_out_of_earshot_are_separate_parts() -> None:
    """A pair that costs the same whatever the two take does not tie them together."""
    tied, loose = [[1, 0], [0, 1]], [[3, 3], [3, 3]]

    found = assign([[0, 0]] * 4, {(0, 3): tied, (1, 2): loose})

    assert found.parts == ((0, 3), (1,), (2,))
    assert found.cost == 3


def test_nothing_to_pay_is_the_best() -> None:
    """A store that can be had for nothing is proven at nothing."""
    apart = [[float(a == b) for b in range(5)] for a in range(5)]

    found = assign([[0.0] * 5] * 12, {(i, i + 1): apart for i in range(11)} | {(0, 2): apart})

    assert (found.cost, found.bound, found.optimal, found.proven) == (0.0, 0.0, True, True)


def test_whole_costs_are_proven_without_any_gap() -> None:
    """Whole costs are added exactly, so cost and bound are the same number."""
    one, two = mixed_costs(0)
    whole = [[math.ceil(x) for x in row] for row in one]
    tables = {k: [[math.ceil(x) for x in row] for row in t] for k, t in two.items()}

    found = assign(whole, tables)

    assert found.bound == found.cost


@pytest.mark.parametrize("scale", [1e-300, 1e-290, 1e-200, 1e-9, 1.0, 1e9, 1e200])
def test_unit_of_the_costs_does_not_matter(scale: float) -> None:
    """The same costs in another unit give the same choice, proven as well."""
    one, two, _ = clear_air_costs(3, 7)
    scaled = [[x * scale for x in row] for row in one]
    tables = {k: [[x * scale for x in row] for row in t] for k, t in two.items()}

    found = assign(scaled, tables)

    assert found.choice == assign(one, two).choice
    assert found.optimal


@pytest.mark.parametrize("seed", range(20))
def test_ties_are_broken_by_the_secondary_cost(seed: int) -> None:
    """Among the cheapest choices one with the least sum of ties is taken."""
    dice = seeded(seed)
    sizes = [dice.randint(2, 3) for _ in range(5)]
    one = [[dice.randrange(2) for _ in range(k)] for k in sizes]
    two = {
        (i, j): [[dice.randrange(2) for _ in range(sizes[j])] for _ in range(sizes[i])]
        for i, j in itertools.combinations(range(5), 2)
    }
    ties = [[dice.randrange(50) for _ in range(k)] for k in sizes]

    found = assign(one, two, ties=ties)

    best = min(
        (total(one, two, c), sum(row[a] for row, a in zip(ties, c, strict=True)))
        for c in every_choice(one)
    )
    reached = sum(row[a] for row, a in zip(ties, found.choice, strict=True))
    assert (found.cost, reached) == best


@pytest.mark.parametrize("seed", range(20))
def test_fixed_stations_keep_their_choice(seed: int) -> None:
    """The answer is the cheapest among the choices that leave fixed stations alone."""
    one, two = mixed_costs(1000 + seed)
    fixed = {0: len(one[0]) - 1}

    found = assign(one, two, fixed=fixed)

    cheapest = min(total(one, two, c) for c in every_choice(one) if c[0] == fixed[0])
    assert found.choice[0] == fixed[0]
    assert found.cost == pytest.approx(cheapest, rel=TOLERANCE, abs=0)


def test_answer_is_never_worse_than_the_incumbent() -> None:
    """With no effort allowed, a good known choice is still kept."""
    one, two, _ = clear_air_costs(5, 20)
    best = assign(one, two)

    found = assign(one, two, incumbent=best.choice, effort=1)

    assert found.cost <= best.cost
    assert found.bound <= best.cost


def test_order_of_the_mappings_does_not_matter() -> None:
    """Pairs in any order give the same answer, to the last figure."""
    one, two, _ = clear_air_costs(8, 14)
    backwards = dict(reversed(two.items()))

    assert assign(one, two) == assign(one, backwards)


def test_earlier_problems_leave_no_trace() -> None:
    """An answer is the same after other problems have been solved in the process."""
    one, two, _ = clear_air_costs(9, 14)
    first = assign(one, two)
    assign(*clear_air_costs(10, 15)[:2], effort=5)

    assert assign(one, two) == first


def test_solver_prints_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    """The output of a command is ours alone."""
    assign(*clear_air_costs(11, 12)[:2])
    assign(*clear_air_costs(11, 18)[:2], effort=5)

    assert capfd.readouterr() == ("", "")


costs = st.one_of(st.integers(0, 9), st.floats(0, 1e3, allow_subnormal=False))


@st.composite
def problems(draw: st.DrawFn) -> tuple[One, Two]:
    """Draw one-station costs and pair tables of matching shape."""
    sizes = draw(st.lists(st.integers(1, 3), max_size=5))
    one = [draw(st.lists(costs, min_size=k, max_size=k)) for k in sizes]
    pairs = st.sampled_from(list(itertools.combinations(range(len(sizes)), 2)) or [(0, 0)])
    chosen = draw(st.sets(pairs)) if len(sizes) > 1 else set()
    two = {
        (i, j): [draw(st.lists(costs, min_size=sizes[j], max_size=sizes[j])) for _ in one[i]]
        for i, j in sorted(chosen)
    }
    return one, two


@given(problems())
def test_bound_cost_and_flag_are_consistent(
    problem: tuple[One, Two],
) -> None:
    """Cost is that of the choice, the bound is below every choice, and the flag says they meet."""
    one, two = problem

    found = assign(one, two)

    assert found.cost == total(one, two, found.choice)
    assert 0 <= found.bound <= min(total(one, two, c) for c in every_choice(one))
    assert found.optimal == (found.cost - found.bound <= TOLERANCE * found.cost)


@pytest.mark.parametrize(
    ("one", "two", "words"),
    [
        ([[1, -1]], {}, r"one_station_costs\[0\]\[1\] is -1"),
        ([[1], [math.nan]], {}, r"one_station_costs\[1\]\[0\] is nan"),
        ([[math.inf]], {}, r"one_station_costs\[0\]\[0\] is inf"),
        ([[True]], {}, r"one_station_costs\[0\]\[0\] is True"),
        ([["1"]], {}, r"one_station_costs\[0\]\[0\] is '1'"),
        ([[10**400]], {}, "too large"),
        ([[1e308], [1e308]], {}, "too large"),
        ([[0], []], {}, r"one_station_costs\[1\] is empty"),
        ([[0], 5], {}, r"one_station_costs\[1\] is 5"),
        ([[0], [0]], {(1, 0): [[0]]}, r"two_station_costs\[\(1, 0\)\]"),
        ([[0], [0]], {(1, 1): [[0]]}, r"two_station_costs\[\(1, 1\)\]"),
        ([[0], [0]], {(0, 2): [[0]]}, r"two_station_costs\[\(0, 2\)\]"),
        ([[0], [0]], {(-1, 1): [[0]]}, r"two_station_costs\[\(-1, 1\)\]"),
        ([[0], [0]], {0: [[0]]}, "a key of two_station_costs is 0"),
        ([[0], [0]], {(0, 1): [[0], [0]]}, r"two_station_costs\[\(0, 1\)\] has 2 rows"),
        ([[0], [0]], {(0, 1): [[0, 0]]}, r"two_station_costs\[\(0, 1\)\]\[0\] has 2 entries"),
        ([[0], [0]], {(0, 1): [[math.nan]]}, r"two_station_costs\[\(0, 1\)\]\[0\]\[0\] is nan"),
        ([[0], [0]], {(0, 1): None}, r"two_station_costs\[\(0, 1\)\] is None"),
    ],
)
def test_bad_costs_are_named(one: object, two: object, words: str) -> None:
    """A cost that is none is refused with a sentence that says which."""
    with pytest.raises(ValueError, match=words):
        unchecked(one, two)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"ties": [[0, 0]]}, "ties has 1 rows"),
        ({"ties": [[0], [0, 0]]}, r"ties\[0\] has 1 entries"),
        ({"ties": [[0, 0.5], [0, 0]]}, r"ties\[0\]\[1\] is 0.5"),
        ({"ties": [[0, -1], [0, 0]]}, r"ties\[0\]\[1\] is -1"),
        ({"fixed": {2: 0}}, "fixed names station 2"),
        ({"fixed": {0: 2}}, r"fixed\[0\] is 2"),
        ({"incumbent": (0,)}, "incumbent has 1 entries"),
        ({"incumbent": (0, 7)}, r"incumbent\[1\] is 7"),
        ({"incumbent": (0, 1), "fixed": {1: 0}}, r"incumbent\[1\] is 1; fixed holds"),
        ({"solver": "oracle"}, "solver is 'oracle'"),
        ({"effort": 0}, "effort is 0"),
    ],
)
def test_bad_options_are_named(options: dict[str, object], words: str) -> None:
    """An option that does not fit the stations is refused with a sentence that says which."""
    with pytest.raises(ValueError, match=words):
        unchecked([[0, 1], [1, 0]], {}, **options)


def _in_steps(
    one: One, two: Two, ties: list[list[int]], choice: tuple[int, ...]
) -> tuple[int, int]:
    """Return what a choice costs in whole steps of 1e-9, and its sum of ties."""
    terms = [row[a] for row, a in zip(one, choice, strict=True)]
    terms += [table[choice[i]][choice[j]] for (i, j), table in two.items()]
    tied = sum(row[a] for row, a in zip(ties, choice, strict=True))
    return sum(round(x * 10**9) for x in terms), tied


def _store(seed: int, stations: int) -> tuple[One, Two, list[list[int]]]:
    """A store with costs of nine decimals, as the plan rounds them, on a thin or a dense floor."""
    dice = seeded(seed)
    if seed % 2:
        one, two, now = thin_costs(seed, stations)
    else:
        side_m = dice.choice((30.0, 80.0))
        one, two, now = clear_air_costs(seed, stations, side_m, side_m)
    quiet = dice.choice((1.0, 1e-3))  # quiet air: a gap of 1e-10 is large beside such costs
    one = [[round(x * quiet, 9) for x in row] for row in one]
    two = {pair: [[round(x * quiet, 9) for x in row] for row in t] for pair, t in two.items()}
    return one, two, [[dice.randrange(10**4) + 10**6 * (a != t) for a in range(5)] for t in now]


@pytest.mark.parametrize("seed", _seeds(16, 200))
def test_a_complete_search_proves_the_best_to_the_last_digit(seed: int) -> None:
    """Stores of 2 to 32 stations: no gap is left, and elimination in whole numbers agrees.

    Up to 16 stations, and on thin floors, the search is always complete. Elimination looks at
    every choice of up to eight stations, and of larger stores on thin floors.
    """
    stations = 2 + seed % 31
    one, two, ties = _store(seed, stations)

    found = assign(one, two, ties=ties, effort=20_000)

    assert found.proven or (stations > 16 and seed % 2 == 0)
    assert found.optimal == found.proven
    if found.proven:
        assert found.bound == pytest.approx(found.cost, rel=1e-12, abs=0)
    exact = least(one, two, ties)
    assert exact is not None or stations > 8
    assert exact in {None, _in_steps(one, two, ties, found.choice)}
