"""Run one rule, within bounds where it is a user's: its findings, or why it could not be used.

Rules of the user's own run on a closed copy: closing DuckDB's external access holds for a whole
instance and cannot be undone, so they get an instance of their own, which is thrown away.
"""

import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time
from decimal import Decimal
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Timer
from typing import Any

import duckdb
import polars as pl

from pipeline.check.rule_file import BrokenRule, Rule, first_line, line_with, syntax_nodes
from pipeline.database import Database
from pipeline.errors import PhraseUnfilled
from pipeline.phrases import phrase, plain_style

MOST_SECONDS = 60
"""A rule that takes longer is stopped: many times what a rule over a large chain takes."""
MEMORY, DISK = "600MB", "2GB"
"""What a rule may take of the machine: rows without end end there."""

_OUTSIDE = (
    "A rule reads the prepared tables only; files and the network are closed to it, and it may not "
    "use '{name}'. Its functions give the same for the same arguments: see check/functions.txt."
)
_FUNCTIONS = Path(__file__).resolve().parent / "functions.txt"
# Tables of the engine about itself, and names that are functions though they look like columns.
_ENGINE = ("duckdb_", "pg_", "pragma_", "sqlite_")
_SCHEMAS = frozenset({"information_schema", "pg_catalog", "system", "temp"})
_HIDDEN = frozenset(
    ("current_catalog", "current_database", "current_date", "current_localtime",
     "current_localtimestamp", "current_query", "current_role", "current_schema", "current_time",
     "current_timestamp", "current_user", "localtime", "localtimestamp", "session_user", "user")
)  # fmt: skip


@cache
def functions() -> frozenset[str]:
    """Return the names of the functions a user's rule may use."""
    lines = _FUNCTIONS.read_text(encoding="utf-8").splitlines()
    return frozenset(name for line in lines if not line.startswith("#") for name in line.split())


def beyond(rule: Rule) -> BrokenRule | None:
    """Return the first use of anything that a user's rule may not use, None where there is none."""
    for line, node in syntax_nodes(rule.text):
        if name := _refused(node):
            return BrokenRule(rule.path.name, line, _OUTSIDE.format(name=name))
    return None


def _refused(node: Mapping[str, Any]) -> str | None:
    """Return the name of what a node of a parsed select uses, if it may not."""
    function = str(node.get("function_name", "")).lower()
    if any(sign.isalpha() for sign in function) and function not in functions():
        return function
    table, schema = (str(node.get(key, "")).lower() for key in ("table_name", "schema_name"))
    if table and (schema in _SCHEMAS or table.startswith(_ENGINE)):
        return table
    columns: Sequence[str] = node.get("column_names") or []
    if len(columns) == 1 and str(columns[0]).lower() in _HIDDEN:
        return str(columns[0])
    return None


@contextmanager
def timed(connection: duckdb.DuckDBPyConnection, seconds: float) -> Iterator[None]:
    """Stop whatever statement runs in the block once the seconds are over.

    The engine has no limit of its own. A statement that is stopped raises InterruptException; how
    far it came depends on the machine, so nothing of it is used.
    """
    timer = Timer(seconds, connection.interrupt)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        timer.join()


FOUND = ("store", "subject", "detail", "facts")
_KEYS = ("store", "subject")
_SENTENCE = "detail"  # the fact column of a rule that makes its own sentence
_DIGITS = 9  # significant digits kept of a number: sums may differ in the last ones by their order
_PLAIN = frozenset((str, int, bool, type(None)))
_DATED = frozenset((date, datetime, time))
_json = json.JSONEncoder(ensure_ascii=False, sort_keys=True).encode
_ENDLESS = "Look for rows joined to all others, or for recursion without an end."
_AT_LINE = re.compile(r"LINE (\d+):")
_CLOSED: dict[str, str | bool | int | float | list[str]] = {
    "enable_external_access": False,  # no files, no other databases, no extensions, no network
    "python_enable_replacements": False,  # no variables of this program
    "lock_configuration": True,  # and no way to open any of it again
    "memory_limit": MEMORY,  # a rule that multiplies rows without end ends as a problem of its own
    "max_temp_directory_size": DISK,
}


def judge_own(connection: duckdb.DuckDBPyConnection, rule: Rule) -> pl.DataFrame | BrokenRule:
    """Return what a user's rule finds, or the problem with it; stop it when its time is over."""
    with timed(connection, MOST_SECONDS):
        return judge(connection, rule)


