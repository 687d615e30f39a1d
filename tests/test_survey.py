"""Survey: evidence per channel and who hears whom, against independent arithmetic."""

from collections import Counter
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from itertools import product
from math import log10
from pathlib import Path
from statistics import fmean, pstdev
from typing import Any

import numpy as np
import pytest
from empty import new_database, set_limits
from scipy import stats

from pipeline import fresh
from pipeline.database import Database
from pipeline.plan.read import case_of
from pipeline.plan.stores import plan
from pipeline.progress import Silent
from pipeline.settings import load_settings
from pipeline.survey import evidence
from pipeline.survey.evidence import survey
from pipeline.tables.run import Computed

AS_OF = date(2026, 9, 30)
SCANNED = datetime(2026, 9, 30, 12, 0)
SETTINGS = load_settings()


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """One store with two stations 20 m apart on channels 15 and 20, no labels, no readings."""
    with new_database(tmp_path / "survey.duckdb") as opened:
        connection = opened.connection
        connection.execute("insert into this_run values ('r', ?)", [AS_OF])
        set_limits(opened, SETTINGS.limits)
        connection.execute(
            "insert into store_seen values "
            "('S', ?, 'Store', 'North', 'GB', 'small', 'Europe/London', '08:00', '20:00', null)",
            [AS_OF],
        )
        for station, x_m, channel in (("A", 0.0, 15), ("B", 20.0, 20)):
            _add(
                opened,
                "station_seen",
                store="S",
                station=station,
                seen_on=AS_OF - timedelta(days=90),
                floor=0,
                x_m=x_m,
                y_m=0.0,
                channel=channel,
                tx_power_dbm=0.0,
            )
        yield opened


def _add(database: Database, table: str, **values: object) -> None:
    columns = ", ".join(values)
    marks = ", ".join("?" for _ in values)
    database.connection.execute(
        f"insert into {table} ({columns}) values ({marks})",  # noqa: S608 - test data only
        list(values.values()),
    )


def _scan(
    database: Database,
    levels_dbm: list[float],
    channel: int = 11,
    at: datetime = SCANNED,
    *,
    quiet: bool = True,
    clock: str = "store",
    statistic: str = "single",
) -> None:
    for level_dbm, readings in Counter(levels_dbm).items():  # as ingest folds them
        _add(
            database,
            "ed_reading",
            store="S",
            station="A",
            scanned_at=at,
            clock=clock,
            channel=channel,
            level_dbm=level_dbm,
            statistic=statistic,
            dwell_ms=138.24,
            own_quiet=quiet,
            readings=readings,
        )


def _evidence(database: Database, channel: int = 11, station: str = "A") -> dict[str, Any]:
    survey(database, SETTINGS)
    return _surveyed(database, channel, station)


def _surveyed(database: Database, channel: int, station: str = "A") -> dict[str, Any]:
    result = database.connection.execute(
        "select * from ed_evidence where station = ? and channel = ?", [station, channel]
    )
    names = [column[0] for column in result.description]
    row = result.fetchone()
    assert row is not None
    return dict(zip(names, row, strict=True))


def test_percentiles_equal_independent_arithmetic(database: Database) -> None:
    """Numpy gives the same percentiles and mean; the interval holds the share of readings above."""
    levels_dbm = [-94.0] * 30 + [-88.0, -82.0, -76.0, -75.0, -74.0, -60.0, -40.0]
    _scan(database, levels_dbm)

    found = _evidence(database)

    busy = sum(level > -75 for level in levels_dbm) / 37
    assert found["busy_low"] < busy < found["busy_high"]
    assert found["busy_low"] < found["busy_estimate"] < found["busy_high"]
    for name, share in (("p50_dbm", 0.5), ("p90_dbm", 0.9), ("p99_dbm", 0.99)):
        # Type 7 of Hyndman & Fan (1996), numpy's "linear".
        expected = np.quantile(levels_dbm, share, method="linear")
        assert found[name] == pytest.approx(expected, abs=1e-3)
    mean_mw = np.mean(10 ** (np.array(levels_dbm) / 10))
    assert found["mean_dbm"] == pytest.approx(10 * log10(mean_mw), abs=1e-3)
    assert (found["source"], found["readings"]) == ("measured", 37)


