"""The nights of a store: windows on its own clock, less trading, freezes and holidays."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from types import MappingProxyType
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import HolidayPartUnknown
from pipeline.schedule.nights import instant, site_nights, why_closed, zone_of
from pipeline.schedule.records import Night, StoreJob
from pipeline.settings import Freeze, ScheduleRules, Window, load_settings

SITE = StoreJob("S1", "N", None, "DE", "Europe/Berlin", time(7), time(21))
ALWAYS = tuple(range(7))


def _rules(window: Window | None = None, nights: int = 1) -> ScheduleRules:
    shipped = load_settings().schedule
    return replace(
        shipped,
        work=replace(shipped.work, nights=nights),
        windows=replace(shipped.windows, default=window or Window(time(22), time(5), ALWAYS)),
    )


def _night(
    evening: date,
    site: StoreJob = SITE,
    rules: ScheduleRules | None = None,
    freezes: tuple[Freeze, ...] = (),
) -> Night:
    return site_nights(site, rules or _rules(), freezes, evening).nights[0]


@pytest.mark.parametrize(
    ("evening", "minutes"),
    [
        (date(2026, 3, 27), 420),
        (date(2026, 3, 28), 360),  # forward at 02:00 on 29 March 2026 (tz database)
        (date(2026, 10, 23), 420),
        (date(2026, 10, 24), 480),  # back at 03:00 on 25 October 2026 (tz database)
    ],
)
def test_a_window_is_wall_clock_times(evening: date, minutes: int) -> None:
    """From 22:00 to 05:00 is an hour shorter or longer where the clocks change."""
    assert _night(evening).minutes == minutes


@pytest.mark.parametrize(
    ("wall", "later", "expected"),
    [
        (datetime(2026, 3, 29, 2, 30), False, datetime(2026, 3, 29, 1, 0)),  # does not exist
        (datetime(2026, 3, 29, 2, 30), True, datetime(2026, 3, 29, 1, 0)),
        (datetime(2026, 10, 25, 2, 30), False, datetime(2026, 10, 25, 0, 30)),  # comes twice
        (datetime(2026, 10, 25, 2, 30), True, datetime(2026, 10, 25, 1, 30)),
        (datetime(2026, 7, 1, 12, 0), False, datetime(2026, 7, 1, 10, 0)),
    ],
)
def test_times_that_do_not_exist_or_come_twice(
    wall: datetime, later: bool, expected: datetime
) -> None:
    """A missing time is the jump over it; a repeated one the first, or the later on demand."""
    assert instant(wall, ZoneInfo("Europe/Berlin"), later=later) == expected.replace(tzinfo=UTC)


def test_a_day_left_out_is_one_jump() -> None:
    """Samoa had no 30 December 2011 (tz database): all of it is the midnight after the 29th."""
    at_noon = instant(datetime(2011, 12, 30, 12), ZoneInfo("Pacific/Apia"))

    assert at_noon == datetime(2011, 12, 30, 10, tzinfo=UTC)


@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2037, 1, 1)),
    st.sampled_from(["Europe/London", "Australia/Lord_Howe", "America/Santiago", "Asia/Kolkata"]),
    st.booleans(),
)
def test_the_clock_shows_the_time_or_the_next_that_exists(
    wall: datetime, name: str, later: bool
) -> None:
    """An instant read back shows the wall-clock time, or the first one after a jump over it."""
    zone = ZoneInfo(name)
    wall = wall.replace(microsecond=0)
    found = instant(wall, zone, later=later)
    shown = found.astimezone(zone).replace(tzinfo=None)
    before = (found - timedelta(seconds=1)).astimezone(zone).replace(tzinfo=None)

    assert shown == wall or before < wall < shown


def test_a_start_that_does_not_exist_is_the_jump() -> None:
    """A window from 02:30 starts at 03:00 in the night the clocks go forward."""
    night = _night(date(2026, 3, 28), rules=_rules(Window(time(2, 30), time(5), ALWAYS)))

    assert night.opens == datetime(2026, 3, 29, 1, tzinfo=UTC)
    assert night.minutes == 120


def test_a_window_within_the_jump_is_gone() -> None:
    """Between 02:10 and 02:50 there is no time when the clocks go from 02:00 to 03:00."""
    night = _night(date(2026, 3, 28), rules=_rules(Window(time(2, 10), time(2, 50), ALWAYS)))

    assert night.stopped_by == "the change window is gone in the clock change"
    assert night.minutes == 0


@pytest.mark.parametrize(
    ("opens", "closes", "minutes"),
    [
        (time(7), time(21), 420),
        (time(4), time(23), 300),  # 23:00 to 04:00 is left
        (time(6), time(1, 30), 210),  # trades past midnight
        (time(5), time(23, 59, 59), 300),  # the last second of the day is midnight
        (None, None, 420),
        (time(7), None, 420),
    ],
)
def test_trading_hours_are_taken_out(opens: time | None, closes: time | None, minutes: int) -> None:
    """Work is done while the store is closed."""
    assert _night(date(2026, 10, 5), replace(SITE, opens=opens, closes=closes)).minutes == minutes


def test_a_store_that_never_closes_has_no_night_unless_the_rules_say_so() -> None:
    """Opening and closing at one time is trading round the clock."""
    site = replace(SITE, opens=time(0), closes=time(0))
    rules = _rules()
    allowed = replace(rules, windows=replace(rules.windows, in_trading_hours=("S1",)))

    assert _night(date(2026, 10, 5), site).stopped_by == "the store trades"
    assert _night(date(2026, 10, 5), site, allowed).minutes == 420


def test_the_longest_stretch_is_the_window() -> None:
    """Work is not interrupted by a freeze; of equal stretches the earliest is taken."""
    evening = date(2026, 10, 5)
    short = Freeze(datetime(2026, 10, 5, 23), datetime(2026, 10, 6, 0), "deliveries")
    middle = Freeze(datetime(2026, 10, 6, 1), datetime(2026, 10, 6, 2), "deliveries")

    assert _night(evening, freezes=(short,)).minutes == 300
    assert _night(evening, freezes=(middle,)).opens == datetime(2026, 10, 5, 20, tzinfo=UTC)
    assert _night(evening, freezes=(middle,)).minutes == 180
    assert _night(evening, freezes=(middle, short)).minutes == 180


def test_freezes_hold_where_they_are_meant() -> None:
    """A freeze names a region or a store, or holds everywhere; whole days are the store's own."""
    evening = date(2026, 10, 5)
    days = (date(2026, 10, 5), date(2026, 10, 7))

    assert _night(evening, freezes=(Freeze(*days, "all"),)).stopped_by == "the freeze 'all'"
    assert _night(evening, freezes=(Freeze(*days, "N", region="N"),)).minutes == 0
    assert _night(evening, freezes=(Freeze(*days, "M", region="M"),)).minutes == 420
    assert _night(evening, freezes=(Freeze(*days, "S2", store="S2"),)).minutes == 420
    # The day before: from 22:00 to midnight is left.
    assert _night(evening - timedelta(days=1), freezes=(Freeze(*days, "all"),)).minutes == 120


