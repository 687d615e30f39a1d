"""Path loss against published tables and independent programs."""

from statistics import linear_regression

import pytest
from scipy import stats

from pipeline.radio.propagation import (
    breakpoint_loss_db,
    exceedance_probability,
    fit_log_distance,
    free_space_loss_db,
    log_distance_loss_db,
)


@pytest.mark.parametrize(
    ("frequency_mhz", "distance_m", "loss_db", "tolerance_db"),
    [
        # Recomputed from ITU-R P.525's exact form.
        (2405, 1, 40.0701, 5e-5),
        (2405, 10, 60.0701, 5e-5),
        (2405, 100, 80.0701, 5e-5),
        (2440, 1, 40.1956, 5e-5),
        (2440, 100, 80.1956, 5e-5),
        (2450, 1, 40.2311, 5e-5),
        (2480, 10, 60.3368, 5e-5),
        # Published by pycraf 2.1.0 (free_space_loss, as a negative gain).
        (2440, 10, 60.19557974865796, 1e-9),
        (2450, 10, 60.23110490917403, 1e-9),
    ],
)
def test_free_space(
    frequency_mhz: float, distance_m: float, loss_db: float, tolerance_db: float
) -> None:
    """Free-space loss agrees with ITU-R P.525 and an independent program."""
    assert free_space_loss_db(distance_m, frequency_mhz) == pytest.approx(loss_db, abs=tolerance_db)


@pytest.mark.parametrize(
    ("constant_db", "tolerance_db"),
    [
        (32.44778, 5e-6),  # exact constant, recomputed
        (32.45, 0.0023),  # rounding of the NTIA irregular terrain model's source
        (32.4, 0.048),  # rounding of ITU-R P.525, from memory
    ],
)
@pytest.mark.parametrize("frequency_mhz", [2405.0, 2440.0, 2480.0])
def test_free_space_rounded_forms(
    constant_db: float, tolerance_db: float, frequency_mhz: float
) -> None:
    """1 MHz over 1 km gives the constant of the rounded forms, within their rounding."""
    assert free_space_loss_db(1000, 1) == pytest.approx(constant_db, abs=tolerance_db)

    rounded = log_distance_loss_db(frequency_mhz, constant_db - 40, 2)  # 10 m: 20 log10(0.01 km)
    assert free_space_loss_db(10, frequency_mhz) == pytest.approx(rounded, abs=tolerance_db)


def test_channel_choice_does_not_change_range() -> None:
    """From channel 11 to 26 free-space loss grows by only 0.27 dB (recomputed)."""
    step_db = free_space_loss_db(10, 2480) - free_space_loss_db(10, 2405)

    assert step_db == pytest.approx(0.27, abs=0.005)


@pytest.mark.parametrize(
    ("distance_m", "loss_db"),
    [
        (1, 40.2000),
        (2, 46.2206),
        (3, 49.7424),
        (5, 54.1794),
        (8, 58.2618),
        (10, 61.6980),
        (15, 67.5090),
        (20, 71.6320),
        (30, 77.4430),
        (50, 84.7640),
        (100, 94.6980),
    ],
)
def test_breakpoint_model(distance_m: float, loss_db: float) -> None:
    """The 8 m model of IEEE 802.15.4-2006 Annex E.5.3, recomputed from its constants."""
    assert breakpoint_loss_db(distance_m) == pytest.approx(loss_db, abs=5e-4)


def test_breakpoint_model_steps_at_8_m() -> None:
    """The published constants do not meet: 0.2382 dB more just above 8 m (recomputed)."""
    step_db = breakpoint_loss_db(8.000000001) - breakpoint_loss_db(8)

    assert step_db == pytest.approx(0.2382, abs=5e-5)


def test_breakpoint_model_starts_as_free_space() -> None:
    """Its 40.2 dB at 1 m are free space at 2450 MHz, 40.2311 dB (recomputed)."""
    assert breakpoint_loss_db(1) == pytest.approx(free_space_loss_db(1, 2450), abs=0.05)


@pytest.mark.parametrize("spread_db", [0.5, 4.0, 7.0, 12.0])
@pytest.mark.parametrize("level_dbm", [-130.0, -95.0, -75.0, -74.0, -40.0])
def test_exceedance_equals_scipy_normal(level_dbm: float, spread_db: float) -> None:
    """The chance to exceed -75 dBm agrees with scipy's normal survival function."""
    expected = stats.norm.sf(-75.0, loc=level_dbm, scale=spread_db)

    assert exceedance_probability(level_dbm, -75.0, spread_db) == pytest.approx(expected, rel=1e-10)


def test_fit_equals_scipy_and_the_standard_library() -> None:
    """Slope, intercept and standard error agree with scipy.stats.linregress and statistics."""
    decades = [0.1 * step for step in range(20)]
    losses_db = [42.0 + 23.5 * x + 5.0 * ((7 * i) % 11 - 5) for i, x in enumerate(decades)]

    fit = fit_log_distance([10**x for x in decades], losses_db)

    expected = stats.linregress(decades, losses_db)
    slope, intercept = linear_regression(decades, losses_db)
    assert fit.exponent * 10 == pytest.approx(expected.slope, rel=1e-11)
    assert fit.exponent * 10 == pytest.approx(slope, rel=1e-11)
    assert fit.loss_at_1m_db == pytest.approx(expected.intercept, rel=1e-11)
    assert fit.loss_at_1m_db == pytest.approx(intercept, rel=1e-11)
    assert fit.exponent_error * 10 == pytest.approx(expected.stderr, rel=1e-11)


def test_fit_finds_the_exponent_of_a_published_model() -> None:
    """Distances of 1 to 8 m on the 8 m model give exponent 2; beyond 8 m they give 3.3."""
    near = [1.0, 2.0, 3.0, 5.0, 8.0]
    far = [10.0, 15.0, 20.0, 30.0, 50.0, 100.0]

    assert fit_log_distance(near, [breakpoint_loss_db(d) for d in near]).exponent == pytest.approx(
        2
    )
    assert fit_log_distance(far, [breakpoint_loss_db(d) for d in far]).exponent == pytest.approx(
        3.3
    )
