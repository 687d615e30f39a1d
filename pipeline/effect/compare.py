"""Difference in differences of stores drawn to change first; and a run chart of single values.

A store is one observation: how its outcome changed from the days before a wave to those after, so
that nothing is assumed of days and labels within it (Bertrand, Duflo & Mullainathan 2004). Stores
are compared within blocks: those of one stratum of the draw, over the days of one wave. The
estimate is that of least squares with an effect for every block.

The interval is of randomisation inference (Fisher 1935; Rosenbaum 2002, section 2.4): every effect
at which, were it taken off the changed stores, the draw that was made would not stand out among
draws made anew. It needs no large number of stores; a bootstrap of stores fails where two are
changed (MacKinnon & Webb 2017), and the draw is our own, so it is known.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf

import numpy as np

_DRAWS = 1999
_DOUBT = 0.05  # of the interval: it holds 95 % of the time
_SEED = 16
_SAME = 1e-9  # a draw that differs by less is the one that was made, or its mirror


@dataclass(frozen=True, slots=True)
class Peers:
    """Stores that may be compared: their changes of a share, 0..1, and which had their turn."""

    changes: tuple[float, ...]
    turned: tuple[bool, ...]

    @property
    def weight(self) -> float:
        """What the block counts: the inverse variance of its difference, up to a factor."""
        here = sum(self.turned)
        return here * (len(self.turned) - here) / len(self.turned)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A mean effect in the changed stores, as a difference of shares, and its 95 % interval.

    The interval is without end where there are too few stores to tell any effect from none.
    """

    effect: float
    low: float
    high: float
    turned: int  # stores
    controls: int
    spread: float  # standard deviation of stores' changes about their block's, the effect apart

    @property
    def helped(self) -> bool:
        """Whether the effect is surely above nothing."""
        return self.low > 0

    @property
    def harmed(self) -> bool:
        """Whether it is surely below."""
        return self.high < 0


def compare(blocks: Sequence[Peers], draws: int = _DRAWS) -> Estimate | None:
    """Return the effect over all blocks; None where none has a store of either side.

    Args:
        blocks: a store may be in several, of different waves; draws are made in each on its own.
        draws: how many are made anew.
    """
    told = [block for block in blocks if block.weight > 0]
    if not told:
        return None
    rng = np.random.default_rng(_SEED)
    total = sum(block.weight for block in told)
    shape = draws + 1
    effect, taken = np.zeros(shape), np.zeros(shape)
    for block in told:
        first = np.array(block.turned)
        drawn = np.vstack([first, rng.permuted(np.tile(first, (draws, 1)), axis=1)])
        each = np.where(drawn, 1 / first.sum(), -1 / (~first).sum()) * (block.weight / total)
        effect += each @ np.array(block.changes)
        taken += each @ first
    low, high = _interval(effect, taken)
    turned = sum(sum(block.turned) for block in told)
    stores = sum(len(block.turned) for block in told)
    found = float(effect[0])
    return Estimate(found, low, high, turned, stores - turned, _spread(told, found))


def _interval(effect: np.ndarray, taken: np.ndarray) -> tuple[float, float]:
    """Return the effects that the draw does not speak against.

    With an effect t taken off the changed stores, a draw comes to effect - t x taken. It is as far
    from nothing as the one that was made between the two t where both are equal in size.
    """
    made, other, own = effect[0], effect[1:], taken[1:]
    ends = np.full((2, len(other)), inf)
    for end, sign in zip(ends, (1, -1), strict=True):
        moved = np.abs(1 - sign * own) > _SAME
        end[moved] = (made - sign * other[moved]) / (1 - sign * own[moved])
    bounded = np.isfinite(ends).all(axis=0)
    highs = np.where(bounded, ends.max(axis=0), inf)
    lows = np.where(bounded, ends.min(axis=0), -inf)
    rank = int(_DOUBT * len(effect))
    return float(np.sort(lows)[rank - 1]), float(np.sort(highs)[-rank])


def _spread(blocks: Sequence[Peers], effect: float) -> float:
    """Return the standard deviation of the changes about their block's mean, the effect apart."""
    squares, free = 0.0, -1
    for block in blocks:
        left = np.array(block.changes) - effect * np.array(block.turned)
        squares += float(np.sum((left - left.mean()) ** 2))
        free += len(left) - 1
    return (squares / free) ** 0.5 if free > 0 else inf


FROM_POINTS = 12
"""Fewer points make no limits."""
_WIDTH = 2.66  # 3 / 1.128, the mean range of two normal values in standard deviations


@dataclass(frozen=True, slots=True)
class ChartLimits:
    """The centre of a run chart and its limits, in the unit of the values."""

    centre: float
    low: float
    high: float

    def outside(self, value: float) -> bool:
        """Whether a value is further off than chance alone would bring it."""
        return not self.low <= value <= self.high


def chart_limits(values: Sequence[float]) -> ChartLimits | None:
    """Return the limits of the first twelve values: mean +- 2.66 x mean moving range.

    None where there are fewer. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    first = values[:FROM_POINTS]
    if len(first) < FROM_POINTS:
        return None
    centre = sum(first) / len(first)
    moving = sum(abs(b - a) for a, b in pairwise(first)) / (len(first) - 1)
    return ChartLimits(centre, centre - _WIDTH * moving, centre + _WIDTH * moving)
