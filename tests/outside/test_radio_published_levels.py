"""Sums, percentiles, noise and bounds against published values and reference libraries."""

import pytest

from pipeline.radio.propagation import (
    power_sum_dbm,
)


@pytest.mark.parametrize(
    ("levels_dbm", "sum_dbm"),
    [([-70.0, -70.0], -66.9897), ([-70.0, -73.0], -68.2357)],
)
def test_power_sum(levels_dbm: list[float], sum_dbm: float) -> None:
    """Two equal levels add 3.01 dB; 3 dB apart they add 1.76 dB (recomputed)."""
    assert power_sum_dbm(levels_dbm) == pytest.approx(sum_dbm, abs=1e-4)
