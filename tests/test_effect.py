"""Effect: changed stores against those to come, on chains whose truth is known."""

import math
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import permutation_test
from scipy.stats import t as student
from simulate.rollout import WAVES, Chain, Rollout, burdened, simulated

from pipeline.effect.compare import (
    Burden,
    Estimate,
    Peers,
    chart_limits,
    compare,
    own_weight,
    update_costs,
)
from pipeline.effect.verdict import (
    RolloutVerdict,
    Standing,
    VerdictRule,
    Why,
    Word,
    decide,
    least_effect,
    sights,
    stores_needed,
)
from pipeline.effect.windows import (
    Comparison,
    Figures,
    Measure,
    OutcomeDay,
    Turn,
    Upset,
    WashOut,
    WaveDays,
    comparison,
    quiet_changes,
    wave_days,
)

RULE = VerdictRule(gain_least=0.02, loss_most=0.02)
AIR, ACKNOWLEDGED = Measure.CLEAR_AIR, Measure.ACKNOWLEDGED
DAYS = 28


def turns_of(chain: Chain) -> list[Turn]:
    """Return the chain's stores with the nights of their waves."""
    found = []
    for store, (wave, stratum) in enumerate(zip(chain.wave, chain.stratum, strict=True)):
        start = chain.day(int(chain.night[store])) + timedelta(days=1 + store % 5)
        ticket = f"{chain.order[store]:04}"
        key = f"S{store:03}"
        found.append(Turn("North", key, str(stratum), WAVES[wave], start, start, ticket=ticket))
    return found


def figures_of(chain: Chain) -> Figures:
    """Return what its exports say, and what is known to have upset its stores."""
    rows = [
        OutcomeDay(f"S{store:03}", chain.day(week), outcome, float(table[store, week]))
        for outcome, table in ((AIR, chain.clear_air), (ACKNOWLEDGED, chain.acknowledged))
        for store, week in np.ndindex(table.shape)
    ]
    day = timedelta(days=1)
    upsets = [
        Upset(f"S{store:03}", WashOut.REPLACED, chain.day(week - 1) + day, chain.day(week))
        for store, week in chain.upsets
    ]
    return Figures(rows, upsets)


def compared(chain: Chain) -> dict[Measure, list[Comparison]]:
    """Return the comparisons of all waves."""
    turns, figures = turns_of(chain), figures_of(chain)
    waves = wave_days(turns, DAYS)
    return {
        outcome: [comparison(days, outcome, turns, figures) for days in waves]
        for outcome in (AIR, ACKNOWLEDGED)
    }


def estimate(found: list[Comparison]) -> Estimate:
    """Return the effect over comparisons."""
    whole = compare([block for one in found for block in one.blocks])
    assert whole is not None
    return whole


def verdicts(chain: Chain, *, drawn: bool = True) -> list[RolloutVerdict]:
    """Return the verdict once the days of each wave are over."""
    found = compared(chain)
    waves = [one.days for one in found[AIR]]
    return [
        decide(
            {outcome: estimate(own[: n + 1]) for outcome, own in found.items()},
            RULE,
            Standing(waves[n].after[1], waves[: n + 1], None, drawn, [50] * 4),
        )
        for n in range(len(waves))
    ]


def covered(found: Estimate, truth: float) -> bool:
    """Whether the interval holds the truth."""
    return found.low <= truth <= found.high


def measured(plan: Rollout, chains: range) -> dict[str, int]:
    """Return in how many chains the interval holds the truth, and what is said of it."""
    counts = dict.fromkeys(("covered", "helped", "roll_on", "stop", "harmed"), 0)
    for seed in chains:
        chain = simulated(plan, seed)
        found = compared(chain)
        both = estimate(found[ACKNOWLEDGED])
        counts["covered"] += covered(both, truth(chain))
        said = verdicts(chain)
        counts["helped"] += any(each.why is Why.HELPED for each in said)
        counts["roll_on"] += said[-1].word is Word.ROLL_ON
        counts["stop"] += said[-1].word is Word.STOP
        counts["harmed"] += any(each.why is Why.HARMED for each in said)
    return counts


