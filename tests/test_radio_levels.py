"""Properties of sums, means, percentiles and bounds."""

from hypothesis import given
from hypothesis import strategies as st

from pipeline.radio.propagation import (
    power_sum_dbm,
)

levels = st.floats(-130, 30)
some_levels = st.lists(levels, min_size=1, max_size=30)
shares = st.floats(0, 1)
counts = st.floats(0.5, 1e6)
confidences = st.floats(0.5, 0.999)


@given(some_levels, levels)
def test_another_signal_never_weakens_a_sum(levels_dbm: list[float], more_dbm: float) -> None:
    """Power added is never lost."""
    assert power_sum_dbm([*levels_dbm, more_dbm]) >= power_sum_dbm(levels_dbm) - 1e-12
