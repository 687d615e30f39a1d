"""Every word, number, unit and date people read, by language; and text from files, as it is.

`texts/<language>.toml` holds a language: its texts, its number marks, how days are written, and
the countries it serves. To add a language, add a file.
"""

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from babel import Locale
from babel.plural import PluralRule

from pipeline.tables.every import every_table

REPLACED = "\N{REPLACEMENT CHARACTER}"
"""Stands for a letter that cannot be shown."""

# Control characters, which a terminal acts on; of these XML 1.0 (section 2.2, Char) takes only
# tab, line feed and carriage return, nor does it take surrogates and the last two of the plane.
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def visible(text: str) -> str:
    """Return a text with a mark in place of each control character but tab and line feed.

    A carriage return, with a line feed or without, becomes a line feed.
    """
    return _CONTROL.sub(REPLACED, text.replace("\r\n", "\n").replace("\r", "\n"))


NOTHING = "\N{EN DASH}"
FIXED_SPACE = "\N{NO-BREAK SPACE}"
ARROW = "\N{RIGHTWARDS ARROW}"
MINUS = "\N{MINUS SIGN}"
DEFAULT_LANGUAGE = "en"

_FOLDER = Path(__file__).resolve().parent / "texts"


@dataclass(frozen=True, slots=True)
class DayStyle:
    """How days are written on paper (a format of d, m, y and month) and in spreadsheet cells."""

    paper: str
    cells: str


_ISO = DayStyle("{y}-{m:02}-{d:02}", "yyyy-mm-dd")


@dataclass(frozen=True, slots=True)
class Language:
    """A language as its file describes it; texts by dotted key, day styles by country."""

    name: str
    countries: tuple[str, ...]
    days: Mapping[str, DayStyle]
    texts: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Wording:
    """The texts of one language with the day style of one country."""

    language: str
    country: str | None
    texts: Mapping[str, str]
    days: DayStyle

    def __call__(self, key: str, **values: object) -> str:
        """Return a text with its blanks filled in."""
        return self.texts[key].format(**values)

    def counted(self, key: str, count: int, **values: object) -> str:
        """Return the text for a count: `key.one`, `key.other` or what else the language has."""
        form = f"{key}.{plural_of(self.language)(count)}"
        chosen = form if form in self.texts else f"{key}.other"
        return self(chosen, n=self.number(count), **values)

    def named(self, group: str, value: str) -> str:
        """Return the text of a value among those of a group; the value itself if it has none."""
        return self.texts.get(f"{group}.{value.replace(' ', '_')}", value)

    def group(self, name: str) -> tuple[str, ...]:
        """Return the keys of a group of texts without its name, in the order of the file."""
        start = f"{name}."
        return tuple(key.removeprefix(start) for key in self.texts if key.startswith(start))

    def tab(self, sheet: str) -> str:
        """Return what a sheet of a workbook is called; its own name if it has no text."""
        return self.texts.get(tab_key(sheet), sheet)

    def field(self, name: str) -> str:
        """Return what a field of a station is called: by its own text, else as declared."""
        own = self.texts.get(f"field.{name}")
        return own or self.texts.get(f"station_seen.{name}", name)

    def number(self, value: float | None, decimals: int = 0) -> str:
        """Return a number with the language's own marks; a dash for None."""
        if value is None:
            return NOTHING
        text = f"{abs(value):,.{decimals}f}"
        marks = {",": self.texts["number.thousands"], ".": self.texts["number.decimal"]}
        sign = MINUS if value < 0 and text.strip("0.,") else ""
        return sign + "".join(marks.get(letter, letter) for letter in text)

    def percent(self, share: float | None, digits: int = 0) -> str:
        """Return a share 0..1 as per cent, without decimals unless digits are asked for."""
        if share is None:
            return NOTHING
        shown = self.number(whole(share)) if digits == 0 else self.number(100 * share, digits)
        return f"{shown}{FIXED_SPACE}%"

    def points(self, share: float | None) -> str:
        """Return a difference of shares in points with its sign, such as +1.4."""
        shown = self.number(None if share is None else 100 * share, 1)
        return f"+{shown}" if share is not None and shown.strip("0.,") and share > 0 else shown

    def change(self, before: float | None, after: float | None) -> str:
        """Return two shares 0..1 as one expression, such as 61 → 83 %."""
        if before is None or after is None or whole(before) == whole(after):
            return self.percent(before if after is None else after)
        return f"{self.number(whole(before))} {ARROW} {self.percent(after)}"

    def counts(self, before: int, after: int) -> str:
        """Return two counts as one expression, such as 7 → 1."""
        if before == after:
            return self.number(before)
        return f"{self.number(before)} {ARROW} {self.number(after)}"

    def level(self, level_dbm: float | None) -> str:
        """Return a level with its unit."""
        return NOTHING if level_dbm is None else f"{self.number(level_dbm)}{FIXED_SPACE}dBm"

    def day(self, day: date | None) -> str:
        """Return a day as people in the country write it."""
        if day is None:
            return NOTHING
        month = self.texts["month.short"].split()[day.month - 1]
        return self.days.paper.format(d=day.day, m=day.month, y=day.year, month=month)

    def moment(self, at: datetime | None) -> str:
        """Return a day and a time of day."""
        return NOTHING if at is None else f"{self.day(at.date())} {at:%H:%M}"

    def channels(self, before: int | None, after: int | None) -> str:
        """Return a change of channel as one expression, such as 15 → 25."""
        return f"{self.channel(before)} {ARROW} {self.channel(after)}"

    def channel(self, channel: int | None) -> str:
        """Return a channel number, or a dash if there is none."""
        return NOTHING if channel is None else str(channel)