def truth(chain: Chain) -> float:
    """Return the mean effect in the stores compared, weighted as the estimate weighs them."""
    return estimate(compared(replace(chain, acknowledged=chain.gained))[ACKNOWLEDGED]).effect


QUICK, MANY = range(6), range(11000, 11100)


def test_some_chains_are_judged_as_they_are() -> None:
    """A slice of the slow run below: no effect, four points, and harm of three."""
    null, gain, harm = (measured(Rollout(effect=e), QUICK) for e in (0.0, 0.04, -0.03))

    assert min(one["covered"] for one in (null, gain, harm)) >= 4
    assert null["helped"] <= 1
    assert gain["roll_on"] >= 5
    assert harm["stop"] == 6
    assert harm["helped"] == 0


@pytest.mark.slow
def test_intervals_hold_the_truth_and_verdicts_follow_it() -> None:
    """200 stores in three waves, a hundred times for each of four effects."""
    found = {
        effect: measured(Rollout(effect=effect), range(first, first + 100))
        for effect, first in ((0.0, 12000), (0.02, 13000), (0.04, 14000), (-0.03, 15000))
    }
    print(found)  # noqa: T201 - the figures of docs/method.md

    assert 90 <= sum(one["covered"] for one in found.values()) / 4 <= 97
    assert all(88 <= one["covered"] <= 99 for one in found.values())
    assert found[0.0]["helped"] <= 5
    assert found[0.0]["harmed"] <= 5
    assert found[-0.03]["helped"] == 0
    assert found[-0.03]["stop"] >= 95
    assert found[0.04]["roll_on"] >= 95
    assert found[0.04]["stop"] == 0


def _last(seeds: range, effect: float) -> tuple[int, int]:
    """Return how often the last wave within itself holds the truth, and is said to gain."""
    held = helped = 0
    for seed in seeds:
        chain = simulated(Rollout(effect=effect), seed)
        found = estimate(compared(chain)[ACKNOWLEDGED][2:])
        sure = compared(replace(chain, acknowledged=chain.gained))[ACKNOWLEDGED][2:]
        held += covered(found, estimate(sure).effect)
        helped += found.helped
    return held, helped


def test_the_last_wave_is_told_by_its_thirds_in_some_chains() -> None:
    """A slice of the slow run below."""
    held, helped = _last(QUICK, 0.04)
    assert (held >= 4, helped) == (True, 6)


@pytest.mark.slow
def test_the_last_wave_is_told_by_its_thirds() -> None:
    """Nobody follows it: the third drawn first stands against the third drawn last."""
    (held, helped), (sure, found) = (
        _last(range(16000, 16100), 0.0),
        _last(range(17000, 17100), 0.04),
    )
    print("last wave", held, helped, sure, found)  # noqa: T201 - the figures of docs/method.md
    assert 90 <= (held + sure) / 2 <= 97
    assert helped <= 5
    assert found >= 95


def _pairs(seeds: range, effect: float = 0.04) -> list[Estimate]:
    """Return what twelve stores show, each against another alike, drawn to change later."""
    plan = Rollout(sizes=(12, 12), strata=12, effect=effect, upset_share=0, starts=(4, 15))
    return [estimate(compared(simulated(plan, seed))[ACKNOWLEDGED][:1]) for seed in seeds]


def test_four_points_are_found_in_some_pairs() -> None:
    """A slice of the slow run below."""
    assert sum(found.helped for found in _pairs(range(20))) >= 14


@pytest.mark.slow
def test_four_points_in_twelve_pairs_are_found() -> None:
    """At least 80 times in 100."""
    found = sum(found.helped for found in _pairs(MANY))
    print("pairs", found)  # noqa: T201 - as above
    assert found >= 80


