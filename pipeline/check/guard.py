"""A closed room for rules of the user's own: a read-only copy without files or network.

Closing DuckDB's external access holds for a whole instance and cannot be undone, so the rules of
a user run in an instance of their own, on a copy that is thrown away.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import duckdb

from pipeline.database import Database, open_database

_CLOSED: dict[str, str | bool | int | float | list[str]] = {
    "enable_external_access": False,  # no files, no other databases, no extensions, no network
    "python_enable_replacements": False,  # no variables of this program
    "lock_configuration": True,  # and no way to open any of it again
    "memory_limit": "600MB",  # a rule that multiplies rows without end ends as a problem of its own
    "max_temp_directory_size": "2GB",
}


class _Stream:
    """A table offered to another instance as a bare Arrow stream, a piece at a time."""

    def __init__(self, relation: duckdb.DuckDBPyRelation) -> None:
        self._relation = relation

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        return self._relation.__arrow_c_stream__(requested_schema)


@contextmanager
def guarded_copy(database: Database) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open a read-only copy of the database whose statements reach nothing but the copy."""
    with TemporaryDirectory(prefix="quietaisle-", ignore_cleanup_errors=True) as folder:
        path = Path(folder) / "copy.duckdb"
        with open_database(path) as copy:
            _fill(copy, database)
        connection = duckdb.connect(str(path), read_only=True, config=_CLOSED)
        try:
            yield connection
        finally:
            connection.close()


def _fill(copy: Database, database: Database) -> None:
    for (table,) in copy.rows("check", "tables"):
        copy.connection.register("incoming", _Stream(database.connection.table(table)))
        try:
            copy.connection.table("incoming").insert_into(table)
        finally:
            copy.connection.unregister("incoming")
