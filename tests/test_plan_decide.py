"""Decisions on moves: by brute force over small stores, the chance recomputed with scipy."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache, cached_property
from itertools import combinations, product
from math import log
from random import Random

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.special import betaincc, betaincinv, digamma, loggamma

from pipeline.plan.costs import StoreProblem, Swap, chance_together, clear_air, priced
from pipeline.plan.decide import PLAIN, Chances, Deciding, Terms, decide
from pipeline.plan.explain import Case, Evidence, Level
from pipeline.plan.refusing import decide_anew
from pipeline.plan.search import Improving
from pipeline.plan.stakes import Stakes
from pipeline.plan.store import StorePlan, plan_store, stakes_of, with_channels
from pipeline.reasons import from_json, sentence
from pipeline.records import Heard, StoreStation

PERMITTED = (11, 15, 20)
EFFORT = 100_000
PRICE = 0.005
TERMS = Terms()
UNSURE = 0.01  # chances this near to the least are not judged by draws

Channels = tuple[int, ...]


def known(a: float, b: float) -> Evidence:
    """Return evidence by the Beta of its share."""
    mean, cost = a / (a + b), float(digamma(a + b) - digamma(b))
    return Evidence(mean, mean, mean, cost, a, b, a + b, int(a + b), False, "measured", None)


def case_of(
    stations: Sequence[StoreStation],
    heard: Sequence[Heard],
    beta: dict[tuple[str, int], tuple[float, float]],
) -> Case:
    """Return a case from the Betas of its channels."""
    evidence = {at: known(*ab) for at, ab in beta.items()}
    problem = StoreProblem(
        store="S",
        stations=tuple(stations),
        heard=tuple(heard),
        busy={at: e.reckoned for at, e in evidence.items()},
        price_per_move=PRICE,
        cost={at: e.cost for at, e in evidence.items()},
    )
    levels = {(h.station, h.neighbour): Level(-60.0, 2.0, "measured") for h in heard}
    return Case(problem, evidence, levels)


def drawn_case(seed: int, count: int) -> Case:
    """Return a store by chance: some channels well known, some hardly."""
    random = Random(seed)
    names = [f"S-{k}" for k in range(count)]
    stations = [
        StoreStation(
            name,
            random.choice(PERMITTED),
            PERMITTED,
            random.uniform(0.3, 2.0),
            random.choice([0.0, random.uniform(0.02, 0.15)]),
        )
        for name in names
    ]
    heard = [
        Heard(one, other, (random.uniform(0.3, 1.0), 0.0, 0.0))
        for one in names
        for other in names
        if one != other and random.random() < 0.7
    ]
    beta = {}
    for name in names:
        for channel in PERMITTED:
            mean, worth = random.choice([0.01, 0.03, 0.08, 0.2]), random.choice([8, 40, 400])
            beta[name, channel] = (mean * worth, (1 - mean) * worth)
    return case_of(stations, heard, beta)


@cache
def quantiles(a: float, b: float) -> NDArray[np.float64]:
    """Return 1,000 equally likely values of a Beta."""
    found: NDArray[np.float64] = betaincinv(a, b, (np.arange(1000) + 0.5) / 1000)
    return found


class Oracle:
    """The same store by its definitions alone."""

    def __init__(self, case: Case) -> None:
        self.problem, self.evidence = case.problem, case.evidence
        self.now = tuple(s.channel for s in self.problem.stations)
        self.draws = {
            at: np.random.default_rng(k).beta(e.a, e.b, 40_000)
            for k, (at, e) in enumerate(sorted(case.evidence.items()))
        }

    def own(self, channels: Channels) -> float:
        """Return what stations cost each other: sum of w x -ln(1 - air x hit) on one channel."""
        on = {s.station: (c, s) for s, c in zip(self.problem.stations, channels, strict=True)}
        total = 0.0
        for h in self.problem.heard:
            (here, station), (there, neighbour) = on[h.station], on[h.neighbour]
            if here == there:
                total += station.weight * -log(1 - neighbour.air_share * h.hit[0])
        return total

    def cost(self, channels: Channels) -> float:
        """Return the expected cost, prices in it."""
        total = self.own(channels)
        for s, c in zip(self.problem.stations, channels, strict=True):
            total += s.weight * self.evidence[s.station, c].cost + PRICE * (c != s.channel)
        return total

    def surcharge(self, channels: Channels, stations: Sequence[int]) -> float:
        """Half a price more under a gain of a point of its own, by the chance of a loss squared."""
        then, now = clear_air(self.problem, channels), clear_air(self.problem, self.now)
        moved = [i for i in stations if channels[i] != self.now[i]]
        gains = [then[i] - now[i] for i in moved]
        losses = [self.loss(i, channels) for i in moved]
        harm = 45 * sum(loss**2 for loss in losses)
        return PRICE * (sum(gain < 0.01 for gain in gains) / 2 + harm)

    def loss(self, i: int, channels: Channels) -> float:
        """Return the chance that a station loses more than a point: SciPy's Beta."""
        name, free = self.problem.stations[i].station, []
        sides = [self.evidence[name, on[i]] for on in (self.now, channels)]
        for side, on in zip(sides, (self.now, channels), strict=True):
            free.append(clear_air(self.problem, on)[i] / (1 - side.reckoned))
        here, there = sides
        least = free[0] * (1 - quantiles(here.a, here.b)) - 0.01
        return float(betaincc(there.a, there.b, np.clip(1 - least / free[1], 0, 1)).mean())

    def spent(self, channels: Channels) -> float:
        """Return cost and surcharges."""
        return self.cost(channels) + self.surcharge(channels, range(len(channels)))

    def minimised(self, channels: Channels) -> float:
        """Return what is spent, with the price of a visit if anything moves."""
        return self.spent(channels) + TERMS.per_visit * (channels != self.now)

    def back(self, channels: Channels, stations: Sequence[int]) -> Channels:
        """Return the channels with some stations where they are today."""
        return tuple(self.now[i] if i in stations else c for i, c in enumerate(channels))

    def parts(self, channels: Channels) -> Iterator[Channels]:
        """Yield every subset of the moves."""
        moved = [i for i, c in enumerate(channels) if c != self.now[i]]
        for count in range(len(moved) + 1):
            for dropped in combinations(moved, count):
                yield self.back(channels, dropped)

    def groups(self, channels: Channels) -> list[set[int]]:
        """Join moves that gain more together than each of them alone, by a tenth of a price."""
        moved = [i for i, c in enumerate(channels) if c != self.now[i]]
        found = [{i} for i in moved]
        for i, j in combinations(moved, 2):
            rest = [k for k in moved if k not in {i, j}]
            ends = [[], [i, j], [i], [j]]
            both, none, second, first = (self.own(self.back(channels, rest + e)) for e in ends)
            if both + none - first - second < -PRICE / 10:
                one, other = (next(g for g in found if k in g) for k in (i, j))
                if one is not other:
                    found.remove(other)
                    one |= other
        return sorted(found, key=min)

    def chance(self, channels: Channels, group: set[int]) -> float:
        """Return in what share of draws the group gains anything."""
        without = self.back(channels, sorted(group))
        gain = np.full(40_000, self.own(without) - self.own(channels))
        for i in sorted(group):
            s = self.problem.stations[i]
            here, there = (self.draws[s.station, c] for c in (self.now[i], channels[i]))
            gain += s.weight * (np.log1p(-there) - np.log1p(-here))
        return float((gain > 0).mean())

    def stands(self, channels: Channels, least: float) -> bool:
        """Tell whether every group earns its price and gains with the least chance."""
        for group in self.groups(channels):
            without = self.back(channels, sorted(group))
            earned = self.cost(without) - self.cost(channels)
            if earned < self.surcharge(channels, sorted(group)) - 2e-5:
                return False
            if self.chance(channels, group) < least:
                return False
        return True


