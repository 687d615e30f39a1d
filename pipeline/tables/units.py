"""Find the unit that a heading ends in, such as `TX power (mW)`, and the words before it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

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
