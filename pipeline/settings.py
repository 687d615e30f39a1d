"""The rules file: what it decides, read over the shipped one.

The shipped file holds every default and says what each key means; the records here declare the
keys with their types and bounds.
"""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Annotated, Any, Generic, TypeVar

from pipeline import rules_table as rules
from pipeline.errors import FreezeFileUnreadable, RulesFileUnreadable
from pipeline.records import Severity
from pipeline.rules_table import FirstSettings, GivenPlace, Reader, RulesTable, Scale, fits, within
from pipeline.tables.exports import EXPORT_KINDS
from pipeline.tables.run import Exemption, StationStatus

DEFAULT_RULES = Path(__file__).resolve().parent / "default_rules.toml"
_SHIPPED: Mapping[str, Any] = tomllib.loads(DEFAULT_RULES.read_text(encoding="utf-8"))
_KEPT_RULES = Path("rules of the last run")
_PATH_LOSS = ("break-point", "commercial", "free-space")
_EXPORTS = tuple(kind.name for kind in EXPORT_KINDS)
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_NOON = time(12)
_PLACES = ("per_region", "per_store_type", "per_store")
Own = TypeVar("Own")

_ANY_TEXT = fits("a text", rules.is_text)
_HEADINGS = rules.by_name(_ANY_TEXT, expected="a table heading = our name")
_SEVERITY = fits(f"one of {', '.join(Severity)}", lambda v: v in tuple(Severity), Severity)
_CHANNELS = fits(
    "a list of channels from 11 to 26",  # IEEE 802.15.4, 2450 MHz band
    rules.all_of(lambda v: type(v) is int and 11 <= v <= 26, least=1),  # noqa: PLR2004 - these
    lambda v: tuple(sorted(set(v))),
)
_NIGHTS = fits(
    f"weekdays out of {', '.join(_WEEKDAYS)}",
    rules.all_of(lambda v: v in _WEEKDAYS, least=1),
    lambda v: tuple(day for day, name in enumerate(_WEEKDAYS) if name in v),
)
_Nights = Annotated[tuple[int, ...], _NIGHTS, "nights"]  # weekdays of the evening; Monday is 0
_Jobs = Annotated[int, rules.whole(1, 1000)]
_Minutes = Annotated[int, rules.whole(1, 1440)]
_MinutesIfAny = Annotated[int, rules.whole(0, 1440)]


@dataclass(frozen=True, slots=True)
class PerStore(Generic[Own]):
    """A setting of which the most specific entry for a store wins."""

    default: Own
    per_region: Mapping[str, Own]
    per_store_type: Mapping[str, Own]
    per_store: Mapping[str, Own]

    def of(self, store: str, region: str | None, store_type: str | None) -> Own:
        """Return the entry of one store."""
        own = (self.per_store, store), (self.per_store_type, store_type), (self.per_region, region)
        known = (names[key] for names, key in own if key is not None and key in names)
        return next(known, self.default)


def _places(table: RulesTable, reader: Reader, expected: str) -> dict[str, Mapping[str, Any]]:
    return {key: rules.by_name(reader, expected=expected)(table, key) for key in _PLACES}


def _channels(table: RulesTable, key: str) -> PerStore[tuple[int, ...]]:
    own = table.below(key).known("permitted", *_PLACES)
    places = _places(own, _CHANNELS, "a table of lists of channels")
    return PerStore(_CHANNELS(own, "permitted"), **places)


@dataclass(frozen=True, slots=True)
class Work:
    """How long work takes, how far ahead it is laid out, and how hard the solver tries."""

    minutes_per_move: _Minutes
    settle_minutes: _MinutesIfAny  # per store and night
    travel_minutes: _MinutesIfAny  # of one team between two stores of a night
    nights: Annotated[int, rules.whole(1, 730)]  # calendar days looked at
    first_night_after_days: Annotated[int, rules.whole(0, 365)]  # after run or last decision
    benefit_days: Annotated[int, lambda t, key: rules.whole(t.content["nights"], 3650)(t, key)]
    effort: Annotated[float, rules.number(0, 1_000_000)]  # deterministic, for all regions together
    order: Annotated[str, rules.one_of(("drawn", "benefit"))]  # of stores, wave by wave
    minutes_per_install: _Minutes = 60
    installs_per_night: _Jobs = 6  # in one store


