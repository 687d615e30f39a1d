"""Random portfolios for the schedule: stores, rules and results, from a seed."""

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from types import MappingProxyType
from zoneinfo import ZoneInfo

from pipeline.schedule.records import StoreJob, WaveResult
from pipeline.settings import (
    Deadline,
    Freeze,
    ScheduleRules,
    Team,
    Teams,
    Wave,
    Window,
    load_settings,
)

# Country, zone, and evenings just before its clocks go forward and back in 2026 (tz database).
ZONES = (
    ("DE", "Europe/Berlin", date(2026, 3, 28), date(2026, 10, 24)),
    ("GB", "Europe/London", date(2026, 3, 28), date(2026, 10, 24)),
    ("US", "America/New_York", date(2026, 3, 7), date(2026, 10, 31)),
    ("CL", "America/Santiago", date(2026, 9, 5), date(2026, 4, 4)),  # at midnight
    ("AU", "Australia/Lord_Howe", date(2026, 10, 3), date(2026, 4, 4)),  # half an hour
    ("IN", "Asia/Kolkata", date(2026, 3, 20), date(2026, 10, 20)),  # never
)


@dataclass(frozen=True, slots=True)
class Portfolio:
    """All that the scheduler is given."""

    jobs: tuple[StoreJob, ...]
    rules: ScheduleRules
    first: date
    results: tuple[WaveResult, ...]


def wild(seed: int) -> Portfolio:
    """Return a portfolio with anything in it that the rules file allows, about a clock change."""
    dice = random.Random(seed)
    zones = dice.sample(ZONES, dice.randint(1, 2))
    first = dice.choice(zones[0][2:]) - timedelta(days=dice.randint(0, 4))
    nights = dice.randint(3, 16)
    count = dice.randint(1, 20)
    sites = [_site(dice, number, dice.choice(zones)) for number in range(count)]
    jobs = tuple(_job(dice, site, sites) for site in sites)
    return Portfolio(jobs, _rules(dice, first, nights, sites), first, _results(dice))


def small(seed: int) -> Portfolio:
    """Return a portfolio small enough to try everything, closed while the clocks change."""
    dice = random.Random(seed)
    zone = dice.choice(ZONES[:3])
    first = dice.choice(zone[2:]) - timedelta(days=dice.randint(0, 2))
    nights = dice.randint(2, 5)
    sites = [
        StoreJob(f"S{number}", "R0", None, zone[0], zone[1], time(7), time(dice.randint(19, 22)))
        for number in range(dice.randint(2, 5))
    ]
    jobs = tuple(_job(dice, site, sites, most_moves=6) for site in sites)
    rules = _rules(dice, first, nights, sites)
    days = tuple(freeze for freeze in rules.freezes if not isinstance(freeze.starts, datetime))
    weekdays = tuple(range(7))
    rules = replace(
        rules,
        freezes=days,
        windows=replace(
            rules.windows,
            default=Window(time(22), time(dice.randint(1, 5)), weekdays),
            per_region=MappingProxyType({}),
            per_store=MappingProxyType({}),
        ),
    )
    return Portfolio(jobs, rules, first, _results(dice))


def _site(dice: random.Random, number: int, zone: tuple[str, str, date, date]) -> StoreJob:
    region = f"R{dice.randint(0, 1)}"
    opens, closes = dice.choice(
        [
            (time(7), time(22)),
            (time(8, 30), time(20)),
            (time(6), time(1, 30)),
            (time(2, 30), time(23, 59, 59)),
            (time(0), time(0)),
            (None, None),
        ]
    )
    country = zone[0] if dice.random() < 0.9 else None
    known = zone[1] if dice.random() < 0.98 else None
    return StoreJob(f"S{number:02}", region, None, country, known, opens, closes)


def _job(
    dice: random.Random, site: StoreJob, sites: list[StoreJob], most_moves: int = 18
) -> StoreJob:
    groups = [f"staff {name}" for name in range(3) if dice.random() < 0.1]
    if len(sites) > 3 and dice.random() < 0.2:
        groups.append(f"Wi-Fi {dice.randint(0, 1)}")
    moves = dice.randint(1, most_moves) if dice.random() < 0.3 else dice.randint(1, 4)
    benefit = round(dice.expovariate(1 / 50), 2)
    return replace(site, positions=positions(moves), benefit=benefit, groups=tuple(groups))


