"""The exact solvers against each other, and the bound they are helped by against brute force."""

import ctypes
import itertools
import os
from pathlib import Path

import pytest
from plan_instances import (
    One,
    Two,
    clear_air_costs,
    every_choice,
    link_costs,
    mixed_costs,
    seeded,
    total,
)

from pipeline.plan import branch
from pipeline.plan.assign import TOLERANCE, assign
from pipeline.plan.branch import by_parts
from pipeline.plan.network import Network, Solve, checked, to_grid
from pipeline.plan.reduce import joined, reduced, without_copies
from pipeline.plan.relaxation import Relaxation
from pipeline.plan.search import greedy, improved
from pipeline.plan.solvers import silent, solve_by_elimination, solve_cp_sat, solve_toulbar2


def medium_costs(seed: int) -> tuple[One, Two]:
    """Costs of 8 to 12 stations: every other seed a floor in the planner's own model."""
    if seed % 2:
        return clear_air_costs(seed, 8 + seed % 5)[:2]
    dice = seeded(seed)
    one, two = mixed_costs(seed, most_stations=1, most_choices=1)
    stations = 8 + seed % 5
    sizes = [dice.randint(2, 4) for _ in range(stations)]
    one = [[dice.random() for _ in range(k)] for k in sizes]
    two = {
        (i, j): [[dice.random() for _ in range(sizes[j])] for _ in range(sizes[i])]
        for i, j in itertools.combinations(range(stations), 2)
        if dice.random() < 0.7
    }
    return one, two


@pytest.mark.parametrize(
    "seed", [*range(6), *(pytest.param(s, marks=pytest.mark.slow) for s in range(6, 100))]
)
def test_both_solvers_find_the_same_cost(seed: int) -> None:
    """CP-SAT, a solver of another family, proves the same optimum."""
    one, two = medium_costs(seed)

    first = assign(one, two, solver="toulbar2")
    second = assign(one, two, solver="cp-sat", effort=1_000_000)

    assert first.optimal
    assert second.optimal
    assert first.cost == pytest.approx(second.cost, rel=TOLERANCE, abs=0)


@pytest.mark.parametrize(
    ("seed", "stations"),
    [
        *((seed, 2 + 3 * seed) for seed in range(3)),
        *(
            pytest.param(seed, stations, marks=pytest.mark.slow)
            for seed in range(10)
            for stations in (3, 7, 11, 14, 16)
        ),
    ],
)
def test_plan_and_proof_are_the_same_without_the_first_solver(seed: int, stations: int) -> None:
    """CP-SAT, which stands in where there is no pytoulbar2: choice, cost, bound and proof."""
    one, two, now = clear_air_costs(seed, stations)
    one = [[round(x, 9) for x in row] for row in one]
    two = {k: [[round(x, 9) for x in row] for row in table] for k, table in two.items()}
    ties = [[10 * (a != t) + a for a in range(5)] for t in now]

    first, second = (assign(one, two, ties=ties, solver=s) for s in ("toulbar2", "cp-sat"))

    assert first.optimal
    assert (first.choice, first.cost, first.bound) == (second.choice, second.cost, second.bound)
    assert (first.optimal, first.proven) == (second.optimal, second.proven)


def test_nothing_of_a_library_reaches_standard_output(capfd: pytest.CaptureFixture[str]) -> None:
    """What C writes inside is gone, with its buffer; what was written before and after is not."""
    libc = ctypes.CDLL(None)
    libc.printf(b"before ")
    with silent():
        libc.printf(b"c a remark of the solver\n")
        os.write(1, b"another")
    libc.printf(b"after")
    libc.fflush(None)

    assert capfd.readouterr().out == "before after"


