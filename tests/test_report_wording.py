"""Words, numbers and days: one wording, complete in every language, written as people do."""

import re
import string
import tomllib
from collections import Counter
from datetime import date, datetime
from pathlib import Path

import pytest

import pipeline
from pipeline.phrases import fill, style
from pipeline.report.store.workbook import STATIONS
from pipeline.wording import (
    MINUS,
    NOTHING,
    declared_texts,
    language,
    languages,
    plural_of,
    texts,
    whole,
    wording,
)

PACKAGE = Path(pipeline.__file__).parent
WORDED = (
    *sorted((PACKAGE / "report").rglob("*.py")),
    *(
        PACKAGE / name
        for name in ("reasons.py", "phrases.py", "forms.py", "wording.py", "schedule/calendars.py")
    ),
)
ENGLISH = texts("en")


def blanks(text: str) -> set[str]:
    """Return the names of the blanks in a text."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def forms_in(code: str, key: str) -> list[str]:
    """Return the keys that an English key has in a language: the form `other` stands for more."""
    stem, _, form = key.rpartition(".")
    if form != "other":
        return [key]
    return [key, *(f"{stem}.{tag}" for tag in plural_of(code).tags if tag != "one")]


@pytest.mark.parametrize("code", languages())
def test_every_language_is_complete(code: str) -> None:
    """Each language has the same texts with the same blanks, and none of them empty.

    Words of rules whose headers lack the language come on top.
    """
    found = {key: text for key, text in texts(code).items() if not key.startswith("rule.")}
    wanted = {own: key for key in ENGLISH for own in forms_in(code, key)}

    lacking, unknown = sorted(set(wanted) - set(found)), sorted(set(found) - set(wanted))

    assert (lacking, unknown) == ([], []), f"texts/{code}.toml lacks / has beyond en.toml"
    for key, text in found.items():
        assert text.strip() or key == "number.thousands", key  # which may be a space
        assert blanks(text) == blanks(ENGLISH[wanted[key]]), key


def test_every_country_has_one_language() -> None:
    """A country is served by the language that names it, and by English where none does."""
    served = {code: language(code).countries for code in languages()}
    twice = Counter(country for countries in served.values() for country in countries)

    assert [country for country, times in twice.items() if times > 1] == []
    for code, countries in served.items():
        assert {wording(country).language for country in countries} <= {code}
    assert {wording(country).language for country in ("DE", "AT", "CH")} == {"de"}
    assert {wording(country).language for country in ("GB", "US", None)} == {"en"}


@pytest.mark.parametrize("code", languages())
def test_a_column_is_called_in_one_place(code: str) -> None:
    """By its declaration, or by the language's own texts, never by both."""
    path = PACKAGE / "texts" / f"{code}.toml"
    own = tomllib.loads(path.read_text(encoding="utf-8"))
    declared = [key.split(".") for key in declared_texts(code)]

    assert [column for table, column in declared if column in own.get(table, {})] == []


def test_every_column_called_by_its_declaration_is_shown() -> None:
    """The sheet of stations shows each column that says what reports call it."""
    assert set(declared_texts("en")) <= {column.heading for column in STATIONS}


def test_every_text_asked_for_exists_and_every_text_is_asked_for() -> None:
    """The code's keys and the table's keys are the same, groups addressed by part included."""
    code = "\n".join(path.read_text(encoding="utf-8") for path in WORDED)
    asked = set(re.findall(r'["\']([a-z_]+(?:\.[a-z0-9_]+)+)["\']', code))
    asked = {key for key in asked if not key.endswith((".pdf", ".xlsx", ".ics"))}
    groups = set(re.findall(r'f"([a-z_]+)\.\{', code)) | {"number", "month", "style", "reading"}
    groups |= set(re.findall(r'(?:worded|named)\("([a-z_]+)"', code))
    known = {re.sub(r"\.(one|other)$", "", key) for key in ENGLISH}

    assert {key for key in asked if key.split(".")[0] in {k.split(".")[0] for k in known}} <= (
        known | set(ENGLISH)
    )
    unasked = {key for key in known if key not in asked and key.split(".")[0] not in groups} - {
        key
        for key in known
        if key.startswith(("plan.pairs.", "summary.sheet_", "move_reason.s", "move_reason.bond_"))
    }
    assert unasked == set()


@pytest.mark.parametrize(
    ("country", "value", "decimals", "expected"),
    [
        ("GB", 1234567.891, 2, "1,234,567.89"),
        ("DE", 1234567.891, 2, "1.234.567,89"),
        ("GB", -75.25, 1, f"{MINUS}75.2"),
        ("DE", -75.5, 1, f"{MINUS}75,5"),
        ("GB", -0.04, 1, "0.0"),
        ("GB", None, 0, NOTHING),
        ("GB", 0, 0, "0"),
    ],
)
def test_numbers_have_the_marks_of_the_language(
    country: str, value: float | None, decimals: int, expected: str
) -> None:
    """Thousands and decimals are marked as the language does; minus is a minus sign."""
    assert wording(country).number(value, decimals) == expected


