"""The demo's own few lines of physics, against published values."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.demo import air
from pipeline.demo.records import AccessPoint


def wifi(channel: int, width_mhz: int = 20, secondary: str | None = None) -> AccessPoint:
    """Return an access point on a channel."""
    return AccessPoint("any", 0, 0.0, 0.0, channel, width_mhz, secondary, 15.0, 10.0)


@pytest.mark.parametrize(
    ("distance_m", "loss_db"),
    # 8 m break-point model, IEEE 802.15.4-2006 Annex E.5.3, computed by hand from its formula.
    [(1, 40.2000), (5, 54.1794), (8, 58.2618), (10, 61.6980), (20, 71.6320), (50, 84.7640)],
)
def test_path_loss_follows_the_published_formula(distance_m: float, loss_db: float) -> None:
    """Loss is 40.2 + 20 log d up to 8 m and 58.5 + 33 log d/8 beyond."""
    assert air.path_loss_db(distance_m) == pytest.approx(loss_db, abs=5e-5)


@pytest.mark.parametrize("number", range(1, 14))
def test_wifi_fills_four_channels(number: int) -> None:
    """Wi-Fi n stands at full strength in channels n+10 to n+13 only.

    Source: IEEE 802.11 and 802.15.4 channel centres; the four of Annex E.3's figure.
    """
    spill = {c: air.spill_db(wifi(number), c) for c in air.CHANNELS}
    full = {c for c, level in spill.items() if level == max(spill.values())}

    assert full == {c for c in range(number + 10, number + 14) if c in air.CHANNELS}


def test_wide_wifi_fills_eight_channels() -> None:
    """A 40 MHz network on channel 1 with its second half above lies over 11 to 18."""
    spill = {c: air.spill_db(wifi(1, 40, "above"), c) for c in air.CHANNELS}

    assert {c for c, level in spill.items() if level == max(spill.values())} == set(range(11, 19))


def test_powers_add_in_milliwatts() -> None:
    """Two equal powers give 3.01 dB more, -70 and -73 dBm give -68.2357 dBm."""
    assert air.power_sum_dbm([-70, -70]) == pytest.approx(-66.9897, abs=5e-5)
    assert air.power_sum_dbm([-70, -73]) == pytest.approx(-68.2357, abs=5e-5)


@given(st.text(max_size=20), st.text(max_size=20))
def test_dice_depend_on_their_name_alone(first: str, second: str) -> None:
    """Dice of one name roll the same numbers, those of two names do not."""
    assert air.dice(first, 1).random() == air.dice(first, 1).random()
    if first != second:
        assert air.dice(first).random() != air.dice(second).random()
