"""What each source system of the invented chain writes: headings with the value under each."""

from collections.abc import Callable, Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.demo.air import CHANNELS
from pipeline.demo.records import Cell, Level, Scan

# The records differ by kind; a column is only ever asked about its own kind.
Value = Callable[[Any], Cell]
Column = tuple[str, Value]
RAW_ZERO_DBM = -100.0
RAW_DB_PER_STEP = 0.5
RAW_SCALE = "ed half-decibel"  # the name under [scales] in the demo's rules file
_EAST_ZONE = ZoneInfo("Europe/Warsaw")


def _spaced(channels: tuple[int, ...]) -> str:
    return " ".join(map(str, channels))


def with_offset(moment: datetime) -> str:
    """Return a moment of region East with its UTC offset, ISO 8601."""
    return moment.replace(tzinfo=_EAST_ZONE).isoformat()


def magnitude(level: Level) -> Cell:
    """Return a level as the positive number some systems write for it."""
    return -level if isinstance(level, int) else level


def raw(level: Level) -> Cell:
    """Return a level as the 0-255 value of a radio with half-decibel steps."""
    if not isinstance(level, int):
        return level
    return round((level - RAW_ZERO_DBM) / RAW_DB_PER_STEP)


def _level_of(channel: int, write: Callable[[Level], Cell]) -> Value:
    def value(scan: Scan) -> Cell:
        index = channel - CHANNELS[0]
        return write(scan.levels[index]) if index < len(scan.levels) else None

    return value


STORES: tuple[Column, ...] = (
    ("Store", lambda s: s.plan.store),
    ("Store name", lambda s: s.plan.name),
    ("Region", lambda s: s.plan.region.name),
    ("Country", lambda s: s.plan.region.country),
    ("Store type", lambda s: s.plan.store_type),
    ("Time zone", lambda s: s.plan.region.time_zone),
    ("Opens", lambda s: s.plan.opens),
    ("Closes", lambda s: s.plan.closes),
)
STATIONS: tuple[Column, ...] = (
    ("Store", lambda s: s.store),
    ("Station", lambda s: s.station),
    ("Station name", lambda s: s.name),
    ("Mounted", lambda s: s.mounted),
    ("Floor", lambda s: s.floor),
    ("x m", lambda s: s.x_m),
    ("y m", lambda s: s.y_m),
    ("Channel", lambda s: s.channel),
    ("PAN ID", lambda s: f"0x{s.pan_id:04X}"),
    ("TX power dBm", lambda s: s.tx_power_dbm),
    ("EUI-64", lambda s: s.eui64),
    ("IP address", lambda s: s.ip_address),
    ("Port", lambda s: s.port),
    ("Firmware", lambda s: s.firmware),
    ("Hardware", lambda s: s.hardware),
    ("Connected", lambda s: s.connected),
)
LABELS: tuple[Column, ...] = (
    ("Store", lambda r: r.store),
    ("Label", lambda r: r.label),
    ("Station", lambda r: r.station),
    ("Label level dBm", lambda r: r.level_dbm),
    ("Stations heard", lambda r: r.stations_heard),
    ("Success %", lambda r: r.success_pct),
    ("Last heard", lambda r: r.last_heard_on),
    ("Updates per day", lambda r: r.updates_per_day),
    ("Payload octets", lambda r: r.payload_octets),
    ("Listens on", lambda r: _spaced(r.channels)),
)
WIFI: tuple[Column, ...] = (
    ("Store", lambda r: r.store),
    ("Heard at", lambda r: r.station),
    ("Network", lambda r: r.network),
    ("Wi-Fi channel", lambda r: r.wifi_channel),
    ("Width MHz", lambda r: r.width_mhz),
    ("Secondary", lambda r: r.secondary),
    ("Level dBm", lambda r: r.level_dbm),
    ("Utilisation %", lambda r: r.utilisation_pct),
)
HEARD: tuple[Column, ...] = (
    ("Store", lambda r: r.store),
    ("Listening station", lambda r: r.station),
    ("Heard station", lambda r: r.neighbour),
    ("Level dBm", lambda r: r.level_dbm),
)
# One row for each reading: the rows are (scan, channel, level).
ED_LONG: tuple[Column, ...] = (
    ("Store", lambda r: r[0].store),
    ("Station", lambda r: r[0].station),
    ("Scanned at", lambda r: r[0].scanned_at),
    ("Channel", lambda r: r[1]),
    ("Level dBm", lambda r: r[2]),
    ("Statistic", lambda _: "single"),
    ("Dwell ms", lambda _: 0.128),
    ("Own stations quiet", lambda r: r[0].own_quiet),
)
_ED_MITTE: tuple[Column, ...] = (
    ("Filiale", lambda s: s.store),
    ("Basisstation", lambda s: s.station),
    ("Zeitpunkt", lambda s: s.scanned_at),
    ("Einheit", lambda _: "-dBm"),
    ("Messdauer ms", lambda _: 0.128),
    ("Eigene Stationen stumm", lambda s: s.own_quiet),
    *((f"Kanal {c}", _level_of(c, magnitude)) for c in CHANNELS),
)
_ED_EAST: tuple[Column, ...] = (
    ("Site", lambda s: s.store),
    ("Base station", lambda s: s.station),
    ("Timestamp", lambda s: with_offset(s.scanned_at)),
    ("Unit", lambda _: "raw"),
    ("Own stations quiet", lambda s: s.own_quiet),
)
_RAW_CHANNELS: tuple[Column, ...] = tuple((f"ch{c}", _level_of(c, raw)) for c in CHANNELS)
ED_EAST_NAMED: tuple[Column, ...] = (*_ED_EAST, ("Scale", lambda _: RAW_SCALE), *_RAW_CHANNELS)
ED_EAST: tuple[Column, ...] = (
    *_ED_EAST,
    ("Scale zero dBm", lambda _: RAW_ZERO_DBM),
    ("Scale dB per step", lambda _: RAW_DB_PER_STEP),
    *_RAW_CHANNELS,
)


