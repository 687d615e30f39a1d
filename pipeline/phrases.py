"""Sentences as data: texts with blanks, filled in the way a language writes numbers and lists.

A blank is a name in braces, with an optional format after a colon:

    {channel}                               as it is; a list shows four and how many more there are
    {level_dbm:.1f}                         a number with that many decimals
    {share:.1%}  {share:%}                  a share 0..1 as per cent; without decimals: as short as
                                            it goes
    {seen_on:day}  {at:moment}  {t:clock}   a day, a day with its time, a time of day
    {given:or}                              a list whose items exclude one another
    {faults:problems}                       what is wrong with an export or its cells, what to do
    {pan_id:hex}                            0x and at least four hexadecimal digits
    {labels:# label|# labels}               a form for each plural of the language, by a number or
                                            the length of a list; # stands for that number
    {source:case measured=m|null=n|else=e}  a text for each value; true, false and null are values
    {stations:each {name} at {level:.0f}}   a text for each item of a list, shortened to four;
                                            {item} is an item that is no record itself
    {stations:all {name}}                   the same, never shortened

Texts after `case`, `each` and `all`, and plural forms, may hold blanks themselves. What is absent
(null) prints as a dash.
"""

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time
from functools import cache
from gettext import c2py
from typing import Any

from pipeline.errors import PhraseBroken, PhraseUnfilled
from pipeline.wording import DEFAULT_LANGUAGE, NOTHING, Wording, worded_in

_NAME = re.compile(r"[a-z_][a-z0-9_]*")
_NUMBER = re.compile(r"(?:\.(?P<digits>\d))?(?P<kind>[f%])")
_LISTED = 4  # items of a list that are named
_CELL_MOST = 120  # letters of a cell that are told
_COUNT = "_count"  # the number that # stands for


@dataclass(frozen=True, slots=True)
class Style:
    """How a language writes numbers, days and lists.

    `plural` gives the number of a plural form for a count, 0 the first: a C expression as in the
    Plural-Forms header of GNU gettext. `words` write days, as people in the country do.
    """

    decimal: str
    minus: str
    percent: str
    comma: str
    either: str
    more: str
    plural: str
    words: Wording

    def number(self, value: float, digits: int | None = None) -> str:
        """Return a number with `digits` decimals; None: as short as it goes."""
        text = f"{value:g}" if digits is None else f"{value:.{digits}f}"
        return text.replace("-", self.minus).replace(".", self.decimal)


_Values = Mapping[str, Any]
_Filler = Callable[[_Values, Style], str]


@dataclass(frozen=True, slots=True)
class Phrase:
    """A text ready to be filled; `names` are its blanks, those inside lists apart."""

    fillers: tuple[_Filler, ...]
    names: frozenset[str]

    def fill(self, values: _Values, style: Style) -> str:
        """Return the text with its blanks filled.

        Raises:
            PhraseUnfilled: a blank has no value, or one of another kind than its format wants.
        """
        try:
            return "".join([filler(values, style) for filler in self.fillers])
        except (KeyError, TypeError, ValueError) as error:
            raise PhraseUnfilled(str(error)) from error


def fill(text: str, values: _Values, style: Style) -> str:
    """Return a text with its blanks filled.

    Raises:
        PhraseBroken: the text cannot be read.
        PhraseUnfilled: a value is missing, or of another kind than its blank's format wants.
    """
    return phrase(text).fill(values, style)


_OWN = ("minus", "percent", "comma", "either", "more", "plural")


@cache
def style(language: str, country: str | None = None) -> Style:
    """Return how a language writes in a country; as English does where it is not shipped."""
    words = worded_in(language, country)
    own = {key: words.texts[f"style.{key}"] for key in _OWN}
    return Style(decimal=words.texts["number.decimal"], words=words, **own)


@cache
def plain_style() -> Style:
    """Return English as it is typed on a keyboard, so that people find it by searching."""
    return replace(style(DEFAULT_LANGUAGE), minus="-", percent="{} %")


@cache
def phrase(text: str) -> Phrase:
    """Read a text with blanks.

    Raises:
        PhraseBroken: a brace has no partner, or a blank has no name or an unknown format.
    """
    fillers: list[_Filler] = []
    names: set[str] = set()
    for literal, blank in _pieces(text):
        if blank is None:
            fillers.append(_literal(literal))
        else:
            name, _, form = blank.partition(":")
            if not _NAME.fullmatch(name):
                raise PhraseBroken(f"'{{{blank}}}' does not begin with the name of a value")
            filler, inner = _blank(name, form)
            fillers.append(filler)
            names |= {name, *inner}
    return Phrase(tuple(fillers), frozenset(names))


def _pieces(text: str) -> Iterator[tuple[str, str | None]]:
    """Yield the literal texts and the insides of the outermost braces, in order."""
    depth = start = 0
    for place, letter in enumerate(text):
        if letter == "{":
            if depth == 0:
                yield text[start:place], None
                start = place + 1
            depth += 1
        elif letter == "}":
            depth -= 1
            if depth < 0:
                break
            if depth == 0:
                yield "", text[start:place]
                start = place + 1
    if depth:
        raise PhraseBroken(f"a brace in '{text}' has no partner")
    yield text[start:], None


def _literal(text: str) -> _Filler:
    return lambda _values, _style: text


