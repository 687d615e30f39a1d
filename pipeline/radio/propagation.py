"""How much a signal weakens on its way: published models, and one fitted to measured levels.

Every model gives a median loss in dB between isotropic antennas; single places scatter around it
by several dB (log-normal shadowing), which exceedance_probability turns into a chance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import erfc, fsum, log10, pi, sqrt

from pipeline.radio.arguments import finite, not_negative, number, positive, whole

SPEED_OF_LIGHT_M_PER_S = 299_792_458.0

BREAKPOINT_M = 8.0
P1238_LEAST_M = 1.0

_HERTZ_PER_MHZ = 1e6
_MID_BAND_MHZ = 2440.0  # channel 18; the band's ends differ by 0.3 dB
_NEAR_LOSS_DB, _NEAR_SLOPE_DB = 40.2, 20.0
_FAR_LOSS_DB, _FAR_SLOPE_DB = 58.5, 33.0
_FLOORS = range(101)


def free_space_loss_db(distance_m: float, frequency_mhz: float) -> float:
    """Return the free-space basic transmission loss 20 log10(4 pi d / wavelength), in dB.

    distance_m and frequency_mhz are above 0, ValueError otherwise. Meant for the far field: below
    about a wavelength (0.12 m at 2.45 GHz) the number has no physical meaning.
    Source: Recommendation ITU-R P.525, exact form with c = 299 792 458 m/s.
    """
    positive("distance_m", distance_m)
    positive("frequency_mhz", frequency_mhz)
    wavelength_m = SPEED_OF_LIGHT_M_PER_S / (frequency_mhz * _HERTZ_PER_MHZ)
    return 20 * log10(4 * pi * distance_m / wavelength_m)


def breakpoint_loss_db(distance_m: float) -> float:
    """Return the indoor loss at 2.4 GHz that steepens at 8 m, in dB.

    40.2 + 20 log10(d) up to and including 8 m, 58.5 + 33 log10(d / 8) beyond. distance_m is above
    0, ValueError otherwise. The published constants leave a step of 0.238 dB at 8 m; it is kept.
    Source: IEEE 802.15.2-2003 and IEEE 802.15.4-2006, Annex E.5.3.
    """
    positive("distance_m", distance_m)
    if distance_m <= BREAKPOINT_M:
        return _NEAR_LOSS_DB + _NEAR_SLOPE_DB * log10(distance_m)
    return _FAR_LOSS_DB + _FAR_SLOPE_DB * log10(distance_m / BREAKPOINT_M)


@dataclass(frozen=True)
class P1238Place:
    """A row of the tables of ITU-R P.1238-0 to -9 for 1.8 to 2.4 GHz.

    distance_db is the loss per tenfold distance; the first floor between the two ends costs
    first_floor_db and each further one further_floor_db. None may be negative.
    """

    distance_db: float
    first_floor_db: float
    further_floor_db: float

    def __post_init__(self) -> None:
        """Refuse a place where distance or floors strengthen the signal."""
        not_negative("distance_db", self.distance_db)
        not_negative("first_floor_db", self.first_floor_db)
        not_negative("further_floor_db", self.further_floor_db)


P1238_COMMERCIAL = P1238Place(22.0, 6.0, 3.0)
"""Open sales areas; the nearest of the three to a shop."""


def p1238_loss_db(
    distance_m: float, frequency_mhz: float, place: P1238Place, floors: int = 0
) -> float:
    """Return the indoor loss 20 log10(f) + N log10(d) + Lf(n) - 28 of the older editions, in dB.

    distance_m is 1 or more, frequency_mhz above 0 (the three named places hold near 2 GHz), floors
    the number of floors crossed, 0 to 100; ValueError otherwise.
    Source: Recommendation ITU-R P.1238, editions -0 to -9 (from -10 on another formula replaces
    it: p1238_site_loss_db); rows as implemented in ns-3's buildings module.
    """
    if not distance_m >= P1238_LEAST_M:
        raise ValueError(f"distance_m must be {P1238_LEAST_M:g} or more; got {distance_m!r}")
    finite("distance_m", distance_m)
    positive("frequency_mhz", frequency_mhz)
    whole("floors", floors, _FLOORS)
    floors_db = place.first_floor_db + place.further_floor_db * (floors - 1) if floors else 0.0
    spreading_db = 20 * log10(frequency_mhz) + place.distance_db * log10(distance_m)
    return spreading_db + floors_db - 28


def named_loss_db(model: str, distance_m: float, floors: int, floor_loss_db: float) -> float:
    """Return the indoor loss at 2.44 GHz by 'break-point', 'commercial' or 'free-space', in dB.

    The commercial model of ITU-R P.1238-9 brings its own floor term; the others take
    `floor_loss_db` per floor. distance_m is above 0, ValueError otherwise.
    """
    if model == "commercial":
        far_m = max(distance_m, P1238_LEAST_M)
        return p1238_loss_db(far_m, _MID_BAND_MHZ, P1238_COMMERCIAL, floors)
    floors_db = floors * floor_loss_db
    if model == "free-space":
        return free_space_loss_db(distance_m, _MID_BAND_MHZ) + floors_db
    return breakpoint_loss_db(distance_m) + floors_db


def log_distance_loss_db(distance_m: float, loss_at_1m_db: float, exponent: float) -> float:
    """Return loss_at_1m_db + 10 exponent log10(distance_m), in dB.

    distance_m is above 0 and the other two are finite, ValueError otherwise. An exponent of 2 is
    free space. Source: log-distance model of textbooks, common practice.
    """
    positive("distance_m", distance_m)
    finite("loss_at_1m_db", loss_at_1m_db)
    return loss_at_1m_db + 10 * finite("exponent", exponent) * log10(distance_m)


def exceedance_probability(level_dbm: float, threshold_dbm: float, spread_db: float) -> float:
    """Return the chance, 0 to 1, that a level exceeds a threshold under log-normal shadowing.

    level_dbm is the median (minus infinity: no signal, chance 0), threshold_dbm finite, spread_db
    the standard deviation, 0 or more; ValueError otherwise. With no spread it is 1 above the
    threshold and 0 at or below it. The chance stays accurate far below the threshold.
    Source: Gaussian tail Q((threshold - level) / spread), Abramowitz and Stegun 26.2.
    """
    short_db = finite("threshold_dbm", threshold_dbm) - number("level_dbm", level_dbm)
    not_negative("spread_db", spread_db)
    if spread_db == 0:
        return 1.0 if short_db < 0 else 0.0
    return erfc(short_db / spread_db / sqrt(2)) / 2


def power_sum_dbm(levels_dbm: Sequence[float]) -> float:
    """Return the level of the sum in mW of one or more finite levels; ValueError otherwise.

    Never below the strongest level. Independent of their order, and free of overflow since
    powers are taken relative to the strongest. Adding levels in dBm would answer another question,
    and hide exactly the short strong bursts that matter.
    """
    if not len(levels_dbm):
        raise ValueError("levels_dbm must hold at least one value; got none")
    strongest = max(finite(f"levels_dbm[{n}]", level) for n, level in enumerate(levels_dbm))
    return strongest + 10 * log10(fsum(10 ** ((level - strongest) / 10) for level in levels_dbm))


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
