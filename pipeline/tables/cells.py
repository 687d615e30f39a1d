"""How cells of an export may be written: values, addresses, units, countries and time zones.

Sources: ISO 3166-1 and the tz database from the package tzdata; names of countries, codes of three
letters and other systems' names of zones from Unicode CLDR by way of the package babel.
"""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from types import MappingProxyType
from zoneinfo import available_timezones

from babel import Locale, UnknownLocaleError
from babel.core import get_global
from babel.languages import get_official_languages
from netaddr import AddrFormatError, IPAddress

from pipeline.tables.declare import CellForm

_MARK = "decimal point or comma and the marks between thousands, the same throughout a file"

TEXT = CellForm("text", "any text without control characters", ("A-7 North",))
COUNTRY = CellForm(
    "country",
    "the two or three letters of ISO 3166-1, UK, or the name in English, German or a language of "
    "the country",
    ("DE", "pl", "DEU", "UK", "Germany", "Polska", "Österreich"),
)
TIME_ZONE = CellForm(
    "time zone",
    "a name of the tz database in any case, or another system's name that Unicode CLDR lists; an "
    "offset such as GMT+1 is none",
    ("Europe/Berlin", "europe/berlin", "W. Europe Standard Time"),
)
TIME = CellForm(
    "time of day",
    "hours and minutes, seconds if need be; noon, or midnight: 0:00 where a store opens, 24:00 "
    "where it closes; 24/7 in both columns of a store that never closes",
    ("08:00", "8.30", "24:00", "2200", "8 am", "midnight", "24/7"),
)
DAY = CellForm(
    "day",
    "year first, or day and month in one order throughout a file; also with the month's English "
    "name, or a spreadsheet's serial number; a line `Exported on: 2026-09-30` above the headings "
    "does for a whole file",
    ("2026-09-30", "30.09.2026", "30/09/2026", "20260930"),
)
MOMENT = CellForm(
    "moment",
    "a day with a time of day, with AM or PM too; UTC where it states an offset or counts seconds "
    "or milliseconds of the epoch, else the store's own clock; also a spreadsheet's serial number; "
    "day and time of day may have a column each",
    ("2026-09-30 14:05:00", "30.09.2026 14:05", "2026-09-30T14:05:00+02:00"),
)
WHOLE = CellForm("whole number", "digits, without a fraction", ("20",))
NUMBER = CellForm("number", _MARK, ("20", "20.5", "20,5"))
POSITION = CellForm(
    "position",
    "a number in metres or in the unit of its heading, or with m or cm behind it; a line "
    "`Positions: cm`, also mm, ft or m, above the headings says the unit of bare numbers, and must "
    "where half of a store's stations would lie more than 100 m from its middle",
    ("20", "20.5", "20 m", "2050 cm"),
)
LEVEL = CellForm("level", f"dBm; {_MARK}", ("-70", "-70.5", "-70,5"))
POWER = CellForm("power", f"dBm; {_MARK}", ("0", "4.5", "4,5"))
READING = CellForm(
    "reading",
    "dBm, -dBm (magnitudes) or raw 0 to 255 on a scale, as its unit says",
    ("-70", "-70.5"),
)
PERCENT = CellForm(
    "percent",
    "a number from 0 to 100, with or without a percent sign; where all are below 1, a line "
    "`Shares: 0..1` or `Shares: %` above the headings must say which they are",
    ("97", "97.5%"),
)
CHANNEL = CellForm(
    "channel",
    "an IEEE 802.15.4 channel of the 2.4 GHz band, 11 to 26; hex after 0x or before h, and "
    "throughout a file in which letters occur (B, F, 1A); where that does not tell it, a line "
    "`Channels: hex` or `Channels: decimal` above the headings does",
    ("20", "ch 15", "0x0F", "15 (2425 MHz)", "2425 MHz"),
)
CHANNELS = CellForm(
    "channels",
    "channels with blanks or any of , ; / | + between them",
    ("11 15 20", "20,11", "11/26", "0x0B 0x0F"),
)
FLOOR = CellForm(
    "floor",
    "a whole number, 0 for the ground floor, or its usual name in English, German or Polish",
    ("0", "-1", "ground floor", "1. OG"),
)
PAN_ID = CellForm(
    "PAN ID",
    "four hex digits, with 0x or without, or a number up to 65535; digits alone are read as the "
    "file's other PAN IDs are; where all have four digits, a line `PAN IDs: hex` or "
    "`PAN IDs: decimal` above the headings must say which",
    ("0x1A2B", "1a2b", "47110"),
)
EUI64 = CellForm(
    "EUI-64",
    "hex digits, most significant first, bare or parted by any of : - . (an EUI-48 too)",
    ("00005eef10000001", "00-00-5E-EF-10-00-00-01", "00:00:5e:ef:10:00:00:01"),
)
IP_ADDRESS = CellForm("IP address", "IPv4 or IPv6", ("192.0.2.7", "2001:db8::7"))
PORT = CellForm("port", "a whole number from 1 to 65535", ("8080",))
FLAG = CellForm(
    "yes or no",
    "yes, no, true, false, 1, 0, on, off, online, offline, or yes and no in another language "
    "of the exports",
    ("yes", "0", "ja", "nie"),
)
STATUS = CellForm(
    "status",
    "planned, installed or removed, or place for a place on a walk with a receiver; the same in "
    "another language of the exports; a column that says whether stations are connected may say it",
    ("planned", "geplant", "removed", "place"),
)
STATISTIC = CellForm(
    "statistic",
    "single, max or mean, or the same in German or Polish; empty is single",
    ("single", "peak", "Mittelwert"),
)
UNIT = CellForm("unit", "dBm, -dBm for magnitudes, or raw", ("dBm",))
WIDTH = CellForm("width", "20, 22 or 40; empty is 20", ("20", "22", "40"))
WIFI_CHANNEL = CellForm("Wi-Fi channel", "1 to 14, or its frequency in MHz", ("6",))
SECONDARY = CellForm(
    "secondary channel",
    "above or below, upper or lower, +1 or -1, or none; the same in German or Polish",
    ("above", "-1", "unten"),
)

