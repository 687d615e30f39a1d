"""Texts with blanks: numbers, days, plurals, choices and lists in a language's own style."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import pipeline.wording
from pipeline.check.rule_file import checked_rule
from pipeline.errors import PhraseBroken, PhraseUnfilled
from pipeline.phrases import fill, phrase, plain_style, style
from pipeline.wording import wording

ENGLISH, GERMAN = style("en"), style("de")
# Plural-Forms of Polish and Russian as the GNU gettext manual gives them (section "Plural forms").
POLISH = "n==1 ? 0 : n%10>=2 && n%10<=4 && (n%100<10 || n%100>=20) ? 1 : 2"
RUSSIAN = "n%10==1 && n%100!=11 ? 0 : n%10>=2 && n%10<=4 && (n%100<10 || n%100>=20) ? 1 : 2"


@pytest.mark.parametrize(
    ("text", "value", "english", "german"),
    [
        ("{x}", 7, "7", "7"),
        ("{x}", -7, "\u22127", "\u22127"),
        ("{x}", "0.5 m", "0.5 m", "0.5 m"),
        ("{x}", 0.25, "0.25", "0,25"),
        ("{x}", None, "\u2013", "\u2013"),
        ("{x:.1f} dBm", -60.04, "\u221260.0 dBm", "\u221260,0 dBm"),
        ("{x:.0f}", 1234.4, "1234", "1234"),
        ("{x:%}", 0.25, "25\u202f%", "25\u202f%"),
        ("{x:%}", 0.125, "12.5\u202f%", "12,5\u202f%"),
        ("{x:.1%}", 0.25, "25.0\u202f%", "25,0\u202f%"),
        ("{x:hex}", 0x2A, "0x002a", "0x002a"),
        ("{x:day}", "2026-09-03", "2026-09-03", "03.09.2026"),
        (
            "{x:problems}",
            [{"problem": "floor-unreadable", "heading": "F", "cell": "2a"}],
            "'2a' in 'F' is not a floor. Write a whole number; 0 is the ground floor.",
            "„2a“ in „F“ ist keine Ebene. Eine ganze Zahl schreiben; 0 ist das Erdgeschoss.",
        ),
        ("{x:moment}", "2026-09-03T07:05:00", "2026-09-03 07:05", "03.09.2026 07:05"),
        ("{x:clock}", "07:05:00", "07:05", "07:05"),
        ("{x}", ["a", "b", "c", "d"], "a, b, c, d", "a, b, c, d"),
        (
            "{x}",
            ["a", "b", "c", "d", "e", "f"],
            "a, b, c, d and 2 more",
            "a, b, c, d und 2 weitere",
        ),
        ("{x:all}", [1, 2, 3, 4, 5], "1, 2, 3, 4, 5", "1, 2, 3, 4, 5"),
        ("{x:or}", ["a", "b"], "a or b", "a oder b"),
        ("{x:each <{item}>}", ["a", "b"], "<a>, <b>", "<a>, <b>"),
        ("{x:each {n} at {l:.1f}}", [{"n": "a", "l": 0.5}], "a at 0.5", "a at 0,5"),
        ("{x:all {n:case null=?|else={n}}}", [{"n": None}, {"n": 3}], "?, 3", "?, 3"),
        ("{x:# item|# items}", 1, "1 item", "1 item"),
        ("{x:# item|# items}", 0, "0 items", "0 items"),
        ("{x:# item|# items}", ["#"], "1 item", "1 item"),
        ("{x:one {y}|many {y}}", 2, "many #", "many #"),
        ("{x:case true=yes|false=no}", True, "yes", "yes"),
        ("{x:case a=first|else=other}", "b", "other", "other"),
        ("{x:case a=first}", "b", "b", "b"),
        ("{x:case null=|else= ({x:# day|# days})}", 3, " (3 days)", " (3 days)"),
        ("{x:case null=|else= ({x:# day|# days})}", None, "", ""),
    ],
)
def test_blanks_are_filled_in_the_languages_style(
    text: str, value: object, english: str, german: str
) -> None:
    """Each format gives what its language expects."""
    values = {"x": value, "y": "#"}

    assert fill(text, values, ENGLISH) == english
    assert fill(text, values, GERMAN) == german


def test_plain_english_is_what_a_keyboard_types() -> None:
    """Sentences kept in the database are found by searching for what people type."""
    assert fill("{x:.1f} and {y:.1%}", {"x": -1, "y": 0.5}, plain_style()) == "-1.0 and 50.0 %"


@pytest.mark.parametrize(
    ("rule", "forms"),
    [
        (POLISH, {1: "a", 2: "b", 5: "c", 12: "c", 21: "c", 22: "b", 0: "c"}),
        (RUSSIAN, {1: "a", 2: "b", 5: "c", 11: "c", 21: "a", 22: "b", 112: "c"}),
        ("0", {0: "a", 1: "a", 7: "a"}),  # no plural, as in Japanese
    ],
)
def test_plural_forms_are_data(rule: str, forms: dict[int, str]) -> None:
    """A language with other plurals needs its rule and its forms, no code."""
    own = replace(ENGLISH, plural=rule)

    assert {n: fill("{n:a|b|c}", {"n": n}, own) for n in forms} == forms


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("{x", "no partner"),
        ("x}", "no partner"),
        ("{}", "does not begin with the name"),
        ("{X}", "does not begin with the name"),
        ("{x:.1g}", "'.1g' in '{x:.1g}' is no known format"),
        ("{x:some}", "is no known format"),
        ("{x:case a=b|c}", "has no 'value=' before it"),
        ("{x:each {y:what}}", "'what' in '{y:what}' is no known format"),
    ],
)
def test_a_text_that_cannot_be_read_is_refused(text: str, fault: str) -> None:
    """The sentence quotes what is wrong."""
    with pytest.raises(PhraseBroken) as error:
        phrase(text)

    assert fault in str(error.value)


@pytest.mark.parametrize(
    ("text", "value"), [("{y}", 1), ("{x:day}", 3), ("{x:.1f}", "a"), ("{x:each {y}}", [{"z": 1}])]
)
def test_a_blank_without_a_fitting_value_is_refused(text: str, value: object) -> None:
    """A missing value, or one of another kind, is an error of its own class."""
    with pytest.raises(PhraseUnfilled):
        fill(text, {"x": value}, ENGLISH)


def test_names_are_those_of_the_values_needed() -> None:
    """Blanks within choices and plurals count; those within a list belong to its items."""
    found = phrase("{a} {b:each {c}} {d:case x={e}|else=#} {f:# {g}|#}").names

    assert found == {"a", "b", "d", "e", "f", "g"}


@pytest.fixture
def third_language(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Ship a third language, with words for one rule."""
    shipped = Path(pipeline.wording.__file__).parent / "texts"
    for path in shipped.glob("*.toml"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    lines = (shipped / "en.toml").read_text(encoding="utf-8").splitlines()
    lines = [f'plural = "{POLISH}"' if line.startswith("plural") else line for line in lines]
    words = "[rule.channels-all-one]\nsays = '{stations:# stacja|# stacje|# stacji}, {channel}'\n"
    (tmp_path / "pl.toml").write_text("\n".join([*lines, words]), encoding="utf-8")
    monkeypatch.setattr("pipeline.wording._FOLDER", tmp_path)
    kept = (pipeline.wording.languages, pipeline.wording.language, wording, style, checked_rule)
    for each in kept:
        each.cache_clear()
    yield
    for each in kept:
        each.cache_clear()


@pytest.mark.usefixtures("third_language")
def test_a_third_language_needs_one_file() -> None:
    """A language that no header holds brings its words in its own file; English fills the gaps."""
    from pipeline.check.rules import rule_list  # noqa: PLC0415 - reads the languages when it runs

    words = {rule.name: rule.words for rule in rule_list()}
    own = words["channels-all-one"]["pl"]
    filled = fill(own.says, {"stations": 5, "channel": 20}, style("pl"))

    assert filled == "5 stacji, 20"
    assert own.title == words["channels-all-one"]["en"].title
    assert "pl" not in words["channel-busy"]
