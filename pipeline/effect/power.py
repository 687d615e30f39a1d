"""What planned waves can see: the least effect found four times in five, and the pilot it takes."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb, inf, sqrt

from scipy.stats import t as student

_POWER = 0.8
_SURE = 0.975  # either end of a 95 % interval
_DRAWS_LEAST = 21  # with fewer ways to draw no interval of 95 % has an end


def least_effect(spread: float, turned: int, controls: int) -> float:
    """Return the least effect, as a difference of shares, that is found with a chance of 80 %.

    Found: the 95 % interval of the difference of two means lies above nothing (Bloom 1995, with
    Student's t). Without end where so few stores can show no effect at all.

    Args:
        spread: standard deviation of stores' changes, a difference of shares.
        turned: stores of the wave.
        controls: stores whose turn is later.
    """
    if min(turned, controls) < 1 or comb(turned + controls, turned) < _DRAWS_LEAST:
        return inf
    free = turned + controls - 2
    error = spread * sqrt(1 / turned + 1 / controls)
    return float(student.ppf(_SURE, free) + student.ppf(_POWER, free)) * error


def stores_needed(spread: float, effect: float, stores: int) -> int | None:
    """Return the fewest of some stores to change first to see an effect; None: no number can."""
    sizes = range(1, stores // 2 + 1)
    return next((n for n in sizes if least_effect(spread, n, stores - n) <= effect), None)


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


def sights(
    outcome: str, spread: float, waves: Sequence[tuple[str, int]], effect: float
) -> tuple[Sight, ...]:
    """Return what each wave but the last would see, against those after it.

    Args:
        outcome: its name.
        spread: standard deviation of stores' changes in days without work.
        waves: names and numbers of stores, in order.
        effect: what is to be seen.
    """
    total = sum(count for _, count in waves)
    pilot = stores_needed(spread, effect, total)
    found, later = [], total
    for wave, count in waves[:-1]:
        later -= count
        least = least_effect(spread, count, later)
        shown = None if least == inf else least
        found.append(Sight(outcome, wave, count, later, shown, pilot, effect))
    return tuple(found)