def _blank(name: str, form: str) -> tuple[_Filler, frozenset[str]]:
    """Return what fills a blank, and the names of further values that it needs."""
    word, _, rest = form.partition(" ")
    if word == "case":
        return _case(name, rest)
    if word in {"each", "all"}:
        item = phrase(rest or "{item}")
        return _shown(name, lambda v, s: _list(v, item, s, whole=word == "all")), frozenset()
    if len(_options(form)) > 1:
        return _plural(name, form)
    if number := _NUMBER.fullmatch(form):
        digits = int(number["digits"]) if number["digits"] else None
        return _shown(name, _percent(digits) if number["kind"] == "%" else _fixed(digits)), _NONE
    if form not in _FORMATS:
        raise PhraseBroken(f"'{form}' in '{{{name}:{form}}}' is no known format")
    return _shown(name, _FORMATS[form]), _NONE


_NONE: frozenset[str] = frozenset()
_Shower = Callable[[Any, Style], str]


def _shown(name: str, show: _Shower) -> _Filler:
    def filler(values: _Values, style: Style) -> str:
        value = values[name]
        return NOTHING if value is None else show(value, style)

    return filler


def _percent(digits: int | None) -> _Shower:
    return lambda value, style: style.percent.format(style.number(100 * value, digits))


def _fixed(digits: int | None) -> _Shower:
    return lambda value, style: style.number(value, digits)


def _case(name: str, form: str) -> tuple[_Filler, frozenset[str]]:
    pairs = [option.partition("=") for option in _options(form)]
    if not all(equals for _, equals, _ in pairs):
        raise PhraseBroken(f"a text in '{{{name}:case {form}}}' has no 'value=' before it")
    options = {key.strip(): phrase(text) for key, _, text in pairs}

    def filler(values: _Values, style: Style) -> str:
        key = _key(values[name])
        if key not in options and "else" not in options:
            return key
        return options[key if key in options else "else"].fill(values, style)

    return filler, frozenset().union(*(option.names for option in options.values()))


def _key(value: object) -> str:
    if value is None:
        return "null"
    return str(value).lower() if isinstance(value, bool) else str(value)


def _plural(name: str, form: str) -> tuple[_Filler, frozenset[str]]:
    forms = [phrase(option.replace("#", f"{{{_COUNT}}}")) for option in _options(form)]

    def filler(values: _Values, style: Style) -> str:
        value = values[name]
        count = len(value) if isinstance(value, list | tuple) else int(value or 0)
        chosen = forms[min(_rule(style.plural)(count), len(forms) - 1)]
        return chosen.fill({**values, _COUNT: count}, style)

    return filler, frozenset().union(*(each.names for each in forms)) - {_COUNT}


@cache
def _rule(plural: str) -> Callable[[int], int]:
    return c2py(plural)


def _options(form: str) -> list[str]:
    """Split at the bars that stand in no braces."""
    options, depth = [""], 0
    for letter in form:
        depth += {"{": 1, "}": -1}.get(letter, 0)
        if letter == "|" and not depth:
            options.append("")
        else:
            options[-1] += letter
    return options


def _list(items: Sequence[Any], item: Phrase, style: Style, *, whole: bool) -> str:
    named = items if whole else items[:_LISTED]
    records = (each if isinstance(each, Mapping) else {"item": each} for each in named)
    text = style.comma.join(item.fill(record, style) for record in records)
    more = len(items) - len(named)
    return text + (fill(style.more, {"count": more}, style) if more else "")


def _plain(value: object, style: Style) -> str:
    if isinstance(value, list | tuple):
        return _list(value, phrase("{item}"), style, whole=False)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return style.number(value, 0 if isinstance(value, int) else None)
    return str(value)


def _or(items: Sequence[object], style: Style) -> str:
    return style.either.join(_plain(item, style) for item in items)


def _problems(faults: str | Sequence[_Values], style: Style) -> str:
    """Return what is wrong with an export and what to do, by the texts of `problem`."""
    if isinstance(faults, str) and not faults.startswith("["):
        return faults  # a sentence, as an earlier version wrote it
    known = json.loads(faults) if isinstance(faults, str) else faults
    return _told([_of_fault(fault, style, part) for fault in known for part in ("says", "do")])


def told_of(faults: str, style: Style, part: str) -> str:
    """Return what is wrong with an export ('says') or what to do ('do'); `faults` is JSON."""
    return _told([_of_fault(fault, style, part) for fault in json.loads(faults)])


def _told(sentences: Sequence[str]) -> str:
    return " ".join(filter(None, sentences)).replace(" \n", "\n")


def _of_fault(fault: _Values, style: Style, part: str) -> str:
    # One that an earlier version found and this one has no words for is told by its name.
    own, texts = f"problem.{fault['problem']}", style.words.texts
    unknown = fault["problem"] if part == "says" and f"{own}.do" not in texts else ""
    values = {**fault, "cell": str(fault.get("cell") or "")[:_CELL_MOST]}
    text = texts.get(f"{own}.{part}")
    return unknown if text is None else fill(text, values, style)


# A day or time may be given as itself or, out of JSON, as text (ISO 8601).
_FORMATS: Mapping[str, _Shower] = {
    "": _plain,
    "or": _or,
    "day": lambda value, style: style.words.day(datetime.fromisoformat(str(value))),
    "moment": lambda value, style: style.words.moment(datetime.fromisoformat(str(value))),
    "clock": lambda value, _: time.fromisoformat(str(value)).strftime("%H:%M"),
    "hex": lambda value, _: f"{value:#06x}",
    "problems": _problems,
}
