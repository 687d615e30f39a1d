"""Which moves earn their disruption: in expectation, and with a stated chance of any gain."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, betaincinv, digamma

from pipeline.plan.assign import EFFORT, Assignment, assign

CHANCE = 0.9
"""Least chance that a move gains anything; chosen on chains where there is nothing to gain."""

_QUANTILES = (np.arange(256) + 0.5) / 256

Cost = tuple[float, float, float]
"""Where a station stands: a and b of its channel's busy share, and what own stations cost there."""


def expected_cost(a: float, b: float) -> float:
    """Return E[-ln(1 - p)] for p of Beta(a, b): digamma(a + b) - digamma(b)."""
    return float(digamma(a + b) - digamma(b))


def chance_of_gain(here: Cost, there: Cost) -> float:
    """Return the chance that a station's clear air is better there than here.

    The two busy shares are independent; clear air is (1 - p) exp(-own). Even odds where both sides
    are the same. Worked out over 256 equally likely values of the share here.
    """
    if here == there:
        return 0.5
    share = betaincinv(here[0], here[1], _QUANTILES)
    even: NDArray[np.float64] = 1 - (1 - share) * np.exp(there[2] - here[2])
    return float(betainc(there[0], there[1], np.clip(even, 0.0, 1.0)).mean())


def earning(  # noqa: PLR0913 - four say what is asked; the rest are options with defaults
    one: Sequence[Sequence[float]],
    two: Mapping[tuple[int, int], Sequence[Sequence[float]]],
    present: Sequence[int | None],
    chance: Callable[[int, Sequence[int]], float],
    *,
    least: float = CHANCE,
    ties: Sequence[Sequence[int]] | None = None,
    effort: int = EFFORT,
) -> Assignment:
    """Return the best assignment all of whose moves gain with the least chance.

    Args:
        one: expected costs as for `assign`, the price of a move in them, so that a move of the best
            assignment earns its price in expectation.
        two: likewise.
        present: index of each station's present choice; None: it must move.
        chance: chance that the move of station i gains, under a complete choice.
        least: the move with the least chance is taken back, if it has less than this, and the rest
            solved again, until none is left. One by one: without it others may be surer.
        ties: as for `assign`.
        effort: likewise, of each solution.
    """
    held: dict[int, int] = {}
    while True:
        found = assign(one, two, ties=ties, fixed=held, effort=effort)
        moved = [(i, here) for i, here in enumerate(present) if here not in (None, found.choice[i])]
        chances = {i: chance(i, found.choice) for i, _ in moved}
        worst = min(moved, key=lambda each: (chances[each[0]], each[0]), default=None)
        if worst is None or worst[1] is None or chances[worst[0]] >= least:
            return found
        held[worst[0]] = worst[1]
