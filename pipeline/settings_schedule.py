"""What the rules file says about when work may be done, by whom and in which order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from types import MappingProxyType
from typing import Any

from pipeline.errors import FreezeFileUnreadable, RulesValueWrong
from pipeline.rules_table import RulesTable

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_NOON = time(12)
_PLACE = ("region", "store")
_WINDOW = ("starts", "ends", "nights")
SCHEDULE_SECTIONS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "work": (
            "minutes_per_move",
            "settle_minutes",
            "travel_minutes",
            "nights",
            "first_night_after_days",
            "benefit_days",
            "effort",
        ),
        "windows": (*_WINDOW, "in_trading_hours", "per_region", "per_store_type", "per_store"),
        "holidays": ("night_before", "night_of", "subdivision", "also", "ignored"),
        "teams": ("per_region", "jobs", "minutes", "nights"),
        "team": ("name", "region", "jobs", "minutes", "nights"),
        "freeze": ("from", "until", "file", "reason", *_PLACE),
        "wave": ("name", "up_to", "verified_share", "wait_days", "stores"),
        "deadline": ("by", "reason", *_PLACE),
        "sharing": ("staff", "wifi_neighbours"),
    }
)


@dataclass(frozen=True, slots=True)
class Work:
    """How long work takes, how far ahead it is laid out, and how hard the solver tries."""

    minutes_per_move: int
    settle_minutes: int  # per store and night
    travel_minutes: int  # of one team between two stores of a night
    nights: int  # calendar days looked at
    first_night_after_days: int  # after the day of the run
    benefit_days: int  # a change is worth its clear air until so many days after the first night
    effort: float  # deterministic work of the solver for all regions together


@dataclass(frozen=True, slots=True)
class Window:
    """A change window on the store's own clock, between noon of the evening and the next noon."""

    starts: time
    ends: time
    weekdays: tuple[int, ...]  # of the evening; Monday is 0

    def of_night(self, evening: date) -> tuple[datetime, datetime]:
        """Return the wall-clock times at which the window of one night starts and ends."""
        morning = evening + timedelta(days=1)
        return (
            datetime.combine(evening if self.starts >= _NOON else morning, self.starts),
            datetime.combine(evening if self.ends > _NOON else morning, self.ends),
        )


@dataclass(frozen=True, slots=True)
class Windows:
    """Change windows; the most special entry for a store wins."""

    default: Window
    per_region: Mapping[str, Window]
    per_store_type: Mapping[str, Window]
    per_store: Mapping[str, Window]
    in_trading_hours: tuple[str, ...]  # stores that may be changed while they trade

    def of(self, store: str, region: str, store_type: str | None) -> Window:
        """Return the change window of one store."""
        for names, key in (
            (self.per_store, store),
            (self.per_store_type, store_type),
            (self.per_region, region),
        ):
            if key is not None and key in names:
                return names[key]
        return self.default


@dataclass(frozen=True, slots=True)
class Holidays:
    """Which nights public holidays close, and where the calendar of a country is corrected."""

    night_before: bool
    night_of: bool
    subdivision: Mapping[str, str]  # region or store to ISO 3166-2 part, such as "BY"
    also: tuple[date, ...]
    ignored: tuple[date, ...]


@dataclass(frozen=True, slots=True)
class Team:
    """A team and what it can do in one night."""

    name: str
    region: str
    jobs: int
    minutes: int  # at stores and between them
    weekdays: tuple[int, ...]  # of the evening; Monday is 0


@dataclass(frozen=True, slots=True)
class Teams:
    """The teams named in the rules file, and what a region without any of its own gets."""

    named: tuple[Team, ...]
    per_region: int
    jobs: int
    minutes: int
    weekdays: tuple[int, ...]

    def of(self, region: str) -> tuple[Team, ...]:
        """Return the teams of one region."""
        own = tuple(team for team in self.named if team.region == region)
        return own or tuple(
            Team(f"{region} team {number}", region, self.jobs, self.minutes, self.weekdays)
            for number in range(1, self.per_region + 1)
        )


@dataclass(frozen=True, slots=True)
class Freeze:
    """A time without changes: [starts, ends). Days and naive times are on the store's own clock."""

    starts: date  # or a datetime
    ends: date  # of the same kind; for days the day after the last
    reason: str
    region: str | None = None
    store: str | None = None


