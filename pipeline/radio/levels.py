"""Sums of levels, in mW.

A level in dBm is a logarithm. Adding or averaging logarithms answers another question than
adding or averaging power, and hides exactly the short strong bursts that matter.
"""

from collections.abc import Sequence
from math import fsum, log10

from pipeline.radio.arguments import finite


def power_sum_dbm(levels_dbm: Sequence[float]) -> float:
    """Return the level of the sum in mW of one or more finite levels; ValueError otherwise.

    Never below the strongest level. Independent of their order, and free of overflow since
    powers are taken relative to the strongest.
    """
    strongest, total = _relative_sum(levels_dbm)
    return strongest + 10 * log10(total)


def _relative_sum(levels_dbm: Sequence[float]) -> tuple[float, float]:
    strongest = max(_some_finite("levels_dbm", levels_dbm))
    return strongest, fsum(10 ** ((level - strongest) / 10) for level in levels_dbm)


def _some_finite(name: str, values: Sequence[float]) -> Sequence[float]:
    if not len(values):
        raise ValueError(f"{name} must hold at least one value; got none")
    for place, value in enumerate(values):
        finite(f"{name}[{place}]", value)
    return values