def test_visits_on_more_days_narrow_the_interval(database: Database) -> None:
    """As many readings of one moment say less than those of ten days."""
    _scan(database, [-94.0] * 50, channel=11)
    for day in range(10):
        _scan(database, [-94.0] * 5, channel=12, at=SCANNED - timedelta(days=day))

    short, long = _evidence(database, 11), _evidence(database, 12)

    assert (short["visits"], long["visits"]) == (1, 10)
    assert short["one_moment"]
    assert not long["one_moment"]
    assert short["busy_high"] > 1.5 * long["busy_high"]


def test_an_old_scan_drifts_to_what_is_usual_and_never_to_busy(database: Database) -> None:
    """Two years on, a free channel looks less sure and a busy one less busy."""
    old = SCANNED - timedelta(days=4 * SETTINGS.limits["evidence_half_life_days"])
    _scan(database, [-94.0] * 40, channel=11)
    _scan(database, [-94.0] * 40, channel=12, at=old)
    _scan(database, [-40.0] * 40, channel=13)
    _scan(database, [-40.0] * 40, channel=14, at=old)

    free, once_free, busy, once_busy = (_evidence(database, c) for c in (11, 12, 13, 14))

    assert once_free["busy_high"] > free["busy_high"]
    assert once_free["busy_estimate"] < once_busy["busy_estimate"]
    assert once_busy["busy_estimate"] < busy["busy_estimate"] - 0.1


def test_utc_readings_are_read_on_the_stores_clock(database: Database) -> None:
    """07:30 UTC in summer is 08:30 in London."""
    _scan(database, [-94.0] * 10, 15, SCANNED.replace(hour=7, minute=30), clock="utc")
    survey(database, SETTINGS)

    hours = database.connection.execute("select hour, readings from block_today").fetchall()
    assert hours == [(8, 10)]


@pytest.mark.parametrize(
    ("lowest_dbm", "still"),
    [(-99.0, 5), (-95.0, 4), (-90.0, 4), (-87.0, 2), (-70.0, 0)],
)
def test_means_at_the_floor_of_their_radio_are_counted(
    database: Database, lowest_dbm: float, still: int
) -> None:
    """Up to -91 dBm, or 5 dB above the lowest of a deafer radio, but no louder than -85 dBm."""
    over_dbm = (0.0, 0.0, 3.0, 5.0, 8.0, 40.0)
    _scan(database, [lowest_dbm + over for over in over_dbm], statistic="mean")
    _scan(database, [-95.0] * 4, 15)
    survey(database, SETTINGS)

    rows = database.connection.execute(
        "select channel, still from block_today order by channel"
    ).fetchall()
    assert rows == [(15, None)]  # only channels a station is or was on are kept
    found = database.frame("survey", "scans").filter(channel=11)
    assert found["still"].to_list() == [still]
    stray_db = (found["square_dbm"] - found["typical_dbm"] ** 2).sqrt()
    assert found["typical_dbm"].to_list() == pytest.approx([lowest_dbm + fmean(over_dbm)])
    assert stray_db.to_list() == pytest.approx([pstdev(over_dbm)])


def test_an_unknown_time_zone_does_not_end_the_survey(database: Database) -> None:
    """UTC readings of such a store are taken at their own hour."""
    database.connection.execute("update store_seen set time_zone = 'Europe/Nowhere'")
    _scan(database, [-94.0] * 10, clock="utc")

    assert _evidence(database)["readings"] == 10


def test_readings_after_the_day_are_left_out(database: Database) -> None:
    """Evidence as of a day does not change when later scans come in."""
    _scan(database, [-94.0] * 10)
    before = _evidence(database)
    _scan(database, [-40.0] * 10, at=SCANNED + timedelta(days=1))

    assert _evidence(database) == before


