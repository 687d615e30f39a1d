"""Scan next: what is asked of a store's survey, on the page and in the workbook."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter
from typing import Protocol

from pipeline.report.kit.column import Look, SheetColumn, Value
from pipeline.report.kit.lists import PrintedColumn, PrintedList, printed_list
from pipeline.wording import NOTHING, Wording

ON_PAGE = 3  # stations; more are counted
_POINTS = 100


class _Quietly(Protocol):
    @property
    def quiet(self) -> bool: ...


@dataclass(frozen=True, slots=True)
class ScanAsked:
    """A channel to scan at a station, the station worth most first.

    `worth` is what each visit is expected to gain, in clear air of a station of average size,
    0..1, `carried` how much less without this channel. The hours from and until are those scanned
    least. Found busy for `turns_at` of the readings the plan turns to `channel_then`.
    """

    store: str
    station: str
    name: str | None
    place: int
    channel: int
    channel_planned: int
    visits: int
    readings: int
    hour_from: int
    hour_until: int
    quiet: bool
    worth: float
    carried: float
    turns_at: float | None
    channel_then: int | None

    @property
    def hours(self) -> str:
        """The hours to scan in, on the store's clock."""
        return f"{self.hour_from:02}:00-{self.hour_until:02}:00"

    @property
    def points(self) -> float:
        """What each visit is expected to gain, in points of clear air."""
        return _POINTS * self.worth

    @property
    def points_carried(self) -> float:
        """How much less without this channel, in points."""
        return _POINTS * self.carried


def turns(one: ScanAsked, words: Wording) -> Value:
    """Return the finding that turns the plan, and to what."""
    if one.turns_at is None or one.channel_then is None:
        return words("scan.turns_not")
    key = "scan.turns_from" if one.channel == one.channel_planned else "scan.turns_to"
    return words(key, share=words.percent(one.turns_at), channel=words.channel(one.channel_then))


def quiet_word(one: _Quietly, words: Wording) -> str:
    """Return whether own stations are to be quiet during a scan."""
    return words("scan.stations_quiet" if one.quiet else "scan.stations_usual")


SCANS: tuple[SheetColumn[ScanAsked], ...] = (
    SheetColumn("place", Look.COUNT, "column.order"),
    SheetColumn("station", Look.LONG, "column.station", 30),
    SheetColumn("name", Look.LONG, "column.station_name", 30),
    SheetColumn("channel", Look.COUNT, "column.channel"),
    SheetColumn("visits", Look.COUNT, "scan.column_visits"),
    SheetColumn("readings", Look.COUNT, "scan.column_readings"),
    SheetColumn("hours", Look.TEXT, "scan.column_hours"),
    SheetColumn(quiet_word, Look.LONG, "scan.column_quiet", 30),
    SheetColumn("points", Look.FINE, "scan.column_worth"),
    SheetColumn("points_carried", Look.FINE, "scan.column_carried"),
    SheetColumn("channel_planned", Look.COUNT, "column.planned"),
    SheetColumn(turns, Look.LONG, "scan.column_turns", 40),
)  # fmt: skip

Scanned = tuple[ScanAsked, ...]
"""The channels to scan at one station."""


def _channels(one: Scanned, words: Wording) -> str:
    named = ", ".join(str(row.channel) for row in sorted(one, key=attrgetter("channel")))
    return words("scan.quiet", channels=named) if any(row.quiet for row in one) else named


_PRINTED: tuple[PrintedColumn[Scanned], ...] = (
    PrintedColumn(lambda one, _: one[0].station, "column.station", 1.2),
    PrintedColumn(_channels, "scan.column_channels", 1.5),
    PrintedColumn(
        lambda one, words: words("scan.visits", n=one[0].visits, readings=one[0].readings),
        "scan.column_asked", 0.9,
    ),
    PrintedColumn(lambda one, _: one[0].hours, "scan.column_hours", 1.1),
    PrintedColumn(
        lambda one, words: words.number(one[0].points, 2), "scan.column_gain", 0.7, right=True
    ),
)  # fmt: skip


def scan_line(unsettled: float | None, scans: Sequence[ScanAsked], words: Wording) -> str:
    """Return whether the decision is settled, in a sentence; empty where there is none."""
    if unsettled is None:
        return ""
    key = "scan.unsettled" if scans else "scan.settled"
    return words(key, chance=words.percent(unsettled))


def scan_list(
    unsettled: float | None, scans: Sequence[ScanAsked], words: Wording, shown: int
) -> PrintedList:
    """Return the first stations to scan, for a page, and how many more there are."""
    stations = [tuple(rows) for _, rows in groupby(scans, key=attrgetter("place"))]
    more = len(stations) - shown
    rest = words.counted("more.workbook", more) if more > 0 else ""
    return printed_list(
        words, _PRINTED, stations[:shown], title=words("scan.title"), note=rest,
        nothing=scan_line(unsettled, scans, words) or NOTHING,
    )  # fmt: skip