def ends_of(found: StorePlan) -> Channels:
    """Return the planned channels."""
    return tuple(s.channel_planned for s in found.stations)


def check_against_all_subsets(seed: int, count: int) -> int:
    """Compare a decision with the oracle; return how many moves it makes."""
    case = drawn_case(seed, count)
    oracle = Oracle(case)
    found = plan_store(case, EFFORT, TERMS)
    ends = ends_of(found)
    assert oracle.stands(ends, TERMS.least_chance - UNSURE)
    gained = oracle.spent(oracle.now) - oracle.spent(ends)
    exact = ends_of(plan_store(case, EFFORT, PLAIN))
    for start in (ends, exact):
        for part in oracle.parts(start):
            if oracle.stands(part, TERMS.least_chance + UNSURE):
                won = oracle.spent(oracle.now) - oracle.spent(part)
                assert won <= max(gained, TERMS.per_visit) + 2e-5, (part, ends)
    assert gained > TERMS.per_visit or ends == oracle.now
    check_groups(found, oracle)
    return len(found.moves)


def check_groups(found: StorePlan, oracle: Oracle) -> None:
    """Groups, gains and chances of the moves are those of the oracle."""
    ends = ends_of(found)
    index = {s.station: i for i, s in enumerate(found.stations)}
    numbers = {index[m.station]: m.group_no for m in found.moves}
    told = [{i for i in numbers if numbers[i] == n} for n in set(numbers.values())]
    assert sorted(told, key=min) == oracle.groups(ends)
    for move in found.moves:
        group = next(g for g in told if index[move.station] in g)
        without = oracle.back(ends, sorted(group))
        earned = oracle.cost(without) - oracle.cost(ends) + PRICE * len(group)
        assert move.group_gain == pytest.approx(earned, abs=1e-6)
        assert move.chance == pytest.approx(oracle.chance(ends, group), abs=UNSURE)