def test_an_instant_is_the_same_everywhere() -> None:
    """A freeze in UTC begins at another wall-clock time in another zone."""
    freeze = Freeze(
        datetime(2026, 10, 5, 21, tzinfo=UTC), datetime(2026, 10, 6, 12, tzinfo=UTC), "core"
    )
    london = replace(SITE, time_zone="Europe/London", country="GB")

    assert _night(date(2026, 10, 5), freezes=(freeze,)).minutes == 60
    assert _night(date(2026, 10, 5), london, freezes=(freeze,)).minutes == 0


@pytest.mark.parametrize(
    ("evening", "stopped"),
    [
        (date(2026, 10, 1), None),
        (date(2026, 10, 2), "the night before a public holiday"),
        (date(2026, 10, 3), "a public holiday"),
        (date(2026, 10, 4), None),
    ],
)
def test_public_holidays_close_the_night_of_and_the_night_before(
    evening: date, stopped: str | None
) -> None:
    """3 October is one in Germany (Unification Treaty of 31 August 1990, article 2(2))."""
    assert _night(evening).stopped_by == stopped


def test_holidays_follow_the_part_of_the_country_and_the_rules_file() -> None:
    """Epiphany is one in Bavaria only; days can be added and taken out, or all left to work."""
    rules = _rules()
    epiphany = date(2027, 1, 6)

    def with_holidays(**changes: object) -> ScheduleRules:
        return replace(rules, holidays=replace(rules.holidays, **changes))  # type: ignore[arg-type]  # any field may change

    bavaria = with_holidays(subdivision=MappingProxyType({"N": "BY"}))
    assert _night(epiphany).minutes == 420
    assert _night(epiphany, rules=bavaria).stopped_by == "a public holiday"
    ignored = replace(bavaria, holidays=replace(bavaria.holidays, ignored=(epiphany,)))
    assert _night(epiphany, rules=ignored).minutes == 420
    assert _night(epiphany, rules=with_holidays(also=(epiphany,))).minutes == 0
    only_before = replace(bavaria, holidays=replace(bavaria.holidays, night_of=False))
    assert _night(epiphany, rules=only_before).minutes == 420
    assert _night(epiphany - timedelta(days=1), rules=only_before).minutes == 0


def test_a_part_that_the_country_lacks_is_refused() -> None:
    """The sentence lists the parts that are known."""
    rules = _rules()
    wrong = replace(
        rules, holidays=replace(rules.holidays, subdivision=MappingProxyType({"S1": "QQ"}))
    )

    with pytest.raises(HolidayPartUnknown) as refusal:
        _night(date(2026, 10, 5), rules=wrong)

    assert "BY" in str(refusal.value)


def test_what_is_not_known_is_said() -> None:
    """A store without country or trading hours is scheduled, with a remark for each."""
    site = replace(SITE, country=None, opens=None)

    assert len(site_nights(site, _rules(), (), date(2026, 10, 5)).remarks) == 2
    assert site_nights(SITE, _rules(), (), date(2026, 10, 5)).remarks == ()


@pytest.mark.parametrize("name", [None, "", "Mars/Olympus", "../etc", "Europe"])
def test_a_store_without_a_zone_has_no_nights(name: str | None) -> None:
    """What its clock shows is not guessed."""
    assert zone_of(name) is None
    assert site_nights(replace(SITE, time_zone=name), _rules(), (), date(2026, 10, 5)).nights == ()


def test_causes_are_counted() -> None:
    """Of a week, closed nights are told apart by what closes them."""
    rules = _rules(Window(time(22), time(5), (0, 1, 2, 3)), nights=7)
    nights = site_nights(SITE, rules, (), date(2026, 9, 28)).nights

    assert why_closed(nights) == {"no change window on that weekday": 3}
    rules = _rules(Window(time(22), time(5), (0, 1, 2, 3, 4)), nights=7)
    nights = site_nights(SITE, rules, (), date(2026, 9, 28)).nights
    assert why_closed(nights) == {
        "no change window on that weekday": 2,
        "the night before a public holiday": 1,
    }
