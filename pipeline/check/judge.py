"""Run one rule on a connection: its findings as a frame, or why it could not be used."""

import re
from collections.abc import Mapping

import duckdb
import polars as pl

from pipeline.check.rule_file import SHAPE, Rule, RuleProblem

_AT_LINE = re.compile(r"LINE (\d+):")
_LIMIT_READ = re.compile(r"from\s+setting\s+where\s+name\s*=\s*'([^']*)'", re.IGNORECASE)


def judge(
    connection: duckdb.DuckDBPyConnection, rule: Rule, limits: Mapping[str, float]
) -> pl.DataFrame | RuleProblem:
    """Return what the rule finds (columns store, subject, detail), or the problem with it.

    The file runs unchanged; further columns are figures for a reader in the shell and are left out.
    """
    try:
        return _refusal(connection, rule, limits) or _findings(connection, rule)
    except duckdb.PermissionException as error:
        sentence = "A rule reads the prepared tables only; files and the network are closed to it"
        return _problem(rule, error, f"{sentence}: {_words(error)}")
    except duckdb.Error as error:
        return _problem(rule, error, f"The database cannot run it: {_words(error)}")


def _refusal(
    connection: duckdb.DuckDBPyConnection, rule: Rule, limits: Mapping[str, float]
) -> RuleProblem | None:
    statements = connection.extract_statements(rule.text)
    kinds = [statement.type.name for statement in statements]
    if kinds != ["SELECT"]:
        held = " and ".join(kinds) or "nothing"
        sentence = f"A rule is one select over the prepared tables; this file holds {held}."
        return RuleProblem(rule.path.name, _first_line(rule.text), sentence)
    for match in _LIMIT_READ.finditer(rule.text):
        if match[1] not in limits:
            line = rule.text.count("\n", 0, match.start(1)) + 1
            return RuleProblem(rule.path.name, line, f"There is no limit named '{match[1]}'.")
    return None


def _findings(connection: duckdb.DuckDBPyConnection, rule: Rule) -> pl.DataFrame | RuleProblem:
    result = connection.execute(rule.text)
    shape = [(name, str(kind)) for name, kind, *_ in result.description or ()][: len(SHAPE)]
    if shape != [(name, "VARCHAR") for name in SHAPE]:
        held = ", ".join(f"{name} ({kind})" for name, kind in shape)
        sentence = f"The first columns must be the texts {', '.join(SHAPE)}; they are {held}."
        return RuleProblem(rule.path.name, _first_line(rule.text), sentence)
    rows = [row[: len(SHAPE)] for row in result.fetchall()]
    frame = pl.DataFrame(rows, schema=dict.fromkeys(SHAPE, pl.String), orient="row")
    empty = [name for name in SHAPE if frame[name].null_count()]
    if empty:
        sentence = f"Some of its rows have no {' and no '.join(empty)}."
        return RuleProblem(rule.path.name, _first_line(rule.text), sentence)
    return frame.sort(SHAPE)


def _problem(rule: Rule, error: duckdb.Error, sentence: str) -> RuleProblem:
    at = _AT_LINE.search(str(error))
    return RuleProblem(rule.path.name, int(at[1]) if at else _first_line(rule.text), sentence)


def _words(error: duckdb.Error) -> str:
    """Return the first line of a database error: the rest repeats the file."""
    return str(error).strip().splitlines()[0].rstrip(".") + "."


def _first_line(text: str) -> int:
    """Return the line on which the statement begins, below the header."""
    lines = enumerate(text.splitlines(), 1)
    return next((n for n, line in lines if line.strip() and not line.startswith("--")), 1)
