"""What exports say, row by row, and what became of every file.

A column that a field of an export fills is declared with `exported`: how its cells may be written,
and the headings it goes by, lower case, the template's first. `headings.csv` has more of them, a
column a language; words of a row with `unit` needed count only with a unit behind them. A column
that reports show says what they call it there.
"""

import csv
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from functools import cache
from pathlib import Path
from typing import Any

from pipeline.tables.cells import (
    CHANNEL,
    CHANNELS,
    COUNTRY,
    DAY,
    EUI64,
    FLAG,
    FLOOR,
    IP_ADDRESS,
    LEVEL,
    MOMENT,
    NUMBER,
    PAN_ID,
    PERCENT,
    PORT,
    POSITION,
    POWER,
    READING,
    SECONDARY,
    STATISTIC,
    STATUS,
    TEXT,
    TIME,
    TIME_ZONE,
    UNIT,
    WHOLE,
    WIDTH,
    WIFI_CHANNEL,
)
from pipeline.tables.declare import ExportField, column, exported, table, table_of
from pipeline.tables.taken import NetworkSeen

_STORE = ("store", "store id", "site", "filiale", "filialnummer")
_STATION = ("station", "station id", "base station", "basisstation")
_SEEN_ON = ("exported on", "as of", "snapshot", "stand")
# The units that headings of such fields may end in, the field's own first.
_NO_UNIT: tuple[str, ...] = ()
_CLOCK = ("local",)
_NO_LANGUAGES = {"kinds", "field", "unit"}
LENGTHS = ("m", "cm", "mm", "ft")
_LEVELS = ("dBm", "-dBm")
_SHARES = ("%", "0..1")
_NUMERALS = ("decimal", "hex")
_FREQUENCY = ("frequency", "centre frequency", "center frequency", "frequenz", "mittenfrequenz")


@table("store_seen")
class StoreSeen:
    """What a stores export said about a store on a day: a set, no row twice."""

    store: str = exported(
        "the store's key", TEXT, "store", "store id", "store no", "site", "filiale",
        "filialnummer", "markt", needed="yes",
    )  # fmt: skip
    seen_on: date = exported("day of the export", DAY, *_SEEN_ON)
    name: str | None = exported(
        "name for people; the key without one", TEXT, "store name", "name", "bezeichnung",
        "filialname", needed="mixed",
    )  # fmt: skip
    region: str | None = exported(
        "region of the chain; 'no region' without one", TEXT, "region", "area", "gebiet",
        needed="mixed",
    )  # fmt: skip
    country: str | None = exported(
        "country; without one no public holidays", COUNTRY, "country", "land", needed="mixed"
    )
    store_type: str | None = exported(
        "kind of store, in the chain's own words; without one no type's rules hold", TEXT,
        "store type", "type", "format", "filialtyp", needed="mixed",
    )  # fmt: skip
    time_zone: str | None = exported(
        "time zone of its clocks; without one UTC is taken for its time", TIME_ZONE, "time zone",
        "timezone", "zeitzone", needed="mixed",
    )  # fmt: skip
    opens: time | None = exported(
        "start of trading, by the store's clock", TIME, "opens", "öffnet", units=_CLOCK
    )
    closes: time | None = exported(
        "end of trading, by the store's clock", TIME, "closes", "schließt", units=_CLOCK
    )
    site: str | None = exported(
        "building it shares with others, as a shopping centre: these are planned together", TEXT,
        "shared site", "gemeinsamer standort", since=7,
    )  # fmt: skip