@dataclass(frozen=True, slots=True)
class FreezeCalendar:
    """The content of a calendar file (RFC 5545) whose events are freezes."""

    file: str
    content: bytes
    region: str | None = None
    store: str | None = None


@dataclass(frozen=True, slots=True)
class Wave:
    """A part of every region's stores, and what must be verified before the next part follows."""

    name: str
    up_to: float  # share of the region's stores that have had their turn when the wave is done
    verified_share: float  # of the wave's stores, before the next wave opens
    wait_days: int  # from the night that reaches the share to the next wave's first night
    stores: tuple[str, ...]  # in this wave whatever the share


@dataclass(frozen=True, slots=True)
class Deadline:
    """The last day, on the store's own clock, at whose end work must be done."""

    by: date
    reason: str
    region: str | None = None
    store: str | None = None


@dataclass(frozen=True, slots=True)
class ScheduleRules:
    """Everything the rules file says about the change schedule."""

    work: Work
    windows: Windows
    holidays: Holidays
    teams: Teams
    freezes: tuple[Freeze, ...]
    calendars: tuple[FreezeCalendar, ...]
    waves: tuple[Wave, ...]
    deadlines: tuple[Deadline, ...]
    staff: tuple[tuple[str, ...], ...]  # stores that share staff
    wifi_neighbours: bool  # keep stores that hear one Wi-Fi transmitter to different nights


def schedule_rules(path: Path, own: Mapping[str, Any], shipped: Mapping[str, Any]) -> ScheduleRules:
    """Read the sections of the schedule over the shipped ones.

    Raises:
        RulesKeyUnknown: a key that nothing reads.
        RulesValueWrong: a value of the wrong kind.
        FreezeFileUnreadable: a calendar file that is not there.
    """

    def merged(section: str) -> RulesTable:
        table = {**shipped.get(section, {}), **own.get(section, {})}
        return RulesTable(path, section, table)

    def entries(section: str) -> list[RulesTable]:
        listed = own.get(section, shipped.get(section, []))
        if not isinstance(listed, list):
            raise RulesValueWrong(path, section, listed, f"entries, each headed [[{section}]]")
        return [RulesTable(path, section, entry) for entry in listed]

    freezes = entries("freeze")
    sharing = merged("sharing")
    return ScheduleRules(
        work=_work(merged("work")),
        windows=_windows(merged("windows")),
        holidays=_holidays(merged("holidays")),
        teams=_teams(merged("teams"), entries("team")),
        freezes=tuple(_freeze(entry) for entry in freezes if "file" not in entry.content),
        calendars=tuple(_calendar(entry) for entry in freezes if "file" in entry.content),
        waves=_waves(path, entries("wave")),
        deadlines=tuple(_deadline(entry) for entry in entries("deadline")),
        staff=sharing.lists_of_names("staff"),
        wifi_neighbours=sharing.flag("wifi_neighbours"),
    )


def _work(table: RulesTable) -> Work:
    nights = table.whole("nights", 1, 730)
    return Work(
        minutes_per_move=table.whole("minutes_per_move", 1, 1440),
        settle_minutes=table.whole("settle_minutes", 0, 1440),
        travel_minutes=table.whole("travel_minutes", 0, 1440),
        nights=nights,
        first_night_after_days=table.whole("first_night_after_days", 0, 365),
        benefit_days=table.whole("benefit_days", nights, 3650),
        effort=table.number("effort", 0, 1_000_000),
    )


def _windows(table: RulesTable) -> Windows:
    default = {key: table.content[key] for key in _WINDOW}

    def by_name(key: str) -> Mapping[str, Window]:
        return MappingProxyType(
            {
                name: _window(RulesTable(table.path, part.section, {**default, **part.content}))
                for name, part in table.tables(key, _WINDOW).items()
            }
        )

    return Windows(
        default=_window(table),
        per_region=by_name("per_region"),
        per_store_type=by_name("per_store_type"),
        per_store=by_name("per_store"),
        in_trading_hours=table.names("in_trading_hours"),
    )


