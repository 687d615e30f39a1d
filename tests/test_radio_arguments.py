"""Arguments outside the range of a formula are refused in a sentence that names them."""

from collections.abc import Callable
from math import inf, nan

import pytest

from pipeline.radio import (
    channels,
    coexistence,
    propagation,
)

SHOP = propagation.P1238_COMMERCIAL

# Call, name of the argument at fault, the value as it was given.
BAD_USE: list[tuple[Callable[[], object], str, str]] = [
    (lambda: channels.Band(-1.0, 2.0), "centre_mhz", "-1.0"),
    (lambda: channels.Band(2450.0, 0.0), "width_mhz", "0.0"),
    (lambda: channels.channel_centre_mhz(10), "channel", "10"),
    (lambda: channels.wifi_centre_mhz(0), "wifi_channel", "0"),
    (lambda: channels.wifi_band(15), "wifi_channel", "15"),
    (lambda: channels.wifi_pair_band(10, "above"), "primary", "10"),
    (lambda: channels.wifi_pair_band(4, "below"), "primary", "4"),
    (lambda: channels.wifi_pair_band(14, "below"), "primary", "14"),
    (lambda: channels.wifi_pair_band(4, "beside"), "second", "'beside'"),  # type: ignore[arg-type]  # bad use is the point
    (lambda: channels.HT_20.level_dbr(inf), "offset_mhz", "inf"),
    (lambda: channels.Mask(((0.0, 0.0),)), "points", "((0.0, 0.0),)"),
    (lambda: channels.Mask(((1.0, 0.0), (2.0, -3.0))), "points", "((1.0, 0.0), (2.0, -3.0))"),
    (lambda: channels.Mask(((0.0, 0.0), (2.0, 3.0))), "points", "(2.0, 3.0) after (0.0, 0.0)"),
    (lambda: channels.power_share_db(channels.HT_20, nan), "offset_mhz", "nan"),
    (lambda: channels.power_share_db(channels.HT_20, 0.0, 0.0), "width_mhz", "0.0"),
    (lambda: channels.channel_share_db(27, 2437.0, channels.HT_20), "channel", "27"),
    (lambda: channels.channel_share_db(26, 0.0, channels.HT_20), "wifi_centre_mhz", "0.0"),
    (lambda: propagation.power_sum_dbm([]), "levels_dbm", "none"),
    (lambda: propagation.power_sum_dbm([-70.0, nan]), "levels_dbm[1]", "nan"),
    (lambda: propagation.free_space_loss_db(0.0, 2440.0), "distance_m", "0.0"),
    (lambda: propagation.free_space_loss_db(1.0, -1.0), "frequency_mhz", "-1.0"),
    (lambda: propagation.breakpoint_loss_db(nan), "distance_m", "nan"),
    (lambda: propagation.P1238Place(-1.0, 0.0, 0.0), "distance_db", "-1.0"),
    (lambda: propagation.P1238Place(1.0, -2.0, 0.0), "first_floor_db", "-2.0"),
    (lambda: propagation.P1238Place(1.0, 0.0, inf), "further_floor_db", "inf"),
    (lambda: propagation.p1238_loss_db(0.5, 2440.0, SHOP), "distance_m", "0.5"),
    (lambda: propagation.p1238_loss_db(inf, 2440.0, SHOP), "distance_m", "inf"),
    (lambda: propagation.p1238_loss_db(5.0, 0.0, SHOP), "frequency_mhz", "0.0"),
    (lambda: propagation.p1238_loss_db(5.0, 2440.0, SHOP, -1), "floors", "-1"),
    (lambda: propagation.log_distance_loss_db(-1.0, 40.0, 2.0), "distance_m", "-1.0"),
    (lambda: propagation.log_distance_loss_db(1.0, nan, 2.0), "loss_at_1m_db", "nan"),
    (lambda: propagation.log_distance_loss_db(1.0, 40.0, inf), "exponent", "inf"),
    (lambda: propagation.exceedance_probability(nan, -75.0, 7.0), "level_dbm", "nan"),
    (lambda: propagation.exceedance_probability(-80.0, inf, 7.0), "threshold_dbm", "inf"),
    (lambda: propagation.exceedance_probability(-80.0, -75.0, -1.0), "spread_db", "-1.0"),
    (lambda: propagation.fit_log_distance([1.0, 2.0], [40.0, 46.0]), "distances_m", "2"),
    (lambda: propagation.fit_log_distance([1.0, 2.0, 3.0], [40.0, 46.0]), "losses_db", "2"),
    (lambda: propagation.fit_log_distance([2.0] * 3, [40.0, 46.0, 4.0]), "distances_m", "2.0 only"),
    (lambda: propagation.fit_log_distance([1.0, 0.0, 3.0], [4.0] * 3), "distances_m[1]", "0.0"),
    (lambda: propagation.fit_log_distance([1.0, 2.0, 3.0], [4.0, 5.0, nan]), "losses_db[2]", "nan"),
    (lambda: coexistence.bit_error_rate(nan), "sinr_db", "nan"),
    (lambda: coexistence.packet_error_rate(0.0, 128), "psdu_octets", "128"),
    (lambda: coexistence.Rejection(-1.0, 30.0), "adjacent_db", "-1.0"),
    (lambda: coexistence.Rejection(0.0, inf), "alternate_db", "inf"),
    (lambda: coexistence.Rejection(31.0, 30.0), "alternate_db", "30.0"),
    (lambda: coexistence.channel_rejection_db(16), "channels_apart", "16"),
    (lambda: coexistence.frame_us(0), "psdu_octets", "0"),
    (lambda: coexistence.update_us(0), "payload_octets", "0"),
]


@pytest.mark.parametrize(
    ("call", "name", "value"), BAD_USE, ids=[f"{name}={value}" for _, name, value in BAD_USE]
)
def test_bad_arguments_are_named_with_their_value(
    call: Callable[[], object], name: str, value: str
) -> None:
    """The ValueError begins with the argument's name and ends with the value it was given."""
    with pytest.raises(ValueError, match="must") as caught:
        call()

    sentence = str(caught.value)
    assert sentence.startswith(f"{name} must ")
    assert sentence.endswith(f"got {value}")


def test_a_whole_number_is_asked_for_where_only_one_makes_sense() -> None:
    """A channel between two channels is refused."""
    with pytest.raises(ValueError, match=r"channel must be a whole number .* got 11\.5"):
        channels.channel_centre_mhz(11.5)  # type: ignore[arg-type]  # bad use is the point
