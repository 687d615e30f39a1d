"""What the estimator assumes where the readings do not say; every default is stated here."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Assumptions:
    """Defaults of the estimator. Spreads are standard deviations of a logit, ln(p / (1 - p)).

    Attributes:
        gap_hours: readings of one station further apart than this belong to different visits.
        visit_spread: how far the load of one visit strays from the long run.
        hour_spread: how far one hour of a visit strays from the visit.
        moment_spread: how far a few seconds stray from their hour.
        moments: (longest span in s, share of the variance of `moment_spread`), shortest first.
            Readings spread over longer than the last span average it out.
        reading_spread: how far the load of one dwell strays from its block, for maxima and still
            means: they saturate, so that a load that varies looks lower than it is.
        reading_spreads: what is tried of it for maxima, where a Wi-Fi survey is the yardstick.
        yardstick_spread: how far a channel's share strays from what the survey infers.
        max_spread: what was found of it for maxima; None: `reading_spread`.
        mean_spread: what was found of it for means; None: `reading_spread`.
        steady: of how far the levels of means stray, so much is the load's, on simulated chains.
        full_db: levels stray as their loads do where their mean is so far below the loudest burst
            of the Wi-Fi survey: nearer they saturate, further away few bursts fall into a dwell.
        fit_blocks: fewest blocks of means that `mean_spread` is fitted to.
        reading_doubt: how sure the default of `reading_spread` is: standard deviation of its
            logarithm.
        burst_ms: mean lengths of a burst, equally likely, for readings over a dwell.
        burst_steps_db: for readings that are means: levels tried of the typical burst, equally
            likely, around the loudest a Wi-Fi survey gives; weaker networks share the time, so
            most lie below it.
        burst_dbm: levels tried where no survey gives one; as many as lengths.
        burst_spread_db: how far bursts of one network stray from its level.
        least_heard: a network whose level is far below the threshold is above it at least so much
            of its time, so that a share that is all but 0 can stand for it.
        apart: how likely it is that the power is that of bursts below the threshold and says
            nothing of those above.
        still_dbm: means up to here are at the floor of a radio: no burst of note fell into them.
        alone: how likely it is that nothing else kept a mean from being still.
        mean_busy: most that the means of one block count as, in readings found busy: not their
            number but the level of the bursts limits what they tell.
        mean_worth: most that they count as in all.
        threshold_dbm: a channel is busy above this; bursts below do not make it busy.
        floor_dbm: what a radio hears of nothing, taken off readings that are means.
        half_life_days: after this, even odds that what a visit or a Wi-Fi survey saw still holds.
        hours: the hours that matter, when labels are updated: from 8 to 20 o'clock.
        interval: the chance with which the interval holds the truth, half of the rest on each side.
        prior_series: what the default prior counts as, in series.
        roughness: penalty on the third differences of the prior's logarithm.
        fit_series: most series the portfolio's figures are fitted to.
        fit_stores: fewest stores with two visits (hours, moments) that a spread is fitted to.
        fit_share: and the least share of all series fitted to that must have two.
        spread_doubt: how sure the default of a spread is: standard deviation of its logarithm.
        outside: how much less busy channels are outside of the hours that matter, in logits, where
            no hour curve can be fitted.
        outside_spread: standard deviation of that.
        curve_doubt: the same of each term of the hour curve, in logits.

    No default has a published source. They are common practice, or were chosen on simulated chains
    (`docs/method.md` says which).
    """

    gap_hours: float = 6.0
    visit_spread: float = 0.8
    hour_spread: float = 0.6
    moment_spread: float = 1.3
    moments: tuple[tuple[float, float], ...] = ((10.0, 1.0), (60.0, 0.5), (300.0, 0.2))
    reading_spread: float = 0.5
    reading_spreads: tuple[float, ...] = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.15, 1.3)
    yardstick_spread: float = 0.8
    max_spread: float | None = None
    mean_spread: float | None = None
    steady: float = 0.75
    full_db: tuple[float, float] = (4.0, 10.0)
    fit_blocks: int = 20
    reading_doubt: float = 1.0
    burst_ms: tuple[float, ...] = (0.5, 1.0, 1.0, 2.0, 2.0, 2.0, 2.0, 4.0, 4.0, 8.0)
    burst_steps_db: tuple[float, ...] = (4.0, 1.0, 0.0, -1.0, -2.0, -4.0, -6.0, -8.0, -11.0, -15.0)
    mean_busy: float = 1.5
    mean_worth: float = 100.0
    threshold_dbm: float = -75.0
    burst_dbm: tuple[float, ...] = (
        -86.0, -82.0, -79.0, -77.0, -75.0, -73.0, -70.0, -66.0, -60.0, -52.0
    )  # fmt: skip
    burst_spread_db: float = 2.0
    least_heard: float = 0.01
    apart: float = 0.1
    still_dbm: float = -91.0
    alone: float = 0.6
    floor_dbm: float = -95.0
    half_life_days: float = 180.0
    hours: tuple[int, int] = (8, 20)
    interval: float = 0.9
    prior_series: float = 3.0
    roughness: float = 10.0
    fit_series: int = 2500
    fit_stores: int = 1
    fit_share: float = 0.2
    spread_doubt: float = 0.5
    curve_doubt: float = 0.5
    outside: float = -1.0
    outside_spread: float = 0.8

    @classmethod
    def of(cls, limits: Mapping[str, float]) -> "Assumptions":
        """Return the defaults with the limits of the rules file."""
        return cls(
            gap_hours=limits["visit_gap_hours"],
            threshold_dbm=limits["cca_threshold_dbm"],
            half_life_days=limits["evidence_half_life_days"],
            hours=(int(limits["hours_from"]), int(limits["hours_until"])),
            interval=limits["interval_share"],
        )