def _window(table: RulesTable) -> Window:
    window = Window(table.clock("starts"), table.clock("ends"), _weekdays(table))
    starts, ends = window.of_night(date(2000, 1, 1))
    if starts >= ends:
        raise table.wrong("ends", "an end after the start, both between noon and the next noon")
    return window


def _weekdays(table: RulesTable) -> tuple[int, ...]:
    names = table.names("nights")
    if not names or any(name not in WEEKDAYS for name in names):
        raise table.wrong("nights", f"weekdays out of {', '.join(WEEKDAYS)}")
    return tuple(day for day, name in enumerate(WEEKDAYS) if name in names)


def _holidays(table: RulesTable) -> Holidays:
    return Holidays(
        night_before=table.flag("night_before"),
        night_of=table.flag("night_of"),
        subdivision=table.texts("subdivision"),
        also=table.days("also"),
        ignored=table.days("ignored"),
    )


def _teams(table: RulesTable, entries: Sequence[RulesTable]) -> Teams:
    default = {key: table.content[key] for key in ("jobs", "minutes", "nights")}
    named: list[Team] = []
    for entry in entries:
        full = RulesTable(table.path, "team", {**default, **entry.content})
        team = Team(
            name=full.text("name"),
            region=full.text("region"),
            jobs=full.whole("jobs", 1, 1000),
            minutes=full.whole("minutes", 1, 1440),
            weekdays=_weekdays(full),
        )
        if any(team.name == other.name for other in named):
            raise full.wrong("name", "a name that no other team has")
        named.append(team)
    return Teams(
        named=tuple(named),
        per_region=table.whole("per_region", 0, 1000),
        jobs=table.whole("jobs", 1, 1000),
        minutes=table.whole("minutes", 1, 1440),
        weekdays=_weekdays(table),
    )


def _freeze(table: RulesTable) -> Freeze:
    starts, until = table.moment("from"), table.moment("until")
    expected = "'until' of the same kind as 'from' (both days, or both times), and not before it"
    if not _same_kind(starts, until):
        raise table.wrong("until", expected)
    if isinstance(until, datetime):
        ends: date = until
        ordered = ends > starts
    else:
        ordered = until >= starts and until < date.max
        ends = date.fromordinal(until.toordinal() + 1) if ordered else until
    if not ordered:
        raise table.wrong("until", expected)
    return Freeze(starts, ends, table.text("reason"), *_place(table))


def _same_kind(one: date, other: date) -> bool:
    if isinstance(one, datetime) and isinstance(other, datetime):
        return (one.tzinfo is None) == (other.tzinfo is None)
    return type(one) is type(other)


def _calendar(table: RulesTable) -> FreezeCalendar:
    for key in ("from", "until"):
        if key in table.content:
            raise table.wrong(key, "nothing, where 'file' names a calendar")
    file = table.path.parent / table.text("file")
    try:
        content = file.read_bytes()
    except OSError as error:
        raise FreezeFileUnreadable(str(file), error.strerror or str(error)) from error
    return FreezeCalendar(file.name, content, *_place(table))


def _waves(path: Path, entries: Sequence[RulesTable]) -> tuple[Wave, ...]:
    waves = tuple(
        Wave(
            name=entry.text("name"),
            up_to=entry.number("up_to", 0, 1),
            verified_share=entry.number("verified_share", 0, 1),
            wait_days=entry.whole("wait_days", 1, 365),
            stores=entry.names("stores"),
        )
        for entry in entries
    )
    shares = [wave.up_to for wave in waves]
    if not shares or sorted(shares) != shares or shares[-1] != 1:
        raise RulesValueWrong(path, "wave.up_to", shares, "shares that grow and end with 1")
    if len({wave.name for wave in waves}) < len(waves):
        names = [wave.name for wave in waves]
        raise RulesValueWrong(path, "wave.name", names, "a different name for every wave")
    return waves


def _deadline(table: RulesTable) -> Deadline:
    by = table.moment("by")
    if isinstance(by, datetime):
        raise table.wrong("by", "a day such as 2027-03-31")
    return Deadline(by, table.text("reason"), *_place(table))


def _place(table: RulesTable) -> tuple[str | None, str | None]:
    return table.optional_text("region"), table.optional_text("store")
