"""Bit and packet errors, rejection and ED against published values."""

from decimal import Decimal, localcontext
from math import comb, inf

import pytest

from pipeline.radio.coexistence import (
    bit_error_rate,
    channel_rejection_db,
    packet_error_rate,
)


@pytest.mark.parametrize(
    ("ratio_db", "rate", "tolerance"),
    [
        (-7, 0.175, 0.001),
        (-4, 0.0391, 0.0001),
        (-1, 0.00114, 0.00001),
        (2, 5.13e-7, 0.01e-7),
        (5, 7.38e-14, 0.01e-14),
    ],
)
def test_bit_errors_published(ratio_db: float, rate: float, tolerance: float) -> None:
    """Published in ns-3, src/lr-wpan/test/lr-wpan-error-model-test.cc, for 802.15.4 Annex E."""
    assert bit_error_rate(ratio_db) == pytest.approx(rate, abs=tolerance)


@pytest.mark.parametrize(
    ("ratio_db", "rate"),
    [
        (-7, 1.7524620889e-01),
        (-4, 3.9163459926e-02),
        (-2, 5.1969995674e-03),
        (-1, 1.1489437160e-03),
        (0, 1.6152668792e-04),
        (1, 1.2911866265e-05),
        (2, 5.1313920888e-07),
        (3, 8.5971912747e-09),
        (4, 4.9275050575e-11),
    ],
)
def test_bit_errors_recomputed(ratio_db: float, rate: float) -> None:
    """IEEE 802.15.4-2006, Annex E.4.1.8, equation 7, recomputed independently."""
    assert bit_error_rate(ratio_db) == pytest.approx(rate, rel=1e-8)


@pytest.mark.parametrize("ratio_db", range(-30, 19, 2))
def test_bit_errors_keep_their_accuracy(ratio_db: int) -> None:
    """Equation 7 in 80 decimal digits gives the same rate to 1e-11, also where it is tiny."""
    with localcontext() as context:
        context.prec = 80
        ratio = Decimal(10) ** (Decimal(ratio_db) / 10)
        terms = [
            (-1) ** k * comb(16, k) * (20 * ratio * (Decimal(1) / k - 1)).exp()
            for k in range(2, 17)
        ]
        exact = sum(terms, Decimal(0)) * 8 / 15 / 16

    assert bit_error_rate(ratio_db) == pytest.approx(float(exact), rel=1e-11, abs=0)


@pytest.mark.parametrize(
    ("ratio_db", "octets", "rate", "tolerance"),
    [
        (-4, 20, 0.998325, 1e-6),
        (-2, 20, 0.565556, 1e-6),
        (-2, 127, 0.994978, 1e-6),
        (-1, 20, 0.168012, 1e-6),
        (-1, 127, 0.689011, 1e-6),
        (0, 20, 2.551520e-02, 1e-8),
        (0, 127, 0.1513635, 1e-7),
        (1, 20, 2.063779e-03, 1e-9),
        (1, 127, 1.303287e-02, 1e-8),
        (2, 20, 8.209892e-05, 1e-11),
        (2, 127, 5.212137e-04, 1e-10),
        (3, 20, 1.375550e-06, 1e-12),
        (3, 127, 8.734708e-06, 1e-12),
        (4, 20, 7.884e-09, 1e-12),
        (4, 127, 5.006e-08, 1e-11),
    ],
)
def test_packet_errors(ratio_db: float, octets: int, rate: float, tolerance: float) -> None:
    """1 - (1 - BER)^(8 n), recomputed independently."""
    assert packet_error_rate(ratio_db, octets) == pytest.approx(rate, abs=tolerance)


@pytest.mark.parametrize(
    ("ratio_db", "rate"), [(-0.9201, 1e-3), (0.2099, 1e-4), (1.0887, 1e-5), (1.8119, 1e-6)]
)
def test_ratios_of_round_bit_error_rates(ratio_db: float, rate: float) -> None:
    """Ratios for bit error rates of 1e-3 to 1e-6, given to 1e-4 dB (recomputed)."""
    assert bit_error_rate(ratio_db - 1e-4) > rate > bit_error_rate(ratio_db + 1e-4)


def test_rejection_by_distance() -> None:
    """0 dB on the same and the adjacent (5 MHz), 30 dB on the alternate channel (10 MHz).

    IEEE 802.15.4-2006, 6.5.3.4, from memory.
    """
    assert [channel_rejection_db(distance) for distance in range(4)] == [0, 0, 30, inf]