@table("station_seen")
class StationSeen:
    """What a stations export said about a base station on a day: a set, no row twice."""

    store: str = exported("the store's key", TEXT, *_STORE, needed="yes")
    station: str = exported("the station's key within its store", TEXT, *_STATION, needed="yes")
    seen_on: date = exported("day of the export", DAY, *_SEEN_ON)
    name: str | None = exported("name for people", TEXT, "station name", "name", "bezeichnung")
    mounted: str | None = exported(
        "where it hangs, in words", TEXT, "mounted", "location", "montageort"
    )
    floor: int | None = exported(
        "floor; 0 is the ground floor", FLOOR, "floor", "etage", units=_NO_UNIT,
        shown={"en": "Floor", "de": "Ebene"},
    )  # fmt: skip
    x_m: float | None = exported(
        "position east of the plan's origin", POSITION, "x m", "x", units=LENGTHS,
        bases=("position x", "pos x", "x position"), shown={"en": "x, m", "de": "x, m"},
    )  # fmt: skip
    y_m: float | None = exported(
        "position north of the plan's origin", POSITION, "y m", "y", units=LENGTHS,
        bases=("position y", "pos y", "y position"), shown={"en": "y, m", "de": "y, m"},
    )  # fmt: skip
    channel: int | None = exported(
        "channel it is set to: 11 to 26, or 0 or 255 where none is set", CHANNEL, "channel",
        "radio channel", "kanal", "funkkanal", needed="set", units=(*_NUMERALS, "MHz"),
        bases=_FREQUENCY,
    )  # fmt: skip
    pan_id: int | None = exported(
        "identifier of its network, 0 to 65535", PAN_ID, "pan id", units=_NUMERALS,
        shown={"en": "PAN ID", "de": "PAN-ID"},
    )  # fmt: skip
    tx_power_dbm: float | None = exported(
        "transmit power", POWER, "tx power dbm", "power dbm", "sendeleistung dbm",
        units=("dBm", "mW"), bases=("transmit power",),
        shown={"en": "Power, dBm", "de": "Leistung, dBm"},
    )  # fmt: skip
    eui64: str | None = exported(
        "hardware address in lower-case hex digits, most significant first: 16 of an EUI-64, 12 of "
        "an EUI-48", EUI64, "eui-64", "eui64", "hardware address", "hardwareadresse",
        shown={"en": "EUI-64", "de": "EUI-64"},
    )  # fmt: skip
    ip_address: str | None = exported(
        "network address, in canonical form", IP_ADDRESS, "ip address", "ip", "ip-adresse",
        shown={"en": "IP address", "de": "IP-Adresse"},
    )  # fmt: skip
    port: int | None = exported(
        "port at its network address", PORT, "port", units=_NO_UNIT,
        shown={"en": "Port", "de": "Port"},
    )  # fmt: skip
    firmware: str | None = exported(
        "firmware version", TEXT, "firmware",
        shown={"en": "Firmware", "de": "Firmware"},
    )  # fmt: skip
    hardware: str | None = exported(
        "hardware model", TEXT, "hardware", "baureihe",
        shown={"en": "Hardware", "de": "Hardware"},
    )  # fmt: skip
    connected: bool | None = exported(
        "whether it was connected", FLAG, "connected", "online", "verbunden",
        shown={"en": "Connected", "de": "Verbunden"},
    )  # fmt: skip
    status: str | None = exported(
        "'planned', 'installed' or 'removed'; 'place': no station, but a place where a receiver "
        "scanned; installed where the export does not say", STATUS,
        "installation status", "einbaustatus", since=6, shown={"en": "Status", "de": "Status"},
    )  # fmt: skip


@table("ed_reading")
class EdReading:
    """Energy readings: a multiset.

    `readings` counts equal readings of one scan. Where exports differ in it the larger count
    stands, so a file that comes twice adds nothing.
    """

    store: str = exported("the store's key", TEXT, *_STORE, needed="yes")
    station: str = exported("the station that scanned", TEXT, *_STATION, needed="yes")
    scanned_at: datetime = exported(
        "moment of the scan", MOMENT, "scanned at", "time", "timestamp", "zeitpunkt", needed="yes",
        units=("local", "UTC"),
    )  # fmt: skip
    clock: str = column("clock of `scanned_at`: 'store' or 'utc'")
    channel: int = exported(
        "channel scanned", CHANNEL, "channel", "kanal", needed="long", units=(*_NUMERALS, "MHz"),
        bases=_FREQUENCY,
    )  # fmt: skip
    level_dbm: float = exported(
        "level heard; a file may have a column per channel instead", READING, "level dbm",
        "ed level", "level", "pegel dbm", "pegel", needed="long", name="level",
        units=(*_LEVELS, "raw"),
    )  # fmt: skip
    statistic: str = exported(
        "what a reading is: 'single' 128 us average, 'max' or 'mean' over the dwell", STATISTIC,
        "statistic", "statistik",
    )  # fmt: skip
    dwell_ms: float | None = exported(
        "time a reading stands for", NUMBER, "dwell ms", "messdauer ms", units=("ms", "s", "us"),
        bases=("dwell time",),
    )  # fmt: skip
    own_quiet: bool | None = exported(
        "whether the store's own stations kept quiet during the scan", FLAG, "own stations quiet",
        "eigene stationen stumm",
    )  # fmt: skip
    readings: int = column("how many equal readings", sql="bigint")