@dataclass(frozen=True, slots=True)
class Window:
    """A change window on the store's own clock, between noon of the evening and the next noon."""

    starts: rules.Clock
    ends: rules.Clock
    weekdays: _Nights

    def of_night(self, evening: date) -> tuple[datetime, datetime]:
        """Return the wall-clock times at which the window of one night starts and ends."""
        morning = evening + timedelta(days=1)
        return (
            datetime.combine(evening if self.starts >= _NOON else morning, self.starts),
            datetime.combine(evening if self.ends > _NOON else morning, self.ends),
        )


def _window(table: RulesTable) -> Window:
    window = rules.record_of(Window, table)
    starts, ends = window.of_night(date(2000, 1, 1))
    if starts >= ends:
        raise table.wrong("ends", "an end after the start, both between noon and the next noon")
    return window


@dataclass(frozen=True, slots=True)
class Windows(PerStore[Window]):
    """Change windows."""

    in_trading_hours: rules.Names  # stores that may be changed while they trade


def _windows(table: RulesTable, key: str) -> Windows:
    """Read the change windows; what a store's own leaves out is the default's."""
    keys = rules.keys_of(Window)
    own = table.below(key).known(*keys, "in_trading_hours", *_PLACES)

    def read(named: RulesTable, name: str) -> Window:
        return _window(named.below(name).known(*keys).over(own))

    places = _places(own, read, "a table of tables")
    return rules.record_of(Windows, own, default=_window(own), **places)


@dataclass(frozen=True, slots=True)
class Holidays:
    """Which nights public holidays close, and where the calendar of a country is corrected."""

    night_before: rules.Flag
    night_of: rules.Flag
    # Region or store to ISO 3166-2 part, such as "BY".
    subdivision: Annotated[Mapping[str, str], rules.by_name(_ANY_TEXT, expected="a table of texts")]
    also: rules.Days = ()
    ignored: rules.Days = ()


@dataclass(frozen=True, slots=True)
class Team:
    """A team and what it can do in one night."""

    name: rules.Text
    region: rules.Text
    jobs: _Jobs
    minutes: _Minutes  # at stores and between them
    weekdays: _Nights


@dataclass(frozen=True, slots=True)
class Teams:
    """The teams named in the rules file, and what a region without any of its own gets."""

    named: tuple[Team, ...]
    per_region: Annotated[int, rules.whole(0, 1000)]
    jobs: _Jobs
    minutes: _Minutes
    weekdays: _Nights

    def of(self, region: str) -> tuple[Team, ...]:
        """Return the teams of one region."""
        own = tuple(team for team in self.named if team.region == region)
        return own or tuple(
            Team(f"{region} team {number}", region, self.jobs, self.minutes, self.weekdays)
            for number in range(1, self.per_region + 1)
        )


def _teams(table: RulesTable, key: str) -> Teams:
    """Read the teams' defaults, and the teams over them."""
    shared = table.below(key).known(*rules.keys_of(Teams))
    default = rules.record_of(Teams, shared, named=())
    named: dict[str, Team] = {}

    def read(entry: RulesTable, key: str) -> None:
        own = entry.below(key).known(*rules.keys_of(Team))
        team = rules.record_of(Team, own.over(shared))
        if team.name in named:
            raise own.wrong("name", "a name that no other team has")
        named[team.name] = team

    rules.entries(read)(table, "team")
    return replace(default, named=tuple(named.values()))


@dataclass(frozen=True, slots=True)
class Freeze:
    """A time without changes: [starts, ends). Days and naive times are on the store's own clock."""

    starts: date  # or a datetime
    ends: date  # of the same kind; for days the day after the last
    reason: rules.Text
    region: rules.OptionalText = None
    store: rules.OptionalText = None