def whole(share: float) -> int:
    """Return a share 0..1 in whole per cent; 0 and 100 are kept for exactly none and all."""
    percent = round(share * 100)
    if percent == 0 and share > 0:
        return 1
    return 99 if percent == 100 and share < 1 else percent  # noqa: PLR2004 - per cent


def tab_key(sheet: str) -> str:
    """Return the key of the text that says what a sheet is called."""
    return f"tab.{sheet.lower().replace(' ', '_')}"


@cache
def plural_of(language: str) -> PluralRule:
    """Return the rule that names a count's plural category in a language (Unicode CLDR)."""
    return Locale.parse(language).plural_form


@cache
def wording(country: str | None) -> Wording:
    """Return the wording for a country, in English where no language serves it."""
    served = (code for code in languages() if country in language(code).countries)
    return worded_in(next(served, DEFAULT_LANGUAGE), country)


@cache
def worded_in(code: str, country: str | None = None) -> Wording:
    """Return the wording of a language, English if it is not shipped.

    Days are written as in the country, else as in the first one that the language serves.
    """
    chosen = code if code in languages() else DEFAULT_LANGUAGE
    found = language(chosen)
    known = (found.days[c] for c in (country or "", *found.countries[:1]) if c in found.days)
    return Wording(chosen, country, found.texts, next(known, _ISO))


@cache
def languages() -> tuple[str, ...]:
    """Return the codes of the languages shipped, such as 'en'."""
    return tuple(sorted(path.stem for path in _FOLDER.glob("*.toml")))


@cache
def language(code: str) -> Language:
    """Return a language as its file describes it."""
    tables = tomllib.loads((_FOLDER / f"{code}.toml").read_text(encoding="utf-8"))
    about, styles = tables.pop("language"), tables.pop("days")
    return Language(
        about["name"],
        tuple(about["countries"]),
        {
            c: DayStyle(style["paper"], style["cells"])
            for style in styles
            for c in style["countries"]
        },
        MappingProxyType(declared_texts(code) | dict(_flat("", tables))),
    )


def declared_texts(code: str) -> dict[str, str]:
    """Return what columns are called in a language, where their declarations say so."""
    return {
        f"{table.name}.{column.name}": column.shown[code]
        for table in every_table()
        for column in table.columns
        if code in column.shown
    }


def texts(code: str) -> Mapping[str, str]:
    """Return the texts of a language by dotted key; the English ones if it is not shipped."""
    return language(code if code in languages() else DEFAULT_LANGUAGE).texts


def _flat(prefix: str, table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for key, value in table.items():
        if isinstance(value, str):
            yield prefix + key, value
        else:
            yield from _flat(f"{prefix}{key}.", value)


def common_wording(countries: Iterable[str | None]) -> Wording:
    """Return the wording of the language that all countries share; English where there is none."""
    spoken = {one.language: one for one in map(wording, countries)}
    return next(iter(spoken.values())) if len(spoken) == 1 else wording(None)
