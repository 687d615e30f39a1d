"""Times of the 2450 MHz PHY against IEEE 802.15.4-2006; exact, since all are whole symbols."""

import pytest

from pipeline.radio.coexistence import OCTET_US, SYMBOL_US, frame_us


@pytest.mark.parametrize(
    ("found_us", "expected_us"),
    [
        (SYMBOL_US, 16),  # 62.5 ksymbol/s: published, 6.5
        (OCTET_US, 32),  # 250 kbit/s: published, 6.5
        (frame_us(127), 4256),  # 133 octets: recomputed
        (frame_us(5), 352),  # recomputed
    ],
)
def test_times(found_us: float, expected_us: float) -> None:
    """Every time is the standard's, to the microsecond."""
    assert found_us == expected_us
