"""The embedded database: one connection, opened once per command, and its own sentences."""

import shutil
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields
from functools import cache
from hashlib import sha256
from itertools import starmap
from operator import itemgetter
from pathlib import Path
from typing import Any, TypeVar

import duckdb
import polars as pl

from pipeline import sql_file
from pipeline.errors import (
    ColumnsDiffer,
    DatabaseBusy,
    DatabaseNewer,
    DatabaseUnreadable,
    StorageFailed,
)
from pipeline.records import frame_of
from pipeline.tables.declare import copy_all, count_of, hold, release, table_of
from pipeline.tables.every import VERSION, every_table
from pipeline.tables.run import SchemaMade, TablesVersion

Kind = TypeVar("Kind")
Values = Mapping[str, object]
_MEMORY = "1200MB"
_PARSED: dict[str, duckdb.Statement] = {}  # it knows no tables, so it serves every database
# How DuckDB says that it cannot write or read its files: in between, or at a commit.
_STORAGE = (duckdb.IOException, duckdb.FatalException)
_NOT_KEPT = "Failed to commit"


class _ArrowStream:
    """A frame offered as a bare Arrow stream: DuckDB asks for pyarrow where it sees polars."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self._frame = frame

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        return self._frame.__arrow_c_stream__(requested_schema)


class Database:
    """A DuckDB connection that runs the named SQL statements of each step.

    Rows are bound by name in both directions: nothing depends on the order of a select's columns.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection) -> None:
        self.connection = connection
        self.before_commit: Callable[[Database], object] = lambda _: None
        self._still: set[str] = set()

    def _parsed(self, step: str, name: str) -> duckdb.Statement:
        """Return one statement, parsed by whichever connection ran it first."""
        text = sql_file.statement(step, name)
        if text not in _PARSED:
            (_PARSED[text],) = self.connection.extract_statements(text)
        return _PARSED[text]

    def parameters(self, step: str, name: str) -> Collection[str]:
        """Return the names of the parameters that one statement has."""
        return self._parsed(step, name).named_parameters

    def run(self, step: str, name: str, values: Values | None = None) -> None:
        """Run one statement for its effect; `values` fill its named parameters."""
        self.connection.execute(self._parsed(step, name), values)

    def records(
        self, kind: type[Kind], step: str, name: str, values: Values | None = None
    ) -> list[Kind]:
        """Return the rows of one statement as records: each column fills the field of its name.

        Raises:
            ColumnsDiffer: the columns are not exactly the record's fields.
        """
        found = self.connection.execute(self._parsed(step, name), values)
        columns = [column[0] for column in found.description or ()]
        wanted = [each.name for each in fields(kind)]  # type: ignore[arg-type] # a record class
        if sorted(columns) != sorted(wanted):
            raise ColumnsDiffer(step, name, columns, wanted)
        places = [columns.index(each) for each in wanted]
        rows = found.fetchall()
        if places != list(range(len(places))):
            rows = list(map(itemgetter(*places), rows))
        return list(starmap(kind, rows))

    def column(self, step: str, name: str, values: Values | None = None) -> list[Any]:
        """Return the values of a statement's only column.

        Raises:
            ColumnsDiffer: it has more columns than one.
        """
        found = self.connection.execute(self._parsed(step, name), values)
        columns = [column[0] for column in found.description or ()]
        if len(columns) != 1:
            raise ColumnsDiffer(step, name, columns, ["one column"])
        return [value for (value,) in found.fetchall()]

    def value(self, step: str, name: str, values: Values | None = None) -> Any:  # noqa: ANN401 - as the statement has it
        """Return the only value of a statement: of one column and at most one row, else None."""
        found = self.column(step, name, values)
        if len(found) > 1:
            raise ColumnsDiffer(step, name, [f"{len(found)} rows"], ["at most one row"])
        return found[0] if found else None

    def mapping(self, step: str, name: str, values: Values | None = None) -> dict[Any, Any]:
        """Return a statement's columns `key` and `value` as a dictionary.

        Raises:
            ColumnsDiffer: it has other columns.
        """
        found = self.connection.execute(self._parsed(step, name), values)
        columns = [column[0] for column in found.description or ()]
        if sorted(columns) != ["key", "value"]:
            raise ColumnsDiffer(step, name, columns, ["key", "value"])
        return {row[columns.index("key")]: row[columns.index("value")] for row in found.fetchall()}

    def frame(self, step: str, name: str, values: Values | None = None) -> pl.DataFrame:
        """Return the rows of one statement as a frame."""
        # .sql gives a relation, which polars reads as an Arrow stream without further packages.
        return pl.DataFrame(self.connection.sql(self._parsed(step, name), params=values))

    def insert(self, step: str, name: str, rows: pl.DataFrame) -> None:
        """Run a statement that reads `rows` under the name `incoming`."""
        with self.lent("incoming", rows):
            self.run(step, name)

    def put(self, kind: type[Kind], records: Iterable[Kind]) -> None:
        """Add records to the table of their kind."""
        self.put_frame(kind, frame_of(kind, records))

    def put_frame(self, kind: type[Any], rows: pl.DataFrame) -> None:
        """Add rows to the table of a kind; their columns are matched by name, in any order.

        Numbers are rounded to the digits that the table keeps of them.
        """
        table = table_of(kind)
        wanted = [column.name for column in table.columns]
        if sorted(rows.columns) != sorted(wanted):
            raise ColumnsDiffer(table.name, "put_frame", rows.columns, wanted)
        if rows.is_empty():
            return
        kept = [pl.col(c.name).round(c.digits) for c in table.columns if c.digits is not None]
        # Also an empty step of a frame costs, and most tables need none.
        with self.lent("incoming", rows.with_columns(kept) if kept else rows):
            self.connection.execute(table.add)

    def content(self, kind: type[Any]) -> str:
        """Return the fingerprint of a table's rows, whatever their order."""
        return str(self.connection.execute(table_of(kind).content).fetchall())

    def clear(self, *kinds: type[Any]) -> None:
        """Delete every row of some tables."""
        for kind in kinds:
            self.connection.execute(table_of(kind).clear)

    def clear_chosen(self, *kinds: type[Any]) -> None:
        """Delete the rows of the stores in `due_store` from some tables."""
        for kind in kinds:
            self.connection.execute(table_of(kind).clear_chosen)

    def clear_until(self, quarter: str, *kinds: type[Any]) -> None:
        """Delete the rows of the quarters up to and including one from some tables."""
        for kind in kinds:
            self.connection.execute(table_of(kind).clear_until, {"quarter": quarter})

    def every(self, kind: type[Kind]) -> list[Kind]:
        """Return every row of a kind's table, sorted by its columns from the first to the last."""
        table = table_of(kind)
        columns = [duckdb.ColumnExpression(column.name) for column in table.columns]
        rows = self.connection.table(table.name).select(*columns).sort(*columns).fetchall()
        return [kind(*row) for row in rows]

    def added(self, kind: type[Kind], after: int = 0) -> list[Kind]:
        """Return the rows of a kind's table in the order they were added, but the first `after`."""
        rows = self.connection.execute(table_of(kind).added_after, {"after": after}).fetchall()
        return [kind(*row) for row in rows]

    def count(self, *kinds: type[Any]) -> int:
        """Return how many rows the tables of some kinds have together."""
        ((rows,),) = self.connection.execute(count_of(kinds)).fetchall()
        return int(rows)

    @contextmanager
    def held(self, *names: str, chosen: bool = False) -> Iterator[None]:
        """Let tables or views stand still under their own names until the block is left.

        Each is worked out once; where `chosen`, it holds only the stores in `due_store`. What
        stands still already, and is not chosen from, is left as it is.
        """
        new = [name for name in names if chosen or name not in self._still]
        try:
            for name in new:
                self.connection.execute(hold(name, chosen=chosen))
                self._still.add(name)
            yield
        finally:
            self._still.difference_update(new)
            self.release(*new)

    def release(self, *names: str) -> None:
        """Drop temporary tables and views where they exist."""
        for name in names:
            self.connection.execute(release(name))

    def copy_to(self, path: Path) -> None:
        """Copy all tables, views and macros into a new file, which nothing else has open."""
        self.run("database", "attach_copy", {"path": str(path)})
        try:
            self.connection.execute(copy_all(self.value("database", "own_name")))
        finally:
            self.run("database", "detach_copy")

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Keep everything inside the block, or nothing of it; `before_commit` belongs to it."""
        self.connection.begin()
        try:
            yield
            self.before_commit(self)
        except BaseException:
            self.connection.rollback()
            raise
        self.connection.commit()

    @contextmanager
    def lent(self, name: str, rows: pl.DataFrame) -> Iterator[None]:
        """Let statements read a frame under a name until the block is left."""
        self.connection.register(name, _ArrowStream(rows))
        try:
            yield
        finally:
            self.connection.unregister(name)


@contextmanager
def open_database(path: Path) -> Iterator[Database]:
    """Open (or make) the database file and bring its tables to this program's version.

    A database of an older version is copied beside itself before it is migrated.

    Raises:
        DatabaseBusy: another process has it open.
        DatabaseUnreadable: it is not a database, or its folder cannot be written.
        DatabaseNewer: a newer program made its tables.
        StorageFailed: the disk is full, or has gone, meanwhile.
    """
    connection = _connect_current(path)
    try:
        database = Database(connection)
        database.run("database", "quiet")
        bring_up(database)
        yield database
    except duckdb.Error as error:
        if isinstance(error, _STORAGE) or _NOT_KEPT in str(error):
            raise StorageFailed(path, str(error).splitlines()[0]) from error
        raise
    finally:
        connection.close()


def _connect_current(path: Path) -> duckdb.DuckDBPyConnection:
    """Connect to a database of this version or older; keep a copy of an older one."""
    connection = _connect(path)
    database = Database(connection)
    found, foreign = _version(database), database.column("database", "tables_met")
    if found == VERSION or not (found or foreign):
        return connection
    connection.close()
    if not found:
        raise DatabaseUnreadable(path, f"its table {foreign[0]} is not one of this program")
    if found > VERSION:
        raise DatabaseNewer(path, found, VERSION)
    shutil.copy2(path, path.with_name(f"{path.name}.version-{found}"))
    return _connect(path)


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


def _version(database: Database) -> int:
    """Return the version of the tables; 0 of a database that has none."""
    if not database.value("database", "has_version"):
        return 0
    return int(database.value("database", "version") or 0)


def bring_up(database: Database) -> None:
    """Bring tables, views and macros to this version; do nothing where this program made them."""
    found, made = _version(database), _schema()
    if found == VERSION and _made(database) == made:
        return
    with database.transaction():
        if found:
            _migrate(database, found)
        for table in every_table():
            database.connection.execute(table.create)
            for statement in table.add_columns if 0 < found < VERSION else ():
                database.connection.execute(statement)
        for name in sql_file.statements("schema"):
            database.run("schema", name)
        database.clear(TablesVersion, SchemaMade)
        database.put(TablesVersion, [TablesVersion(VERSION)])
        database.put(SchemaMade, [SchemaMade(made)])


@cache
def _schema() -> str:
    """Return the fingerprint of the statements that make tables, views and macros."""
    views = [sql_file.statement("schema", name) for name in sql_file.statements("schema")]
    said = "\n".join([*(table.create for table in every_table()), *views])
    return sha256(said.encode()).hexdigest()


def _made(database: Database) -> str | None:
    """Return the fingerprint of what made the tables and views, where it is noted."""
    noted = database.value("database", "has_made")
    return database.value("database", "made") if noted else None


def _migrate(database: Database, found: int) -> None:
    """Bring tables of version `found` up, one version after the other."""
    for name in sql_file.statements("migrations"):
        if int(name.split("-")[0]) > found:
            database.run("migrations", name)
