"""The embedded database: one connection, opened once per command, and its own sentences."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipeline import sql_file
from pipeline.errors import DatabaseBusy, DatabaseOtherVersion, DatabaseUnreadable

TABLES_VERSION = 1
_MEMORY = "1200MB"


class _ArrowStream:
    """A frame offered as a bare Arrow stream: DuckDB asks for pyarrow where it sees polars."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self._frame = frame

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        return self._frame.__arrow_c_stream__(requested_schema)


class Database:
    """A DuckDB connection that runs the SQL files of this package by step and name."""

    def __init__(self, connection: duckdb.DuckDBPyConnection) -> None:
        self.connection = connection

    def run(self, step: str, name: str, values: Mapping[str, object] | None = None) -> None:
        """Run one SQL file for its effect; `values` fill its named parameters."""
        self.connection.execute(sql_file.statement(step, name), values)

    def rows(
        self, step: str, name: str, values: Mapping[str, object] | None = None
    ) -> list[tuple[Any, ...]]:
        """Return the rows of one SQL file as tuples."""
        return self.connection.execute(sql_file.statement(step, name), values).fetchall()

    def frame(
        self, step: str, name: str, values: Mapping[str, object] | None = None
    ) -> pl.DataFrame:
        """Return the rows of one SQL file as a frame."""
        # .sql gives a relation, which polars reads as an Arrow stream without further packages.
        return pl.DataFrame(self.connection.sql(sql_file.statement(step, name), params=values))

    def insert(
        self, step: str, name: str, rows: pl.DataFrame, values: Mapping[str, object] | None = None
    ) -> None:
        """Run an SQL file that reads `rows` under the name `incoming`."""
        self.connection.register("incoming", _ArrowStream(rows))
        try:
            self.run(step, name, values)
        finally:
            self.connection.unregister("incoming")

    def replace(self, step: str, names: Sequence[str]) -> None:
        """Run several SQL files in one transaction: all of them or none."""
        with self.transaction():
            for name in names:
                self.run(step, name)

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Keep everything inside the block, or nothing of it."""
        self.connection.begin()
        try:
            yield
        except BaseException:
            self.connection.rollback()
            raise
        self.connection.commit()


@contextmanager
def open_database(path: Path) -> Iterator[Database]:
    """Open (or make) the database file and bring its tables up.

    Raises:
        DatabaseBusy: another process has it open.
        DatabaseUnreadable: it is not a database, or its folder cannot be written.
        DatabaseOtherVersion: its tables are of another version.
    """
    connection = _connect(path)
    try:
        database = Database(connection)
        database.run("database", "quiet")
        _bring_up(database, path)
        yield database
    finally:
        connection.close()


def _connect(path: Path) -> duckdb.DuckDBPyConnection:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return duckdb.connect(str(path), config={"memory_limit": _MEMORY})
    except duckdb.IOException as error:
        if "lock" in str(error).lower() or "being used" in str(error).lower():
            raise DatabaseBusy(path) from error
        raise DatabaseUnreadable(path, str(error).splitlines()[0]) from error
    except (duckdb.Error, OSError) as error:
        raise DatabaseUnreadable(path, str(error).splitlines()[0]) from error


def _bring_up(database: Database, path: Path) -> None:
    with database.transaction():
        for file in sql_file.folder("schema"):
            database.run("schema", file.stem)
        found = database.rows("database", "version")
        if not found:
            database.run("database", "set_version", {"version": TABLES_VERSION})
        elif found[0][0] != TABLES_VERSION:
            raise DatabaseOtherVersion(path, found[0][0], TABLES_VERSION)