def test_own_traffic_does_not_count_where_a_clean_scan_exists(database: Database) -> None:
    """Readings on B's channel taken while B was sending give way to quiet ones."""
    _scan(database, [-50.0] * 20, channel=20, quiet=False)
    _scan(database, [-94.0] * 20, channel=20, at=SCANNED - timedelta(hours=1))

    found = _evidence(database, 20)

    assert found["busy_estimate"] < 0.1
    assert found["readings"] == 20
    assert not found["own_traffic"]


def test_own_traffic_is_taken_out_where_no_clean_scan_exists(database: Database) -> None:
    """What B is reckoned to send comes off; the reading stays marked."""
    for label in range(500):
        _add(
            database,
            "label_seen",
            store="S",
            label=f"L{label}",
            seen_on=AS_OF,
            station="B",
            updates_per_day=40.0,
            payload_octets=2000.0,
        )
    _scan(database, [-50.0] * 10 + [-94.0] * 30, channel=20, quiet=False)

    found = _evidence(database, 20)

    row = database.connection.execute("select air_share from station_load where station = 'B'")
    (air_share,) = row.fetchone() or (0,)
    (hit,) = database.connection.execute(
        "select hit_co from earshot where station = 'A'"
    ).fetchone() or (0,)
    assert 0.05 < air_share * hit < 0.25
    outside = round(40 * (1 - 0.75 / (1 - air_share * hit)))
    _scan(database, [-50.0] * outside + [-94.0] * (40 - outside), channel=26)
    clean = _evidence(database, 26)
    assert 0 < outside < 10
    assert _evidence(database, 20)["busy_estimate"] == clean["busy_estimate"]
    assert found["own_traffic"]
    assert "beside our own traffic" in found["basis"]


def test_a_channel_far_from_own_traffic_is_clean(database: Database) -> None:
    """A scan on a channel no own station is near needs no quiet period.

    B on 20 is heard at -40 dBm, one channel up 30 dB less, two up 45: below -75 dBm.
    """
    _add(
        database, "heard_seen", store="S", station="A", neighbour="B", seen_on=AS_OF, level_dbm=-40
    )
    for channel in (19, 20, 21, 22, 26):
        _scan(database, [-94.0, -91.0] * 10, channel=channel, quiet=False)
    survey(database, SETTINGS)

    beside = database.connection.execute("select channel from ed_evidence where own_traffic")
    assert sorted(beside.fetchall()) == [(19,), (20,), (21,)]


def test_wifi_survey_stands_in_where_there_is_no_scan(database: Database) -> None:
    """Wi-Fi 6 covers channels 16 to 19 (2437 MHz, 802.15.4 centres 2430 to 2445)."""
    _add(
        database,
        "wifi_seen",
        store="S",
        seen_on=AS_OF,
        network="w",
        wifi_channel=6,
        width_mhz=20,
        level_dbm=-60.0,
        utilisation_pct=40.0,
    )
    survey(database, SETTINGS)

    rows = database.connection.execute(
        "select channel, busy_estimate, source from ed_evidence where station = 'A'"
    ).fetchall()

    assert {source for *_, source in rows} == {"inferred"}
    assert {channel for channel, share, _ in rows if share > 0.1} == {16, 17, 18, 19}
    assert 0.3 < max(share for _, share, _ in rows) < 0.7


def test_two_networks_on_one_wifi_channel_count_once(database: Database) -> None:
    """They share its air: the busier one counts. Another channel adds as independent."""
    for network, number, busy in (("a", 5, 40.0), ("b", 5, 30.0), ("c", 4, 20.0)):
        _add(
            database,
            "wifi_seen",
            store="S",
            seen_on=AS_OF,
            network=network,
            wifi_channel=number,
            width_mhz=20,
            level_dbm=-50.0,
            utilisation_pct=busy,
        )
    _scan(database, [-94.0] * 10, channel=15)
    survey(database, SETTINGS)

    (share,) = database.connection.execute("select wifi_share from block_today").fetchone() or (0,)
    assert share == pytest.approx(1 - 0.6 * 0.8)