@pytest.mark.parametrize(
    "seed", [0, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(10, 60, 10))]
)
def test_no_subset_of_the_moves_is_better(seed: int) -> None:
    """Stores of 2 to 6 stations: of all subsets of moves that stand, none gains more.

    Subsets of the plan's moves and of those of the best assignment on expected costs.
    """
    moved = [check_against_all_subsets(s, 2 + s % 5) for s in range(seed, seed + 5)]
    assert sum(moved) > 4


@pytest.mark.slow
def test_no_subset_of_the_moves_is_better_in_many_stores() -> None:
    """The same of 600 stores of 2 to 8 stations."""
    for seed in range(1000, 1600):
        check_against_all_subsets(seed, 2 + seed % 7)


def check_refusals(seed: int) -> list[float]:
    """Compare what refusing each move costs with all plans that stand without it.

    Weighed as plans are, none of those costs less than is said, and nothing is below 0. Returned is
    how much dearer than the best of them each answer is that is not said to cost at most so much.
    """
    dearer = []
    case = drawn_case(seed, 2 + seed % 4)
    oracle, found = Oracle(case), plan_store(case, EFFORT, TERMS)
    ends, stations = ends_of(found), found.stations
    moved = [at for at, s in enumerate(stations) if s.channel_now != s.channel_planned]
    ways = product(*(s.choices for s in case.problem.stations)) if moved else ()
    costs = sorted((oracle.minimised(way), way) for way in ways)
    for at in moved:
        without = [(cost, way) for cost, way in costs if way[at] != ends[at]]
        least, most = (
            next(cost for cost, way in without if way == oracle.now or oracle.stands(way, chance))
            for chance in (TERMS.least_chance - UNSURE, TERMS.least_chance + UNSURE)
        )
        told = stations[at].next_best_cost
        assert told is not None
        assert told >= 0
        assert least - 4e-5 <= told + oracle.minimised(ends)
        if not from_json(stations[at].facts).at_most:
            dearer.append(told + oracle.minimised(ends) - most)
    return dearer


@pytest.mark.parametrize("seed", [8, 9, 78])
def test_refusing_costs_what_the_best_plan_without_the_move_is_worse(seed: int) -> None:
    """On the usual terms, of two, three and four stations; of the four three change at once."""
    dearer = check_refusals(seed)
    assert dearer
    assert max(dearer) < 1.4e-4


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(0, 120, 10))
def test_refusing_costs_so_much_in_many_stores(seed: int) -> None:
    """The same of 120 stores of two to five stations."""
    dearer = [more for s in range(seed, seed + 10) for more in check_refusals(s)]
    assert len(dearer) > 4
    assert max(dearer) < 1.4e-4


