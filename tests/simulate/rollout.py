"""Invented chains that are changed in waves, with an effect that is known.

Stores differ, drift apart, follow a trend and a season, and labels come and go. Stores whose bad
weeks fell into the survey are expected to gain most, so whoever goes by that sees them recover.
Some stores are upset by other things, which the chain knows. Nothing here comes from the program.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

FIRST = date(2026, 1, 5)
WEEK = timedelta(days=7)
WAVES = ("pilot", "second", "rest")


@dataclass(frozen=True)
class Rollout:
    """How a chain is rolled out. Effects are differences of shares; `sizes` are stores by wave."""

    sizes: tuple[int, ...] = (12, 60, 128)
    effect: float = 0.0
    strata: int = 4
    by_benefit: bool = False
    upset_share: float = 0.05
    weeks: int = 26
    starts: tuple[int, ...] = (4, 9, 15)  # weeks in which the waves' nights begin
    last_weeks: int = 6  # that the nights of the last wave take, in the order of the draw


@dataclass(frozen=True)
class Chain:
    """A chain as it would be known: stores by number, weeks by number."""

    wave: np.ndarray  # by store
    order: np.ndarray  # in which stores have their turn
    night: np.ndarray  # its week
    stratum: np.ndarray
    acknowledged: np.ndarray  # store, week: shares of updates
    updates: np.ndarray
    clear_air: np.ndarray
    upsets: tuple[tuple[int, int], ...]  # store and week
    gained: np.ndarray  # of the updates acknowledged, what the change made of them
    plan: Rollout

    def day(self, week: int) -> date:
        """Return the day of a week's export."""
        return FIRST + week * WEEK


def simulated(plan: Rollout, seed: int) -> Chain:
    """Return a chain drawn by a seed."""
    rng = np.random.default_rng(seed)
    stores, weeks = sum(plan.sizes), plan.weeks
    level = rng.normal(1.9, 0.45, stores)
    drift = np.cumsum(rng.normal(0, 0.05, (stores, weeks)), axis=1)
    shock = _shocks(rng, stores, weeks)
    when = np.arange(weeks)
    season = -0.01 * when + 0.15 * np.sin(2 * np.pi * when / 12)
    # What is expected of a store follows a short survey: bad luck counts more there than the store.
    looked = level / 2 + 4 * shock[:, plan.starts[0] - 2 : plan.starts[0]].mean(axis=1)
    benefit = -looked + rng.normal(0, 0.2, stores)
    ranks = np.argsort(np.argsort(-benefit))
    stratum = ranks * plan.strata // stores
    wave, order = _waves(plan, rng, ranks, stratum)
    night = _nights(plan, wave, order)
    labels = rng.integers(800, 4000, stores)
    churn = rng.binomial(labels[:, None], 0.02, (stores, weeks)) / labels[:, None]
    odds = level[:, None] + drift + shock + season + churn * rng.normal(0, 3, (stores, weeks))
    effects = plan.effect + (plan.effect != 0) * rng.normal(0, 0.01, (stores, 2))
    after = when > night[:, None]
    upset = rng.random(stores) < plan.upset_share
    upsets = tuple((int(s), int(rng.integers(0, weeks))) for s in np.flatnonzero(upset))
    for store, week in upsets:
        odds[store, week:] += rng.choice([-1.0, 1.0])
    without = 1 / (1 + np.exp(-odds))
    share = np.clip(without + effects[:, 1:] * after, 0, 1)
    updates = labels[:, None] * rng.integers(5, 15, (stores, weeks))
    air = 1 / (1 + np.exp(-(odds + rng.normal(0, 0.1, odds.shape) - 0.5)))
    readings = rng.integers(100, 400, odds.shape)
    return Chain(
        wave, order, night, stratum, rng.binomial(updates, share) / updates, updates,
        rng.binomial(readings, np.clip(air + effects[:, :1] * after, 0, 1)) / readings,
        upsets, share - without, plan,
    )  # fmt: skip


def _shocks(rng: np.random.Generator, stores: int, weeks: int) -> np.ndarray:
    """Return what comes and goes over a few weeks, in logits."""
    shock = np.zeros((stores, weeks))
    shock[:, 0] = rng.normal(0, 0.2, stores)
    for week in range(1, weeks):
        shock[:, week] = 0.7 * shock[:, week - 1] + rng.normal(0, 0.14, stores)
    return shock


def _waves(
    plan: Rollout, rng: np.random.Generator, ranks: np.ndarray, stratum: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return wave and turn of each store: by what is expected of it, or drawn in each stratum."""
    if plan.by_benefit:
        place = ranks.astype(float)
    else:
        place = np.zeros(len(ranks))
        for one in range(plan.strata):
            own = np.flatnonzero(stratum == one)
            place[rng.permutation(own)] = (np.arange(len(own)) + 0.5) / len(own)
    order = np.lexsort((rng.random(len(ranks)), place))
    wave = np.zeros(len(ranks), dtype=int)
    wave[order] = np.repeat(np.arange(len(plan.sizes)), plan.sizes)
    return wave, np.argsort(order)


def _nights(plan: Rollout, wave: np.ndarray, order: np.ndarray) -> np.ndarray:
    """Return the week of each store's night: the first of its wave, or one of those of the last."""
    last = len(plan.sizes) - 1
    begun = order - sum(plan.sizes[:-1])
    later = np.where(wave == last, begun * plan.last_weeks // plan.sizes[-1], 0)
    nights: np.ndarray = np.array(plan.starts)[wave] + later
    return nights


def burdened(
    seed: int, coefficients: tuple[float, ...], stores: int = 60
) -> list[tuple[str, int, int, tuple[float, ...]]]:
    """Return stations of a chain: store, updates, acknowledged, and what they suffer, as shares.

    Stores differ, bad stores have bad air, and stations of a store share what nobody measured.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for store in range(stores):
        own = rng.normal(3, 0.6)
        for _ in range(int(rng.integers(3, 12))):
            suffers = rng.beta(1.5, 6 + own, len(coefficients))
            odds = own + suffers @ np.array(coefficients) + rng.normal(0, 0.25)
            updates = int(rng.integers(500, 6000))
            came = int(rng.binomial(updates, 1 / (1 + np.exp(-odds))))
            rows.append((f"S{store:03}", updates, came, tuple(map(float, suffers))))
    return rows