FORMS = (
    TEXT, WHOLE, NUMBER, POSITION, PERCENT, FLAG, DAY, MOMENT, TIME, TIME_ZONE, COUNTRY, FLOOR,
    CHANNEL, CHANNELS, PAN_ID, LEVEL, POWER, READING, UNIT, STATISTIC, EUI64, IP_ADDRESS, PORT,
    WIFI_CHANNEL, WIDTH, SECONDARY, STATUS,
)  # fmt: skip


_SPELT: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "dBm": ("dbm",),
        "-dBm": ("-dbm", "minus dbm", "minusdbm"),
        "raw": ("raw", "0-255", "0..255", "roh", "rohwert"),
        "mW": ("mw", "milliwatt", "milliwatts"),
        "m": ("m", "metre", "metres", "meter", "meters"),
        "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters", "zentimeter"),
        "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
        "ft": ("ft", "foot", "feet"),
        "s": ("s", "sec", "secs", "second", "seconds", "sekunden"),
        "ms": ("ms", "msec", "millisecond", "milliseconds", "millisekunden"),
        "us": ("us", "usec", "microsecond", "microseconds", "mikrosekunden"),
        "%": ("%", "pct", "percent", "per cent", "prozent"),
        "0..1": ("0..1", "0-1", "0 to 1", "0 - 1", "fraction", "ratio"),
        "octets": ("octet", "octets", "oktett", "oktette", "byte", "bytes", "b", "bajty", "バイト"),
        "kB": ("kb", "kbyte", "kbytes", "kilobyte", "kilobytes"),
        "KiB": ("kib", "kibibyte", "kibibytes"),
        "MHz": ("mhz", "megahertz"),
        "UTC": ("utc", "gmt", "zulu"),
        "local": ("local", "local time", "store time", "ortszeit"),
        "hex": ("hex", "hexadecimal", "hexadezimal", "0x"),
        "decimal": ("dec", "decimal", "dezimal"),
    }
)
# Units that no field takes: a heading in one of them is refused, not passed over.
_FOREIGN = (
    "W", "uW", "nW", "dBW", "dB", "dBuV", "dBmV", "dBuV/m", "km", "in", "inch", "yd", "ns", "min",
    "h", "Hz", "kHz", "GHz", "MB", "MiB", "bit", "bits", "kbit", "CET", "CEST", "MEZ", "MESZ",
    "BST", "WET", "WEST", "EET", "EEST", "EST", "EDT", "CST", "CDT", "MST", "MDT", "PST", "PDT",
    "JST", "IST",
)  # fmt: skip
_UNITS: Mapping[str, str] = {form: unit for unit, forms in _SPELT.items() for form in forms} | {
    unit.lower(): unit for unit in _FOREIGN
}
_ALIKE = str.maketrans({"µ": "u", "\u03bc": "u", "\u2212": "-", "\u2013": "-", "\u00a0": " "})
_OFFSET = re.compile(r"(?:utc|gmt) ?[-+] ?\d{1,2}(?::?\d\d)?")
_BRACKETED = re.compile(r"(?P<base>.*?\S)\s*[(\[{]\s*(?:in )?(?P<unit>[^()\[\]{}]+?)\s*[)\]}]\s*")
_TRAILING = re.compile(
    r"(?P<base>.+?)(?:[\s_.,:/]+(?:-\s+)?|(?<=\S)-)(?P<unit>[^\s_()\[\]{}]+?)\s*"
)
_PERCENT = re.compile(r"(?P<base>.*?\S)\s*(?P<unit>%)\s*")