@pytest.mark.parametrize(
    ("share", "expected"),
    [(0, 0), (0.0001, 1), (0.004, 1), (0.61, 61), (0.996, 99), (0.9999, 99), (1, 100), (0.5, 50)],
)
def test_shares_are_never_rounded_to_nothing_or_all(share: float, expected: int) -> None:
    """Only a share of exactly nothing prints as 0, only one of all as 100."""
    assert whole(share) == expected


def test_shares_and_changes_read_as_one_expression() -> None:
    """The unit stands once, after the last number, fixed to it by a space that does not break."""
    words = wording("GB")

    assert words.percent(0.61) == "61\u00a0%"
    assert words.change(0.61, 0.83) == "61 → 83\u00a0%"
    assert words.change(0.611, 0.614) == "61\u00a0%"
    assert words.change(None, 0.5) == "50\u00a0%"
    assert words.change(0.5, None) == "50\u00a0%"
    assert words.counts(7, 1) == "7 → 1"
    assert words.counts(7, 7) == "7"
    assert words.level(-52.4) == f"{MINUS}52\u00a0dBm"


@pytest.mark.parametrize(
    ("country", "expected", "cells"),
    [
        ("GB", "5 Mar 2026", "d mmm yyyy"),
        ("US", "Mar 5, 2026", "mmm d, yyyy"),
        ("DE", "05.03.2026", "dd.mm.yyyy"),
        ("PL", "05.03.2026", "dd.mm.yyyy"),
        ("FR", "05/03/2026", "dd/mm/yyyy"),
        ("NL", "05-03-2026", "dd-mm-yyyy"),
        ("SE", "2026-03-05", "yyyy-mm-dd"),
        (None, "2026-03-05", "yyyy-mm-dd"),
    ],
)
def test_days_are_written_as_in_the_country(country: str | None, expected: str, cells: str) -> None:
    """A day reads as people there write it, in print and in cells; elsewhere as in ISO 8601."""
    words = wording(country)

    assert words.day(date(2026, 3, 5)) == expected
    assert words.days.cells == cells
    assert words.moment(datetime(2026, 3, 5, 9, 7)) == f"{expected} 09:07"
    assert words.day(None) == words.moment(None) == NOTHING


def test_plural_forms_go_by_the_rule_of_the_language() -> None:
    """Polish has three forms of whole numbers and one of fractions (Unicode CLDR, rules of pl)."""
    forms = {
        1: "stacja bazowa", 2: "stacje bazowe", 5: "stacji bazowych", 12: "stacji bazowych",
        22: "stacje bazowe", 25: "stacji bazowych", 112: "stacji bazowych", 122: "stacje bazowe",
    }  # fmt: skip
    words = wording("PL")

    assert words.language == "pl"
    assert {n: words.counted("store.stations", n) for n in forms} == {
        n: f"{n} {noun}" for n, noun in forms.items()
    }


def test_sentences_write_days_as_in_the_country() -> None:
    """A sentence has the day that the page beside it has; ISO 8601 where no country is known."""
    told = {
        country: fill("{d:day}, {d:moment}", {"d": "2026-03-05T09:07"}, style(code, country))
        for code, country in (("en", "GB"), ("en", "US"), ("en", "SE"), ("de", None))
    }

    assert told == {
        "GB": "5 Mar 2026, 5 Mar 2026 09:07",
        "US": "Mar 5, 2026, Mar 5, 2026 09:07",
        "SE": "2026-03-05, 2026-03-05 09:07",
        None: "05.03.2026, 05.03.2026 09:07",
    }


@pytest.mark.parametrize("code", languages())
def test_both_kinds_of_text_count_alike(code: str) -> None:
    """A text's C expression picks the forms that the categories of Unicode CLDR name."""
    rule = plural_of(code)
    order = ("one", "few", "many") if "many" in rule.tags else ("one", "other")
    forms = [tag for tag in order if tag == "other" or tag in rule.tags]
    blank = f"{{n:{'|'.join(forms)}}}"
    for count in (*range(1_200), 1_000_000, 1_000_002):
        assert fill(blank, {"n": count}, style(code)) == rule(count), count


@pytest.mark.parametrize("code", languages())
def test_every_counted_text_has_the_forms_of_its_language(code: str) -> None:
    """A form for every category that the rule of the language knows, and no other."""
    found: dict[str, set[str]] = {}
    for key in texts(code):
        stem, _, form = key.rpartition(".")
        if form in {"zero", "one", "two", "few", "many", "other"}:
            found.setdefault(stem, set()).add(form)
    for stem, forms in found.items():
        assert forms - {"zero"} == {*plural_of(code).tags, "other"}, stem  # zero: there are none


def test_counts_agree_with_their_nouns() -> None:
    """One station, several stations, no stations."""
    words = wording("GB")

    assert words.counted("store.stations", 1) == "1 base station"
    assert words.counted("store.stations", 0) == "0 base stations"
    assert words.counted("store.labels", 12_345) == "12,345 shelf labels"