def test_nothing_known_has_no_estimate(database: Database) -> None:
    """No scan and no Wi-Fi survey: absent; the plan reckons with what is usual."""
    found = _evidence(database, 22)

    assert (found["source"], found["busy_estimate"], found["busy_high"]) == ("absent", None, None)
    assert found["expected_cost"] > 0


def test_without_its_readings_a_channel_is_no_better(database: Database) -> None:
    """Taking a channel's readings away, or replacing them by loud ones, never lowers its cost."""
    _scan(database, [-94.0] * 40, channel=11)
    full = _evidence(database, 11)
    database.connection.execute("delete from ed_reading")
    none = _evidence(database, 11)
    _scan(database, [-20.0] * 40, channel=11)
    loud = _evidence(database, 11)

    assert none["expected_cost"] > full["expected_cost"]
    assert loud["expected_cost"] > none["expected_cost"]
    assert loud["busy_estimate"] > 0.5


_FREE = [-94.0] * 60
_SOME = [-94.0] * 54 + [-50.0] * 6


def _moves(database: Database) -> list[tuple[str, int]]:
    survey(database, SETTINGS)
    plan(database, SETTINGS, Silent())
    return database.connection.execute("select station, to_channel from move").fetchall()


def test_the_portfolio_is_fitted_to_its_own_stores_alone(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where readings are folded together with those of other stores too, as where they are not."""
    for store in ("S", "T"):
        _add(database, "station_seen", store=store, station="C", seen_on=AS_OF, channel=25)
        reading = {"store": store, "station": "C", "clock": "store", "statistic": "single"}
        for day, level_dbm in product(range(3), (-90.0, -60.0)):
            at = SCANNED - timedelta(days=7 * day, hours=day)
            more = {"scanned_at": at, "level_dbm": level_dbm, "readings": 40 - 3 * day}
            _add(database, "ed_reading", **reading, **more, channel=12, dwell_ms=138.24)

    def found(fit_stores: int, chunk: int) -> list[list[tuple[Any, ...]]]:
        monkeypatch.setattr(evidence, "_FIT_STORES", fit_stores)
        monkeypatch.setattr(fresh, "CHUNK", chunk)
        database.clear(Computed)
        survey(database, SETTINGS)
        names = ("portfolio_fit", "ed_evidence", "block_today", "station_load")
        ask = database.connection.execute
        return [sorted(ask(f"from {name}").fetchall(), key=repr) for name in names]

    together = found(1, 200)
    assert together == found(1, 1)
    assert together[0] != found(2, 200)[0]


def test_a_move_has_the_interval_of_its_evidence(database: Database) -> None:
    """The more outsiders send, the less clear air: its 5 % point comes of their 95 % point."""
    for channel in (11, 15):
        _add(database, "permitted_channel", store="S", channel=channel)
    for day in range(4):
        for channel, levels_dbm in ((15, _SOME), (11, _FREE)):
            _scan(database, levels_dbm, channel=channel, at=SCANNED - timedelta(days=day))
    moved = dict(_moves(database))
    [(low, clear, high, busy_low, busy, busy_high)] = database.connection.execute(
        "select m.clear_air_before_low, m.clear_air_before, m.clear_air_before_high, e.busy_low, "
        "e.busy_estimate, e.busy_high from move m join ed_evidence e on e.station = m.station "
        "and e.channel = m.from_channel where m.station = 'A' and m.from_channel = 15"
    ).fetchall()

    assert moved["A"] == 11
    assert low < clear < high
    assert low / clear == pytest.approx((1 - busy_high) / (1 - busy), abs=1e-4)
    assert high / clear == pytest.approx((1 - busy_low) / (1 - busy), abs=1e-4)


def test_a_scan_is_expected_to_find_the_share_estimated(database: Database) -> None:
    """What nobody measured too, which the plan reckons to be no better than where A is."""
    for channel in (11, 15, 20):
        _add(database, "permitted_channel", store="S", channel=channel)
    for channel, levels_dbm in ((15, _SOME * 4), (11, _FREE)):
        _scan(database, levels_dbm, channel=channel)
    survey(database, SETTINGS)
    case = case_of(database, SETTINGS, "S")
    assert case is not None
    found = dict(
        database.connection.execute(
            "select channel, (a / (a + b), busy_estimate) from ed_evidence where station = 'A'"
        ).fetchall()
    )

    for channel in (11, 15, 20):
        a, b = case.evidence["A", channel].scanned
        assert a / (a + b) == pytest.approx(found[channel][0], abs=1e-9)
        assert found[channel][1] is None or a / (a + b) == pytest.approx(
            found[channel][1], abs=0.01
        )
    unread = case.evidence["A", 20]
    assert unread.scanned[0] / sum(unread.scanned) < unread.a / (unread.a + unread.b)


@pytest.mark.parametrize(
    ("here", "visits"),
    [
        (_SOME, 4),
        pytest.param(_FREE, 1, marks=pytest.mark.slow),
        pytest.param(_FREE, 4, marks=pytest.mark.slow),
        pytest.param(_SOME, 1, marks=pytest.mark.slow),
    ],
)
def test_losing_a_channels_readings_never_draws_a_station_to_it(
    database: Database, visits: int, here: list[float]
) -> None:
    """Its readings taken out or turned into errors, the channel is unknown and nobody moves."""
    for channel in (11, 15, 20, 25):
        _add(database, "permitted_channel", store="S", channel=channel)
    for day in range(visits):
        for channel, levels_dbm in ((15, here), (20, _SOME), (25, _SOME), (11, _FREE)):
            _scan(database, levels_dbm, channel=channel, at=SCANNED - timedelta(days=day))
    moved = _moves(database)
    database.connection.execute("create temp table kept as from ed_reading")
    for lost in (
        "delete from ed_reading where channel = 11",
        "update ed_reading set level_dbm = -128 where channel = 11",  # what radios put for errors
        "update ed_reading set level_dbm = 0 where channel = 11",
    ):
        database.connection.execute(lost)
        assert ("A", 11) not in _moves(database), lost
        assert _surveyed(database, 11)["source"] == "absent", lost
        database.connection.execute("delete from ed_reading; insert into ed_reading from kept")
    # With four visits of readings it is the place to go to, unless A's own channel is free too.
    assert (("A", 11) in moved) == (here is _SOME and visits == 4)


def test_measured_levels_count_before_the_model_and_both_ways(database: Database) -> None:
    """A hears B at the level measured; B hears A by reciprocity of the path."""
    _add(
        database, "heard_seen", store="S", station="A", neighbour="B", seen_on=AS_OF, level_dbm=-66
    )
    survey(database, SETTINGS)

    rows = database.connection.execute(
        "select station, heard_dbm, source, spread_db from earshot order by station"
    ).fetchall()

    assert rows == [("A", -66.0, "measured", 2.0), ("B", -66.0, "measured", 2.0)]


def test_the_way_back_is_as_long_but_begins_with_the_other_power(database: Database) -> None:
    """B's 6 dBm reach A at -66 dBm: 72 dB of path, after which A's 0 dBm reach B at -72."""
    database.connection.execute("update station_seen set tx_power_dbm = 6 * (station = 'B')::int")
    _add(
        database, "heard_seen", store="S", station="A", neighbour="B", seen_on=AS_OF, level_dbm=-66
    )
    survey(database, SETTINGS)

    rows = database.connection.execute(
        "select station, heard_dbm from earshot order by station"
    ).fetchall()

    assert rows == [("A", -66.0), ("B", -72.0)]


def test_labels_are_counted_each_by_what_is_wrong_with_it(database: Database) -> None:
    """One is weak, two silent, three lone; the eight hold five levels. Worked by hand."""
    fair = SETTINGS.limits["weak_label_dbm"]
    days = int(SETTINGS.limits["silent_after_days"])
    heard, silent = AS_OF - timedelta(days=days), AS_OF - timedelta(days=days + 1)
    told: list[dict[str, Any]] = [
        {"level_dbm": fair - 1}, {"level_dbm": fair, "last_heard_on": heard},
        {"level_dbm": fair, "last_heard_on": silent}, {"last_heard_on": silent},
        {"level_dbm": fair, "stations_heard": 1}, {"level_dbm": fair, "stations_heard": 1},
        {"stations_heard": 1}, {"stations_heard": 2},
    ]  # fmt: skip
    for label, said in enumerate(told):
        _add(
            database, "label_seen", store="S", label=f"L{label}", seen_on=AS_OF, station="B", **said
        )
    survey(database, SETTINGS)

    counted = database.connection.execute(
        "select {'labels': labels, 'weak': weak_labels, 'silent': silent_labels,"
        " 'lone': lone_labels, 'levels': levels} from station_load where station = 'B'"
    ).fetchall()

    assert counted == [({"labels": 8, "weak": 1, "silent": 2, "lone": 3, "levels": 5},)]


def test_through_a_wall_each_is_disturbed_by_what_it_hears_itself(database: Database) -> None:
    """A hears W at -40 dBm and is hardly heard; V hears B's 20 dBm at -60, so B hears V at -80.

    All carry alike. Only whom a level above -75 dBm reaches loses air: the normal tail from scipy
    for a spread of 2 dB. W is one channel up, 30 dB down at A; two channels up it would be 45.
    """
    _put_next_door(database)
    for channel in (16, 17, 18):
        _scan(database, [-94.0] * 10, channel=channel, quiet=False)
    survey(database, SETTINGS)

    ask = database.connection.execute
    ((air,),) = ask("select distinct air_share from station_load").fetchall()
    assert air > 0.001
    assert dict(ask("select station, free_of_own from clear_air_now").fetchall()) == {
        "A": pytest.approx(1 - air * stats.norm.sf(-2.5), abs=1e-7),
        "W": 1.0,
        "B": pytest.approx(1 - air * stats.norm.sf(2.5), abs=1e-7),
        "V": pytest.approx(1 - air, abs=1e-7),
    }
    beside = ask("select channel from ed_evidence where own_traffic order by channel").fetchall()
    assert beside == [(16,), (17,)]


def _put_next_door(database: Database) -> None:
    """Add stores T and U with W and V, beside A's channel and on B's; A and B out of earshot."""
    database.connection.execute(
        "update station_seen set x_m = 1e4, tx_power_dbm = 20 where station = 'B'"
    )
    for store, station, channel in (("T", "W", 16), ("U", "V", 20)):
        database.connection.execute(
            "insert into store_seen (store, seen_on, region) values (?, ?, 'North')", [store, AS_OF]
        )
        _add(database, "station_seen", store=store, station=station, seen_on=AS_OF, floor=0,
             channel=channel, tx_power_dbm=0.0)  # fmt: skip
    for store, station, other, neighbour, level_dbm in (
        ("S", "A", "T", "W", -40), ("T", "W", "S", "A", -90), ("U", "V", "S", "B", -60)
    ):  # fmt: skip
        _add(database, "heard_seen", store=store, station=station, neighbour_store=other,
             neighbour=neighbour, seen_on=AS_OF, level_dbm=level_dbm)  # fmt: skip


def test_modelled_level_is_power_less_break_point_loss(database: Database) -> None:
    """20 m: 58.5 + 33 log10(20 / 8) = 71.632 dB (IEEE 802.15.4-2006, Annex E.5.3)."""
    survey(database, SETTINGS)

    row = database.connection.execute(
        "select heard_dbm, source, hit_co from earshot where station = 'A'"
    ).fetchone()

    assert row is not None
    assert row[:2] == (-71.632, "modelled")
    # Shadowing of 7 dB about the threshold of -75 dBm; normal tail from scipy.
    assert row[2] == pytest.approx(stats.norm.sf((-75 + 71.632) / 7), abs=2e-6)


def test_the_survey_is_the_same_for_any_order_of_rows(database: Database) -> None:
    """Twice the same rows in another order give the same evidence to the bit."""
    levels_dbm = [float(-94 + (7 * k) % 50) for k in range(60)]
    _scan(database, levels_dbm)
    first = _evidence(database)
    database.connection.execute("delete from ed_reading")
    _scan(database, levels_dbm[::-1])

    assert _evidence(database) == first


def test_a_store_with_enough_measured_levels_has_its_own_model(database: Database) -> None:
    """Loss made as 40 + 25 log10(d) comes back: exponent 2.5, checked with scipy's regression."""
    places = [(f"C{k}", 3.0 + 4 * k, 25) for k in range(1, 7)]
    for name, x_m, channel in places:
        _add(
            database,
            "station_seen",
            store="S",
            station=name,
            seen_on=AS_OF - timedelta(days=90),
            floor=0,
            x_m=x_m,
            y_m=0.0,
            channel=channel,
            tx_power_dbm=0.0,
        )
    levels: dict[float, float] = {}
    for k, (first, second) in enumerate(
        [("A", name) for name, *_ in places] + [("C1", "C4"), ("C2", "C6")]
    ):
        at = {"A": 0.0} | {name: x for name, x, _ in places}
        distance_m = abs(at[first] - at[second])
        loss_db = 40 + 25 * log10(distance_m) + (1.5 if k % 2 else -1.5)
        levels[distance_m + k * 1e-9] = loss_db
        _add(
            database,
            "heard_seen",
            store="S",
            station=first,
            neighbour=second,
            seen_on=AS_OF,
            level_dbm=-loss_db,
        )
    survey(database, SETTINGS)

    fit = database.connection.execute(
        "select pairs, exponent, loss_at_1m_db, spread_db, used from path_fit"
    ).fetchone()
    expected = stats.linregress([log10(d) for d in levels], list(levels.values()))
    assert fit is not None
    assert fit[0] == 8
    assert fit[1] == pytest.approx(expected.slope / 10, abs=1e-3)
    assert fit[2] == pytest.approx(expected.intercept, abs=1e-2)
    assert fit[4]
    heard = database.connection.execute(
        "select heard_dbm, spread_db from earshot where station = 'A' and neighbour = 'B'"
    ).fetchone()
    assert heard is not None
    assert heard[0] == pytest.approx(-(fit[2] + 10 * fit[1] * log10(20)), abs=0.01)
    assert heard[1] == pytest.approx(max(fit[3], 3.0), abs=1e-3)
    residuals = database.connection.execute("select residual_db from path_residual").fetchall()
    assert sum(residual for (residual,) in residuals) == pytest.approx(0, abs=0.01)


def test_levels_that_rise_with_distance_are_not_believed(database: Database) -> None:
    """An exponent no building has: the published model stands, and the note says so."""
    for k in range(8):
        _add(
            database,
            "station_seen",
            store="S",
            station=f"D{k}",
            seen_on=AS_OF,
            floor=0,
            x_m=5.0 + k,
            y_m=0.0,
            channel=25,
            tx_power_dbm=0.0,
        )
    _add(
        database,
        "station_seen",
        store="S",
        station="A",
        seen_on=AS_OF,
        floor=0,
        x_m=0.0,
        y_m=0.0,
        channel=15,
    )
    for k in range(8):
        _add(
            database,
            "heard_seen",
            store="S",
            station="A",
            neighbour=f"D{k}",
            seen_on=AS_OF,
            level_dbm=-70.0 + 2 * k,
        )
    survey(database, SETTINGS)

    row = database.connection.execute("select used, note from path_fit").fetchone()

    assert row is not None
    assert not row[0]
    assert "not one a building has" in row[1]


@pytest.mark.parametrize("level_dbm", [-100.0, -85.0])
def test_a_channel_that_never_varies_beside_others_that_do_is_not_measured(
    database: Database, level_dbm: float
) -> None:
    """One level in every reading of one channel is no quiet air; where all are alike it may be."""
    for channel in range(11, 19):
        _scan(database, [-96.0 + n % 5 for n in range(30)], channel=channel)
    _scan(database, [level_dbm] * 30, channel=19)
    survey(database, SETTINGS)

    sources = dict(
        database.connection.execute(
            "select channel, source from ed_evidence where station = 'A' order by channel"
        ).fetchall()
    )
    assert {channel for channel, source in sources.items() if source == "measured"} == {
        *range(11, 19)
    }


@pytest.mark.parametrize("code_dbm", [-128.0, 0.0, 127.0, 255.0])
def test_a_code_in_place_of_a_level_is_no_reading(database: Database, code_dbm: float) -> None:
    """Radios put such a number for a level they could not take; -127 is a level."""
    _scan(database, [code_dbm] * 30, channel=11)
    _scan(database, [-127.0, code_dbm], channel=12)
    survey(database, SETTINGS)

    assert _surveyed(database, 11)["source"] == "absent"
    assert _surveyed(database, 12)["readings"] == 1


def _measured(database: Database) -> set[str]:
    survey(database, SETTINGS)
    found = database.connection.execute(
        "select distinct station from ed_evidence where source = 'measured'"
    ).fetchall()
    return {station for (station,) in found}


def test_a_radio_with_one_answer_to_everything_measures_nothing(database: Database) -> None:
    """One level on all channels, day after day; two or three readings do not say so yet."""
    for channel in (11, 15, 20, 25, 26):
        for day in range(3):
            _scan(database, [-100.0], channel=channel, at=SCANNED - timedelta(days=day))
    assert _measured(database) == {"A"}

    for channel in (11, 15, 20, 25, 26):
        _scan(database, [-100.0], channel=channel, at=SCANNED - timedelta(days=4))

    assert _measured(database) == set()


@pytest.mark.parametrize("station", ["A", "B"])
def test_a_receiver_of_coarse_steps_measures_all_the_same(database: Database, station: str) -> None:
    """A level that it, or another radio of the store, was heard to rise above is a floor."""
    for channel in range(11, 20):
        _scan(database, [-100.0] * 30, channel=channel)
    _add(
        database,
        "ed_reading",
        store="S",
        station=station,
        scanned_at=SCANNED,
        clock="store",
        channel=12,
        level_dbm=-90.0,
        statistic="single",
        own_quiet=True,
        readings=1,
    )
    if station == "B":
        assert "A" not in _measured(database)  # B never showed this floor
        database.connection.execute(
            "insert into ed_reading select * replace (-100 as level_dbm) from ed_reading "
            "where station = 'B'"
        )

    assert "A" in _measured(database)


@pytest.mark.parametrize(
    "over_dbm", [0.5, *(pytest.param(over, marks=pytest.mark.slow) for over in (2.0, 40.0))]
)
def test_a_reading_over_the_range_is_loud_and_draws_nobody(
    database: Database, over_dbm: float
) -> None:
    """Readings beyond the receiver's range make the channel busy, by 0 dBm at the most."""
    for channel in (11, 15):
        _add(database, "permitted_channel", store="S", channel=channel)
    for day in range(4):
        _scan(database, _SOME, channel=15, at=SCANNED - timedelta(days=day))
        _scan(database, _FREE, channel=11, at=SCANNED - timedelta(days=day))
    assert ("A", 11) in _moves(database)
    database.connection.execute(
        "update ed_reading set level_dbm = ? where channel = 11", [over_dbm]
    )

    assert ("A", 11) not in _moves(database)
    loud = _evidence(database, 11)
    assert loud["busy_estimate"] > 0.9
    assert loud["p99_dbm"] == 0
