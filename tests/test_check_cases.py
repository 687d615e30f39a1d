"""Every rule against its cases, its shape, and changes made to it on purpose."""

import re
from functools import cache
from pathlib import Path

import duckdb
import pytest
from check_cases import (
    CASES,
    RENEW,
    case_folders,
    expected,
    facts_of,
    found,
    load,
    moved,
    mutants,
    records,
    renew,
    rule_names,
    rule_text,
    said,
)
from empty import in_memory

from pipeline import sql_file
from pipeline.check.rule_file import FIELDS, BrokenRule, Rule, read_rule, read_rules
from pipeline.database import Database
from pipeline.settings import load_settings
from pipeline.wording import languages, texts

RULES = rule_names()
FOLDERS = [folder for rule in RULES for folder in case_folders(rule)]
_LIMIT = re.compile(r"limit_of\('(\w+)'\)")
_NAMED = re.compile(r"(?:(?:limit_of|text_of)\('|\{)(\w+)")


# One for all cases: they fill it in turn.
_empty = cache(in_memory)


def _loaded(folder: Path) -> Database:
    load(_empty(), folder)
    return _empty()


def _rule(name: str) -> Rule:
    rule = read_rule(next(path for path in sql_file.folder("rules") if path.stem == name))
    assert isinstance(rule, Rule)
    return rule


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda f: f"{f.parent.name}/{f.name}")
def test_case(folder: Path) -> None:
    """The rule finds and says what the case expects, in that order, to the letter."""
    database, name = _loaded(folder), folder.parent.name
    selected, sentences = found(database, rule_text(name)), said(database, _rule(name))
    rows = [[*row, *told] for row, told in zip(selected, sentences, strict=True)]
    if RENEW:
        renew(folder, rows)

    assert rows == expected(folder)


@pytest.mark.parametrize("name", RULES)
def test_rule_has_a_good_and_a_bad_case(name: str) -> None:
    """Every rule has a case in which it finds nothing and one in which it finds something."""
    findings = [len(expected(folder)) - 1 for folder in case_folders(name)]

    assert 0 in findings
    assert any(findings)


def test_every_case_belongs_to_a_rule() -> None:
    """No case folder is left over from a rule that has gone."""
    assert sorted(path.name for path in CASES.iterdir() if path.is_dir()) == RULES


@pytest.mark.parametrize("name", RULES)
def test_rule_keeps_the_shape(name: str) -> None:
    """A rule is one ordered select whose first columns are the texts store and subject."""
    relation = _empty().connection.sql(rule_text(name))
    shape = list(zip(relation.columns, map(str, relation.types), strict=True))

    assert shape[:2] == [("store", "VARCHAR"), ("subject", "VARCHAR")]
    assert "detail" not in relation.columns
    assert re.search(r"\norder by (\w\.)?store, (\w\.)?subject;\n$", rule_text(name))


@pytest.mark.parametrize("name", RULES)
def test_store_and_subject_tell_findings_apart(name: str) -> None:
    """No rule gives a store and subject twice, so that a finding can be excepted and tracked."""
    for folder in case_folders(name):
        keys = [tuple(row[:2]) for row in expected(folder)[1:]]
        assert keys == sorted(set(keys))


@pytest.mark.parametrize("name", RULES)
def test_header_is_whole(name: str) -> None:
    """The header has its fields in order and speaks of limits that exist."""
    text = rule_text(name)
    fields = re.findall(r"^-- ([a-z]+)(?:\.[a-z]+)?:", text, re.MULTILINE)

    assert tuple(dict.fromkeys(fields))[: len(FIELDS)] == FIELDS
    assert set(_rule(name).limits) <= set(load_settings().limits)


@pytest.mark.parametrize("name", RULES)
def test_every_limit_read_is_explained_and_cased(name: str) -> None:
    """A limit in the select exists, stands in the header, and every case sets it."""
    _, _, select = rule_text(name).partition(f"-- source: {_rule(name).source[:20]}")
    limits = set(_LIMIT.findall(select))

    assert limits <= set(load_settings().limits)
    assert limits <= set(_rule(name).limits)
    for folder in case_folders(name):
        if limits:
            assert limits <= {row["name"] for row in records(folder / "setting.csv")}


