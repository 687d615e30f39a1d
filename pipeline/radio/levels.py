"""Levels and shares: sums and means in mW, percentiles, thermal noise, bounds on a share.

A level in dBm is a logarithm. Adding or averaging logarithms answers another question than
adding or averaging power, and hides exactly the short strong bursts that matter.
"""

from collections.abc import Sequence
from math import floor, fsum, log10, sqrt
from statistics import NormalDist

from pipeline.radio.arguments import between, finite, not_negative, positive, within

BOLTZMANN_J_PER_K = 1.380649e-23
"""Exact since the 2019 definition of the SI units."""

REFERENCE_TEMPERATURE_K = 290.0
"""Usual reference for noise: T0 of the IEEE definition of noise figure (from memory)."""

CONFIDENCE = 0.95

_LARGEST_DBM = 3000.0
_MILLIWATTS_PER_WATT = 1000.0


def mw_from_dbm(level_dbm: float) -> float:
    """Return the power in mW of a level from -3000 to 3000 dBm; ValueError otherwise.

    Source: definition of the decibel relative to one milliwatt.
    """
    return float(10 ** (within("level_dbm", level_dbm, -_LARGEST_DBM, _LARGEST_DBM) / 10))


def dbm_from_mw(power_mw: float) -> float:
    """Return the level in dBm of a power above 0 mW; ValueError otherwise."""
    return 10 * log10(positive("power_mw", power_mw))


def power_sum_dbm(levels_dbm: Sequence[float]) -> float:
    """Return the level of the sum in mW of one or more finite levels; ValueError otherwise.

    Never below the strongest level. Independent of their order, and free of overflow since
    powers are taken relative to the strongest.
    """
    strongest, total = _relative_sum(levels_dbm)
    return strongest + 10 * log10(total)


def power_mean_dbm(levels_dbm: Sequence[float]) -> float:
    """Return the level of the mean in mW of one or more finite levels; ValueError otherwise.

    Between the weakest and the strongest, and never below the mean of the dB values (Jensen's
    inequality).
    """
    strongest, total = _relative_sum(levels_dbm)
    mean_dbm = strongest + 10 * log10(total / len(levels_dbm))
    # Rounding may leave the mean of equal levels a last bit below them.
    return max(min(levels_dbm), mean_dbm)


def percentile(values: Sequence[float], share: float) -> float:
    """Return the value below which a share (0 to 1) of one or more finite values lies.

    Interpolates linearly at position (n - 1) share of the sorted values, in the unit given: for
    levels that is dB, by convention of this program. ValueError for no values, a value that is
    not finite, or a share outside 0 to 1.
    Source: Hyndman and Fan (1996), type 7; the same as numpy's "linear" and DuckDB's
    quantile_cont.
    """
    within("share", share, 0.0, 1.0)
    ordered = sorted(_some_finite("values", values))
    position = (len(ordered) - 1) * share
    below = floor(position)
    low, high = ordered[below], ordered[min(below + 1, len(ordered) - 1)]
    weight = position - below
    # Stepping from the nearer end keeps the result between the two, and rising with the share.
    if weight < 0.5:  # noqa: PLR2004  the middle of the step
        return low + (high - low) * weight
    return high - (high - low) * (1 - weight)


def thermal_noise_dbm(bandwidth_hz: float, temperature_k: float = REFERENCE_TEMPERATURE_K) -> float:
    """Return the noise power kTB of a resistor into a matched load, in dBm.

    bandwidth_hz and temperature_k are above 0, ValueError otherwise. A receiver's noise figure
    comes on top.
    Source: Johnson (1928), Nyquist (1928); k from the SI Brochure, 9th edition (2019).
    """
    positive("bandwidth_hz", bandwidth_hz)
    positive("temperature_k", temperature_k)
    factors = (BOLTZMANN_J_PER_K, temperature_k, bandwidth_hz, _MILLIWATTS_PER_WATT)
    return 10 * fsum(log10(factor) for factor in factors)


def wilson_upper_bound(hits: float, count: float, confidence: float = CONFIDENCE) -> float:
    """Return an upper bound, 0 to 1, on the share behind `hits` out of `count` readings.

    One-sided: with independent readings the true share is above the bound in about
    1 - confidence of cases. Never below hits / count; 1 when there is no reading at all, since
    nothing is then known. count may be any effective number of readings, 0 or more, and need not
    be whole (see effective_count; scale hits alike). ValueError for a negative or infinite count,
    hits outside 0 to count, or a confidence not in 0.5 to 1 (1 left out).
    Source: Wilson (1927), J. Am. Stat. Assoc. 22, 209-212.
    """
    not_negative("count", count)
    within("hits", hits, 0.0, count)
    if confidence != 0.5:  # noqa: PLR2004  the median, where the bound is the share itself
        between("confidence", confidence, 0.5, 1.0)
    if count == 0:
        return 1.0
    share = hits / count
    z = NormalDist().inv_cdf(confidence)
    per_reading = z * z / count
    middle = share + per_reading / 2
    reach = z * sqrt(share * (1 - share) / count + per_reading / count / 4)
    return min(1.0, max(share, (middle + reach) / (1 + per_reading)))


def effective_count(count: float, correlation: float) -> float:
    """Return how many independent readings `count` successive, correlated ones are worth.

    Interference comes in bursts, so a reading resembles the one before it; correlation is that
    of neighbouring readings, 0 (independent) up to 1 (left out), and the memory is taken to fade
    geometrically: n (1 - r) / (1 + r). ValueError for a negative count or a correlation outside
    that range.
    Source: variance of the mean of a first-order autoregressive series; Bayley and Hammersley
    (1946), from memory.
    """
    not_negative("count", count)
    if correlation != 0:
        between("correlation", correlation, 0.0, 1.0)
    return count * (1 - correlation) / (1 + correlation)


def _relative_sum(levels_dbm: Sequence[float]) -> tuple[float, float]:
    strongest = max(_some_finite("levels_dbm", levels_dbm))
    return strongest, fsum(10 ** ((level - strongest) / 10) for level in levels_dbm)


def _some_finite(name: str, values: Sequence[float]) -> Sequence[float]:
    if not len(values):
        raise ValueError(f"{name} must hold at least one value; got none")
    for place, value in enumerate(values):
        finite(f"{name}[{place}]", value)
    return values
