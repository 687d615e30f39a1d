"""Every word, number, unit and date a report prints, in one place and per language.

The texts are data: `texts_<language>.toml`, and `region_texts_<language>.toml` and the like for one
kind of report. A further language is a further set of files.
"""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

_HERE = Path(__file__).resolve().parent
NOTHING = "\N{EN DASH}"
FIXED_SPACE = "\N{NO-BREAK SPACE}"
ARROW = "\N{RIGHTWARDS ARROW}"
MINUS = "\N{MINUS SIGN}"

_DEFAULT_LANGUAGE = "en"
_LANGUAGES = {"DE": "de", "AT": "de", "CH": "de", "LI": "de"}
# How days are written where people read numbers only (from memory: Unicode CLDR, short dates).
_DOTTED, _SLASHED, _DASHED = "{d:02}.{m:02}.{y}", "{d:02}/{m:02}/{y}", "{d:02}-{m:02}-{y}"
_WORDED, _WORDED_US = "{d} {month} {y}", "{month} {d}, {y}"
_ISO = "{y}-{m:02}-{d:02}"
_CUSTOMS = (
    # English-speaking readers get the month as a word: 03/04 means two days to them.
    (_WORDED, ("GB", "IE", "AU", "NZ", "ZA")),
    (_WORDED_US, ("US",)),
    (_DOTTED, ("DE", "AT", "CH", "LI", "PL", "CZ", "SK", "RO", "BG", "NO", "FI", "EE", "LV", "UA")),
    (_SLASHED, ("FR", "BE", "LU", "ES", "IT", "PT", "GR")),
    (_DASHED, ("NL", "DK", "IN")),
)
_DAY_PATTERNS = {country: pattern for pattern, countries in _CUSTOMS for country in countries}
# The same days as a spreadsheet shows them.
_CELL_PATTERNS = {
    _DOTTED: "dd.mm.yyyy",
    _SLASHED: "dd/mm/yyyy",
    _DASHED: "dd-mm-yyyy",
    _WORDED: "d mmm yyyy",
    _WORDED_US: "mmm d, yyyy",
    _ISO: "yyyy-mm-dd",
}


@dataclass(frozen=True, slots=True)
class Wording:
    """The texts of one language with the number and date habits of one country."""

    language: str
    country: str | None
    texts: Mapping[str, str]

    def __call__(self, key: str, **values: object) -> str:
        """Return a text with its blanks filled in."""
        return self.texts[key].format(**values)

    def counted(self, key: str, count: int, **values: object) -> str:
        """Return the text for one or for several: `key.one` or `key.other`."""
        form = "one" if count == 1 else "other"
        return self(f"{key}.{form}", n=self.number(count), **values)

    def number(self, value: float | None, decimals: int = 0) -> str:
        """Return a number with the language's own marks; a dash for None."""
        if value is None:
            return NOTHING
        text = f"{abs(value):,.{decimals}f}"
        marks = {",": self.texts["number.thousands"], ".": self.texts["number.decimal"]}
        sign = MINUS if value < 0 and text.strip("0.,") else ""
        return sign + "".join(marks.get(letter, letter) for letter in text)

    def percent(self, share: float | None, digits: int = 0) -> str:
        """Return a share 0..1 as per cent, whole unless digits are asked for."""
        if share is None:
            return NOTHING
        shown = self.number(whole(share)) if digits == 0 else self.number(100 * share, digits)
        return f"{shown}{FIXED_SPACE}%"

    def change(self, before: float | None, after: float | None) -> str:
        """Return two shares 0..1 as one expression: 61 to 83 %."""
        if before is None or after is None or whole(before) == whole(after):
            return self.percent(before if after is None else after)
        return f"{self.number(whole(before))} {ARROW} {self.percent(after)}"

    def counts(self, before: int, after: int) -> str:
        """Return two counts as one expression: 7 to 1."""
        if before == after:
            return self.number(before)
        return f"{self.number(before)} {ARROW} {self.number(after)}"

    def level(self, level_dbm: float | None) -> str:
        """Return a level with its unit."""
        return NOTHING if level_dbm is None else f"{self.number(level_dbm)}{FIXED_SPACE}dBm"

    def day(self, day: date | None) -> str:
        """Return a day as people of the country write it."""
        if day is None:
            return NOTHING
        month = self.texts["month.short"].split()[day.month - 1]
        return self._day_pattern().format(d=day.day, m=day.month, y=day.year, month=month)

    def day_cells(self) -> str:
        """Return the number format by which a spreadsheet shows days as `day` writes them."""
        return _CELL_PATTERNS[self._day_pattern()]

    def _day_pattern(self) -> str:
        return _DAY_PATTERNS.get(self.country or "", _ISO)

    def moment(self, at: datetime | None) -> str:
        """Return a day and a time of day."""
        return NOTHING if at is None else f"{self.day(at.date())} {at:%H:%M}"

    def channels(self, before: int | None, after: int | None) -> str:
        """Return a change of channel as one expression: 15 to 25."""
        return f"{self.channel(before)} {ARROW} {self.channel(after)}"

    def channel(self, channel: int | None) -> str:
        """Return a channel number; a dash where there is none."""
        return NOTHING if channel is None else str(channel)


def whole(share: float) -> int:
    """Return a share 0..1 in whole per cent; never 0 or 100 for what is neither."""
    percent = round(share * 100)
    if percent == 0 and share > 0:
        return 1
    return 99 if percent == 100 and share < 1 else percent  # noqa: PLR2004 - per cent


def wording(country: str | None) -> Wording:
    """Return the wording for a store of a country; English where no other is shipped."""
    language = _LANGUAGES.get(country or "", _DEFAULT_LANGUAGE)
    return Wording(language, country, texts(language))


def languages() -> tuple[str, ...]:
    """Return the languages shipped."""
    return tuple(sorted(path.stem.removeprefix("texts_") for path in _HERE.glob("texts_*.toml")))


@cache
def texts(language: str) -> Mapping[str, str]:
    """Return the texts of a language by dotted key."""
    found: dict[str, str] = {}
    for file in sorted(_HERE.glob(f"*texts_{language}.toml")):
        found.update(_flat("", tomllib.loads(file.read_text(encoding="utf-8"))))
    return MappingProxyType(found)


def _flat(prefix: str, table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for key, value in table.items():
        if isinstance(value, str):
            yield prefix + key, value
        else:
            yield from _flat(f"{prefix}{key}.", value)