def test_without_a_draw_the_worst_looking_recover_and_nothing_is_proved() -> None:
    """By benefit, nearly every chain without any effect seems to gain; drawn, hardly one does."""
    plan = Rollout((60, 140), by_benefit=True, upset_share=0, strata=1, starts=(4, 15))
    found = [estimate(compared(simulated(plan, seed))[ACKNOWLEDGED][:1]) for seed in range(15)]
    drawn = replace(plan, by_benefit=False)
    fair = [estimate(compared(simulated(drawn, seed))[ACKNOWLEDGED][:1]) for seed in range(15)]

    assert np.mean([one.effect for one in found]) > 0.01
    assert sum(one.helped for one in found) >= 12
    assert sum(one.helped for one in fair) <= 1
    assert abs(float(np.mean([one.effect for one in fair]))) < 0.003
    said = verdicts(simulated(replace(plan, effect=0.06), 1), drawn=False)
    assert {each.why for each in said} == {Why.NOT_DRAWN}


@pytest.mark.parametrize(
    ("seeds", "least", "most"),
    [(range(25), 14, 25), pytest.param(MANY, 70, 90, marks=pytest.mark.slow)],
)
def test_the_least_effect_a_wave_can_see_is_seen_four_times_in_five(
    seeds: range, least: int, most: int
) -> None:
    """The spread of quiet weeks before the pilot says what the pilot would show."""
    hits = 0
    for seed in seeds:
        plan = Rollout(upset_share=0, weeks=22, starts=(9, 14, 20))
        chain = simulated(plan, seed)
        turns, figures = turns_of(chain), figures_of(chain)
        squares = [
            (change - float(np.mean(list(own.values())))) ** 2
            for stratum in range(plan.strata)
            for own in [
                quiet_changes(
                    [replace(t, begun_on=None, done_on=None) for t in turns
                     if t.stratum == str(stratum)],
                    ACKNOWLEDGED, figures, DAYS, chain.day(8),
                )
            ]
            for change in own.values()
        ]  # fmt: skip
        spread = (sum(squares) / (len(squares) - plan.strata)) ** 0.5
        effect = least_effect(spread, [(3, 47)] * 4)
        chain = simulated(replace(plan, effect=effect), seed)
        hits += estimate(compared(chain)[ACKNOWLEDGED][:1]).helped
    print("power", hits)  # noqa: T201 - as above
    assert least <= hits <= most


COEFFICIENTS = (-3.0, -2.0, -1.0, -1.5, -0.5)


def _recovered(seeds: range) -> np.ndarray:
    counts = np.zeros(len(COEFFICIENTS))
    for seed in seeds:
        rows = [Burden(*row) for row in burdened(seed, COEFFICIENTS)]
        found = update_costs("abcde", rows)
        counts += [c.low <= t <= c.high for c, t in zip(found, COEFFICIENTS, strict=True)]
    return counts


def test_costs_of_updates_are_recovered_in_some_chains() -> None:
    """A slice of the slow run below."""
    assert min(_recovered(range(12))) >= 9


@pytest.mark.slow
def test_costs_of_updates_are_recovered() -> None:
    """Each coefficient lies within its interval in at least 90 chains of 100."""
    counts = _recovered(range(30000, 30300))  # of 100 one of five falls short one time in twenty
    print("costs", counts)  # noqa: T201 - as above
    assert min(counts) >= 0.9 * 300


def test_own_weight_is_offered_only_where_it_surely_differs() -> None:
    """Time lost to own neighbours costs twice what outside signals do, or the same."""
    twice, same = ((-3.0, b, -1.0, -1.5, -0.5) for b in (-6.0, -3.0))
    offers = [own_weight([Burden(*r) for r in burdened(seed, twice)]) for seed in range(6)]
    assert all(offer is not None and 1.5 < offer < 2.6 for offer in offers)
    none = [own_weight([Burden(*r) for r in burdened(seed, same)]) for seed in range(6)]
    assert none.count(None) >= 5
    assert own_weight([Burden(*r) for r in burdened(0, twice, stores=19)]) is None
    assert own_weight([]) is None


# -- the rule, and what it compares ---------------------------------------------------------------


def _found(effect: float, low: float, high: float, spread: float = 0.02) -> Estimate:
    return Estimate(effect, low, high, 12, 100, spread)


