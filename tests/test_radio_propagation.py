"""Properties of path loss, of shadowing and of fitted models."""

from collections.abc import Callable
from math import inf
from random import Random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pipeline.radio.propagation import (
    P1238_COMMERCIAL,
    breakpoint_loss_db,
    exceedance_probability,
    fit_log_distance,
    free_space_loss_db,
    log_distance_loss_db,
    p1238_loss_db,
)

MODELS: dict[str, Callable[[float], float]] = {
    "free space": lambda d: free_space_loss_db(d, 2440),
    "8 m": breakpoint_loss_db,
    "P.1238": lambda d: p1238_loss_db(d, 2440, P1238_COMMERCIAL),
    "log-distance": lambda d: log_distance_loss_db(d, 40.0, 2.7),
}
distances = st.floats(2, 100)
levels = st.floats(-150, 0)
spreads = st.floats(0, 15)


@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS.keys())
@given(one=distances, other=distances)
def test_loss_grows_with_distance(
    model: Callable[[float], float], one: float, other: float
) -> None:
    """Farther away is never louder, in any model."""
    near, far = sorted((one, other))

    assert model(near) <= model(far)


@given(distances, st.floats(10, 6000))
def test_an_exponent_of_two_is_free_space(distance_m: float, frequency_mhz: float) -> None:
    """The log-distance model with exponent 2 from 1 m on is free space."""
    at_1_m = free_space_loss_db(1, frequency_mhz)

    assert log_distance_loss_db(distance_m, at_1_m, 2) == pytest.approx(
        free_space_loss_db(distance_m, frequency_mhz)
    )


@given(levels, levels, levels, spreads)
def test_stronger_signals_exceed_more_often(
    one: float, other: float, threshold_dbm: float, spread_db: float
) -> None:
    """The chance lies in 0 to 1 and never falls as the level rises."""
    weak, strong = sorted((one, other))
    less = exceedance_probability(weak, threshold_dbm, spread_db)
    more = exceedance_probability(strong, threshold_dbm, spread_db)

    assert 0 <= less <= more <= 1


@given(levels, levels, st.floats(0.1, 15))
def test_exceeding_and_falling_short_are_complements(
    level_dbm: float, threshold_dbm: float, spread_db: float
) -> None:
    """The two chances add up to one, and at the threshold they are even."""
    over = exceedance_probability(level_dbm, threshold_dbm, spread_db)
    under = exceedance_probability(threshold_dbm, level_dbm, spread_db)

    assert over + under == pytest.approx(1)
    assert exceedance_probability(threshold_dbm, threshold_dbm, spread_db) == 0.5


def test_without_spread_a_level_exceeds_or_does_not() -> None:
    """A level that is certain is above the threshold or not; at it, it is not."""
    assert exceedance_probability(-74.9, -75, 0) == 1
    assert exceedance_probability(-75.0, -75, 0) == 0
    assert exceedance_probability(-75.1, -75, 0) == 0


def test_no_signal_exceeds_nothing() -> None:
    """A fully rejected signal, minus infinity, has no chance with or without spread."""
    assert exceedance_probability(-inf, -75, 0) == 0
    assert exceedance_probability(-inf, -75, 7) == 0


def test_far_below_the_threshold_the_chance_is_small_but_there() -> None:
    """Ten spreads below, the chance is 7.6e-24, not rounded to nothing."""
    assert exceedance_probability(-145, -75, 7) == pytest.approx(7.62e-24, rel=1e-3)


@given(st.floats(20, 60), st.floats(1, 5), st.lists(distances, min_size=3, max_size=20))
def test_a_fit_finds_the_line_it_was_given(
    loss_at_1m_db: float, exponent: float, distances_m: list[float]
) -> None:
    """Losses without scatter give back intercept and exponent, and no spread."""
    assume(max(distances_m) > 1.5 * min(distances_m))
    losses_db = [log_distance_loss_db(d, loss_at_1m_db, exponent) for d in distances_m]

    fit = fit_log_distance(distances_m, losses_db)

    assert fit.exponent == pytest.approx(exponent, abs=1e-8)
    assert fit.loss_at_1m_db == pytest.approx(loss_at_1m_db, abs=1e-7)
    assert fit.spread_db == pytest.approx(0, abs=1e-8)


measured = st.lists(st.tuples(distances, st.floats(40, 110)), min_size=3, max_size=20)


@given(measured)
def test_residuals_of_a_fit_balance(pairs: list[tuple[float, float]]) -> None:
    """Residuals sum to nothing and are measured minus fitted, in the order given."""
    distances_m, losses_db = [d for d, _ in pairs], [loss for _, loss in pairs]
    assume(max(distances_m) > 1.1 * min(distances_m))

    fit = fit_log_distance(distances_m, losses_db)

    assert sum(fit.residuals_db) == pytest.approx(0, abs=1e-6)
    for distance_m, loss_db, residual_db in zip(
        distances_m, losses_db, fit.residuals_db, strict=True
    ):
        fitted_db = log_distance_loss_db(distance_m, fit.loss_at_1m_db, fit.exponent)
        assert loss_db - fitted_db == pytest.approx(residual_db, abs=1e-6)


def test_a_fit_recovers_exponent_and_spread_from_scattered_losses() -> None:
    """400 losses scattered by 7 dB round exponent 2.4 give both back within their errors."""
    random = Random(2400)
    distances_m = [random.uniform(2, 60) for _ in range(400)]
    losses_db = [log_distance_loss_db(d, 41, 2.4) + random.gauss(0, 7) for d in distances_m]

    fit = fit_log_distance(distances_m, losses_db)

    assert abs(fit.exponent - 2.4) < 3 * fit.exponent_error
    assert 0.05 < fit.exponent_error < 0.15
    assert fit.spread_db == pytest.approx(7, abs=0.75)


def test_losing_the_weakest_packets_flatters_a_fit() -> None:
    """Without the pairs too weak to be received, exponent and spread come out too small."""
    random = Random(85)
    distances_m = [random.uniform(2, 80) for _ in range(400)]
    losses_db = [log_distance_loss_db(d, 41, 3.0) + random.gauss(0, 7) for d in distances_m]
    received = [(d, loss) for d, loss in zip(distances_m, losses_db, strict=True) if loss < 90]

    whole = fit_log_distance(distances_m, losses_db)
    censored = fit_log_distance([d for d, _ in received], [loss for _, loss in received])

    assert censored.exponent < whole.exponent - 0.3
    assert censored.spread_db < whole.spread_db