FACTORS: Mapping[str, float] = MappingProxyType(
    {"-dBm": -1, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "s": 1000, "us": 0.001, "0..1": 100,
     "kB": 1000, "KiB": 1024}
)  # fmt: skip
"""What a number is multiplied by to be in the unit of its field: dBm, m, ms, % or octets.

Sources: the international foot of 1959 is 0.3048 m exactly; k is 1000 (SI), Ki 1024 (IEC 80000-13).
A unit that is not listed is the field's own, or is converted by a rule of its own.
"""
# Names in wide use that CLDR has no more, or never had.
_ALSO: Mapping[str, str] = MappingProxyType(
    {
        "Great Britain": "GB", "Großbritannien": "GB", "England": "GB", "Scotland": "GB",
        "Wales": "GB", "Northern Ireland": "GB", "Republic of Ireland": "IE", "Holland": "NL",
        "The Netherlands": "NL", "Czech Republic": "CZ", "Tschechische Republik": "CZ",
        "Česká republika": "CZ", "Slovak Republic": "SK", "Turkey": "TR",
        "United States of America": "US", "Vereinigte Staaten von Amerika": "US",
    }
)  # fmt: skip
_TWO, _THREE = 2, 3  # letters of a country's codes
# Names of the tz database that stand for no place: the machine's own clock, and none at all.
_NO_ZONES = frozenset({"Factory", "localtime", "posixrules"})


@dataclass(frozen=True, slots=True)
class SplitHeading:
    """A heading's words without their unit, and the unit; empty where it names none."""

    base: str
    unit: str


@lru_cache(maxsize=4096)
def split_heading(heading: str) -> SplitHeading:
    """Return the words of a heading and the unit behind them, in brackets or bare."""
    text = heading.casefold().translate(_ALIKE)
    for form in (_BRACKETED, _TRAILING, _PERCENT):
        match = form.fullmatch(text)
        unit = match and unit_named(match["unit"])
        if match and unit:
            return SplitHeading(re.sub(r"[\s_]+in$", "", match["base"]), unit)
    return SplitHeading(heading, "")


def unit_within(heading: str) -> str:
    """Return the last unit among all words of a heading; one of a letter counts at the end only."""
    words = [" ".join(heading.split()[: n + 1]) for n in range(len(heading.split()))]
    found = [split_heading(each) for each in (*words, heading)]
    return next((each.unit for each in reversed(found) if len(each.unit) > 1), found[-1].unit)


def unit_named(written: str) -> str:
    """Return the unit that a word in lower case names; empty where it names none."""
    spaced = " ".join(written.split())
    if _OFFSET.fullmatch(spaced):
        return spaced.upper()
    return _UNITS.get(spaced, "")