def check_answers(seed: int) -> list[bool]:
    """Compare answers on any terms, of stores together and of a station that must move as well.

    None costs less than the best of all that stand, and none said to be exact costs more. Returned
    is of which that is said.
    """
    dice, count = Random(seed), 2 + seed % 4
    case = drawn_case(seed, count)
    stakes = stakes_of(case, priced(with_channels(case.free, {})))
    kinds = [(), tuple(dice.choice("PQR") for _ in range(count))]
    stakes = replace(stakes, homes=dice.choice(kinds))
    bound, loose = dice.randrange(count), dice.random() < 0.5
    left = [a for a in range(3) if loose or a != stakes.present[bound]]
    stakes = stakes.allowing(bound, left)
    options = [[0.0, 0.85], [0.0, 0.01, 0.05], [0.0, 0.5, 3.0], [0.0, 45.0, 200.0]]
    terms = Terms(*(dice.choice(some) for some in options))
    best, exact = decide(stakes, terms), []
    for i in range(count):
        choices = [a for a in range(3) if a != best.choice[i] or dice.random() < 0.3]
        found = decide_anew(stakes, terms, best, i, choices)
        changed = stakes.allowing(i, choices)
        either = stakes.allowing(i, sorted({*choices, best.choice[i]}))
        weighed, standing = (Deciding(one, terms, Chances()) for one in (either, changed))
        ways = [way for way in product(*changed.allowed) if standing.stand(way)]
        least = min(map(weighed.minimised, ways)) - weighed.minimised(best.choice)
        assert least - 1e-9 <= found.more
        assert found.more <= least + 1.001e-4 or not found.exact
        exact.append(found.exact)
    return exact


@pytest.mark.parametrize(
    "seed", [0, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(10, 400, 10))]
)
def test_what_is_said_to_be_exact_is(seed: int) -> None:
    """Of ten stores of two to five stations, and that is said of all."""
    exact = [one for s in range(seed, seed + 10) for one in check_answers(s)]
    assert all(exact)


