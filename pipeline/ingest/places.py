"""Countries and time zones as people and other systems name them, in the names of the standards.

Sources: ISO 3166-1 and the tz database from the package tzdata; names of countries, codes of three
letters and other systems' names of zones from Unicode CLDR by way of the package babel.
"""

import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from zoneinfo import available_timezones

from babel import Locale, UnknownLocaleError
from babel.core import get_global
from babel.languages import get_official_languages

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
