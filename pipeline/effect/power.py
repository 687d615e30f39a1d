"""What planned waves can see: the least effect found four times in five, and the pilot it takes."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from math import comb, inf, prod, sqrt

from scipy.special import stdtrit

from pipeline.effect.windows import third

_POWER = 0.8
_SURE = 0.975  # either end of a 95 % interval
_DRAWS_LEAST = 21  # with fewer ways to draw no interval of 95 % has an end


def least_effect(spread: float, blocks: Sequence[tuple[int, int]]) -> float:
    """Return the least effect, as a difference of shares, that is found with a chance of 80 %.

    Found: the 95 % interval of the difference of means within blocks lies above nothing (Bloom
    1995, with Student's t). Without end where so few stores can show no effect at all.

    Args:
        spread: standard deviation of stores' changes, a difference of shares.
        blocks: by stratum, stores of the wave and stores whose turn is later.
    """
    told = [(turned, later) for turned, later in blocks if min(turned, later) > 0]
    ways = prod(comb(turned + later, turned) for turned, later in told)
    if ways < _DRAWS_LEAST:
        return inf
    free = sum(map(sum, told)) - len(told) - 1
    weight = sum(turned * later / (turned + later) for turned, later in told)
    quantiles = float(stdtrit(free, _SURE) + stdtrit(free, _POWER))
    return quantiles * spread / sqrt(weight)


def stores_needed(spread: float, effect: float, strata: Sequence[int]) -> int | None:
    """Return the fewest stores to change first to see an effect; None: no number can.

    They are spread evenly over strata of so many stores, up to half of all.
    """
    total = sum(strata)
    ends = [0, *accumulate(strata)]
    for stores in range(1, total // 2 + 1):
        taken = [stores * b // total - stores * a // total for a, b in pairwise(ends)]
        blocks = [(n, size - n) for n, size in zip(taken, strata, strict=True)]
        if least_effect(spread, blocks) <= effect:
            return stores
    return None


@dataclass(frozen=True, slots=True)
class Sight:
    """What a wave would see of an outcome: shares; None where it can see nothing."""

    outcome: str
    wave: str
    turned: int
    controls: int
    least: float | None
    pilot: int | None  # stores it takes to see `effect`; None: more than half of all
    effect: float
    within: bool = False  # the last wave: its first third against its last


def sights(
    outcome: str, spread: float, waves: Sequence[tuple[str, Sequence[int]]], effect: float
) -> tuple[Sight, ...]:
    """Return what each wave would see against those after it, and the last one within itself.

    Args:
        outcome: its name.
        spread: standard deviation of stores' changes in days without work.
        waves: names, and numbers of stores by stratum, in order.
        effect: what is to be seen.
    """
    later = [sum(sizes) for sizes in zip(*(sizes for _, sizes in waves), strict=True)]
    pilot = stores_needed(spread, effect, later)
    found = []
    for wave, sizes in waves[:-1]:
        later = [left - own for left, own in zip(later, sizes, strict=True)]
        least = least_effect(spread, list(zip(sizes, later, strict=True)))
        shown = None if least == inf else least
        found.append(Sight(outcome, wave, sum(sizes), sum(later), shown, pilot, effect))
    found.append(_within(outcome, spread, waves[-1], pilot, effect))
    return tuple(found)


def _within(
    outcome: str, spread: float, last: tuple[str, Sequence[int]], pilot: int | None, effect: float
) -> Sight:
    """Return what the last wave would see: the third drawn first against the third drawn last."""
    blocks = []
    for size in last[1]:
        thirds = [third(rank, size) for rank in range(size)]
        blocks.append((thirds.count(0), thirds.count(2)))
    least = least_effect(spread, blocks)
    first, to_come = (sum(side) for side in zip(*blocks, strict=True))
    shown = None if least == inf else least
    return Sight(outcome, last[0], first, to_come, shown, pilot, effect, within=True)