@dataclass(frozen=True, slots=True)
class FreezeCalendar:
    """The content of a calendar file (RFC 5545) whose events are freezes."""

    file: str
    content: bytes
    region: rules.OptionalText = None
    store: rules.OptionalText = None


def _freezes(kind: type[Own]) -> Callable[[RulesTable, str], tuple[Own, ...]]:
    """Return a reader of the freezes of one kind."""
    read = rules.entries(_freeze)
    return lambda table, key: tuple(one for one in read(table, key) if isinstance(one, kind))


def _freeze(table: RulesTable, key: str) -> Freeze | FreezeCalendar:
    own = table.below(key).known("from", "until", "file", *rules.keys_of(Freeze))
    if "file" in own.content:
        return _calendar(own)
    starts, until = rules.MOMENT(own, "from"), rules.MOMENT(own, "until")
    ends = _end_of(starts, until)
    if ends is None:
        expected = "of the same kind as 'from' (both days, or both times), and not before it"
        raise own.wrong("until", f"'until' {expected}")
    return rules.record_of(Freeze, own, starts=starts, ends=ends)


def _end_of(starts: date, until: date) -> date | None:
    """Return when a freeze ends, or None where its two ends do not go together."""
    one, other = ((type(end), getattr(end, "tzinfo", None) is None) for end in (starts, until))
    if one != other:
        return None
    if isinstance(until, datetime):
        return until if until > starts else None
    return until + timedelta(days=1) if starts <= until < date.max else None


def _calendar(table: RulesTable) -> FreezeCalendar:
    for key in ("from", "until"):
        if key in table.content:
            raise table.wrong(key, "nothing, where 'file' names a calendar")
    file = table.path.parent / rules.TEXT(table, "file")
    try:
        content = file.read_bytes()
    except OSError as error:
        raise FreezeFileUnreadable(str(file), error.strerror or str(error)) from error
    return rules.record_of(FreezeCalendar, table, file=file.name, content=content)


@dataclass(frozen=True, slots=True)
class Wave:
    """A part of every region's stores, and what must be verified before the next part follows."""

    name: rules.Text
    up_to: rules.Share  # of the region's stores that have had their turn when the wave is done
    verified_share: rules.Share  # of the wave's stores, before the next wave opens
    # From the night that reaches the share to the next wave's first night.
    wait_days: Annotated[int, rules.whole(1, 365)]
    stores: rules.Names = ()  # in this wave whatever the share


def _waves(table: RulesTable, key: str) -> tuple[Wave, ...]:
    waves: tuple[Wave, ...] = rules.entries(rules.record(Wave))(table, key)
    shares, names = [wave.up_to for wave in waves], [wave.name for wave in waves]
    all_waves = RulesTable(table.path, key, {"up_to": shares, "name": names})
    if not shares or sorted(shares) != shares or shares[-1] != 1:
        raise all_waves.wrong("up_to", "shares that grow and end with 1")
    if len({*names}) < len(names):
        raise all_waves.wrong("name", "a different name for every wave")
    return waves


@dataclass(frozen=True, slots=True)
class Deadline:
    """The last day, on the store's own clock, at whose end work must be done."""

    by: Annotated[date, rules.DAY]
    reason: rules.Text
    region: rules.OptionalText = None
    store: rules.OptionalText = None