BEGUN = date(2026, 3, 2)
PILOT = WaveDays("North", "pilot", BEGUN, BEGUN + timedelta(days=4), DAYS)
OVER = Standing(date(2026, 6, 1), [PILOT], date(2026, 8, 1), drawn=True, strata=[200])
GAIN, NONE = _found(0.04, 0.02, 0.06), _found(0.0, -0.015, 0.015)
OPEN, LOSS = _found(0.01, -0.03, 0.05), _found(-0.03, -0.05, -0.01)
SMALL = _found(0.015, 0.01, 0.025)


@pytest.mark.parametrize(
    ("air", "labels", "word", "why"),
    [
        (GAIN, NONE, Word.ROLL_ON, Why.HELPED),
        (NONE, GAIN, Word.ROLL_ON, Why.HELPED),
        (GAIN, OPEN, Word.NOT_YET, Why.WIDE),  # a loss of three points is not ruled out
        (SMALL, NONE, Word.NOT_YET, Why.WIDE),  # it surely gains, but maybe less than pays
        (OPEN, OPEN, Word.NOT_YET, Why.WIDE),
        (GAIN, LOSS, Word.STOP, Why.HARMED),
        (LOSS, None, Word.STOP, Why.HARMED),
        (_found(-0.01, -0.019, -0.001), GAIN, Word.ROLL_ON, Why.HELPED),  # no more than allowed
        (NONE, NONE, Word.STOP, Why.NOT_WORTH),
        (NONE, OPEN, Word.NOT_YET, Why.WIDE),
        (None, GAIN, Word.NOT_YET, Why.NO_AIR),
        (GAIN, None, Word.NOT_YET, Why.NO_LABELS),
    ],
)
def test_the_verdict_is_that_of_the_rule(
    air: Estimate | None, labels: Estimate | None, word: Word, why: Why
) -> None:
    """Roll on, stop, or what is missing."""
    said = decide({AIR: air, ACKNOWLEDGED: labels}, RULE, OVER)
    assert (said.word, said.why) == (word, why)


def test_labels_heard_stand_in_where_no_export_has_updates() -> None:
    """And what is missing says by when, and how many stores it takes."""
    assert decide({AIR: GAIN, Measure.HEARD: NONE}, RULE, OVER).word is Word.ROLL_ON
    said = decide({AIR: OPEN, ACKNOWLEDGED: OPEN}, RULE, OVER)
    assert (said.until, said.stores) == (date(2026, 8, 1), stores_needed(0.02, 0.02, [200]))
    early = replace(OVER, as_of=PILOT.after[1] - timedelta(days=1))
    assert decide({AIR: GAIN, ACKNOWLEDGED: GAIN}, RULE, early) == RolloutVerdict(
        Word.NOT_YET, Why.DAYS_LEFT, until=PILOT.after[1]
    )
    none = replace(OVER, waves=[])
    assert decide({}, RULE, none) == RolloutVerdict(
        Word.NOT_YET, Why.NO_WAVE, until=OVER.next_done_on
    )
    by_benefit = replace(OVER, drawn=False)
    assert decide({AIR: GAIN, ACKNOWLEDGED: GAIN}, RULE, by_benefit).why is Why.NOT_DRAWN
    assert decide({AIR: LOSS, ACKNOWLEDGED: GAIN}, RULE, by_benefit).why is Why.HARMED


