"""What a rule of the user's own may use, and how long it may take."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from threading import Timer
from typing import Any

import duckdb

from pipeline.check.rule_file import BrokenRule, Rule, syntax_nodes

MOST_SECONDS = 60
"""A rule that takes longer is stopped: many times what a rule over a large chain takes."""
MEMORY, DISK = "600MB", "2GB"
"""What a rule may take of the machine: rows without end end there."""

_SENTENCE = (
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
            return BrokenRule(rule.path.name, line, _SENTENCE.format(name=name))
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
