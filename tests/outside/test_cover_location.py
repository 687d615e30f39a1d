"""Places chosen by `locate`, against complete enumeration and a second solver.

OR-Library (J. E. Beasley, 1990) publishes optima of p-median and warehouse problems, such as 5819
for pmed1 and 932615.750 for cap71; its files ship with no open package at hand, so random instances
stand in: all choices of small ones are priced, larger ones are solved by CP-SAT of OR-Tools.
"""

from itertools import combinations

import numpy as np
import pytest
from ortools.sat.python import cp_model

from pipeline.cover.places import Location, locate

FEW, ALL = range(0, 200, 6), range(200)  # the slow run prices all


def _instance(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, int]:
    """Return costs (a plane, a graph's hops or noise), prices and weights, and a count."""
    random = np.random.default_rng(seed)
    clients, places = int(random.integers(3, 13)), int(random.integers(2, 9))
    kind = seed % 3
    if kind == 0:
        here, there = random.random((clients, 1, 2)), random.random((1, places, 2))
        costs = np.round(100 * np.sqrt(((here - there) ** 2).sum(axis=2)), 1)
    else:
        costs = random.integers(0, 2 if kind == 1 else 30, (clients, places)).astype(float)
    prices = random.integers(0, 40, places).astype(float)
    weights = random.integers(0, 4, clients).astype(float)
    return costs, prices, weights, int(random.integers(1, places + 1))


def _priced(costs: np.ndarray, weights: np.ndarray, chosen: tuple[int, ...]) -> float:
    return float((costs[:, chosen].min(axis=1) * weights).sum())


def _checked(found: Location, costs: np.ndarray) -> None:
    """Hold what is said of a choice against its costs."""
    assert found.optimal
    assert found.bound == found.cost
    for client, place in enumerate(found.used):
        assert place in found.places
        assert costs[client, place] == costs[client, found.places].min()


SOME = pytest.mark.parametrize("seeds", [FEW, pytest.param(ALL, marks=pytest.mark.slow)], ids=str)


@SOME
@pytest.mark.parametrize("tried", [0, 300], ids=["solver", "all tried"])
def test_so_many_places_are_the_best_of_all(tried: int, seeds: range) -> None:
    """The p-median cost is that of the best of all subsets of the count."""
    for seed in seeds:
        costs, _, weights, count = _instance(seed)
        found = locate(costs, count=count, weights=weights.tolist(), tried=tried)
        ways = combinations(range(costs.shape[1]), count)
        best = min(_priced(costs, weights, way) for way in ways)
        assert found.cost == pytest.approx(best, abs=1e-6), seed
        assert len(found.places) == count
        _checked(found, costs)


@SOME
def test_places_that_cost_something_are_the_best_of_all(seeds: range) -> None:
    """The cost of facility location is that of the best of all subsets."""
    for seed in seeds:
        costs, prices, weights, _ = _instance(seed)
        found = locate(costs, opening=prices.tolist(), weights=weights.tolist())
        places = range(costs.shape[1])
        best = min(
            _priced(costs, weights, way) + prices[list(way)].sum()
            for size in range(1, len(prices) + 1)
            for way in combinations(places, size)
        )
        assert found.cost == pytest.approx(best, abs=1e-6), seed
        _checked(found, costs)


def _by_cp_sat(costs: np.ndarray, prices: np.ndarray, count: int | None) -> float:
    """Solve the same problem with one variable a client and place."""
    model = cp_model.CpModel()
    clients, places = costs.shape
    opened = [model.new_bool_var("") for _ in range(places)]
    uses = [[model.new_bool_var("") for _ in range(places)] for _ in range(clients)]
    for row in uses:
        model.add_exactly_one(row)
        for use, place in zip(row, opened, strict=True):
            model.add_implication(use, place)
    if count is not None:
        model.add(sum(opened) == count)
    total = sum(
        int(c) * u
        for line, row in zip(costs, uses, strict=True)
        for c, u in zip(line, row, strict=True)
    )
    model.minimize(total + sum(int(p) * o for p, o in zip(prices, opened, strict=True)))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return solver.objective_value


@pytest.mark.parametrize(
    ("seed", "clients"), [(0, 12), *(pytest.param(s, 30, marks=pytest.mark.slow) for s in range(5))]
)
def test_a_second_solver_agrees(seed: int, clients: int) -> None:
    """CP-SAT proves the same optima of larger instances, with whole numbers for costs."""
    random = np.random.default_rng(1000 + seed)
    costs = random.integers(0, 100, (clients, 12)).astype(float)
    prices = random.integers(20, 120, 12).astype(float)
    count = int(random.integers(2, 6))
    free = np.zeros(12)
    assert locate(costs, count=count, tried=0).cost == pytest.approx(_by_cp_sat(costs, free, count))
    found = locate(costs, opening=prices.tolist())
    assert found.cost == pytest.approx(_by_cp_sat(costs, prices, None))


@pytest.mark.parametrize(
    ("costs", "more", "says"),
    [
        ([[1.0, -1.0]], {}, "costs must be finite and 0 or more"),
        ([[1.0, float("nan")]], {}, "costs must be finite and 0 or more"),
        ([[1.0]], {"count": 2}, "count must be 1 to 1; got 2"),
        ([[1.0]], {"opening": [1.0, 2.0]}, "opening must be one a place"),
        ([], {}, "costs must be clients by places"),
    ],
)
def test_what_cannot_be_is_refused(
    costs: list[list[float]], more: dict[str, object], says: str
) -> None:
    """A wrong problem is an error that names the entry."""
    with pytest.raises(ValueError, match=says):
        locate(np.array(costs), **more)  # type: ignore[arg-type]  # wrong on purpose