def test_what_waves_see_follows_their_size() -> None:
    """Two stores and two show nothing; the pilot asked for is the least that shows enough."""
    assert least_effect(0.02, [(2, 2)]) == math.inf
    assert least_effect(0.02, [(12, 188)]) == pytest.approx(0.0168, abs=0.0002)
    assert least_effect(0.02, [(12, 188)]) < least_effect(0.02, [(6, 194)])
    # One of four in each of two regions can be drawn in 16 ways, in three in 64.
    assert least_effect(0.02, [(1, 3)] * 2) == math.inf
    assert least_effect(0.02, [(1, 3)] * 3) == least_effect(0.02, [(1, 3), (1, 3), (1, 3), (0, 9)])
    assert math.isfinite(least_effect(0.02, [(1, 3)] * 3))
    needed = stores_needed(0.05, 0.04, [200])
    assert needed is not None
    assert least_effect(0.05, [(needed, 200 - needed)]) <= 0.04
    assert least_effect(0.05, [(needed - 1, 201 - needed)]) > 0.04
    assert stores_needed(0.05, 0.001, [200]) is None
    assert stores_needed(0.001, 0.04, [4, 4, 4]) == 3
    waves = [("pilot", [1, 0]), ("second", [4, 5]), ("rest", [5, 5])]
    pilot, second, rest = sights("clear_air", 0.03, waves, 0.04)
    assert (pilot.least, pilot.turned, pilot.controls, second.controls) == (None, 1, 19, 10)
    assert second.least == least_effect(0.03, [(4, 5), (5, 5)])
    assert (rest.turned, rest.controls, rest.within) == (4, 4, True)
    assert rest.least == least_effect(0.03, [(2, 2), (2, 2)])


def test_stores_that_other_things_happened_to_are_left_out_each_with_its_reason() -> None:
    """Freezes take out days, and a store only where no day is left."""
    day = timedelta(days=1)
    begun, before, after = PILOT.begun_on, PILOT.before[1], PILOT.after[0]

    def turn(store: str, wave: str | None = None, on: date | None = None, **of: object) -> Turn:
        return replace(Turn("North", store, "s", wave, on, on), **of)  # type: ignore[arg-type]

    turns = [
        turn("A", "pilot", begun), turn("B", "pilot", begun), turn("C", "pilot", begun, to_make=1),
        turn("D", "pilot", begun, stratum=None), turn("E", "pilot", PILOT.done_on + 9 * day),
        turn("F"), turn("G"), turn("H"), turn("I"), turn("J"), turn("K"), turn("L"),
        turn("M", "second", after + 60 * day), turn("N", "second", after + 2 * day), turn("O"),
    ]  # fmt: skip
    told = [
        OutcomeDay(t.store, when, AIR, 0.5 if when < begun else 0.6)
        for t in turns
        for when in (before - 3 * day, before, after, after + 7 * day)
        if (t.store, when < begun) not in {("I", True), ("J", False)}
    ]
    upsets = [
        Upset("B", WashOut.REMAPPED, begun - 2 * day, after),  # its own night explains it
        Upset("F", WashOut.REPLACED, before - 5 * day, before),
        Upset("G", WashOut.REMAPPED, after, after + day),
        Upset("H", WashOut.OTHERWISE, after, after + day),
        Upset("K", WashOut.FROZEN, after, after + 30 * day),
        Upset("L", WashOut.FROZEN, after, after),  # one day of two is left
        Upset("O", WashOut.REPLACED, before - 90 * day, before - 80 * day),  # long ago
    ]
    found = comparison(PILOT, AIR, turns, Figures(told, upsets))

    assert "".join(sorted(one.store for one in found.left_out)) == "CDEFGHIJK"
    assert [one.reason.value for one in sorted(found.left_out, key=lambda one: one.store)] == [
        "not_changed", "not_drawn", "late", "replaced", "remapped", "otherwise", "no_before",
        "no_after", "frozen",
    ]  # fmt: skip
    (block,) = found.blocks
    assert block.turned == (True, True, False, False, False)  # A, B; L, M, O
    assert block.changes == pytest.approx((0.1,) * 5)


