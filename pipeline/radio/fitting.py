"""A log-distance path-loss model fitted to the levels a store itself has measured."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, log10, sqrt

from pipeline.radio.arguments import finite, positive

LEAST_PAIRS = 3
"""Two parameters and a spread cannot come from fewer."""


@dataclass(frozen=True)
class LogDistanceFit:
    """The least-squares line loss = loss_at_1m_db + 10 exponent log10(distance).

    spread_db is the standard deviation of the measurements around it (n - 2 degrees of freedom),
    exponent_error the standard error of the exponent, residuals_db measured minus fitted in the
    order of the measurements.
    """

    loss_at_1m_db: float
    exponent: float
    exponent_error: float
    spread_db: float
    residuals_db: tuple[float, ...]


def fit_log_distance(distances_m: Sequence[float], losses_db: Sequence[float]) -> LogDistanceFit:
    """Fit loss at 1 m, exponent and spread to measured pairs by least squares.

    Distances are above 0 and losses finite, equally many, three or more, with at least two
    different distances; ValueError otherwise. Whether the exponent makes sense (indoors 1.5 to 4)
    is for the caller to judge. Levels of received packets only leave out the weakest, so exponent
    and spread then come out too small.
    Source: ordinary least squares on log10(distance), textbook.
    """
    decades = _decades(distances_m, losses_db)
    count = len(decades)
    mean_decade = fsum(decades) / count
    mean_loss = fsum(losses_db) / count
    from_mean = [decade - mean_decade for decade in decades]
    extent = fsum(x * x for x in from_mean)
    slope = fsum(x * (y - mean_loss) for x, y in zip(from_mean, losses_db, strict=True)) / extent
    residuals = tuple(
        (y - mean_loss) - slope * x for x, y in zip(from_mean, losses_db, strict=True)
    )
    spread = sqrt(fsum(r * r for r in residuals) / (count - 2))
    return LogDistanceFit(
        loss_at_1m_db=mean_loss - slope * mean_decade,
        exponent=slope / 10,
        exponent_error=spread / sqrt(extent) / 10,
        spread_db=spread,
        residuals_db=residuals,
    )


def _decades(distances_m: Sequence[float], losses_db: Sequence[float]) -> list[float]:
    if len(distances_m) != len(losses_db):
        raise ValueError(
            f"losses_db must have one value for each of the {len(distances_m)} distances_m; "
            f"got {len(losses_db)}"
        )
    if len(distances_m) < LEAST_PAIRS:
        raise ValueError(
            f"distances_m must hold {LEAST_PAIRS} values or more; got {len(distances_m)}"
        )
    for place, loss_db in enumerate(losses_db):
        finite(f"losses_db[{place}]", loss_db)
    decades = [
        log10(positive(f"distances_m[{place}]", value)) for place, value in enumerate(distances_m)
    ]
    if min(decades) == max(decades):
        raise ValueError(f"distances_m must hold two different values; got {distances_m[0]!r} only")
    return decades