def _renamed(columns: tuple[Column, ...], headings: Mapping[str, str]) -> tuple[Column, ...]:
    return tuple((headings.get(heading, heading), value) for heading, value in columns)


_GERMAN = MappingProxyType(
    {
        "Store": "Filiale",
        "Store name": "Filialname",
        "Region": "Gebiet",
        "Country": "Land",
        "Store type": "Filialtyp",
        "Time zone": "Zeitzone",
        "Opens": "Öffnet",
        "Closes": "Schließt",
        "Station": "Basisstation",
        "Station name": "Bezeichnung",
        "Mounted": "Montageort",
        "Floor": "Etage",
        "Channel": "Funkkanal",
        "TX power dBm": "Sendeleistung dBm",
        "EUI-64": "Hardwareadresse",
        "IP address": "IP-Adresse",
        "Hardware": "Baureihe",
        "Connected": "Verbunden",
        "Label": "Etikett",
        "Label level dBm": "Pegel dBm",
        "Stations heard": "Gehörte Stationen",
        "Success %": "Erfolg %",
        "Last heard": "Zuletzt gehört",
        "Updates per day": "Updates pro Tag",
        "Payload octets": "Nutzlast Oktette",
        "Listens on": "Hört auf",
        "Heard at": "Basisstation",
        "Network": "Netz",
        "Wi-Fi channel": "WLAN-Kanal",
        "Width MHz": "Breite MHz",
        "Secondary": "Zweitkanal",
        "Level dBm": "Pegel dBm",
        "Utilisation %": "Auslastung %",
        "Listening station": "Hörende Station",
        "Heard station": "Gehörte Station",
    }
)
# This region's own words are not among the shipped headings; the rules file explains them.
_POLISH = MappingProxyType({"Channel": "Kanał radiowy", "Mounted": "Miejsce montażu"})
ENGLISH = MappingProxyType(
    {
        "stores": STORES,
        "stations": STATIONS,
        "labels": LABELS,
        "wifi": WIFI,
        "heard": HEARD,
        "ed_readings": ED_LONG,
    }
)
GERMAN = MappingProxyType(
    {
        "stores": _renamed(STORES, _GERMAN),
        # This system writes the PAN ID as a decimal number.
        "stations": tuple(
            (heading, (lambda s: s.pan_id) if heading == "PAN ID" else value)
            for heading, value in _renamed(STATIONS, _GERMAN)
        ),
        "labels": _renamed(LABELS, _GERMAN),
        "wifi": _renamed(WIFI, _GERMAN),
        "heard": _renamed(HEARD, _GERMAN),
        "ed_readings": _ED_MITTE,
    }
)
POLISH = MappingProxyType(
    {
        "stores": STORES,
        "stations": _renamed(STATIONS, _POLISH),
        "labels": LABELS,
        "wifi": WIFI,
        "heard": HEARD,
        "ed_readings": ED_EAST,
    }
)
