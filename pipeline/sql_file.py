"""Read SQL statements by step and name, unchanged.

`sql/<step>/<theme>.sql` holds the statements of a theme, each under a line `-- name: <name>`. A
name occurs once within a step: search for it to find the statement and whoever runs it.
"""

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

from pipeline.errors import SqlNameRepeated, SqlStatementMissing

_PACKAGE = Path(__file__).resolve().parent
_NAME = re.compile(r"^-- name: (?P<name>\S+)$", re.MULTILINE)


def _root() -> Path:
    """Return the SQL folder: inside the package in a wheel, beside it in a checkout."""
    packed = _PACKAGE / "sql"
    return packed if packed.is_dir() else _PACKAGE.parent / "sql"


def statement(step: str, name: str) -> str:
    """Return the text of one statement of a step.

    Raises:
        SqlStatementMissing: the step has no such statement.
    """
    try:
        return statements(step)[name]
    except KeyError as error:
        raise SqlStatementMissing(_root() / step, name) from error


@cache
def statements(step: str, theme: str = "*") -> Mapping[str, str]:
    """Return every statement of a step, or of one of its themes, by name in the files' order.

    Raises:
        SqlNameRepeated: two statements of the step have the same name.
    """
    found: dict[str, str] = {}
    for path in folder(step, theme):
        for name, text in _split(path):
            if name in found:
                raise SqlNameRepeated(path, name)
            found[name] = text
    return MappingProxyType(found)


def _split(path: Path) -> list[tuple[str, str]]:
    text = path.read_text(encoding="utf-8")
    names = list(_NAME.finditer(text))
    if not names:  # a file of one statement may go without the line
        return [(path.stem, text)]
    ends = [match.start() for match in names[1:]] + [len(text)]
    return [(m["name"], text[m.start() : end]) for m, end in zip(names, ends, strict=True)]


def folder(step: str, theme: str = "*") -> tuple[Path, ...]:
    """Return the SQL files of one step, in name order."""
    return tuple(sorted((_root() / step).glob(f"{theme}.sql")))


def every() -> tuple[Path, ...]:
    """Return every SQL file, in name order."""
    return tuple(sorted(_root().rglob("*.sql")))
