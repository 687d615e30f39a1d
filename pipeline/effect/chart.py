"""A run chart of single values with its control limits, and what stands out of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

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