@pytest.mark.parametrize("seed", range(8))
def test_large_groups_are_cut_down_move_by_move(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where not every subset is tried, all groups stand and none is better off taken back."""
    monkeypatch.setattr("pipeline.plan.decide._TRIED", 1)
    case = drawn_case(seed, 8)
    oracle = Oracle(case)
    ends = ends_of(plan_store(case, EFFORT, TERMS))
    assert oracle.stands(ends, TERMS.least_chance - UNSURE)
    for group in oracle.groups(ends):
        assert oracle.spent(ends) <= oracle.spent(oracle.back(ends, sorted(group))) + 1e-9


def integrated(swaps: Sequence[Swap], spared: float) -> float:
    """Return the chance of a gain by inverting the characteristic function (Gil-Pelaez 1951).

    That of -ln(1 - p), p of Beta(a, b), is G(b - it) G(a + b) / (G(b) G(a + b - it)).
    """

    def log_of(beta: tuple[float, float], t: float) -> complex:
        a, b = beta
        return complex(
            loggamma(b - 1j * t) - loggamma(a + b - 1j * t) + loggamma(a + b) - loggamma(b)
        )

    def part(t: float) -> float:
        total = 1j * t * spared
        for s in swaps:
            total += log_of(s.here, s.weight * t) + log_of(s.there, -s.weight * t)
        return float(np.imag(np.exp(total)) / t)

    pieces = [(10.0**k, 10.0 ** (k + 1)) for k in range(-6, 6)]
    return 0.5 + float(sum(quad(part, *ends, limit=2000)[0] for ends in pieces)) / np.pi


@pytest.mark.parametrize("seed", range(12))
def test_the_chance_agrees_with_an_integral(seed: int) -> None:
    """Sums of up to five stations' gains, against the integral of Gil-Pelaez (from memory)."""
    random = Random(seed)
    swaps = [
        Swap(
            random.uniform(0.3, 2.0),
            (random.uniform(1, 9), random.uniform(20, 200)),
            (random.uniform(1, 6), random.uniform(20, 200)),
        )
        for _ in range(1 + seed % 5)
    ]
    spared = random.uniform(-0.03, 0.03)
    near = 0.015 if len(swaps) > 1 else 0.001
    assert chance_together(swaps, spared) == pytest.approx(integrated(swaps, spared), abs=near)


QUIET, LOUD, HARDLY = (4.0, 396.0), (80.0, 320.0), (0.4, 7.6)


def pair_of(
    on: Channels, beta: dict[tuple[str, int], tuple[float, float]], hit: float = 1.0
) -> Case:
    """Return stations A, B, ... that hear one another well, their other channels loud."""
    names = "ABCD"[: len(on)]
    stations = [StoreStation(n, c, PERMITTED, 1.0, 0.1) for n, c in zip(names, on, strict=True)]
    heard = [Heard(a, b, (hit, 0.0, 0.0)) for a in names for b in names if a != b]
    loud = {(n, c): LOUD for n in names for c in PERMITTED}
    return case_of(stations, heard, loud | beta)


def test_a_swap_is_one_group() -> None:
    """Each wants the channel of the other: half of the swap would only make them share one."""
    case = pair_of((11, 15), {("A", 15): QUIET, ("B", 11): QUIET})

    found = plan_store(case, EFFORT, TERMS)

    assert [m.group_no for m in found.moves] == [1, 1]
    assert found.moves[0].group_gain == found.moves[1].group_gain
    assert len({m.chance for m in found.moves}) == 1
    assert "one change with B: together better by" in found.stations[0].reason
    german = sentence(from_json(found.stations[0].facts), "de")
    assert "eine Umstellung mit B: zusammen um" in german
    assert sentence(from_json(found.moves[0].facts)) == found.moves[0].reason


def test_a_station_moves_to_free_a_channel_for_another() -> None:
    """B gains nothing of its own; with A's move it is one change, which says what that gains."""
    beta = {("A", 15): QUIET, ("B", 15): QUIET, ("B", 20): QUIET}
    found = plan_store(pair_of((11, 15), beta), EFFORT, TERMS)

    by_station = {m.station: m for m in found.moves}
    assert {s: m.to_channel for s, m in by_station.items()} == {"A": 15, "B": 20}
    assert by_station["A"].group_no == by_station["B"].group_no
    gained = by_station["A"].group_gain
    assert gained == pytest.approx(log(0.99 / 0.8), abs=0.01)


def test_moves_that_only_spare_one_another_are_decided_apart() -> None:
    """A and B leave one loud channel for one quiet one each: neither needs the other."""
    beta = {("A", 15): QUIET, ("B", 20): QUIET}
    found = plan_store(pair_of((11, 11), beta), EFFORT, TERMS)

    assert sorted(m.group_no or 0 for m in found.moves) == [1, 2]
    assert all("one change with" not in m.reason for m in found.moves)


def test_a_doubtful_part_is_left_out_of_a_sure_plan() -> None:
    """B's better channel is hardly known, A's well; B stays and A moves. Without terms both do."""
    beta = {("A", 15): QUIET, ("B", 11): (0.8, 7.2), ("B", 20): HARDLY}
    case = pair_of((11, 11), beta)

    assert len(plan_store(case, EFFORT, PLAIN).moves) == 2
    assert [m.station for m in plan_store(case, EFFORT, TERMS).moves] == ["A"]


def test_all_moves_of_a_store_must_be_worth_a_visit() -> None:
    """A sure gain of 1.2 points earns the price of a move, but no visit for twice that."""
    beta = {("A", 11): (330.0, 9670.0), ("A", 15): (210.0, 9790.0)}
    case = pair_of((11,), beta)

    assert len(plan_store(case, EFFORT, replace(TERMS, per_visit=0.005)).moves) == 1
    assert plan_store(case, EFFORT, replace(TERMS, per_visit=0.01)).moves == ()


def test_a_station_that_must_move_takes_others_along() -> None:
    """A's channel is not permitted: it moves with no chance stated, and B still may swap away."""
    case = pair_of((26, 15), {("A", 15): QUIET, ("B", 20): QUIET, ("A", 26): QUIET})
    found = plan_store(case, EFFORT, TERMS)

    by_station = {m.station: m for m in found.moves}
    assert {s: m.to_channel for s, m in by_station.items()} == {"A": 15, "B": 20}
    assert by_station["A"].chance is None
    assert (by_station["B"].chance or 0) > 0.99
    assert by_station["A"].group_no == by_station["B"].group_no
    assert "one change with B" in by_station["A"].reason


def test_more_pairs_on_one_channel_are_said() -> None:
    """A and B both go to the only quiet channel and then share it: the reasons say so."""
    case = pair_of((11, 20), {("A", 15): QUIET, ("B", 15): QUIET}, hit=0.5)
    found = plan_store(case, EFFORT, TERMS)

    assert [m.to_channel for m in found.moves] == [15, 15]
    for move in found.moves:
        assert "1 pair in earshot shares a channel once all is done, 0 today" in move.reason
        german = sentence(from_json(move.facts), "de")
        assert "danach teilt 1 Paar in Hörweite einen Kanal, heute 0" in german


def test_a_move_against_its_own_station_pays_for_it() -> None:
    """B would be 9 points worse so that A is 12 better: that earns two prices, not nine."""
    beta = {("A", 11): (480.0, 3520.0), ("A", 15): (4.0, 3996.0)}
    beta |= {("B", 15): (4.0, 3996.0), ("B", 20): (360.0, 3640.0)}
    case = pair_of((11, 15), beta)

    assert len(plan_store(case, EFFORT, replace(TERMS, against=0.0)).moves) == 2
    assert plan_store(case, EFFORT, TERMS).moves == ()


@pytest.mark.parametrize("seed", range(6))
def test_the_order_of_rows_changes_nothing(seed: int) -> None:
    """Neighbours listed in any order lead to the same decision."""
    case = drawn_case(seed, 6)
    shuffled = list(case.problem.heard)
    Random(seed).shuffle(shuffled)
    other = replace(case, problem=replace(case.problem, heard=tuple(shuffled)))

    assert plan_store(case, EFFORT, TERMS) == plan_store(other, EFFORT, TERMS)


def test_copies_of_the_stakes_keep_only_what_stays_true() -> None:
    """Every `Fact` of a copy with other choices is that of the same stakes made anew."""
    one, two = [[0.1, 0.5, 0.2], [0.3, 0.2, 0.6], [0.4, 0.1, 0.3]], [[0.3, 0.0, 0.1]] * 3
    ties, present = {(0, 1): two, (1, 2): two}, (0, 1, 2)
    beta, rows = [[(2.0, 5.0)] * 3] * 3, [[0.2, 0.1, 0.3]] * 3
    every = [range(3)] * 3
    stakes = Stakes(
        one, ties, ties, rows, beta, [1.0] * 3, rows, present, every, 0.01, frozenset({1})
    )
    facts = sorted(name for name, kind in vars(Stakes).items() if isinstance(kind, cached_property))
    before = {name: getattr(stakes, name) for name in facts}
    copies = [stakes.allowing(0, [1, 2]), stakes.opened(frozenset({0})), stakes.undecided()]
    copies.append(stakes.allowing(1, [0]).undecided())
    for copy in copies:
        new = replace(copy)
        for name in facts:
            assert plain(getattr(copy, name)) == plain(getattr(new, name)), name
    assert copies[0].near is before["near"]
    assert copies[0].free == (False, True, True)


def plain(value: object) -> object:
    """Return what a fact of the stakes says, the searches as their tables."""
    return repr(vars(value)) if isinstance(value, Improving) else value


def test_refusals_of_a_large_store_share_their_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many moves are refused, the searches for what takes their place end together.

    An answer that is a better plan than the plan takes its place.
    """
    monkeypatch.setattr("pipeline.plan.refusing._ALL_STEPS", 600)
    steps: list[int] = []
    run = Improving.run

    def counted(
        self: Improving, start: Sequence[int], most: int, allowed: Mapping[int, Collection[int]]
    ) -> tuple[int, ...]:
        if allowed:  # that of a refusal, not of an assignment
            steps.append(most)
        return run(self, start, most, allowed)

    case = drawn_case(3, 18)
    better = ends_of(plan_store(case, 2_000, TERMS))
    monkeypatch.setattr("pipeline.plan.store._LONG", 17)  # they are answered once
    monkeypatch.setattr(Improving, "run", counted)
    found = plan_store(case, 2_000, TERMS)

    assert len(found.moves) == len(steps) > 1
    assert len(set(steps)) == 1
    assert sum(steps) <= 600 < sum(steps) + len(steps)
    # Answered again they start from the better plan that one of them was.
    assert Oracle(case).minimised(better) < Oracle(case).minimised(ends_of(found)) - 1e-4
