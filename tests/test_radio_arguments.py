"""Arguments outside the range of a formula are refused in a sentence that names them."""

from collections.abc import Callable
from math import inf, nan

import pytest

from pipeline.radio import (
    airtime,
    channels,
    coexistence,
    fitting,
    levels,
    masks,
    propagation,
)

OFFICE = propagation.P1238_OFFICE
IN_SIGHT = propagation.OFFICE_IN_SIGHT
SCALE = coexistence.EdScale(-91.0, 1.0, highest=84)

# Call, name of the argument at fault, the value as it was given.
BAD_USE: list[tuple[Callable[[], object], str, str]] = [
    (lambda: channels.Band(-1.0, 2.0), "centre_mhz", "-1.0"),
    (lambda: channels.Band(2450.0, 0.0), "width_mhz", "0.0"),
    (lambda: channels.channel_centre_mhz(10), "channel", "10"),
    (lambda: channels.channel_band(11, inf), "width_mhz", "inf"),
    (lambda: channels.wifi_centre_mhz(0), "wifi_channel", "0"),
    (lambda: channels.wifi_band(15), "wifi_channel", "15"),
    (lambda: channels.wifi_pair_band(10, "above"), "primary", "10"),
    (lambda: channels.wifi_pair_band(4, "below"), "primary", "4"),
    (lambda: channels.wifi_pair_band(14, "below"), "primary", "14"),
    (lambda: channels.wifi_pair_band(4, "beside"), "second", "'beside'"),  # type: ignore[arg-type]  # bad use is the point
    (lambda: channels.overlapped_channels(channels.wifi_band(1), -2.0), "width_mhz", "-2.0"),
    (lambda: channels.clear_channels([channels.wifi_band(1)], nan), "width_mhz", "nan"),
    (lambda: masks.OFDM_20.level_dbr(inf), "offset_mhz", "inf"),
    (lambda: masks.Mask(((0.0, 0.0),)), "points", "((0.0, 0.0),)"),
    (lambda: masks.Mask(((1.0, 0.0), (2.0, -3.0))), "points", "((1.0, 0.0), (2.0, -3.0))"),
    (lambda: masks.Mask(((0.0, 0.0), (2.0, 3.0))), "points", "(2.0, 3.0) after (0.0, 0.0)"),
    (lambda: masks.power_share_db(masks.HT_20, nan), "offset_mhz", "nan"),
    (lambda: masks.power_share_db(masks.HT_20, 0.0, 0.0), "width_mhz", "0.0"),
    (lambda: masks.channel_share_db(27, 2437.0, masks.HT_20), "channel", "27"),
    (lambda: masks.channel_share_db(26, 0.0, masks.HT_20), "wifi_centre_mhz", "0.0"),
    (lambda: levels.mw_from_dbm(3001.0), "level_dbm", "3001.0"),
    (lambda: levels.dbm_from_mw(0.0), "power_mw", "0.0"),
    (lambda: levels.power_sum_dbm([]), "levels_dbm", "none"),
    (lambda: levels.power_sum_dbm([-70.0, nan]), "levels_dbm[1]", "nan"),
    (lambda: levels.power_mean_dbm([-inf]), "levels_dbm[0]", "-inf"),
    (lambda: levels.percentile([], 0.5), "values", "none"),
    (lambda: levels.percentile([1.0], 1.1), "share", "1.1"),
    (lambda: levels.percentile([1.0, nan], 0.5), "values[1]", "nan"),
    (lambda: levels.thermal_noise_dbm(0.0), "bandwidth_hz", "0.0"),
    (lambda: levels.thermal_noise_dbm(1.0, -1.0), "temperature_k", "-1.0"),
    (lambda: levels.wilson_upper_bound(0, -1), "count", "-1"),
    (lambda: levels.wilson_upper_bound(3, 2), "hits", "3"),
    (lambda: levels.wilson_upper_bound(1, 2, 1.0), "confidence", "1.0"),
    (lambda: levels.wilson_upper_bound(1, 2, 0.4), "confidence", "0.4"),
    (lambda: levels.effective_count(-1, 0.5), "count", "-1"),
    (lambda: levels.effective_count(5, 1.0), "correlation", "1.0"),
    (lambda: levels.effective_count(5, -0.1), "correlation", "-0.1"),
    (lambda: propagation.free_space_loss_db(0.0, 2440.0), "distance_m", "0.0"),
    (lambda: propagation.free_space_loss_db(1.0, -1.0), "frequency_mhz", "-1.0"),
    (lambda: propagation.breakpoint_loss_db(nan), "distance_m", "nan"),
    (lambda: propagation.breakpoint_distance_m(inf), "loss_db", "inf"),
    (lambda: propagation.P1238Place(-1.0, 0.0, 0.0), "distance_db", "-1.0"),
    (lambda: propagation.P1238Place(1.0, -2.0, 0.0), "first_floor_db", "-2.0"),
    (lambda: propagation.P1238Place(1.0, 0.0, inf), "further_floor_db", "inf"),
    (lambda: propagation.p1238_loss_db(0.5, 2440.0, OFFICE), "distance_m", "0.5"),
    (lambda: propagation.p1238_loss_db(inf, 2440.0, OFFICE), "distance_m", "inf"),
    (lambda: propagation.p1238_loss_db(5.0, 0.0, OFFICE), "frequency_mhz", "0.0"),
    (lambda: propagation.p1238_loss_db(5.0, 2440.0, OFFICE, -1), "floors", "-1"),
    (lambda: propagation.p1238_site_loss_db(28.0, 2.44, IN_SIGHT), "distance_m", "28.0"),
    (lambda: propagation.p1238_site_loss_db(9.0, 2440.0, IN_SIGHT), "frequency_ghz", "2440.0"),
    (
        lambda: propagation.p1238_site_loss_db(0.0, 2.44, IN_SIGHT, extrapolate=True),
        "distance_m",
        "0.0",
    ),
    (lambda: propagation.log_distance_loss_db(-1.0, 40.0, 2.0), "distance_m", "-1.0"),
    (lambda: propagation.log_distance_loss_db(1.0, nan, 2.0), "loss_at_1m_db", "nan"),
    (lambda: propagation.log_distance_loss_db(1.0, 40.0, inf), "exponent", "inf"),
    (lambda: propagation.exceedance_probability(nan, -75.0, 7.0), "level_dbm", "nan"),
    (lambda: propagation.exceedance_probability(-80.0, inf, 7.0), "threshold_dbm", "inf"),
    (lambda: propagation.exceedance_probability(-80.0, -75.0, -1.0), "spread_db", "-1.0"),
    (lambda: fitting.fit_log_distance([1.0, 2.0], [40.0, 46.0]), "distances_m", "2"),
    (lambda: fitting.fit_log_distance([1.0, 2.0, 3.0], [40.0, 46.0]), "losses_db", "2"),
    (lambda: fitting.fit_log_distance([2.0] * 3, [40.0, 46.0, 4.0]), "distances_m", "2.0 only"),
    (lambda: fitting.fit_log_distance([1.0, 0.0, 3.0], [4.0] * 3), "distances_m[1]", "0.0"),
    (lambda: fitting.fit_log_distance([1.0, 2.0, 3.0], [4.0, 5.0, nan]), "losses_db[2]", "nan"),
    (lambda: coexistence.bit_error_rate(nan), "sinr_db", "nan"),
    (lambda: coexistence.packet_error_rate(0.0, 128), "psdu_octets", "128"),
    (
        lambda: coexistence.sinr_for_packet_error_rate_db(0.0, 20),
        "packet_error_rate_target",
        "0.0",
    ),
    (
        lambda: coexistence.sinr_for_packet_error_rate_db(0.999, 1),
        "packet_error_rate_target",
        "0.999",
    ),
    (lambda: coexistence.sinr_db(inf, [], -110.0), "wanted_dbm", "inf"),
    (lambda: coexistence.sinr_db(-80.0, [], nan), "noise_dbm", "nan"),
    (lambda: coexistence.Rejection(-1.0, 30.0), "adjacent_db", "-1.0"),
    (lambda: coexistence.Rejection(0.0, inf), "alternate_db", "inf"),
    (lambda: coexistence.Rejection(31.0, 30.0), "alternate_db", "30.0"),
    (lambda: coexistence.channel_rejection_db(16), "channels_apart", "16"),
    (lambda: coexistence.cca_threshold_dbm(nan), "sensitivity_dbm", "nan"),
    (lambda: coexistence.busy_share([]), "levels_dbm", "none"),
    (lambda: coexistence.busy_share([-80.0, nan]), "levels_dbm[1]", "nan"),
    (lambda: coexistence.busy_share([-80.0], -inf), "threshold_dbm", "-inf"),
    (lambda: coexistence.EdScale(nan, 1.0), "zero_dbm", "nan"),
    (lambda: coexistence.EdScale(-91.0, 0.0), "step_db", "0.0"),
    (lambda: coexistence.EdScale(-91.0, 1.0, 256), "highest", "256"),
    (lambda: coexistence.ed_level_dbm(85, SCALE), "raw", "85"),
    (lambda: airtime.frame_us(0), "psdu_octets", "0"),
    (lambda: airtime.spacing_us(128), "psdu_octets", "128"),
    (lambda: airtime.longest_backoff_us(9), "backoff_exponent", "9"),
    (lambda: airtime.mean_backoff_us(-1), "backoff_exponent", "-1"),
    (lambda: airtime.exchange_us(128), "psdu_octets", "128"),
    (lambda: airtime.ed_scan_ms(15), "duration_exponent", "15"),
    (lambda: airtime.ed_scan_ms(3, 17), "channels", "17"),
    (lambda: airtime.Traffic(-1, 1.0, 100), "labels", "-1"),
    (lambda: airtime.Traffic(1, -1.0, 100), "updates_per_label_hour", "-1.0"),
    (lambda: airtime.Traffic(1, 1.0, 0), "payload_octets", "0"),
    (lambda: airtime.Traffic(1, 1.0, 100, overhead_octets=127), "overhead_octets", "127"),
    (lambda: airtime.Traffic(1, 1.0, 100, tries=0.5), "tries", "0.5"),
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