def test_solver_is_called_in_silence(
    capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A solver that writes to standard output in C leaves no trace there."""
    import pytoulbar2  # noqa: PLC0415 - not everywhere

    solve = pytoulbar2.CFN.Solve

    def talking(self: pytoulbar2.CFN) -> object:
        ctypes.CDLL(None).puts(b"c automatically switch from EDAC to FDAC.")
        return solve(self)

    monkeypatch.setattr(pytoulbar2.CFN, "Solve", talking)
    network = _network(*clear_air_costs(0, 9)[:2])

    assert solve_toulbar2(network, network.cost(greedy(network)) + 1, 10_000).proven
    assert capfd.readouterr().out == ""


def test_silence_needs_no_standard_output(tmp_path: Path) -> None:
    """A program whose standard output is closed is served as well."""
    kept = os.dup(1)
    os.close(1)
    try:
        with silent():
            (tmp_path / "done").touch()
    finally:
        os.dup2(kept, 1)
        os.close(kept)

    assert (tmp_path / "done").exists()


@pytest.mark.parametrize("seed", range(30))
def test_overlapping_parts_are_below_every_choice(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Parts of three stations bound the whole: never above the cheapest of all choices."""
    monkeypatch.setattr("pipeline.plan.branch._SIZES", (3,))
    one, two = mixed_costs(700 + seed) if seed % 2 else clear_air_costs(seed, 6)[:2]
    network = _network(one, two)
    least = _cheapest(network)

    verdict = by_parts(network, least + 1, 1_000_000)

    assert verdict.bound <= least
    assert verdict.bound > 0.5 * least or seed % 2


def _network(one: One, two: Two) -> Network:
    costs = checked(one, two)
    return to_grid(costs, None, costs.most()).network


def _cheapest(network: Network) -> int:
    return min(network.cost(choice) for choice in every_choice(network.unary))


@pytest.mark.parametrize("solve", [solve_toulbar2, solve_cp_sat])
@pytest.mark.parametrize("seed", range(10))
def test_solver_finds_only_what_is_below_the_top(solve: Solve, seed: int) -> None:
    """Nothing is found when the best known cost is the optimum; one step above, the optimum is."""
    network = _network(*mixed_costs(200 + seed))
    least = _cheapest(network)

    same, above = solve(network, least, 10_000), solve(network, least + 1, 10_000)

    assert (same.choice, same.bound, same.proven) == (None, least, True)
    assert above.choice is not None
    assert (network.cost(above.choice), above.bound, above.proven) == (least, least, True)


@pytest.mark.parametrize("seed", range(20))
def test_elimination_finds_the_first_of_the_cheapest(seed: int) -> None:
    """Of all choices the cheapest, of equally cheap ones the first in dictionary order."""
    network = _network(*mixed_costs(900 + seed, most_stations=4))

    found = solve_by_elimination(network)

    best = min(every_choice(network.unary), key=network.cost)
    assert found is not None
    assert (found.choice, found.bound, found.proven) == (best, network.cost(best), True)


def test_elimination_leaves_what_it_cannot_add_up_or_hold_to_others() -> None:
    """Costs whose sums may not fit into 64 bits, and ten stations that all hear each other."""
    large = 2**61

    assert solve_by_elimination(Network(((0, large),) * 2, {})) is None
    assert solve_by_elimination(Network(((0, large),), {})) is not None
    assert solve_by_elimination(_network(*clear_air_costs(0, 10)[:2])) is None


@pytest.mark.parametrize("seed", range(30))
def test_reduction_keeps_a_best_choice(seed: int) -> None:
    """The parts' best choices together are a best choice of the whole."""
    network = _network(*mixed_costs(300 + seed))
    fixed = {0: 0} if seed % 2 else {}

    shrunk = reduced(network, fixed)
    best = [min(every_choice(p.network.unary), key=p.network.cost) for p in shrunk.parts]

    choice = joined(shrunk.parts, best)
    least = min(
        network.cost(c)
        for c in every_choice(network.unary)
        if all(c[i] == a for i, a in fixed.items())
    )
    parts = sum(p.network.cost(c) for p, c in zip(shrunk.parts, best, strict=True))
    assert network.cost(choice) == least == shrunk.constant + parts


def _relaxed(seed: int) -> tuple[Network, list[tuple[tuple[int, ...], int]], int]:
    one, two = mixed_costs(400 + seed) if seed % 2 else clear_air_costs(seed, 5)[:2]
    network = _network(one, two)
    costs = [(choice, network.cost(choice)) for choice in every_choice(network.unary)]
    top = sorted(cost for _, cost in costs)[len(costs) // 3] + 1
    return network, costs, top


@pytest.mark.parametrize("seed", range(30))
def test_relaxation_is_below_every_choice(seed: int) -> None:
    """The bound, also with what a choice and a pair of choices add, is below every cost."""
    network, costs, top = _relaxed(seed)
    relaxation = Relaxation(network, top)
    labels = relaxation.labels

    floor = relaxation.floor(relaxation.start(), labels, top, 60)
    hopeless = relaxation.hopeless_pairs(floor, labels, top - 1)

    for choice, cost in costs:
        if cost < top:
            assert floor.bound <= cost
            assert all(floor.bound + floor.extra[i, a] <= cost for i, a in enumerate(choice))
            pairs = itertools.combinations(enumerate(choice), 2)
            assert not any(pair in hopeless for pair in pairs)


@pytest.mark.parametrize("seed", range(0, 10, 2))
def test_relaxation_is_close_on_a_floor(seed: int) -> None:
    """On a floor of 14 stations the bound comes within 2 % of the optimum."""
    network = _network(*clear_air_costs(seed, 14)[:2])
    best = solve_toulbar2(network, network.cost(greedy(network)) + 1, 100_000)

    relaxation = Relaxation(network, best.bound)
    floor = relaxation.floor(relaxation.start(), relaxation.labels, best.bound, 450)

    assert best.proven
    assert 0.98 * best.bound < floor.bound <= best.bound


@pytest.mark.parametrize("seed", range(6))
def test_branching_proves_the_optimum(seed: int) -> None:
    """Branch and bound alone, from a poor start, ends at the optimum and proves it."""
    one, two, _ = clear_air_costs(seed, 10)
    flat = [[0.1 * (1 + (i + a) % 2) for a in range(5)] for i in range(10)]
    network = _network(flat if seed % 2 else one, two)
    start = (0,) * 10

    found = branch.Proof(network, network.cost(start), 200_000, solve_toulbar2).run()

    best = solve_toulbar2(network, network.cost(start), 1_000_000)
    assert found.choice is not None
    assert (network.cost(found.choice), found.bound, found.proven) == (best.bound, best.bound, True)


@pytest.mark.parametrize("seed", range(10))
def test_ruling_out_copies_keeps_the_optimum(seed: int) -> None:
    """Of choices that can be renamed into each other one is always left."""
    dice = seeded(seed)
    stations, choices = 5, 4
    two = {}
    for pair in itertools.combinations(range(stations), 2):
        clash, beside = dice.random(), dice.random() / 5
        two[pair] = [
            [clash if a == b else beside if {a, b} == {2, 3} else 0.0 for b in range(choices)]
            for a in range(choices)
        ]
    network = _network([[0.5] * choices] * stations, two)
    least = _cheapest(network)
    copies = sum(network.cost(c) == least for c in every_choice(network.unary))

    single = without_copies(network, 2 * least + 1)

    left = sum(single.cost(c) == least for c in every_choice(single.unary))
    assert 0 < left < copies


def _at_random(stations: int) -> tuple[One, Two]:
    """Costs without any structure: every entry by chance."""
    dice = seeded(0)
    one = [[dice.random() for _ in range(5)] for _ in range(stations)]
    pairs = itertools.combinations(range(stations), 2)
    return one, {pair: [[dice.random() for _ in range(5)] for _ in range(5)] for pair in pairs}


@pytest.mark.parametrize(
    ("effort", "gap"), [(2_000, 0.32), pytest.param(200_000, 0.25, marks=pytest.mark.slow)]
)
def test_the_bound_rises_with_the_effort_where_every_pair_costs(effort: int, gap: float) -> None:
    """Tables at random, beyond any proof: depth first the bound stays at the root's, a gap of 0.37.

    The relaxation's bound leaves 0.65. Best first leaves 0.31 and 0.19, measured.
    """
    one, two = _at_random(24)

    found = assign(one, two, effort=effort)

    assert not found.optimal
    assert found.gap < gap
    assert found.spent <= effort


def test_what_was_solved_before_changes_no_bound() -> None:
    """A network without an answer leaves nothing behind in the solver: same bound, same work."""
    one, two = _at_random(24)
    network = _network(one, two)
    top = network.cost(greedy(network))
    hopeless = _network(*link_costs(70, 3))

    first = solve_toulbar2(network, top, 900)
    assert solve_toulbar2(hopeless, 1, 900).proven
    second = solve_toulbar2(network, top, 900)

    assert first == second


@pytest.mark.parametrize("seed", range(10))
def test_local_search_never_returns_worse_than_its_start(seed: int) -> None:
    """The best choice met is at least as good as the start, and stays when given again."""
    network = _network(*clear_air_costs(seed, 12)[:2])
    start = greedy(network)

    better = improved(network, start, 300)

    assert network.cost(better) <= network.cost(start)
    assert network.cost(improved(network, better, 50)) <= network.cost(better)
    assert improved(network, start, 300) == better


def test_total_of_a_network_is_that_of_the_caller() -> None:
    """Costs on the grid add up to the caller's sum, to the rounding of each entry."""
    one, two, _ = clear_air_costs(0, 9)
    costs = checked(one, two)
    grid = to_grid(costs, None, costs.most())
    choice = tuple(i % 5 for i in range(9))

    assert grid.network.cost(choice) / float(grid.scale) == pytest.approx(
        total(one, two, choice), rel=1e-12
    )
