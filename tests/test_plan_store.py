"""The plan of a store: brute force, the price of moves, ties, locks and reasons."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from itertools import product
from math import log
from random import Random
from types import MappingProxyType
from typing import Any

import pytest

from pipeline.plan.costs import (
    StoreProblem,
    clear_air,
    one_station_costs,
    two_station_costs,
)
from pipeline.plan.decide import PLAIN, Decision, Terms, decide
from pipeline.plan.explain import Case, Evidence, Level
from pipeline.plan.store import plan_store
from pipeline.plan.what_if import what_if
from pipeline.progress import reached, within
from pipeline.reasons import Bond, RefusedMove, from_json, sentence
from pipeline.records import Heard, StoreStation

PERMITTED = (11, 15, 20, 25, 26)
CHANNELS = range(11, 27)
EFFORT = 100_000


def known(busy: float) -> Evidence:
    """Return evidence that is all but certain."""
    a, b = 4000 * busy + 0.5, 4000 * (1 - busy) + 0.5
    return Evidence(busy, busy, busy, 0.0, a, b, 4000.0, 40, False, "measured", None)


def _case(problem: StoreProblem, bonds: Mapping[str, Bond] = MappingProxyType({})) -> Case:
    evidence = {at: known(busy) for at, busy in problem.busy.items()}
    levels = {(h.station, h.neighbour): Level(-60.0, 2.0, "measured") for h in problem.heard}
    return Case(problem, evidence, levels, PERMITTED, bonds)


def _problem(random: Random, count: int, price: float = 0.005) -> StoreProblem:
    names = [f"S-{k:02}" for k in range(count)]
    stations = tuple(
        StoreStation(
            name,
            random.choice((*PERMITTED, 13)),
            PERMITTED if random.random() < 0.9 else PERMITTED[:2],
            random.uniform(0.1, 2.5),
            random.choice([0.0, random.uniform(0.01, 0.2)]),
        )
        for name in names
    )
    heard = tuple(
        Heard(a, b, (h := random.random(), h * 0.2, h * 0.01))
        for a in names
        for b in names
        if a != b and random.random() < 0.7
    )
    busy = {(name, c): round(random.uniform(0.01, 0.7), 6) for name in names for c in CHANNELS}
    return StoreProblem("S", stations, heard, busy, price)


def _value(problem: StoreProblem, channels: tuple[int, ...]) -> float:
    """Return the plan's cost by its definition: -sum w ln(clear air) + price x moves.

    What own neighbours take counts `own_weight` times.
    """
    aired = clear_air(problem, channels)
    pairs = list(zip(problem.stations, channels, aired, strict=True))
    outside = {s.station: 1 - problem.busy[s.station, c] for s, c, _ in pairs}
    return sum(
        s.weight * -(log(outside[s.station]) + problem.own_weight * log(a / outside[s.station]))
        + problem.price_per_move * (c != s.channel)
        for s, c, a in pairs
    )


@pytest.mark.parametrize("seed", range(40))
def test_no_assignment_is_better(seed: int) -> None:
    """Over all assignments of random stores of 1 to 5 stations, none costs less."""
    random = Random(seed)
    problem = replace(_problem(random, random.randint(1, 5)), own_weight=(1.0, 3.0)[seed % 2])

    found = plan_store(_case(problem), EFFORT, PLAIN)

    planned = tuple(station.channel_planned for station in found.stations)
    best = min(_value(problem, c) for c in product(*(s.choices for s in problem.stations)))
    assert _value(problem, planned) == pytest.approx(best, abs=1e-7)
    assert found.proof.cost == pytest.approx(best, abs=1e-7)
    assert found.proof.optimal


@pytest.mark.parametrize("seed", range(20))
def test_clear_air_is_what_the_definition_gives(seed: int) -> None:
    """(1 - busy) x product over neighbours of (1 - air share x chance of being hit)."""
    random = Random(seed)
    problem = _problem(random, 4)
    channels = tuple(random.choice(PERMITTED) for _ in problem.stations)
    on = {s.station: c for s, c in zip(problem.stations, channels, strict=True)}
    air = {s.station: s.air_share for s in problem.stations}

    for station, share in zip(on, clear_air(problem, channels), strict=True):
        expected = 1 - problem.busy[station, on[station]]
        for heard in problem.heard:
            apart = abs(on[station] - on[heard.neighbour])
            if heard.station == station and apart <= 2:
                expected *= 1 - air[heard.neighbour] * heard.hit[apart]
        assert share == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_moves_lead_from_today_to_the_plan_and_never_through_worse(seed: int) -> None:
    """Carried out in order, they end at the plan; no state between is worse than both ends."""
    problem = _problem(Random(seed), 5)

    found = plan_store(_case(problem), EFFORT, PLAIN)

    now = {s.station: s.channel for s in problem.stations}
    states = [dict(now)]
    for move in found.moves:
        assert now[move.station] == move.from_channel
        now[move.station] = move.to_channel
        states.append(dict(now))
    assert now == {s.station: s.channel_planned for s in found.stations}
    free = StoreProblem("S", problem.stations, problem.heard, problem.busy, 0.0)
    costs = [_value(free, tuple(state.values())) for state in states]
    assert max(costs) == pytest.approx(found.proof.worst_step, abs=1e-6)
    assert max(costs) <= max(costs[0], costs[-1]) + 1e-9 or not found.proof.order_proven


def _quiet(channel: int, choices: tuple[int, ...] = PERMITTED, **busy: float) -> StoreProblem:
    levels = {("A", c): busy.get(f"on{c}", 0.1) for c in CHANNELS}
    return StoreProblem("S", (StoreStation("A", channel, choices, 1.0, 0.1),), (), levels, 0.005)


def test_a_move_must_earn_its_price() -> None:
    """A gain below the price leaves the station alone, one above moves it."""
    kept = plan_store(_case(_quiet(15, on20=0.097)), EFFORT, PLAIN)
    moved = plan_store(_case(_quiet(15, on20=0.05)), EFFORT, PLAIN)

    assert kept.moves == ()
    assert [(m.from_channel, m.to_channel) for m in moved.moves] == [(15, 20)]


def test_ties_go_to_fewer_moves_then_the_lower_channel() -> None:
    """With nothing to tell channels apart the station stays; if it must move, lowest wins."""
    assert plan_store(_case(_quiet(25)), EFFORT, PLAIN).moves == ()
    forced = plan_store(_case(_quiet(13)), EFFORT, PLAIN)
    assert [m.to_channel for m in forced.moves] == [11]


def test_a_locked_station_stays() -> None:
    """An approved exception keeps it where it is, whatever the noise."""
    problem = _quiet(13, choices=(13,), on13=0.6)

    bond = {"A": Bond("exception", "T. Aldervane", None)}
    found = plan_store(_case(problem, bond), EFFORT, PLAIN)

    assert found.moves == ()
    assert "an approved exception keeps it there" in found.stations[0].reason


def test_what_is_agreed_says_so_and_keeps_its_rival() -> None:
    """The reason of an agreed move is that it is agreed: it is permitted, and refusing it costs."""
    problem = _quiet(25, choices=(11,), on11=0.05)
    agreed = {"A": Bond("agreed", "T. Aldervane", date(2026, 7, 2))}

    (move,) = plan_store(_case(problem, agreed), EFFORT, PLAIN).moves
    (free,) = plan_store(_case(_quiet(25, on11=0.05)), EFFORT, PLAIN).moves

    assert move.to_channel == free.to_channel == 11
    assert (move.group_gain, move.chance) == (free.group_gain, free.chance)
    assert (
        "approved by T. Aldervane on 2026-07-02; better by 5.4\u202f% of an average" in move.reason
    )
    assert "is not permitted" not in move.reason
    assert (
        "refusing channel 11 costs 4.9\u202f% of an average station, with this one on 25"
        in move.reason
    )
    german = sentence(from_json(move.facts), "de")
    assert "genehmigt von T. Aldervane am 02.07.2026; um 5,4\u202f% einer mittleren" in german
    wish = what_if(_case(problem, agreed), {"A": 20}, EFFORT, PLAIN)
    assert wish.not_permitted == ()


def test_what_is_to_be_put_back_is_put_forward_at_any_price() -> None:
    """Who answered the audit so, and when, stands in the reason, and what it costs."""
    answered = {"A": Bond("put_back", "T. Aldervane", date(2026, 7, 2))}

    (move,) = plan_store(_case(_quiet(25, choices=(11,), on11=0.3), answered), EFFORT, PLAIN).moves

    assert move.to_channel == 11
    said = "put back to the channel agreed, as T. Aldervane answered the audit on 2026-07-02"
    assert said in move.reason
    assert "channel 25 would be better by 25.6" in move.reason
    assert move.chance == pytest.approx(0, abs=0.01)  # that it gains anything


def test_what_is_agreed_and_no_longer_better_says_so() -> None:
    """An agreed move stays in the plan; its reason does not call a better channel worse."""
    agreed = {"A": Bond("agreed", "T. Aldervane", date(2026, 7, 2))}
    problem = _quiet(25, choices=(11,), on11=0.3)

    (move,) = plan_store(_case(problem, agreed), EFFORT, PLAIN).moves

    assert "channel 25 would be better by 25.6\u202f% of an average station" in move.reason
    assert "costs" not in move.reason


def test_a_refusal_says_what_it_costs() -> None:
    """Who refused the best channel, why, and how much clear air is forgone."""
    problem = _quiet(25, choices=(11, 15, 25, 26), on20=0.05)
    no = RefusedMove(20, "T. Aldervane", date(2026, 7, 2), None, "the shelf goes in May")
    case = replace(_case(problem), refused={"A": no})

    (station,) = plan_store(case, EFFORT, PLAIN).stations

    assert station.channel_planned == 25
    assert station.next_best_channel is None  # it stays: there is nothing more to refuse
    said = "channel 20 was refused on 2026-07-02 by T. Aldervane: the shelf goes in May; refusing"
    assert f"{said} it costs 4.9\u202f% of an average station" in station.reason


def _settled(share: float, worth: float, *first: str) -> Case:
    """Return a station on 25 changed lately, with a quieter channel 20 known so well."""
    case = _case(_quiet(25, on20=share), {"A": Bond("settled", None, date(2026, 7, 2))})
    there = replace(known(share), a=worth * share + 0.5, b=worth * (1 - share) + 0.5)
    evidence = {**case.evidence, ("A", 20): there}
    return replace(case, evidence=evidence, first=frozenset(first))


def test_a_station_changed_lately_moves_again_only_for_a_sure_gain_or_a_stop() -> None:
    """An unsure gain is left alone and the reason says since when; a sure one is made."""
    (unsure,) = plan_store(_settled(0.05, 20), EFFORT, PLAIN).stations
    (sure,) = plan_store(_settled(0.05, 400), EFFORT, PLAIN).stations
    (stop,) = plan_store(_settled(0.05, 20, "A"), EFFORT, PLAIN).stations

    assert (unsure.channel_planned, sure.channel_planned, stop.channel_planned) == (25, 20, 20)
    assert "it was last changed on 2026-07-02" in unsure.reason
    assert "last changed" not in sure.reason + stop.reason


def test_the_reason_names_noise_neighbours_and_levels() -> None:
    """A planner can follow the sentence back to the evidence."""
    stations = tuple(StoreStation(name, 15, PERMITTED, 1.0, 0.2) for name in ("A", "B"))
    heard = (Heard("A", "B", (0.9, 0.0, 0.0)), Heard("B", "A", (0.9, 0.0, 0.0)))
    busy = {(name, c): 0.1 for name in ("A", "B") for c in CHANNELS}

    found = plan_store(_case(StoreProblem("S", stations, heard, busy, 0.005)), EFFORT, PLAIN)

    assert len(found.moves) == 1
    reason = found.moves[0].reason
    assert (
        "today on 15: outside signals 10\u202f% of the time (measured), own stations heard: "
        in reason
    )
    assert "on 15 at \u221260 dBm" in reason
    assert (
        "on 11: outside signals 10\u202f% of the time (measured), no own station disturbs it"
        in reason
    )
    assert "refusing channel 11 costs next to nothing" in reason
    assert sentence(from_json(found.moves[0].facts)) == reason
    german = sentence(from_json(found.moves[0].facts), "de")
    assert german.startswith("heute auf 15: fremde Signale 10\u202f% der Zeit (gemessen)")
    assert sentence(from_json(found.moves[0].facts), "xx") == reason
    moved = [s for s in found.stations if s.channel_now != s.channel_planned]
    assert all(s.next_best_cost is not None and s.next_best_cost >= 0 for s in moved)


@pytest.mark.parametrize("seed", range(10))
def test_the_order_of_input_rows_changes_nothing(seed: int) -> None:
    """Neighbours listed in any order give the same plan."""
    problem = _problem(Random(seed), 6)
    shuffled = list(problem.heard)
    Random(seed).shuffle(shuffled)
    other = StoreProblem("S", problem.stations, tuple(shuffled), problem.busy, 0.005)

    assert plan_store(_case(problem), EFFORT, PLAIN) == plan_store(_case(other), EFFORT, PLAIN)


def check_refusals(seed: int) -> int:
    """Compare what refusing each move costs with every choice in whole steps of 1e-9; count them.

    The refused plan is the cheapest of all in which the station is elsewhere, today included.
    """
    problem = _problem(Random(seed), 2 + seed % 5)
    found = plan_store(_case(problem), EFFORT, PLAIN)
    one, two = one_station_costs(problem), two_station_costs(problem)
    steps = [[round(x * 10**9) for x in row] for row in one]
    pairs = {at: [[round(x * 10**9) for x in row] for row in t] for at, t in two.items()}
    ways = [
        (
            sum(row[a] for row, a in zip(steps, choice, strict=True))
            + sum(t[choice[i]][choice[j]] for (i, j), t in pairs.items()),
            choice,
        )
        for choice in product(*(range(len(row)) for row in one))
    ]
    best = min(ways)[0]
    assert found.proof.cost * 10**9 == pytest.approx(best, abs=0.5)
    refusals = 0
    for at, (station, facts) in enumerate(zip(found.stations, problem.stations, strict=True)):
        if station.channel_now == station.channel_planned:
            continue
        kept = facts.choices.index(station.channel_planned)
        without = min(cost for cost, choice in ways if choice[at] != kept)
        assert station.next_best_cost is not None
        assert station.next_best_cost * 10**9 == pytest.approx(without - best, abs=0.5)
        there = facts.choices.index(station.next_best_channel or 0)
        assert min(cost for cost, choice in ways if choice[at] == there) == without
        refusals += 1
    return refusals


@pytest.mark.parametrize("seed", range(12))
def test_refusing_costs_what_every_other_plan_would(seed: int) -> None:
    """In stores of two to six stations."""
    check_refusals(seed)


@pytest.mark.slow
def test_refusing_costs_what_every_other_plan_would_for_250_stations() -> None:
    """In as many stores as it takes."""
    assert sum(check_refusals(seed) for seed in range(100, 230)) >= 250


def _row(stations: int, reach: int, seed: int = 3) -> StoreProblem:
    """Stations in a row that hear those up to `reach` places away, each with noise of its own."""
    dice = Random(seed)
    names = [f"S-{k:02}" for k in range(stations)]
    own = tuple(StoreStation(n, dice.choice((11, 15)), (11, 15), 1.0, 0.2) for n in names)
    heard = tuple(
        Heard(a, b, (dice.uniform(0.3, 0.9), 0.0, 0.0))
        for i, a in enumerate(names)
        for k, b in enumerate(names)
        if 0 < abs(i - k) <= reach and i // 8 == k // 8
    )
    busy = {(name, c): dice.uniform(0.01, 0.5) for name in names for c in CHANNELS}
    return StoreProblem("S", own, heard, busy, 0.005)


@pytest.mark.parametrize(
    "seed", [0, *(pytest.param(s, marks=pytest.mark.slow) for s in range(1, 12))]
)
def test_a_refusal_in_a_large_store_is_exact_where_no_others_are_tied(seed: int) -> None:
    """Twenty-four stations, eights that hear one another: as dear as among all choices of those."""
    problem = _row(24, 2, seed)
    one, two = one_station_costs(problem), two_station_costs(problem)
    found = plan_store(_case(problem), EFFORT, PLAIN)

    costs = {}
    for first in range(0, 24, 8):
        for way in product(range(2), repeat=8):
            cost = sum(one[first + i][a] for i, a in enumerate(way)) + sum(
                table[way[i - first]][way[j - first]]
                for (i, j), table in two.items()
                if i // 8 == first // 8
            )
            costs[first, way] = cost
    moved = 0
    for at, station in enumerate(found.stations):
        if station.channel_now != station.channel_planned:
            first, kept = at - at % 8, (11, 15).index(station.channel_planned)
            ways = [(cost, way) for (place, way), cost in costs.items() if place == first]
            without = min(cost for cost, way in ways if way[at - first] != kept)
            assert station.next_best_cost == pytest.approx(without - min(ways)[0], abs=1e-8)
            assert not from_json(station.facts).at_most
            moved += 1
    assert moved > 3


def test_a_refusal_not_proven_says_that_it_costs_at_most_so_much() -> None:
    """Of 20 in one earshot and no effort to prove it: other answers may be cheaper than some."""
    found = plan_store(_case(_problem(Random(5), 20)), 1, PLAIN)
    moved = [s for s in found.stations if s.channel_now != s.channel_planned]

    said = [("costs at most" in s.reason, from_json(s.facts).at_most) for s in moved]
    assert {(True, True), (False, False)} == set(said)
    assert all(s.next_best_cost is not None and s.next_best_cost >= 0 for s in moved)


def test_long_plan_says_how_many_refusals_are_answered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Shares only rise, one for each move that is solved anew, after those of the search."""
    monkeypatch.setattr("pipeline.plan.store._LONG", 9)
    case, shares = _case(_problem(Random(5), 10)), list[float]()

    def searched(*given: Any, **options: Any) -> Decision:  # noqa: ANN401 - passed on
        for share in (0.4, 0.2, 1.0):
            reached(share)
        return decide(*given, **options)

    monkeypatch.setattr("pipeline.plan.store.decide", searched)
    with within(shares.append):
        found = plan_store(case, EFFORT, Terms())

    assert shares[:2] == [0.12, 0.3]
    assert shares == sorted(set(shares))
    moved = [k for k, s in enumerate(found.stations, 1) if s.channel_now != s.channel_planned]
    assert len(moved) > 1
    assert shares[2:] == pytest.approx([0.3 + 0.07 * k for k in moved])
