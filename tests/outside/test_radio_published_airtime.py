"""Times of the 2450 MHz PHY against IEEE 802.15.4-2006; exact, since all are whole symbols."""

import pytest

from pipeline.radio.airtime import (
    ACK_US,
    ACK_WAIT_US,
    CCA_US,
    ED_US,
    LONG_SPACING_US,
    OCTET_US,
    SHORT_SPACING_US,
    SYMBOL_US,
    TURNAROUND_US,
    UNIT_BACKOFF_US,
    ed_scan_ms,
    exchange_us,
    frame_us,
    longest_backoff_us,
    mean_backoff_us,
    spacing_us,
)


@pytest.mark.parametrize(
    ("found_us", "expected_us"),
    [
        (SYMBOL_US, 16),  # 62.5 ksymbol/s: published, 6.5
        (OCTET_US, 32),  # 250 kbit/s: published, 6.5
        (ED_US, 128),  # 8 symbols: published, 6.9.7
        (CCA_US, 128),  # 8 symbols: published, 6.9.9
        (TURNAROUND_US, 192),  # 12 symbols: published, 6.4.1 table 22
        (UNIT_BACKOFF_US, 320),  # 20 symbols: published, 7.4.1
        (SHORT_SPACING_US, 192),  # 12 symbols: published, 7.4.1
        (LONG_SPACING_US, 640),  # 40 symbols: published, 7.4.1
        (ACK_WAIT_US, 864),  # 54 symbols: published formula, 7.4.2
        (ACK_US, 352),  # 11 octets: recomputed
        (frame_us(127), 4256),  # 133 octets: recomputed
        (frame_us(5), 352),  # recomputed
        (mean_backoff_us(), 1120),  # 3.5 periods: recomputed from 7.5.1.4
        (longest_backoff_us(), 2240),  # 7 periods: recomputed from 7.5.1.4
        (exchange_us(127), 6880),  # recomputed: 1120 + 128 + 192 + 4256 + 192 + 352 + 640
    ],
)
def test_times(found_us: float, expected_us: float) -> None:
    """Every time is the standard's, to the microsecond."""
    assert found_us == expected_us


@pytest.mark.parametrize(("octets", "gap_us"), [(1, 192), (18, 192), (19, 640), (127, 640)])
def test_spacing(octets: int, gap_us: int) -> None:
    """Frames of up to 18 octets need the short spacing, longer ones the long (published, 7.4.1)."""
    assert spacing_us(octets) == gap_us


@pytest.mark.parametrize(
    ("exponent", "channels", "time_ms"),
    [
        (0, 1, 30.72),
        (2, 1, 76.80),
        (3, 1, 138.24),
        (5, 1, 506.88),
        (14, 1, 251_673.6),
        (3, 16, 2211.84),
    ],
)
def test_ed_scan(exponent: int, channels: int, time_ms: float) -> None:
    """960 (2^n + 1) symbols a channel: 7.1.11, from memory, recomputed."""
    assert ed_scan_ms(exponent, channels) == time_ms
