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
    if not len(levels_dbm):
        raise ValueError("levels_dbm must hold at least one value; got none")
    strongest = max(finite(f"levels_dbm[{n}]", level) for n, level in enumerate(levels_dbm))
    return strongest + 10 * log10(fsum(10 ** ((level - strongest) / 10) for level in levels_dbm))
