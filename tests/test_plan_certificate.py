"""The proof that nothing is cheaper, by a checker that shares no code with what made it."""

import copy
import importlib.util
import itertools
import json
from pathlib import Path
from typing import Any

import pytest
from plan_instances import One, Two, clear_air_costs, every_choice, mixed_costs, seeded, thin_costs

from pipeline.plan.assign import assign
from pipeline.plan.certificate import certificate
from pipeline.plan.network import Network, checked, to_grid

_PATH = Path(__file__).resolve().parents[1] / "docs" / "check_plan.py"
_spec = importlib.util.spec_from_file_location("check_plan", _PATH)
assert _spec
assert _spec.loader
check_plan = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(check_plan)


def _network(one: One, two: Two) -> Network:
    costs = checked(one, two)
    return to_grid(costs, None, costs.most()).network


def _read_back(made: dict[str, Any] | None) -> dict[str, Any]:
    read: dict[str, Any] = json.loads(json.dumps(made))
    return read


def _nine(one: One, two: Two) -> tuple[One, Two]:
    tables = {k: [[round(x, 9) for x in row] for row in table] for k, table in two.items()}
    return [[round(x, 9) for x in row] for row in one], tables


def _certified(one: One, two: Two) -> dict[str, Any]:
    one, two = _nine(one, two)
    found = assign(one, two)
    made = certificate(_network(one, two), found.choice, 2_000)
    assert found.optimal
    assert made is not None
    return _read_back(made)


@pytest.mark.parametrize(
    ("seed", "stations"),
    [
        (0, 8),
        (1, 12),
        (0, 16),
        *(pytest.param(seed, 16, marks=pytest.mark.slow) for seed in range(1, 12)),
        *(pytest.param(seed, 20, marks=pytest.mark.slow) for seed in range(4)),
        pytest.param(0, 24, marks=pytest.mark.slow),
    ],
)
def test_store_in_one_earshot_is_proven_to_an_outsider(seed: int, stations: int) -> None:
    """The proof of a store in which all hear all holds, and is a tree with bounds in it."""
    made = _certified(*clear_air_costs(seed, stations)[:2])

    assert check_plan.check(made)
    assert "squares" in made["tree"]


@pytest.mark.parametrize("seed", range(3))
def test_thin_store_is_proven_to_an_outsider(seed: int) -> None:
    """Thirty stations that hear few others: what is left is tried, station by station."""
    assert check_plan.check(_certified(*thin_costs(seed, 30)[:2]))


def _with_squares(seed: int) -> tuple[Network, list[tuple[int, tuple[int, ...]]]]:
    """Return four stations and all their choices, the cheapest first."""
    one, two, _ = clear_air_costs(seed, 4)
    network = _network(*_nine(one, two))
    return network, sorted((network.cost(c), c) for c in every_choice(network.unary))


@pytest.mark.parametrize("seed", range(8))
def test_only_the_cheapest_choice_has_a_proof(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Brute force agrees: what is made for a choice that is not the cheapest does not hold."""
    monkeypatch.setattr("pipeline.plan.certificate._TRIED", 6)
    network, choices = _with_squares(seed)

    for cost, choice in [choices[0], choices[1], choices[len(choices) // 20]]:
        made = _read_back(certificate(network, choice, 5_000))
        assert check_plan.check(made) == (cost == choices[0][0])


@pytest.mark.parametrize("seed", range(20))
def test_costs_without_structure_are_proven(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whole or broken, sparse or dense, with prohibitive costs: the cheapest has a proof."""
    monkeypatch.setattr("pipeline.plan.certificate._TRIED", 8)
    network = _network(*mixed_costs(600 + seed))
    best = min(every_choice(network.unary), key=network.cost)

    assert check_plan.check(_read_back(certificate(network, best, 5_000)))


def test_bound_of_the_checker_rules_out_no_cheaper_choice() -> None:
    """Whatever squares and crowds stand in a proof, a choice below the cost is never ruled out."""
    dice = seeded(0)
    for seed in range(12):
        network, choices = _with_squares(seed)
        cost, best = choices[0]
        top = choices[5][0]
        made = _read_back(certificate(network, choices[5][1], 5_000))
        labels = list(itertools.product(range(4), range(5)))
        vectors = [[dice.randrange(-40_000, 40_000) for _ in range(21)] for _ in range(3)]
        crowd = [[k for k, (_, a) in enumerate(labels) if a == 0], 1, dice.randrange(10**8)]
        group = {"labels": labels, "vectors": vectors, "crowds": [crowd]}
        left = [set(range(5))] * 4
        tables = {k: dict(_cells(t)) for k, t in network.pairs.items()}
        tables |= {(j, i): {(b, a): x for (a, b), x in t.items()} for (i, j), t in tables.items()}

        kept = check_plan.ruled(made, {"scale": 1, "groups": [group]}, left, tables)

        assert cost < top == made["cost"]
        assert all(a in some for a, some in zip(best, kept, strict=True))


def _cells(table: Any) -> Any:  # noqa: ANN401 - rows of rows
    return (((a, b), x) for a, row in enumerate(table) for b, x in enumerate(row))


def _broken(made: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Return the proof with one thing wrong at a time."""
    wrong = {name: copy.deepcopy(made) for name in ("cost", "choice", "table", "tree")}
    wrong["cost"]["cost"] -= 1
    wrong["choice"]["choice"][0] = (made["choice"][0] + 1) % 5
    wrong["table"]["two"][0][2] = [[0] * 5] * 5
    wrong["tree"]["tree"] = {"squares": made["tree"]["squares"]}
    return wrong


@pytest.mark.parametrize("name", ["cost", "choice", "table", "tree"])
def test_proof_with_something_wrong_does_not_hold(name: str) -> None:
    """Another cost, choice or table, or a bound without its rest."""
    made = _certified(*clear_air_costs(2, 9)[:2])

    assert check_plan.check(made)
    assert not check_plan.check(_broken(made)[name])


def test_crowd_with_a_negative_price_is_refused() -> None:
    """A price below nothing would turn the fact round; a choice in two groups counts twice."""
    made = _certified(*clear_air_costs(2, 9)[:2])
    first = made["tree"]["squares"]["groups"][0]

    first["crowds"] = [[[0, 1], 1, -1]]
    with pytest.raises(ValueError, match="crowd"):
        check_plan.check(made)

    first["crowds"] = []
    made["tree"]["squares"]["groups"].append(first)
    with pytest.raises(ValueError, match="two groups"):
        check_plan.check(made)


def test_too_many_nodes_are_no_proof() -> None:
    """A store that takes more nodes than allowed has none."""
    one, two, _ = clear_air_costs(0, 16)

    assert certificate(_network(one, two), assign(one, two).choice, 1) is None
