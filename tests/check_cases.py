"""Rule cases as data: tables in CSV files beside the findings that a rule must give for them.

A case is a folder `tests/rules/<rule>/<case>/` with one CSV per table and `expected.csv`. A CSV
names the columns it needs; the others are null, or, where a table forbids that, the plain value
of `_PLAIN`. Without `this_run.csv` the run is that of `TODAY`. `expected.csv` holds the columns of
the rule's select, and after them what a finding says in each language, under `says: <language>`.
"""

import csv
import json
import os
import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import polars as pl

from pipeline import sql_file
from pipeline.check.judge import judge
from pipeline.check.rule_file import BrokenRule, Rule
from pipeline.database import Database
from pipeline.phrases import fill as fill_in
from pipeline.phrases import style

CASES = Path(__file__).parent / "rules"
TODAY = date(2026, 9, 30)
# Set it to write what the rules give now; read the difference before you commit it.
RENEW = "QUIETAISLE_RENEW" in os.environ
_PLAIN = {
    "VARCHAR": "-",
    "DOUBLE": "0",
    "INTEGER": "0",
    "BIGINT": "0",
    "BOOLEAN": "false",
    "DATE": TODAY.isoformat(),
    "TIMESTAMP": TODAY.isoformat(),
}
_FILLED: set[str] = set()
Rows = list[list[str]]


def rule_names() -> list[str]:
    """Return the names of the shipped rules."""
    return [path.stem for path in sql_file.folder("rules")]


def rule_text(name: str) -> str:
    """Return a shipped rule's file."""
    return sql_file.statement("rules", name)


def case_folders(rule: str) -> list[Path]:
    """Return the folders of one rule's cases, by name."""
    return sorted(path for path in (CASES / rule).glob("*") if path.is_dir())


def load(database: Database, folder: Path) -> None:
    """Fill the tables from a case's files; what the case before put there is gone."""
    files = {path.stem: path for path in folder.glob("*.csv") if path.stem != "expected"}
    rows = {table: records(path) for table, path in sorted(files.items())}
    rows.setdefault("this_run", [{"run": "this", "as_of": TODAY.isoformat()}])
    while _FILLED:
        database.connection.execute(f"delete from {_FILLED.pop()}")  # noqa: S608 - a file's name
    for table, filled in rows.items():
        fill(database, table, filled)
    _FILLED.update(rows)


def records(path: Path) -> list[dict[str, str]]:
    """Return the rows of a CSV file by heading."""
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def fill(database: Database, table: str, rows: list[dict[str, str]]) -> None:
    """Add rows of text to a table; DuckDB reads each text as its column's type."""
    needed = database.connection.execute(
        'select name, type, not "notnull" from pragma_table_info($table)', {"table": table}
    ).fetchall()
    unknown = {name for row in rows for name in row} - {name for name, _, _ in needed}
    assert not unknown, f"{table} has no column {sorted(unknown)}"
    columns = {
        name: [row.get(name) or (None if nullable else _PLAIN[kind]) for row in rows]
        for name, kind, nullable in needed
    }
    frame = pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))
    database.connection.register("incoming", _Stream(frame))
    database.connection.table("incoming").insert_into(table)
    database.connection.unregister("incoming")


class _Stream:
    def __init__(self, frame: pl.DataFrame) -> None:
        self._frame = frame

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        return self._frame.__arrow_c_stream__(requested_schema)


def found(database: Database, text: str) -> Rows:
    """Return the headings and rows that a rule's text gives, as texts."""
    relation = database.connection.sql(text)
    rows = [["" if value is None else str(value) for value in row] for row in relation.fetchall()]
    return [list(relation.columns), *rows]


def said(database: Database, rule: Rule) -> Rows:
    """Return the headings and rows of what a rule says, in English as kept and in the others."""
    kept = judge(database.connection, rule)
    assert not isinstance(kept, BrokenRule), kept
    others = {k: words for k, words in rule.words.items() if k != "en"}
    rows = [
        [detail, *(fill_in(w.says, json.loads(facts), style(k)) for k, w in others.items())]
        for _, _, detail, facts in kept.rows()
    ]
    return [["says: en", *(f"says: {language}" for language in others)], *rows]


def facts_of(rows: Rows) -> Rows:
    """Return what a case expects of the select alone."""
    count = sum(not heading.startswith("says: ") for heading in rows[0])
    return [row[:count] for row in rows]


def expected(folder: Path) -> Rows:
    """Return the headings and rows a case expects."""
    text = (folder / "expected.csv").read_text(encoding="utf-8")
    return list(csv.reader(text.splitlines()))


def renew(folder: Path, rows: Rows) -> None:
    """Write what was found as what is expected."""
    with (folder / "expected.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows)


_TOKEN = re.compile(
    r"--[^\n]*|'(?:[^']|'')*'"
    r"|<>|<=|>=|<<|>>|[<>=]"
    r"|\bis\s+(?:not\s+)?(?:null|distinct\s+from)\b"
    r"|\b(?:left\s+join|and|or|not|max_by|min_by|max|min|bool_or)\b"
    r"|(?<![\w.])\d+(?:\.\d+)?(?![\w.])",
    re.IGNORECASE,
)
_SWAPS = {
    "<": ("<=", ">="),
    "<=": ("<", ">"),
    ">": (">=", "<="),
    ">=": (">", "<"),
    "=": ("<>",),
    "<>": ("=",),
    "is null": ("is not null",),
    "is not null": ("is null",),
    "is distinct from": ("is not distinct from",),
    "left join": ("join",),
    "and": ("or",),
    "or": ("and",),
    "not": ("",),
    "max": ("min",),
    "min": ("max",),
    "max_by": ("min_by",),
    "min_by": ("max_by",),
    "bool_or": ("bool_and",),
}


def mutants(text: str) -> Iterator[tuple[str, str]]:
    """Yield (what was changed, changed text): every operator, number and text of a rule in turn."""
    for match in _TOKEN.finditer(text):
        token = " ".join(match[0].lower().split())
        if token.isdigit():
            swaps: tuple[str, ...] = (str(int(token) + 1),)
        elif token.startswith("'"):
            swaps = (f"{match[0][:-1]}~'",)
        else:
            swaps = _SWAPS.get(token, ())
        line = text.count("\n", 0, match.start()) + 1
        for swap in swaps:
            changed = text[: match.start()] + swap + text[match.end() :]
            yield f"line {line}: '{token}' to '{swap}'", changed


def moved(limit: str) -> tuple[str, str]:
    """Return a limit moved a little down and up: by 1 where it is whole, else by a tenth."""
    value = float(limit)
    step = 1.0 if value.is_integer() else abs(value) / 10
    return repr(round(value - step, 6)), repr(round(value + step, 6))