READING_UNITS = (
    ExportField(
        "scanned_on", "day of the scan, where its time has a column of its own", DAY, ("scan date",)
    ),
    ExportField("unit", "unit of the level", UNIT, ("unit", "einheit")),
    ExportField(
        "scale", "name of a scale of the rules file, for raw levels", TEXT, ("scale", "skala")
    ),
    ExportField("zero_dbm", "level of raw 0", LEVEL, ("scale zero dbm",), units=("dBm",)),
    ExportField(
        "db_per_step",
        "dB from one raw value to the next",
        NUMBER,
        ("scale db per step",),
        units=_NO_UNIT,
    ),
)
"""Fields of energy readings that are no column: its day, and what the level's number means."""


@table("label_seen")
class LabelSeen:
    """What a labels export said about a shelf label on a day: a set, no row twice."""

    store: str = exported("the store's key", TEXT, *_STORE, needed="yes")
    label: str = exported(
        "the label's key within its store", TEXT, "label", "label id", "etikett", needed="yes"
    )
    seen_on: date = exported("day of the export", DAY, *_SEEN_ON)
    station: str | None = exported("the station that serves it", TEXT, *_STATION, needed="yes")
    level_dbm: float | None = exported(
        "level at which it hears that station", LEVEL, "label level dbm", "level dbm", "pegel dbm",
        units=_LEVELS,
    )  # fmt: skip
    stations_heard: int | None = exported(
        "stations it can hear, that one included", WHOLE, "stations heard", "gehörte stationen",
        units=_NO_UNIT,
    )  # fmt: skip
    success_pct: float | None = exported(
        "share of updates it acknowledged", PERCENT, "success %", "success pct", "erfolg %",
        units=_SHARES,
    )  # fmt: skip
    last_heard_on: date | None = exported("day last heard", DAY, "last heard", "zuletzt gehört")
    updates_per_day: float | None = exported(
        "updates sent to it per day", NUMBER, "updates per day", "updates pro tag", units=_NO_UNIT
    )
    payload_octets: float | None = exported(
        "payload of an update", NUMBER, "payload octets", "nutzlast oktette",
        units=("octets", "kB", "KiB"),
    )  # fmt: skip
    channels: str | None = exported(
        "channels it listens on, such as '11 15 20 25'", CHANNELS, "listens on", "hört auf",
        units=_NUMERALS,
    )  # fmt: skip
    updates_sent: int | None = exported(
        "updates sent to it in the time its share is of", WHOLE, "updates sent",
        "gesendete updates", units=_NO_UNIT, since=6,
    )  # fmt: skip
    updates_acknowledged: int | None = exported(
        "of those, acknowledged at all", WHOLE, "updates acknowledged", "quittierte updates",
        units=_NO_UNIT, since=6,
    )  # fmt: skip
    acknowledged_first: int | None = exported(
        "of those, acknowledged at the first attempt", WHOLE, "acknowledged first time",
        "sofort quittiert", units=_NO_UNIT, since=6,
    )  # fmt: skip
    floor: int | None = exported(
        "floor it hangs on", FLOOR, "floor", "etage", units=_NO_UNIT, since=8
    )
    x_m: float | None = exported(
        "position east of the plan's origin", POSITION, "x m", "x", units=LENGTHS,
        bases=("position x", "pos x", "x position"), since=8,
    )  # fmt: skip
    y_m: float | None = exported(
        "position north of the plan's origin", POSITION, "y m", "y", units=LENGTHS,
        bases=("position y", "pos y", "y position"), since=8,
    )  # fmt: skip


