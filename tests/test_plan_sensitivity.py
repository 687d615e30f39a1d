"""How sure a plan is, and what a person's own choice costs."""

import json
from dataclasses import replace
from random import Random

import pytest

from pipeline.plan.assign import assign
from pipeline.plan.costs import StoreProblem, expected_cost, one_station_costs, two_station_costs
from pipeline.plan.decide import PLAIN
from pipeline.plan.explain import Case, Evidence, Level
from pipeline.plan.sensitivity import Doubt, Redraw, _Rival, sensitivity
from pipeline.plan.store import plan_store
from pipeline.plan.what_if import proof_of, what_if
from pipeline.radio.coexistence import Rejection
from pipeline.records import Heard, StoreStation

PERMITTED = (11, 15, 20)
DOUBT = Doubt(-75.0, Rejection(30.0, 45.0), 2.0)


def known(share: float, worth: float) -> Evidence:
    """Return evidence of a share that counts as so many independent readings."""
    a, b = worth * share + 0.5, worth * (1 - share) + 0.5
    cost = expected_cost(a, b)
    return Evidence(share, share, share, cost, a, b, worth, 40, False, "measured", None)


def _case(shares: dict[int, float], worth: dict[int, float], source: str = "measured") -> Case:
    """One store of two stations that hear one another; the same air at both."""
    names = ("A", "B")
    evidence = {(name, c): known(share, worth[c]) for name in names for c, share in shares.items()}
    heard = (Heard("A", "B", (0.9, 0.0, 0.0)), Heard("B", "A", (0.9, 0.0, 0.0)))
    levels = {(h.station, h.neighbour): Level(-60.0, 7.0, source) for h in heard}
    problem = StoreProblem(
        "S",
        tuple(StoreStation(name, 11, PERMITTED, 1.0, 0.1) for name in names),
        heard,
        {at: each.reckoned for at, each in evidence.items()},
        0.005,
    )
    return Case(problem, evidence, levels)


SURE = dict.fromkeys(PERMITTED, 100000.0)


def test_a_plan_far_ahead_on_firm_evidence_always_wins() -> None:
    """Long scans that tell the channels well apart leave no doubt and ask for nothing."""
    found, kept = sensitivity(_case({11: 0.6, 15: 0.05, 20: 0.3}, SURE), (15, 15), DOUBT, 30)

    assert (found.wins, found.regret, found.worst, found.ask) == (30, 0.0, 0.0, "")
    assert kept == (1.0, 1.0)


def test_draws_weigh_own_neighbours_as_the_plan_does() -> None:
    """Both on the clearest channel is best where a shared channel costs nothing, and not else."""
    case = _case({11: 0.6, 15: 0.05, 20: 0.08}, SURE)
    alone = replace(case, problem=replace(case.problem, own_weight=0.0))

    assert sensitivity(alone, (15, 15), DOUBT, 20)[0].regret == 0.0
    assert sensitivity(case, (15, 15), DOUBT, 20)[0].regret > 0.01


def test_a_plan_on_thin_evidence_wins_less_and_asks_for_no_level() -> None:
    """Two readings on channel 20 cannot tell it from the rest: no level would settle that."""
    case = _case({11: 0.2, 15: 0.2, 20: 0.2}, SURE | {20: 2.0})

    found, kept = sensitivity(case, (11, 15), DOUBT, 30)

    assert found.wins < 25
    assert 0 < found.regret < (found.worst or 0)
    assert all(share is not None and found.wins / 30 <= share < 1 for share in kept)
    assert found.ask == ""


def test_the_same_store_draws_the_same() -> None:
    """No clock and no global state: twice the same answer."""
    case = _case({11: 0.2, 15: 0.25, 20: 0.2}, dict.fromkeys(PERMITTED, 20.0))

    assert sensitivity(case, (11, 15), DOUBT, 20) == sensitivity(case, (11, 15), DOUBT, 20)


def test_a_path_only_guessed_is_asked_for_when_scans_are_long() -> None:
    """What is left in doubt is whether the two hear one another."""
    case = _case({11: 0.10, 15: 0.13, 20: 0.5}, SURE, "modelled")
    far = {at: Level(-76.0, 9.0, "modelled") for at in case.levels}
    case = Case(case.problem, case.evidence, far)

    found, _ = sensitivity(case, (11, 15), DOUBT, 60)

    assert 0 < found.wins < 60
    assert json.loads(found.ask)["ask"] == "level"


def test_a_wish_is_priced_against_the_plan() -> None:
    """The plan costs least; the wish with the rest kept costs at least the best around it."""
    case = _case({11: 0.3, 15: 0.1, 20: 0.1, 26: 0.05}, SURE | {26: 100_000.0})

    found = what_if(case, {"A": 11}, 10_000, PLAIN)

    cost = {option.name: option.cost for option in found.options}
    assert cost["plan"] <= cost["best around your choice"] <= cost["plan with your choice"]
    around = next(o for o in found.options if o.name == "best around your choice")
    assert around.channels[0] == 11
    assert found.not_permitted == ()


