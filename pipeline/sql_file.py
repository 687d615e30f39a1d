"""Read the SQL files: one statement or one rule each, unchanged, by folder and name."""

from functools import cache
from pathlib import Path

from pipeline.errors import SqlFileMissing

_PACKAGE = Path(__file__).resolve().parent


def _root() -> Path:
    """Return the SQL folder: inside the package in a wheel, beside it in a checkout."""
    packed = _PACKAGE / "sql"
    return packed if packed.is_dir() else _PACKAGE.parent / "sql"


@cache
def statement(step: str, name: str) -> str:
    """Return the text of `sql/<step>/<name>.sql`.

    Raises:
        SqlFileMissing: no such file is installed.
    """
    path = _root() / step / f"{name}.sql"
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise SqlFileMissing(path) from error


def folder(step: str) -> tuple[Path, ...]:
    """Return the SQL files of one step, in name order."""
    return tuple(sorted((_root() / step).glob("*.sql")))


def every() -> tuple[Path, ...]:
    """Return every SQL file, in name order."""
    return tuple(sorted(_root().rglob("*.sql")))