@table("wifi_seen")
class WifiSeen:
    """A Wi-Fi network heard in a store: a set, no row twice."""

    store: str = exported("the store's key", TEXT, *_STORE, needed="yes")
    station: str | None = exported(
        "the station nearest to where it was heard; null: anywhere in the store", TEXT, "station",
        "heard at", "basisstation",
    )  # fmt: skip
    seen_on: date = exported(
        "day on which it was heard", DAY, "surveyed on", "exported on", "as of", "stand"
    )
    network: str = exported(
        "name or address of the transmitter", TEXT, "network", "bssid", "netz", needed="yes"
    )
    wifi_channel: int = exported(
        "its primary channel", WIFI_CHANNEL, "wi-fi channel", "wlan-kanal", needed="yes",
        units=("MHz",), bases=_FREQUENCY,
    )  # fmt: skip
    width_mhz: int = exported(
        "width of its channel", WIDTH, "width mhz", "breite mhz", units=("MHz",)
    )
    secondary: str | None = exported(
        "'above' or 'below': where the other half of a 40 MHz channel lies", SECONDARY,
        "secondary", "zweitkanal",
    )  # fmt: skip
    level_dbm: float | None = exported(
        "level heard", LEVEL, "level dbm", "pegel dbm", units=_LEVELS
    )
    utilisation_pct: float | None = exported(
        "share of time its channel was busy", PERCENT, "utilisation %", "utilisation pct",
        "auslastung %", units=_SHARES,
    )  # fmt: skip
    ours: bool | None = exported(
        "whether it is the shop's own network", FLAG, "own network", "eigenes netz", since=8
    )


@table("heard_seen")
class HeardSeen:
    """A level measured from station to station: a set, no row twice."""

    store: str = exported("the store's key", TEXT, *_STORE, needed="yes")
    station: str = exported(
        "the station that listened", TEXT, "listening station", "hörende station", needed="yes"
    )
    neighbour: str = exported(
        "the station it heard", TEXT, "heard station", "gehörte station", needed="yes"
    )
    seen_on: date = exported(
        "day of the measurement", DAY, "measured on", "exported on", "as of", "stand"
    )
    level_dbm: float = exported(
        "level heard", LEVEL, "level dbm", "pegel dbm", needed="yes", units=_LEVELS
    )
    neighbour_store: str | None = exported(
        "store of that station; empty: the same", TEXT, "heard store", "gehörte filiale", since=7
    )


@dataclass(frozen=True, slots=True)
class ExportKind:
    """A kind of export: the record its rows become, and its fields as the template orders them."""

    name: str
    record: type[Any]
    fields: tuple[ExportField, ...]


def _kind(name: str, record: type[Any], *more: ExportField) -> ExportKind:
    declared = [each.export for each in table_of(record).columns if each.export is not None]
    # The day of the export comes last: most files name it once, above the headings.
    declared.sort(key=lambda each: each.name == "seen_on")
    return ExportKind(name, record, tuple(_worded(name, each) for each in (*declared, *more)))


def _worded(kind: str, field: ExportField) -> ExportField:
    """Return a field with the words that `headings.csv` has for it, in every language."""
    words, bases = set[str](), set(field.bases)
    for row in _words():
        if row["field"] == field.name and kind in row["kinds"].split():
            (bases if row["unit"] == "needed" else words).update(_said(row))
    return replace(field, words=tuple(sorted(words)), bases=tuple(sorted(bases)))


def lesser_words() -> dict[str, frozenset[str]]:
    """Return words of any heading by what they say: `joining` others, a `key`, a `mean`, ..."""
    return {row["field"]: frozenset(_said(row)) for row in _words() if row["kinds"] == "any"}


def _said(row: dict[str, str]) -> set[str]:
    return {w for name in row.keys() - _NO_LANGUAGES for w in row[name].split("|") if w}


@cache
def _words() -> tuple[dict[str, str], ...]:
    with (Path(__file__).parent / "headings.csv").open(encoding="utf-8", newline="") as lines:
        return tuple(csv.DictReader(lines))


EXPORT_KINDS = (
    _kind("stores", StoreSeen),
    _kind("stations", StationSeen),
    _kind("ed_readings", EdReading, *READING_UNITS),
    _kind("labels", LabelSeen),
    _kind("wifi", WifiSeen),
    _kind("heard", HeardSeen),
    _kind("network", NetworkSeen),
)
"""Every kind of export; the order decides between kinds that a row of headings fits alike."""