def positions(moves: int) -> tuple[int, ...]:
    """Return the positions of so many moves, none of them left out."""
    return tuple(range(1, moves + 1))


def _rules(dice: random.Random, first: date, nights: int, sites: list[StoreJob]) -> ScheduleRules:
    shipped = load_settings().schedule
    stores = [site.store for site in sites]
    window = _window(dice)
    return replace(
        shipped,
        work=replace(
            shipped.work,
            minutes_per_move=dice.choice([10, 15, 25]),
            settle_minutes=dice.choice([0, 20, 30]),
            travel_minutes=dice.choice([0, 15, 40]),
            nights=nights,
            benefit_days=dice.choice([nights, 200]),
            effort=2.0,
            order="benefit",
        ),
        windows=replace(
            shipped.windows,
            default=window,
            per_region=MappingProxyType({"R1": _window(dice)} if dice.random() < 0.4 else {}),
            per_store=MappingProxyType({stores[0]: _window(dice)} if dice.random() < 0.4 else {}),
            in_trading_hours=tuple(dice.sample(stores, dice.randint(0, len(stores) // 2))),
        ),
        teams=_teams(dice),
        freezes=tuple(_freeze(dice, first, nights, stores) for _ in range(dice.randint(0, 3))),
        waves=_waves(dice, stores),
        deadlines=tuple(_deadline(dice, first, nights, stores) for _ in range(dice.randint(0, 3))),
    )


def _window(dice: random.Random) -> Window:
    starts = time(dice.choice([18, 20, 21, 22, 23, 0, 1]), dice.choice([0, 30]))
    ends = time(dice.choice([2, 3, 4, 5, 6]), dice.choice([0, 30]))
    days = sorted(dice.sample(range(7), dice.choice([4, 5, 7, 7])))
    return Window(starts, ends, tuple(days))


def _teams(dice: random.Random) -> Teams:
    def team(name: str, region: str) -> Team:
        days = sorted(dice.sample(range(7), dice.choice([5, 7, 7])))
        minutes = dice.choice([90, 150, 240, 360])
        return Team(name, region, dice.randint(1, 4), minutes, tuple(days))

    named = tuple(team(f"T{number}", "R0") for number in range(dice.randint(0, 3)))
    return Teams(
        named, dice.choice([0, 1, 1, 1, 2, 2, 2, 2]), dice.randint(1, 3), 300, tuple(range(7))
    )


def _freeze(dice: random.Random, first: date, nights: int, stores: list[str]) -> Freeze:
    day = first + timedelta(days=dice.randint(0, nights))
    starts: date = day
    ends: date = day + timedelta(days=dice.randint(1, 3))
    kind: Callable[[date], date] = dice.choice([_day, _floating, _fixed])
    place = dice.choice([(None, None), ("R1", None), (None, dice.choice(stores))])
    return Freeze(kind(starts), kind(ends), "stocktake", *place)


def _day(day: date) -> date:
    return day


def _floating(day: date) -> date:
    return datetime.combine(day, time(2, 30))


def _fixed(day: date) -> date:
    return datetime.combine(day, time(1, 15), ZoneInfo("America/New_York")).astimezone(UTC)


def _waves(dice: random.Random, stores: list[str]) -> tuple[Wave, ...]:
    shares = sorted(dice.choice([0.05, 0.3, 0.5]) for _ in range(dice.randint(0, 2)))
    return tuple(
        Wave(
            name=f"wave {number}",
            up_to=share,
            verified_share=dice.choice([0.5, 0.9, 1.0]),
            wait_days=dice.randint(1, 3),
            stores=tuple(dice.sample(stores, 1)) if dice.random() < 0.2 and share < 1 else (),
        )
        for number, share in enumerate([*shares, 1.0])
    )


def _deadline(dice: random.Random, first: date, nights: int, stores: list[str]) -> Deadline:
    place = dice.choice([(None, dice.choice(stores)), ("R1", None)])
    return Deadline(first + timedelta(days=dice.randint(0, nights)), "refit", *place)


def _results(dice: random.Random) -> tuple[WaveResult, ...]:
    if dice.random() < 0.6:
        return ()
    done = dice.randint(1, 4)
    return (WaveResult("R0", "wave 0", done, dice.randint(0, done)),)