def judge(connection: duckdb.DuckDBPyConnection, rule: Rule) -> pl.DataFrame | BrokenRule:
    """Return what the rule finds (store, subject, detail, facts), or the problem with it.

    The file runs unchanged. `facts` holds its further columns as JSON with sorted keys, `detail`
    the English sentence made of them.
    """
    try:
        statements = connection.extract_statements(rule.text)
        return _refusal(statements, rule) or _findings(connection, statements[0], rule)
    except duckdb.InterruptException:
        most = f"{MOST_SECONDS} seconds, the most a rule of your own may take"
        return _fault(rule, f"It was stopped after {most}. {_ENDLESS}")
    except duckdb.OutOfMemoryException as error:
        return _fault(rule, f"It takes too much memory: {_first_words(error)} {_ENDLESS}")
    except duckdb.PermissionException as error:
        sentence = "A rule reads the prepared tables only; files and the network are closed to it"
        return _problem(rule, error, f"{sentence}: {_first_words(error)}")
    except duckdb.Error as error:
        return _problem(rule, error, f"The database cannot run it: {_first_words(error)}")


def _refusal(statements: Sequence[duckdb.Statement], rule: Rule) -> BrokenRule | None:
    kinds = [statement.type.name for statement in statements]
    if kinds == ["SELECT"]:
        return None
    held = " and ".join(kinds) or "nothing"
    return _fault(rule, f"A rule is one select over the prepared tables; this file holds {held}.")


def _findings(
    connection: duckdb.DuckDBPyConnection, statement: duckdb.Statement, rule: Rule
) -> pl.DataFrame | BrokenRule:
    result = connection.execute(statement)
    described = [(name, str(kind)) for name, kind, *_ in result.description or ()]
    names = [name for name, _ in described]
    if problem := _misshapen(rule, described[: len(_KEYS)]) or _unfillable(rule, names):
        return problem
    rows = result.fetchall()
    for place, name in enumerate(names):
        if name in {*_KEYS, _SENTENCE} and any(row[place] is None for row in rows):
            return _fault(rule, f"Some of its rows have no {name}.")
    facts = [dict(zip(names[2:], map(_fact, values), strict=True)) for _, _, *values in rows]
    try:
        details = _details(rule, facts)
    except PhraseUnfilled as error:
        return _fault(rule, f"Its facts do not fit the header's '-- says: ...': {error.fault}.")
    found = {
        "store": [row[0] for row in rows],
        "subject": [row[1] for row in rows],
        "detail": details,
        "facts": [_json(one) for one in facts],
    }
    return pl.DataFrame(found, schema=dict.fromkeys(FOUND, pl.String)).sort(FOUND)


def _details(rule: Rule, facts: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return the English sentence of each finding; every other language is tried on the first."""
    style = plain_style()
    for words in rule.words.values() if facts else ():
        phrase(words.says).fill(facts[0], style)
    says = phrase(rule.english.says)
    return [says.fill(one, style) for one in facts]


def _misshapen(rule: Rule, shape: Sequence[tuple[str, str]]) -> BrokenRule | None:
    if shape == [(name, "VARCHAR") for name in _KEYS]:
        return None
    held = ", ".join(f"{name} ({kind})" for name, kind in shape)
    return _fault(rule, f"The first columns must be the texts {', '.join(_KEYS)}; they are {held}.")


def _unfillable(rule: Rule, names: Sequence[str]) -> BrokenRule | None:
    """Return the first blank of what the rule says that no column fills."""
    for words in rule.words.values():
        for name in sorted(phrase(words.says).names - set(names[len(_KEYS) :])):
            if words.says == f"{{{_SENTENCE}}}":
                sentence = "The header has no '-- says: ...' and the select no column 'detail'."
                return _fault(rule, sentence)
            sentence = f"No column of the select fills '{{{name}}}'."
            return BrokenRule(rule.path.name, line_with(rule.text, f"{{{name}"), sentence)
    return None


def _fact(value: Any) -> Any:  # noqa: ANN401 - any value of the database
    """Return a value of the database as JSON holds it."""
    kind = type(value)
    if kind in _PLAIN:
        return value
    if kind is float or kind is Decimal:
        return float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else None
    if kind is dict:
        return {str(key): _fact(inner) for key, inner in value.items()}
    if kind is list or kind is tuple:
        return [_fact(inner) for inner in value]
    return value.isoformat() if kind in _DATED else str(value)


def _problem(rule: Rule, error: duckdb.Error, sentence: str) -> BrokenRule:
    at = _AT_LINE.search(str(error))
    return BrokenRule(rule.path.name, int(at[1]), sentence) if at else _fault(rule, sentence)


def _fault(rule: Rule, sentence: str) -> BrokenRule:
    """Return a problem of the statement as a whole: on the line where it begins."""
    return BrokenRule(rule.path.name, first_line(rule.text), sentence)


def _first_words(error: duckdb.Error) -> str:
    """Return the first line of a database error: the rest repeats the file."""
    return str(error).strip().splitlines()[0].rstrip(".") + "."


@contextmanager
def guarded_copy(database: Database) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open a read-only copy of the database whose statements reach nothing but the copy."""
    with TemporaryDirectory(prefix="quietaisle-", ignore_cleanup_errors=True) as folder:
        path = Path(folder) / "copy.duckdb"
        database.copy_to(path)
        connection = duckdb.connect(str(path), read_only=True, config=_CLOSED)
        try:
            yield connection
        finally:
            connection.close()
