"""Effect: changed stores against those to come, on chains whose truth is known."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from simulate.rollout import WAVES, Chain, Rollout, burdened, simulated

from pipeline.effect.compare import Estimate, compare
from pipeline.effect.costs import Burden, update_costs
from pipeline.effect.verdict import Standing, Verdict, VerdictRule, Why, Word, decide
from pipeline.effect.windows import (
    Comparison,
    Figures,
    Outcome,
    OutcomeDay,
    Reason,
    Turn,
    Upset,
    WaveDays,
    comparison,
    wave_days,
)

RULE = VerdictRule(gain_least=0.02, loss_most=0.02)
AIR, ACKNOWLEDGED = Outcome.CLEAR_AIR, Outcome.ACKNOWLEDGED
DAYS = 28


def turns_of(chain: Chain) -> list[Turn]:
    """Return the chain's stores with the nights of their waves."""
    found = []
    for store, (wave, stratum) in enumerate(zip(chain.wave, chain.stratum, strict=True)):
        start = chain.day(chain.plan.starts[wave]) + timedelta(days=1 + store % 5)
        found.append(Turn("North", f"S{store:03}", str(stratum), WAVES[wave], start, start))
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
        Upset(f"S{store:03}", Reason.REPLACED, chain.day(week - 1) + day, chain.day(week))
        for store, week in chain.upsets
    ]
    return Figures(rows, upsets)


def compared(chain: Chain) -> dict[Outcome, list[Comparison]]:
    """Return the comparisons of the waves that have stores to come."""
    turns, figures = turns_of(chain), figures_of(chain)
    waves = wave_days(turns, DAYS)[: len(chain.plan.sizes) - 1]
    return {
        outcome: [comparison(days, outcome, turns, figures) for days in waves]
        for outcome in (AIR, ACKNOWLEDGED)
    }


def estimate(found: list[Comparison]) -> Estimate:
    """Return the effect over comparisons."""
    whole = compare([block for one in found for block in one.blocks])
    assert whole is not None
    return whole


def verdicts(chain: Chain, *, drawn: bool = True) -> list[Verdict]:
    """Return the verdict once the days of each wave are over."""
    found = compared(chain)
    waves = [one.days for one in found[AIR]]
    return [
        decide(
            {outcome: estimate(own[: n + 1]) for outcome, own in found.items()},
            RULE,
            Standing(waves[n].after[1], waves[: n + 1], None, drawn, len(chain.wave)),
        )
        for n in range(len(waves))
    ]


def covered(found: Estimate, truth: float) -> bool:
    """Whether the interval holds the truth."""
    return found.low <= truth <= found.high


def measured(plan: Rollout, chains: int) -> dict[str, int]:
    """Return in how many chains the interval holds the truth, and what is said of it."""
    counts = dict.fromkeys(("covered", "helped", "roll_on", "stop", "harmed"), 0)
    for seed in range(chains):
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


if __name__ == "__main__":
    import sys, time
    n = int(sys.argv[1])
    t=time.time()
    print("null", measured(Rollout(), n), time.time()-t)
    print("+4", measured(Rollout(effect=0.04), n))
    print("-2", measured(Rollout(effect=-0.02), n))
    pairs = Rollout(sizes=(12, 12), strata=12, effect=0.04, upset_share=0, starts=(4, 15))
    hits = [estimate(compared(simulated(pairs, s))[ACKNOWLEDGED][:1]) for s in range(n)]
    print("pairs", sum(e.helped for e in hits), np.mean([e.effect for e in hits]), np.mean([e.spread for e in hits]), np.mean([e.high-e.low for e in hits]))
    from math import isfinite
    b = Rollout(by_benefit=True, upset_share=0)
    hits = [estimate(compared(simulated(b, s))[ACKNOWLEDGED][:1]) for s in range(n)]
    print("benefit order null", np.mean([e.effect for e in hits]), sum(e.helped for e in hits))
    coefs = (-3.0, -2.0, -1.0, -1.5, -0.5)
    ok = np.zeros(5); 
    for s in range(n):
        f = update_costs("abcde", [Burden(*r) for r in burdened(s, coefs)])
        ok += [c.low <= t <= c.high for c, t in zip(f, coefs)]
    print("costs", ok)
