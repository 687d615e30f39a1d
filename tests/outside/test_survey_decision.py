"""Published figures, held against what is decided: survey, plan and clear air of a small store."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from math import log1p
from pathlib import Path

import pytest
from empty import new_database, set_limits
from scipy.special import digamma
from scipy.stats import beta

from pipeline.changes.effect import calibration
from pipeline.changes.register import append, propose, standings
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.changes.verify import Waiting, verify
from pipeline.database import Database
from pipeline.plan.stores import plan
from pipeline.progress import Silent
from pipeline.settings import load_settings
from pipeline.survey.evidence import survey

DAY = date(2026, 9, 30)
NOON = datetime(2026, 9, 30, 12)
SETTINGS = load_settings()
VISITS = 10
OCTET_US, EXCHANGE_US = 32, 6880  # 250 kbit/s, 6.5; a whole exchange of 127 octets, recomputed


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """An empty database on DAY with the limits that ship."""
    with new_database(tmp_path / "q.duckdb") as opened:
        opened.connection.execute("insert into this_run values ('r', ?)", [DAY])
        set_limits(opened, SETTINGS.limits)
        yield opened


def _stations(database: Database, on: Mapping[str, int], permitted: Sequence[int]) -> None:
    for channel in permitted:
        database.connection.execute("insert into permitted_channel values ('S', ?)", [channel])
    for station, channel in on.items():
        database.connection.execute(
            "insert into station_seen (store, station, seen_on, floor, channel, tx_power_dbm)"
            " values ('S', ?, ?, 0, ?, 0)",
            [station, DAY - timedelta(days=60), channel],
        )


def _scans(
    database: Database,
    station: str,
    channel: int,
    levels: Mapping[float, int],
    age_days: int = 0,
    *,
    visits: int = VISITS,
) -> None:
    """Scan a channel on so many days; each time so many readings of each level in dBm."""
    for day in range(age_days, age_days + visits):
        for level_dbm, readings in levels.items():
            database.connection.execute(
                "insert into ed_reading values ('S', ?, ?, 'store', ?, ?, 'single', .128, true, ?)",
                [station, NOON - timedelta(days=day), channel, level_dbm, readings],
            )


def _label(database: Database, level_dbm: float) -> None:
    database.connection.execute(
        "insert into label_seen (store, label, seen_on, station, level_dbm)"
        " values ('S', 'l', ?, 'A', ?)",
        [DAY, level_dbm],
    )


def _moves(database: Database) -> list[tuple[str, int]]:
    survey(database, SETTINGS)
    plan(database, SETTINGS, Silent())
    return database.connection.execute("select station, to_channel from move").fetchall()


@pytest.mark.parametrize(("level_dbm", "moves"), [(-76.0, []), (-74.0, [("A", 25)])])
def test_only_what_stops_a_clear_channel_assessment_moves_a_station(
    database: Database, level_dbm: float, moves: list[tuple[str, int]]
) -> None:
    """Busy is above -75 dBm: IEEE 802.15.4-2006, 6.9.9, 10 dB above a sensitivity of -85 dBm.

    The label is heard at -60 dBm, so that below the threshold nothing is lost either.
    """
    _stations(database, {"A": 15}, (15, 25))
    _label(database, -60.0)
    _scans(database, "A", 15, {level_dbm: 60})
    _scans(database, "A", 25, {-94.0: 60})

    assert _moves(database) == moves


@pytest.mark.parametrize(
    ("label_dbm", "lost"), [(None, 0.3), (-80.0, 1.0), (-77.0, 0.158), (-70.0, 0.0)]
)
def test_interference_below_the_threshold_loses_frames_at_the_labels(
    database: Database, label_dbm: float | None, lost: float
) -> None:
    """A tenth of the readings at -77 dBm; PER(SINR) of IEEE 802.15.4-2006, E.4.1.8, 127 octets.

    At -3 dB all frames are lost, at -0.02 dB 15.8 % (recomputed from the series), at 7 dB none.
    """
    _stations(database, {"A": 15}, (15, 25))
    _scans(database, "A", 15, {-95.0: 54, -77.0: 6, -60.0: 3})
    _scans(database, "A", 25, {-60.0: 3})
    if label_dbm is not None:
        _label(database, label_dbm)
    survey(database, SETTINGS)

    found = dict(
        database.connection.execute("select channel, frames_lost from ed_evidence").fetchall()
    )
    assert found[15] == pytest.approx(lost / 10, abs=0.0005)
    assert found[25] is None


@pytest.mark.parametrize(("level_dbm", "moves"), [(-94.0, []), (-84.0, []), (-77.0, [("A", 25)])])
def test_interference_below_the_threshold_costs_what_it_loses(
    database: Database, level_dbm: float, moves: list[tuple[str, int]]
) -> None:
    """Neither channel is ever busy: beside -77 dBm labels at -80 dBm lose all, beside -84 nothing.

    At -3 dB all frames are lost (IEEE 802.15.4-2006, E.4.1.8, 127 octets), at 4 dB none.
    """
    _stations(database, {"A": 15}, (15, 25))
    _scans(database, "A", 15, {level_dbm: 60})
    _scans(database, "A", 25, {-94.0: 59, -93.0: 1})
    _label(database, -80.0)

    assert _moves(database) == moves
    if moves:
        (reason,) = database.connection.execute("select reason from move").fetchone() or ("",)
        assert "of frames to labels lost" in reason


@pytest.mark.parametrize(("level_dbm", "moves"), [(-68.0, []), (-60.0, [("A", 26)])])
def test_a_wifi_network_counts_by_the_power_within_the_channel(
    database: Database, level_dbm: float, moves: list[tuple[str, int]]
) -> None:
    """2 MHz take a tenth of 20 MHz, -10 dB: -68 dBm is -78 there, -60 is -70 (recomputed).

    Wi-Fi 6 (2437 MHz, IEEE 802.11) lies over channel 17 (2435 MHz) and not over 26 (2480 MHz).
    """
    _stations(database, {"A": 17}, (17, 26))
    database.connection.execute(
        "insert into wifi_seen (store, seen_on, network, wifi_channel, width_mhz, level_dbm,"
        " utilisation_pct) values ('S', ?, 'w', 6, 20, ?, 80)",
        [DAY, level_dbm],
    )

    assert _moves(database) == moves


def _loaded(database: Database, level_dbm: float = -40) -> tuple[float, float]:
    """Put A and B in earshot, each with 500 labels; return the least and most share each sends.

    40 updates of 2000 octets in 4 hours: at least the octets at 250 kbit/s, at most 20 whole
    exchanges of full frames of 100 octets, so 9 to 19 % of the time.
    """
    database.connection.execute(
        "insert into heard_seen (store, station, neighbour, seen_on, level_dbm)"
        " values ('S', 'A', 'B', ?, ?)",
        [DAY, level_dbm],
    )
    database.connection.executemany(
        "insert into label_seen (store, label, seen_on, station, updates_per_day, payload_octets)"
        " values ('S', ?, ?, ?, 40, 2000)",
        [(f"{station}{n}", DAY, station) for station in "AB" for n in range(500)],
    )
    updates_per_us = 500 * 40 / (4 * 3600e6)
    return 2000 * OCTET_US * updates_per_us, 20 * EXCHANGE_US * updates_per_us


def test_own_neighbours_take_the_air_time_of_the_standard(database: Database) -> None:
    """What each sends, by symbols, is lost to the other: one of the two leaves the channel."""
    _stations(database, {"A": 15, "B": 15}, (15, 25))
    for station in "AB":
        for channel in (15, 25):
            _scans(database, station, channel, {-94.0: 60})
    least, most = _loaded(database)

    moves = _moves(database)

    aired = database.connection.execute(
        "select clear_air / (1 - busy_estimate) from clear_air_now order by station"
    ).fetchall()
    assert len(aired) == 2
    for (free_of_own,) in aired:
        assert 1 - most <= free_of_own <= 1 - least
    assert [channel for _, channel in moves] == [25]  # one of the two leaves the other alone


@pytest.mark.parametrize(("busy", "channel"), [(0.1, 25), (0.45, 15)])
def test_a_station_that_must_move_weighs_own_traffic_by_its_air_time(
    database: Database, busy: float, channel: int
) -> None:
    """A may not stay on 18: 15 is shared with B, 25 is busy, its share known to a few points.

    Sharing costs both what the other sends, -ln(1 - s) each: more than 10 % of one station's time
    for the least s, less than 45 % for the most; three times the least would be more. A share of
    3,400 readings (ITU-R SM.1880, recomputed) is known to a few hundredths.
    """
    _stations(database, {"A": 18, "B": 15}, (15, 25))
    loud = round(340 * busy)
    for station in "AB":
        _scans(database, station, 15, {-94.0: 340})
        _scans(database, station, 25, {-60.0: loud, -94.0: 340 - loud})
    least, most = _loaded(database)
    weight = SETTINGS.limits["own_traffic_weight"]
    cost = -log1p(-busy)
    assert (
        (-2 * weight * log1p(-least) > cost)
        if channel == 25
        else (-2 * weight * log1p(-most) < cost < -2 * weight * log1p(-3 * least))
    )

    assert _moves(database) == [("A", channel)]


def test_one_that_may_stay_fears_no_more_own_traffic_than_the_standard_has(
    database: Database,
) -> None:
    """A leaves a channel 22 % busy for one where it hears B, turned down itself so B does not hear.

    That costs A what B sends, at most 19 % of the time: less than it loses today. Three times the
    least that B sends would be more, and A would rather stay.
    """
    _stations(database, {"A": 15, "B": 25}, (15, 25))
    database.connection.execute("update station_seen set tx_power_dbm = -30 where station = 'A'")
    for station in "AB":
        _scans(database, station, 15, {-60.0: 75, -94.0: 265})
        _scans(database, station, 25, {-94.0: 340})
    least, most = _loaded(database, level_dbm=-60)
    weight = SETTINGS.limits["own_traffic_weight"]
    assert -weight * log1p(-most) < -log1p(-75 / 340) < -3 * weight * log1p(-least)

    assert _moves(database) == [("A", 25)]


@pytest.mark.parametrize(
    ("visits", "ten", "five", "moves"),
    [
        (3, {-60.0: 2, -94.0: 18}, {-60.0: 1, -94.0: 19}, []),
        (10, {-60.0: 34, -94.0: 306}, {-60.0: 17, -94.0: 323}, [("A", 25)]),
    ],
)
def test_five_from_ten_per_cent_takes_hundreds_of_readings(
    database: Database,
    visits: int,
    ten: Mapping[float, int],
    five: Mapping[float, int],
    moves: list[tuple[str, int]],
) -> None:
    """About 340 independent readings a channel tell 5 from 10 % (recomputed): 60 move nobody.

    What is expected of the move, 4 points, would earn its price in either case.
    """
    _stations(database, {"A": 15}, (15, 25))
    _scans(database, "A", 15, ten, visits=visits)
    _scans(database, "A", 25, five, visits=visits)

    assert _moves(database) == moves


def test_an_estimate_is_no_bound(database: Database) -> None:
    """3,460 readings tell 10 % to a tenth of it (ITU-R SM.1880, recomputed), if independent.

    In 8 stores whose visits are all alike the visits are found to stray little, and what is printed
    is within a quarter of that, not at the end of an interval. Ten visits of 346 readings with a
    correlation of .05 are worth 190 (Kish 1965): 90 % within 3.6 points of 10 % (recomputed).
    """
    for number in range(8):
        database.connection.execute(
            "insert into station_seen (store, station, seen_on, floor, channel)"
            " values (?, 'A', ?, 0, 15)",
            [f"S{number}", DAY - timedelta(days=60)],
        )
    _scans(database, "A", 15, {-60.0: 35, -94.0: 311})
    database.connection.execute(
        "insert into ed_reading by name select e.* replace ('S' || n as store)"
        " from ed_reading e, range(8) r(n)"
    )
    survey(database, SETTINGS)

    rows = database.connection.execute(
        "select e.busy_estimate, busy_low, busy_high, clear_air"
        " from ed_evidence e join clear_air_now using (store, station, channel)"
    ).fetchall()
    assert len(rows) == 8
    for estimate, low, high, clear in rows:
        assert estimate == pytest.approx(35 / 346, abs=0.0025)
        assert estimate - 0.036 < low < estimate - 0.01
        assert estimate + 0.01 < high < estimate + 0.036
        assert clear == pytest.approx(311 / 346, abs=0.0025)


def test_what_is_expected_decides_and_not_the_worst_that_may_be(database: Database) -> None:
    """0 of 10 against 17 of 346, ten times over: expected is less, possible is more.

    Of 0 of 10, Jeffreys' Beta(1/2, 10 1/2) expects 4.5 % and goes up to 17 % (95 %, one-sided);
    E[-ln(1 - p)] is digamma(a + b) - digamma(b). 3,460 readings tell 4.9 % to a sixth of it
    (ITU-R SM.1880). All recomputed below.
    """
    a, b, known = 0.5, 10.5, 17 / 346
    within = 1.96 * ((1 - known) / (known * 3460)) ** 0.5
    assert digamma(a + b) - digamma(b) < -log1p(-known)
    assert beta.ppf(0.95, a, b) > known * (1 + within)
    _stations(database, {"A": 15}, (15, 20, 25))
    _scans(database, "A", 15, {-60.0: 173, -94.0: 173})
    _scans(database, "A", 20, {-60.0: 17, -94.0: 329})
    _scans(database, "A", 25, {-94.0: 10}, visits=1)

    assert _moves(database) == [("A", 25)]


@pytest.mark.parametrize(("half_lives", "moves"), [(0, [("A", 25)]), (10, [])])
def test_what_was_heard_ten_half_lives_ago_moves_nobody(
    database: Database, half_lives: int, moves: list[tuple[str, int]]
) -> None:
    """After ten half-lives a thousandth is left: 2^-10, whatever was heard then."""
    age_days = half_lives * int(SETTINGS.limits["evidence_half_life_days"])
    _stations(database, {"A": 15}, (15, 25))
    _scans(database, "A", 15, {-60.0: 20, -94.0: 40}, age_days)
    _scans(database, "A", 25, {-94.0: 60}, age_days)

    assert _moves(database) == moves


def test_a_promise_that_comes_true_is_kept(database: Database) -> None:
    """The channel moved to is as busy as before, 10 %: measured is promised, to a point and a half.

    3,460 readings tell 10 % to a tenth of it (ITU-R SM.1880, recomputed): no bound is that near.
    """
    _stations(database, {"A": 15}, (15, 25))
    _scans(database, "A", 15, {-60.0: 173, -94.0: 173}, 60)
    _scans(database, "A", 25, {-60.0: 35, -94.0: 311}, 60)
    assert _moves(database) == [("A", 25)]
    clear = {
        channel: tuple(1 - share for share in shares)
        for channel, *shares in database.connection.execute(
            "select channel, busy_high, busy_estimate, busy_low from ed_evidence where readings > 0"
        ).fetchall()
    }
    propose(database, SETTINGS)
    (change,) = standings(database)
    for days, state, trigger in (
        (1, ChangeState.APPROVED, Trigger.DECIDE),
        (2, ChangeState.IMPLEMENTED, Trigger.RESULT),
    ):
        append(
            database, trigger, [new_event(change, state, NOON + timedelta(days), "T. Aldervane")]
        )

    later = DAY + timedelta(days=40)
    database.connection.execute("update this_run set run = 'later', as_of = ?", [later])
    database.connection.execute(
        "insert into station_seen (store, station, seen_on, floor, channel, tx_power_dbm)"
        " values ('S', 'A', ?, 0, 25, 0)",
        [later],
    )
    _scans(database, "A", 25, {-60.0: 35, -94.0: 311}, -40)
    survey(database, SETTINGS)
    (held,) = database.records(Waiting, "changes", "waiting")
    before = (held.clear_air_before_low, held.clear_air_before, held.clear_air_before_high)
    assert before == pytest.approx(clear[15], abs=1e-5)
    assert (held.promised_low, held.promised, held.promised_high) == pytest.approx(
        clear[25], abs=1e-5
    )
    (check,) = verify(database, SETTINGS)

    assert check.state == ChangeState.VERIFIED
    assert check.measured == pytest.approx(311 / 346, abs=0.015)
    (kept,) = (row for row in calibration(database, ["S"]) if row.sureness == "all")
    assert kept.absolute_error < 0.015
    assert kept.held == 1