def test_a_wave_that_nobody_follows_is_compared_within_itself_or_not_at_all() -> None:
    """By thirds of the draw; a night out of turn takes a store out; without days between: none."""
    nights = [0, 1, 2, 20, 10, 11, 30, 31, 5]
    day = timedelta(days=1)

    def turns(nights: list[int]) -> list[Turn]:
        return [
            Turn("North", f"S{n}", "s", "rest", BEGUN + on * day, BEGUN + on * day, ticket=str(n))
            for n, on in enumerate(nights)
        ]

    (rest,) = wave_days(turns(nights), DAYS)
    told = [
        OutcomeDay(f"S{n}", when, AIR, 0.5 + n / 100 + 0.1 * (on <= 2) * (when > BEGUN))
        for n, on in enumerate(nights)
        for when in (BEGUN - day, BEGUN + 8 * day)
    ]
    found = comparison(rest, AIR, turns(nights), Figures(told, []))

    assert (rest.done_on, rest.until) == (BEGUN + 2 * day, BEGUN + 19 * day)
    assert rest.after == (BEGUN + 3 * day, BEGUN + 19 * day)
    assert [(one.store, one.reason) for one in found.left_out] == [("S8", WashOut.OUT_OF_TURN)]
    assert found.blocks[0].turned == (True, True, True, False, False)
    assert found.blocks[0].changes == pytest.approx((0.1, 0.1, 0.1, 0.0, 0.0))
    late = turns([0, 1, 25, *nights[3:]])
    (cut,) = wave_days(late, DAYS)
    assert cut.done_on == BEGUN + 5 * day
    left = {one.store: one.reason for one in comparison(cut, AIR, late, Figures(told, [])).left_out}
    assert left["S2"] is WashOut.OUT_OF_TURN
    (close,) = wave_days(turns([0, 0, 0, 0, 0, 0, 1, 1, 1]), DAYS)
    assert close.until is None
    assert compare(comparison(close, AIR, turns([0] * 9), Figures(told, [])).blocks) is None
    (two,) = wave_days(turns([0, 30]), DAYS)
    assert two.until == BEGUN + 29 * day
    followed = [*turns(nights), Turn("North", "T", "s", None, None, None)]
    assert wave_days(followed, DAYS)[0].until is None


def test_stores_are_compared_within_their_stratum() -> None:
    """Where most of those that gain anyway go first, that is no effect."""
    turns, told = [], []
    for n in range(8):
        stratum, turned = ("a", n < 3) if n < 4 else ("b", n == 4)
        on = BEGUN if turned else None
        turns.append(Turn("North", f"S{n}", stratum, "pilot" if turned else None, on, on))
        for day, value in ((PILOT.before[1], 0.5), (PILOT.after[1], 0.6 if n < 4 else 0.5)):
            told.append(OutcomeDay(f"S{n}", day, AIR, value))

    found = compare(comparison(PILOT, AIR, turns, Figures(told, [])).blocks)

    assert found is not None
    assert found.effect == pytest.approx(0.0, abs=1e-12)


# -- against other programs and published examples ------------------------------------------------


def test_the_estimate_is_that_of_least_squares_with_an_effect_for_every_block() -> None:
    """As statsmodels has it, an independent library."""
    sm = pytest.importorskip("statsmodels.api")
    found = compared(simulated(Rollout(effect=0.03), 5))[ACKNOWLEDGED]
    blocks = [block for one in found for block in one.blocks]
    y = np.concatenate([block.changes for block in blocks])
    turned = np.concatenate([block.turned for block in blocks]).astype(float)
    which = np.repeat(np.arange(len(blocks)), [len(block.changes) for block in blocks])
    dummies = (which[:, None] == np.arange(len(blocks))).astype(float)
    fit = sm.OLS(y, np.column_stack([turned, dummies])).fit()

    ours = estimate(found)
    assert ours.effect == pytest.approx(fit.params[0], abs=1e-12)
    assert ours.spread == pytest.approx(fit.mse_resid**0.5, rel=1e-9)
    # One observation a store and wave: robust errors are those of stores as clusters, nearly.
    low, high = fit.get_robustcov_results("HC3").conf_int()[0]
    assert (ours.low, ours.high) == pytest.approx((low, high), abs=0.0025)