@dataclass(frozen=True, slots=True)
class ScheduleRules:
    """Everything the rules file says about the change schedule."""

    work: Annotated[Work, rules.record(Work)]
    windows: Annotated[Windows, _windows]
    holidays: Annotated[Holidays, rules.record(Holidays)]
    teams: Annotated[Teams, _teams]
    freezes: Annotated[tuple[Freeze, ...], _freezes(Freeze), "freeze"]
    calendars: Annotated[tuple[FreezeCalendar, ...], _freezes(FreezeCalendar), "freeze"]
    waves: Annotated[tuple[Wave, ...], _waves, "wave"]
    deadlines: Annotated[tuple[Deadline, ...], rules.entries(rules.record(Deadline)), "deadline"]
    # Stores that share staff.
    staff: Annotated[
        tuple[tuple[str, ...], ...],
        within("staff", rules.optional(rules.LISTS_OF_NAMES, ()), "wifi_neighbours"),
        "sharing",
    ]
    # Keep stores that hear one Wi-Fi transmitter to different nights.
    wifi_neighbours: Annotated[bool, within("wifi_neighbours", rules.FLAG, "staff"), "sharing"]


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything the rules file decides."""

    first: Annotated[FirstSettings, rules.first_settings, "first_settings"]

    limits: Annotated[Mapping[str, float], rules.limits(*_SHIPPED["limits"])]
    channels: Annotated[PerStore[tuple[int, ...]], _channels]
    path_loss: Annotated[str, within("path_loss", rules.one_of(_PATH_LOSS)), "model"]
    severity: Annotated[Mapping[str, Severity], rules.by_name(_SEVERITY)]
    firmware_standard: Annotated[
        str | None, within("standard", rules.optional(_ANY_TEXT)), "firmware"
    ]
    scales: Annotated[
        Mapping[str, Scale],
        rules.by_name(rules.record(Scale, "{ zero_dbm = number, db_per_step = number }")),
    ]
    headings: Annotated[Mapping[str, Mapping[str, str]], rules.by_name(_HEADINGS, *_EXPORTS)]
    # What exports of a kind would say above their headings, where they do not.
    above: Annotated[Mapping[str, Mapping[str, str]], rules.by_name(_HEADINGS, *_EXPORTS)]
    approvers: Annotated[
        tuple[str, ...], within("names", rules.optional(rules.NAMES, ()), "proposer"), "approvers"
    ]
    # Who puts plans forward; may not approve them.
    proposer: Annotated[
        str | None, within("proposer", rules.optional(_ANY_TEXT), "names"), "approvers"
    ]
    exceptions: Annotated[tuple[Exemption, ...], rules.entries(rules.exemption), "exception"]
    statuses: Annotated[
        tuple[StationStatus, ...], rules.entries(rules.station_status), "station_status"
    ]
    places: Annotated[tuple[GivenPlace, ...], rules.entries(rules.record(GivenPlace)), "place"]
    wifi_own: Annotated[tuple[str, ...], within("own", rules.NAMES), "wifi"]  # with "*" in them
    schedule: ScheduleRules
    rules: str  # the user's file as written
    text: str  # that and its calendars, so that a run can be named after them


def load_settings(path: Path | None = None) -> Settings:
    """Read a rules file over the shipped defaults; `None` gives the defaults.

    Raises:
        RulesFileUnreadable: not there, or not TOML.
        RulesKeyUnknown: a key that nothing reads; the nearest known one is named.
        RulesValueWrong: a value that does not fit.
        FreezeFileUnreadable: a calendar file that is not there.
    """
    if path is None:
        return settings_from("", DEFAULT_RULES)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise RulesFileUnreadable(path, str(error)) from error
    return settings_from(text, path)


def settings_from(text: str, path: Path = _KEPT_RULES) -> Settings:
    """Return the settings of a rules file's text; `path` says where it is from.

    Raises:
        As load_settings.
    """
    try:
        own = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise RulesFileUnreadable(path, str(error)) from error
    known = ("team", *rules.keys_of(Settings), *rules.keys_of(ScheduleRules))
    table = _merged(RulesTable(path, "", own).known(*known))
    schedule = rules.record_of(ScheduleRules, table)
    contents = (calendar.content.decode(errors="replace") for calendar in schedule.calendars)
    every_text = "\n".join([text, *contents])
    return rules.record_of(Settings, table, schedule=schedule, rules=text, text=every_text)


def _merged(own: RulesTable) -> RulesTable:
    """Return a rules file over the shipped one: tables key by key, all else as a whole."""
    tables = [section for section, default in _SHIPPED.items() if isinstance(default, dict)]
    merged = {section: {**_SHIPPED[section], **own.below(section).content} for section in tables}
    return replace(own, content={**_SHIPPED, **own.content, **merged})