def said_unit(unit: str) -> str:
    """Return a unit as people write it."""
    return re.sub(r"^(dB)?u(?=[A-Zs])", r"\1µ", unit)


BLANKS = re.compile(r"[\s\u200b-\u200d\u2060\ufeff]+")
"""Blanks, and invisible characters of no width: these separate nothing, and people see neither."""
_HARDWARE = re.compile(r"[0-9a-f]{12}|[0-9a-f]{16}")


def ip_address(written: str) -> IPAddress | None:
    """Return the address, whatever its notation; none where the text is none."""
    try:
        return IPAddress(written, flags=0)
    except (AddrFormatError, ValueError, TypeError):
        return None


def hardware_address(key: str) -> str | None:
    """Return the lower-case hex digits of an EUI-48 or EUI-64 in any notation; else None.

    All digits 0, or all F, stand for no address.
    """
    digits = re.sub(r"[-:.]", "", BLANKS.sub("", key)).lower().removeprefix("0x")
    if not _HARDWARE.fullmatch(digits) or set(digits) in ({"0"}, {"f"}):
        return None
    return digits


def network_address(key: str) -> str | None:
    """Return an IP address in canonical form; None where it is none of one device."""
    address = ip_address(BLANKS.sub("", key)) if re.search(r"[.:]", key) else None
    if address is None or not int(address) or address.is_loopback():
        return None
    return str(address)


def country_code(written: str) -> str | None:
    """Return the two letters of ISO 3166-1 of a country's code or name; none where it has none.

    Names are known in English, German and the country's own languages.
    """
    bare = written.replace(".", "").strip().upper()
    if len(bare) == _TWO and bare.isascii():
        code = "GB" if bare == "UK" else bare
        return code if code in _countries() else None
    if len(bare) == _THREE and bare.isascii():
        codes = get_global("territory_aliases").get(bare, ())
        found = [code for code in codes if code in _countries()]
        return found[0] if len(found) == 1 else None
    return _country_names().get(_plain(written))


def zone_name(written: str) -> str | None:
    """Return the tz database's name of a zone, whatever its case or system; none where unknown.

    An offset such as GMT+1 names no zone: it does not say when clocks change.
    """
    return _zone_names().get(" ".join(written.split()).casefold())


def country_cells(cells: Iterable[str]) -> dict[str, str]:
    """Return the code of each cell that is a country."""
    return {cell: code for cell in cells if (code := country_code(cell)) is not None}


def zone_cells(cells: Iterable[str]) -> dict[str, str]:
    """Return the zone of each cell that is one."""
    return {cell: zone for cell in cells if (zone := zone_name(cell)) is not None}


@cache
def time_zones() -> list[str]:
    """Return the zones of the tz database, in the order of their names."""
    return sorted(available_timezones() - _NO_ZONES)


def _plain(name: str) -> str:
    """Return a name without case, accents and marks: `Österreich` and `OSTERREICH` are alike."""
    parts = unicodedata.normalize("NFKD", name.casefold().replace("&", " and "))
    letters = (c if c.isalnum() else " " for c in parts if not unicodedata.combining(c))
    return " ".join("".join(letters).split())


@cache
def _countries() -> frozenset[str]:
    text = files("tzdata.zoneinfo").joinpath("iso3166.tab").read_text("utf-8")
    return frozenset(line[:2] for line in text.splitlines() if not line.startswith("#"))


@cache
def _country_names() -> Mapping[str, str]:
    names: dict[str, str] = {_plain(name): code for name, code in _ALSO.items()}
    for code in sorted(_countries()):
        own = get_official_languages(code, de_facto=True)
        for language in ("en", "de", *own):
            try:
                name = Locale.parse(language).territories.get(code)
            except UnknownLocaleError:
                continue
            if name:
                names.setdefault(_plain(name), code)
    return names


@cache
def _zone_names() -> Mapping[str, str]:
    others = {
        name.casefold(): zone
        for name, zone in get_global("windows_zone_mapping").items()
        if zone in time_zones() and not zone.startswith("Etc/")
    }
    own = {name.casefold(): name for name in time_zones()}
    return others | {name.replace("_", " "): zone for name, zone in own.items()} | own