def test_plan_has_a_proof_in_the_words_of_the_store() -> None:
    """The proof names stations and channels; its choice is the plan's, those that stay alone."""
    case = _case({11: 0.3, 15: 0.1, 20: 0.1, 26: 0.05}, SURE | {26: 100_000.0})
    planned = plan_store(case, 10_000, PLAIN).stations

    proof = proof_of(case, 10_000, PLAIN)

    assert proof is not None
    assert proof["stations"] == [row.station for row in planned]
    at = zip(proof["channels"], proof["choice"], strict=True)
    assert [channels[a] for channels, a in at] == [row.channel_planned for row in planned]
    for row, channels in zip(planned, proof["channels"], strict=True):
        assert (len(channels) == 1) == (row.channel_now == row.channel_planned)


def test_a_wish_that_is_not_permitted_is_priced_and_named() -> None:
    """The rules do not hide what a channel would bring."""
    case = _case({11: 0.3, 15: 0.1, 20: 0.1, 26: 0.05}, SURE | {26: 100_000.0})

    found = what_if(case, {"B": 26}, 10_000, PLAIN)

    assert found.not_permitted == ("B",)
    put_in = next(o for o in found.options if o.name == "plan with your choice")
    assert put_in.channels[1] == 26
    assert put_in.clear_air[1] == pytest.approx(0.95)


def test_a_draw_counts_as_won_only_where_nothing_better_exists_nearby() -> None:
    """Over random stores, rivals found by one and two changes are as good as the exact best."""
    exact = found = 0
    for seed in range(60):
        random = Random(seed)
        one = [[random.random() for _ in range(4)] for _ in range(5)]
        two = {
            (i, j): [[random.random() / 2 for _ in range(4)] for _ in range(4)]
            for i in range(5)
            for j in range(i + 1, 5)
        }
        rival = _Rival(one, two, [0] * 5)
        assert rival.bettered() == (rival.gained > 0)
        start = sum(row[0] for row in one) + sum(table[0][0] for table in two.values())
        cost = sum(row[a] for row, a in zip(one, rival.now, strict=True)) + sum(
            table[rival.now[i]][rival.now[j]] for (i, j), table in two.items()
        )
        assert start - cost == pytest.approx(rival.gained)
        best = assign(one, two)
        assert cost >= best.cost - 1e-9
        exact += 1
        found += cost == pytest.approx(best.cost)
    assert found >= 0.8 * exact


def test_the_draws_within_half_a_point_are_those_of_exact_solves() -> None:
    """Two to five stations: draws are solved exactly; regrets and shares of draws agree."""
    near = draws = 0
    lost, differ, stations_drawn = [0.0, 0.0], 0.0, 0
    for seed in range(12):
        case, after = _drawn_store(seed)
        found, shares = sensitivity(case, after, DOUBT, 20)
        assert found.near is not None
        redraw = Redraw(case, DOUBT)
        stations = case.problem.stations
        ours = [s.choices.index(c) for s, c in zip(stations, after, strict=True)]
        exact, regrets, kept = 0, [], [0] * len(ours)
        for _ in range(20):
            one, two = redraw.tables()
            cost = sum(row[a] for row, a in zip(one, ours, strict=True)) + sum(
                table[ours[i]][ours[j]] for (i, j), table in two.items()
            )
            best = assign(one, two)
            regrets.append(cost - best.cost)
            kept = [n + (a == b) for n, a, b in zip(kept, ours, best.choice, strict=True)]
            exact += regrets[-1] <= 0.005 * sum(s.weight for s in stations)
        assert exact <= found.near <= exact + 1
        assert found.worst is not None
        assert found.worst <= max(regrets) + 1e-9
        lost = [x + y for x, y in zip(lost, (found.regret * 20, sum(regrets)), strict=True)]
        off = [abs((share or 0) * 20 - n) for share, n in zip(shares, kept, strict=True)]
        differ, stations_drawn = differ + sum(off), stations_drawn + 20 * len(kept)
        near, draws = near + found.near, draws + 20
    assert 0.1 * draws < near < 0.9 * draws
    assert 0.95 * lost[1] <= lost[0] <= lost[1] + 1e-9
    assert differ <= 0.05 * stations_drawn


def _drawn_store(seed: int) -> tuple[Case, tuple[int, ...]]:
    """Return a store by chance, its channels hardly told apart, and its best plan as thought."""
    random = Random(seed)
    names = [f"S-{k}" for k in range(2 + seed % 4)]
    evidence = {
        (name, c): known(random.choice([0.02, 0.05, 0.1]), random.choice([20.0, 100.0, 400.0]))
        for name in names
        for c in PERMITTED
    }
    heard = tuple(
        Heard(one, other, (0.9, 0.0, 0.0)) for one in names for other in names if one != other
    )
    problem = StoreProblem(
        f"S{seed}",
        tuple(StoreStation(n, 11, PERMITTED, random.uniform(0.5, 2), 0.03) for n in names),
        heard,
        {at: each.reckoned for at, each in evidence.items()},
        0.005,
        {at: each.cost for at, each in evidence.items()},
    )
    levels = {(h.station, h.neighbour): Level(-70.0, 7.0, "modelled") for h in heard}
    best = assign(one_station_costs(problem), two_station_costs(problem)).choice
    return Case(problem, evidence, levels), tuple(PERMITTED[a] for a in best)