def test_the_costs_are_those_of_a_binomial_model_with_a_column_for_every_store() -> None:
    """As statsmodels fits it; its errors for clusters are a little smaller than the jackknife's."""
    sm = pytest.importorskip("statsmodels.api")
    rows = [Burden(*row) for row in burdened(7, COEFFICIENTS)]
    names, which = np.unique([row.store for row in rows], return_inverse=True)
    came = np.array([row.acknowledged for row in rows])
    sent = np.array([row.updates for row in rows])
    x = np.array([row.suffers for row in rows])
    dummies = (which[:, None] == np.arange(len(names))).astype(float)
    model = sm.GLM(
        np.column_stack([came, sent - came]), np.column_stack([x, dummies]),
        family=sm.families.Binomial(),
    )  # fmt: skip
    fit = model.fit(cov_type="cluster", cov_kwds={"groups": which, "use_correction": False})

    found = update_costs("abcde", rows)
    assert [c.coefficient for c in found] == pytest.approx(list(fit.params[:5]), abs=1e-6)
    width = student.ppf(0.975, len(names) - 1)
    errors = np.array([(c.high - c.low) / 2 / width for c in found])
    ratio = errors / fit.bse[:5]
    assert np.all((ratio > 1.0) & (ratio < 1.12)), ratio


def test_a_published_difference_in_differences() -> None:
    """Card & Krueger 1994, table 3: full-time jobs 20.44 to 21.03 against 23.33 to 21.17 (memory).

    The published difference is 2.76, from figures before rounding; from these it is 2.75.
    """
    block = Peers((21.03 - 20.44, 21.17 - 23.33), (True, False))
    found = compare([block])
    assert found is not None
    assert found.effect == pytest.approx(2.75, abs=1e-9)
    assert (found.low, found.high) == (-math.inf, math.inf)


def test_a_published_randomisation_test() -> None:
    """Fisher 1935, section 21: Darwin's 15 pairs of maize; 1726 of 32768 draws are as far (memory).

    An effect of nothing is thus just not excluded at 5 %, and is at 5.5 %.
    """
    eighths = (49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48)
    pairs = [Peers((float(d), 0.0), (True, False)) for d in eighths]
    found = compare(pairs, draws=199_999)
    assert found is not None
    assert found.effect == pytest.approx(314 / 15)
    assert -1.5 < found.low < 0 < found.high
    # scipy's own permutation test, over all 32768 draws, gives Fisher's figure.
    whole = permutation_test(
        (np.array(eighths), np.zeros(15)), lambda a, b, axis: np.mean(a - b, axis=axis),
        permutation_type="samples", vectorized=True, n_resamples=np.inf,
    )  # fmt: skip
    assert whole.pvalue == pytest.approx(1726 / 32768, abs=1e-9)
    at_low = permutation_test(
        (np.array(eighths) - found.low, np.zeros(15)), lambda a, b, axis: np.mean(a - b, axis=axis),
        permutation_type="samples", vectorized=True, n_resamples=np.inf,
    )  # fmt: skip
    assert at_low.pvalue == pytest.approx(0.05, abs=0.004)


def test_published_control_limits() -> None:
    """NIST/SEMATECH e-Handbook, 6.3.2.2: flow rates (from memory); ten there, as limits are ours.

    Published: centre 50.81, limits 45.8159 and 55.8041 (3 / 1.128 for 2.66).
    """
    rates = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    moving = [abs(b - a) for a, b in pairwise(rates)]
    assert sum(moving) / 9 == pytest.approx(1.8778, abs=1e-4)
    # Two more points that leave the mean and the mean moving range as they are.
    step = sum(moving) / 9
    values = [*rates, *_kept(rates, step)]
    limits = chart_limits([*values, 1000.0])
    assert limits is not None
    assert limits.centre == pytest.approx(50.81, abs=1e-9)
    assert (limits.low, limits.high) == pytest.approx((45.8159, 55.8041), abs=0.002)
    assert limits.outside(55.9)
    assert limits.outside(45.7)
    assert not limits.outside(55.7)
    assert chart_limits(values[:11]) is None


def _kept(rates: list[float], step: float) -> tuple[float, float]:
    """Return two more values of the same mean whose moving ranges have the mean `step`."""
    mean = sum(rates) / len(rates)
    for off in np.linspace(-10, 10, 2_000_001):
        if abs(abs(mean + off - rates[-1]) + abs(2 * off) - 2 * step) < 1e-5:
            return mean + float(off), mean - float(off)
    raise AssertionError