@pytest.mark.parametrize("name", RULES)
def test_every_language_is_given_exactly_once(name: str) -> None:
    """Title and sentence stand in the header or in the language's own texts, never in both."""
    fields = re.findall(r"^-- ((?:title|says)\S*):", rule_text(name), re.MULTILINE)
    for language in languages():
        end = "" if language == "en" else f".{language}"
        own = texts(language)
        for field in ("title", "says"):
            assert fields.count(field + end) + (f"rule.{name}.{field}" in own) == 1, (
                language,
                field,
            )


@pytest.mark.parametrize("name", RULES)
def test_a_misspelt_limit_is_refused(name: str, tmp_path: Path) -> None:
    """Any limit or text that a rule reads or speaks of, misspelt, is refused by name and line."""
    text = rule_text(name)
    known = {*load_settings().limits, "firmware_standard"}
    path = tmp_path / f"{name}.sql"
    for match in _NAMED.finditer(text):
        if match[1] not in known:
            continue  # a fact
        begin, end = match.span(1)
        path.write_text(text[: end - 1] + text[end:], encoding="utf-8")
        problem = read_rule(path)

        assert isinstance(problem, BrokenRule)
        assert problem.line == text.count("\n", 0, begin) + 1
        assert f"named '{match[1][:-1]}'" in problem.sentence


def test_rule_files_stay_short() -> None:
    """Half of the rule files have at most 35 lines, none has more than 80, and no line over 100."""
    texts = [rule_text(name).splitlines() for name in RULES]
    lengths = sorted(map(len, texts))

    assert lengths[len(lengths) // 2] <= 35
    assert lengths[-1] <= 80
    assert [line for text in texts for line in text if len(line) > 100] == []


def test_rules_read_prepared_tables_only() -> None:
    """Only rules about the exports themselves read what exports said; the rest read what stands."""
    raw = {
        name: sorted(set(re.findall(r"\b(\w+_seen|ed_reading|quarantined_row)\b", _body(name))))
        for name in RULES
    }

    assert {name: tables for name, tables in raw.items() if tables} == {
        "export-refused": ["quarantined_row"],
        "exports-disagree": ["station_seen"],
        "hardware-replaced": ["station_seen"],
        "rows-quarantined": ["quarantined_row"],
        "station-unseen": ["station_seen"],
    }


def _body(name: str) -> str:
    return "\n".join(line for line in rule_text(name).splitlines() if not line.startswith("--"))


@pytest.mark.parametrize("step", [5, pytest.param(1, marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", RULES)
def test_change_to_the_rule_is_noticed(name: str, step: int) -> None:
    """Any comparison, joint, number or text of a rule changed breaks at least one of its cases.

    The quick slice makes every fifth change.
    """
    survivors = list(mutants(rule_text(name)))[::step]
    for folder in case_folders(name):
        database, rows = _loaded(folder), facts_of(expected(folder))
        survivors = [each for each in survivors if _gives(database, each[1]) == rows]

    told = [what for what, _ in survivors]
    assert told == [], f"no case in tests/rules/{name} tells these changes apart; add one"


def _gives(database: Database, text: str, limit: tuple[str, str] | None = None) -> object:
    """Return what a changed rule gives, or how it fails; the database stays as it was."""
    database.connection.begin()
    try:
        if limit is not None:
            database.connection.execute("update setting set value = $2 where name = $1", limit)
        return found(database, text)
    except duckdb.Error as error:
        return error
    finally:
        database.connection.rollback()


@pytest.mark.parametrize("name", RULES)
def test_limit_moved_is_noticed(name: str) -> None:
    """Any limit that a case sets, moved a little up or down, breaks at least one case."""
    folders, shipped = case_folders(name), load_settings().limits
    survivors = [
        (limit, other)
        for limit, value in _limits_of(_loaded(folders[0]))
        if limit in shipped  # any other is one that no rule should read
        for other in moved(value)
    ]
    for folder in folders:
        database, rows = _loaded(folder), facts_of(expected(folder))
        survivors = [each for each in survivors if _gives(database, rule_text(name), each) == rows]

    assert survivors == [], f"no case in tests/rules/{name} is near these limits; add one"


def _limits_of(database: Database) -> list[tuple[str, str]]:
    return database.connection.execute("select name, value from setting order by name").fetchall()


def test_all_rules_are_found_in_the_folder() -> None:
    """The shipped rules all read, and every file is one."""
    rules, problems = read_rules(None)

    assert problems == ()
    assert [rule.name for rule in rules] == RULES
