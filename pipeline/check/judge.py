"""Run one rule on a connection: its findings as a frame, or why it could not be used."""

import json
import math
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

import duckdb
import polars as pl

from pipeline.check.rule_file import Rule, RuleProblem
from pipeline.phrases import phrase, plain_style

FOUND = ("store", "subject", "detail", "facts")
_KEYS = ("store", "subject")
_SENTENCE = "detail"  # the fact column of a rule that makes its own sentence
_DIGITS = 9  # significant digits kept of a number: sums may differ in the last ones by their order
_AT_LINE = re.compile(r"LINE (\d+):")


def judge(connection: duckdb.DuckDBPyConnection, rule: Rule) -> pl.DataFrame | RuleProblem:
    """Return what the rule finds (store, subject, detail, facts), or the problem with it.

    The file runs unchanged. `facts` holds its further columns as JSON with sorted keys, `detail`
    the English sentence made of them.
    """
    try:
        return _refusal(connection, rule) or _findings(connection, rule)
    except duckdb.PermissionException as error:
        sentence = "A rule reads the prepared tables only; files and the network are closed to it"
        return _problem(rule, error, f"{sentence}: {_first_words(error)}")
    except duckdb.Error as error:
        return _problem(rule, error, f"The database cannot run it: {_first_words(error)}")


def _refusal(connection: duckdb.DuckDBPyConnection, rule: Rule) -> RuleProblem | None:
    kinds = [statement.type.name for statement in connection.extract_statements(rule.text)]
    if kinds == ["SELECT"]:
        return None
    held = " and ".join(kinds) or "nothing"
    return _fault(rule, f"A rule is one select over the prepared tables; this file holds {held}.")


def _findings(connection: duckdb.DuckDBPyConnection, rule: Rule) -> pl.DataFrame | RuleProblem:
    result = connection.execute(rule.text)
    described = [(name, str(kind)) for name, kind, *_ in result.description or ()]
    names = [name for name, _ in described]
    if problem := _misshapen(rule, described[: len(_KEYS)]) or _unfillable(rule, names):
        return problem
    rows = result.fetchall()
    for place, name in enumerate(names):
        if name in {*_KEYS, _SENTENCE} and any(row[place] is None for row in rows):
            return _fault(rule, f"Some of its rows have no {name}.")
    says, style = phrase(rule.english.says), plain_style()
    found = []
    for store, subject, *values in rows:
        facts = dict(zip(names[len(_KEYS) :], map(_fact, values), strict=True))
        told = json.dumps(facts, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        found.append((store, subject, says.fill(facts, style), told))
    return pl.DataFrame(found, schema=dict.fromkeys(FOUND, pl.String), orient="row").sort(FOUND)


def _misshapen(rule: Rule, shape: Sequence[tuple[str, str]]) -> RuleProblem | None:
    if shape == [(name, "VARCHAR") for name in _KEYS]:
        return None
    held = ", ".join(f"{name} ({kind})" for name, kind in shape)
    return _fault(rule, f"The first columns must be the texts {', '.join(_KEYS)}; they are {held}.")


def _unfillable(rule: Rule, names: Sequence[str]) -> RuleProblem | None:
    """Return the first blank of what the rule says that no column fills."""
    for words in rule.words.values():
        for name in sorted(phrase(words.says).names - set(names[len(_KEYS) :])):
            if words.says == f"{{{_SENTENCE}}}":
                sentence = "The header has no '-- says: ...' and the select no column 'detail'."
                return _fault(rule, sentence)
            lines = enumerate(rule.text.splitlines(), 1)
            line = next((n for n, line in lines if f"{{{name}" in line), 1)
            sentence = f"No column of the select fills '{{{name}}}'."
            return RuleProblem(rule.path.name, line, sentence)
    return None


def _fact(value: Any) -> Any:  # noqa: ANN401, PLR0911 - any value of the database, a line a type
    """Return a value of the database as JSON holds it."""
    if isinstance(value, Decimal):
        return _fact(float(value))
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else None
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): _fact(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_fact(inner) for inner in value]
    return str(value)


def _problem(rule: Rule, error: duckdb.Error, sentence: str) -> RuleProblem:
    at = _AT_LINE.search(str(error))
    return RuleProblem(rule.path.name, int(at[1]), sentence) if at else _fault(rule, sentence)


def _fault(rule: Rule, sentence: str) -> RuleProblem:
    """Return a problem of the statement as a whole: on the line where it begins."""
    lines = enumerate(rule.text.splitlines(), 1)
    line = next((n for n, line in lines if line.strip() and not line.startswith("--")), 1)
    return RuleProblem(rule.path.name, line, sentence)


def _first_words(error: duckdb.Error) -> str:
    """Return the first line of a database error: the rest repeats the file."""
    return str(error).strip().splitlines()[0].rstrip(".") + "."
