"""Declare a table as a frozen record: one line a column."""

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime, time
from functools import cache
from types import MappingProxyType, NoneType
from typing import Any, TypeVar, dataclass_transform, get_args, get_type_hints

Kind = TypeVar("Kind")

_SQL: dict[Any, str] = {
    bool: "boolean",
    bytes: "blob",
    date: "date",
    datetime: "timestamp",
    float: "double",
    int: "integer",
    str: "varchar",
    time: "time",
}
_UNITS = {
    "_dbm": "dBm", "_db": "dB", "_m": "m", "_mhz": "MHz", "_ms": "ms", "_octets": "octets",
    "_pct": "%", "_days": "days",
}  # fmt: skip


_UNSHOWN: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class CellForm:
    """A way to write cells of an export: in words, and as examples that must all be accepted."""

    name: str
    accepts: str
    examples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ExportField:
    """A field of an export, known by any of its headings; the first one is the template's.

    `needed` is "yes", "no", "long": a file of one reading per row needs it, one with a column per
    channel does not; "mixed": only a file with unknown headings needs it; or "set": a file of
    stations that are not on the air does not. `units` are those a heading may end in; none where
    the cells have no unit, so that the heading's last word is part
    of its name. `bases` are words that stand for the field only with such a unit behind them.
    `words` are further headings, from `headings.csv`.
    """

    name: str
    meaning: str
    form: CellForm
    headings: tuple[str, ...]
    needed: str = "no"
    units: tuple[str, ...] | None = None
    bases: tuple[str, ...] = ()
    words: tuple[str, ...] = ()

    @property
    def unit(self) -> str:
        """The unit that the name carries; empty where it has none."""
        return unit_of(self.name)


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its SQL type, whether it may be null, what it means, since which version.

    `export` is the field of an export that fills it, where one does. `shown` is what reports call
    it, by language; a language left out has it in its own texts, under `[<table>]`.
    """

    name: str
    sql: str
    null: bool
    meaning: str
    since: int
    digits: int | None
    export: ExportField | None
    shown: Mapping[str, str]

    @property
    def unit(self) -> str:
        """The unit that the name carries; empty where it has none."""
        return unit_of(self.name)


def unit_of(name: str) -> str:
    """Return the unit that a column's name carries; empty where it has none."""
    return next((unit for end, unit in _UNITS.items() if name.endswith(end)), "")


@dataclass(frozen=True, slots=True)
class Table:
    """A table of the database and the record its rows are bound to."""

    name: str
    kind: type[Any]
    meaning: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    since: int
    watched: bool

    @property
    def add(self) -> str:
        """The statement that adds the rows of `incoming`."""
        return f'insert into "{self.name}" by name from incoming'

    @property
    def clear(self) -> str:
        """The statement that deletes every row."""
        return f'delete from "{self.name}"'  # noqa: S608 - a declared name

    @property
    def clear_chosen(self) -> str:
        """The statement that deletes the rows of the stores in `due_store`."""
        return f"{self.clear} where store in (select store from due_store)"  # noqa: S608 - the same

    @property
    def clear_until(self) -> str:
        """The statement that deletes the rows of the quarters up to `$quarter`."""
        return f"{self.clear} where quarter <= $quarter"

    @property
    def content(self) -> str:
        """The statement that counts the rows and adds up their hashes, in any order of rows."""
        return f'select count(*), sum(hash(t)::hugeint) from "{self.name}" t'  # noqa: S608 - a declared name

    @property
    def added_after(self) -> str:
        """The statement that reads the rows after `$after`, in the order they were added.

        Rows of such a table are only added, so that they are numbered from 0 without a gap.
        """
        names = ", ".join(f'"{column.name}"' for column in self.columns)
        return f'select {names} from "{self.name}" where rowid >= $after order by rowid'  # noqa: S608 - declared names

    @property
    def create(self) -> str:
        """The statement that creates the table where it does not exist yet."""
        lines = [
            f'"{column.name}" {column.sql}{"" if column.null else " not null"}'
            for column in self.columns
        ]
        if self.key:
            lines.append(f"primary key ({', '.join(self.key)})")
        return f'create table if not exists "{self.name}" ({", ".join(lines)})'

    @property
    def last_changed(self) -> int:
        """The version in which the table was declared, or a column last added to it."""
        return max(self.since, *(column.since for column in self.columns))

    @property
    def add_columns(self) -> tuple[str, ...]:
        """The statements that add columns declared after the table, where it lacks them.

        Such a column may be null, or a migration adds it and fills it first.
        """
        return tuple(
            f'alter table "{self.name}" add column if not exists "{each.name}" {each.sql}'
            for each in self.columns
            if each.since > self.since
        )


_DECLARED: dict[type[Any], Table] = {}


def column(meaning: str, *, sql: str = "", since: int = 1, digits: int | None = None) -> Any:  # noqa: ANN401 - stands in for a field of any type
    """Declare a column; its type follows from the annotation, or is `sql` where that is wider.

    `digits` is how many decimals are kept of a number when a record is put into the table.
    """
    return field(metadata={"meaning": meaning, "sql": sql, "since": since, "digits": digits})


def exported(  # noqa: PLR0913 - what there is to say of a field
    meaning: str,
    form: CellForm,
    *headings: str,
    needed: str = "no",
    name: str = "",
    sql: str = "",
    since: int = 1,
    units: tuple[str, ...] | None = None,
    bases: tuple[str, ...] = (),
    shown: Mapping[str, str] = _UNSHOWN,
) -> Any:  # noqa: ANN401 - stands in for a field of any type
    """Declare a column that a field of an export fills; `name` is the field's, if not the same.

    `units` and `bases` are those of `ExportField`. `shown` is what reports call it, by language,
    such as {"en": "Floor", "de": "Ebene"}.
    """
    export = ExportField(name, meaning, form, headings, needed, units, bases)
    said = {"meaning": meaning, "sql": sql, "since": since, "export": export, "shown": shown}
    return field(metadata=said)


@dataclass_transform(frozen_default=True, field_specifiers=(column, exported))
def table(
    name: str, *, key: tuple[str, ...] = (), since: int = 1, watched: bool = False
) -> Callable[[type[Kind]], type[Kind]]:
    """Declare a class as the record of a table; its docstring says what a row is.

    A run is skipped only while every `watched` table is unchanged: mark the tables that a run
    reads but does not work out itself.
    """

    def declared(plain: type[Kind]) -> type[Kind]:
        kind = dataclass(frozen=True, slots=True)(plain)
        kind.__reduce__ = packed  # type: ignore[method-assign,assignment] # of records of this kind
        hints = get_type_hints(kind)
        columns = tuple(
            _column(each.name, hints[each.name], each.metadata)
            for each in fields(kind)  # type: ignore[arg-type] # made a dataclass two lines above
        )
        meaning = " ".join((kind.__doc__ or "").split())
        _DECLARED[kind] = Table(name, kind, meaning, columns, key, since, watched)
        return kind

    return declared


def packed(record: Any) -> tuple[type[Any], tuple[object, ...]]:  # noqa: ANN401 - any record
    """Return what a record is pickled as; dataclasses with slots take five times as long.

    It is the `__reduce__` of records that go from one process to another in great numbers.
    """
    kind = type(record)
    return kind, tuple([getattr(record, name) for name in _names(kind)])  # type: ignore[arg-type] # classes can be hashed


@cache
def _names(kind: Hashable) -> tuple[str, ...]:
    return tuple(each.name for each in fields(kind))  # type: ignore[arg-type] # a record class


def table_of(kind: type[Any]) -> Table:
    """Return the declaration of a record's table.

    Raises:
        KeyError: the class is no table's record.
    """
    return _DECLARED[kind]


def column_of(kind: type[Any], name: str) -> Column:
    """Return the declaration of a column of a record's table.

    Raises:
        KeyError: the class is no table's record, or has no such column.
    """
    return {each.name: each for each in table_of(kind).columns}[name]


def declared_tables() -> tuple[Table, ...]:
    """Return every table declared so far, in the order of their declarations."""
    return tuple(_DECLARED.values())


def _column(name: str, hint: Any, said: Mapping[str, Any]) -> Column:  # noqa: ANN401 - a type hint may be anything
    options = [option for option in get_args(hint) if option is not NoneType]
    plain = options[0] if options else hint
    export: ExportField | None = said.get("export")
    return Column(
        name=name,
        sql=said["sql"] or _SQL[plain],
        null=bool(options),
        meaning=said["meaning"],
        since=said["since"],
        digits=said.get("digits"),
        export=export and replace(export, name=export.name or name),
        shown=said.get("shown", _UNSHOWN),
    )


def hold(name: str, *, chosen: bool) -> str:
    """Return the statement that lets a table or view stand still under its own name.

    `name` is one the database has; where `chosen`, only the stores in `due_store` are held.
    """
    which = " semi join due_store using (store)" if chosen else ""
    return f'create temp table "{name}" as from main."{name}"{which}'


def release(name: str) -> str:
    """Return the statement that gives a held table or view its name back."""
    return f'drop table if exists temp.main."{name}"'


def copy_all(name: str) -> str:
    """Return the statement that copies a whole database to the one attached as `copied`.

    `name` is what the database calls itself.
    """
    quoted = name.replace('"', '""')
    return f'copy from database "{quoted}" to copied'


def count_of(kinds: Iterable[type[Any]]) -> str:
    """Return the statement that counts the rows of some tables together; it reads none of them."""
    counts = (f'select count(*) as n from "{table_of(kind).name}"' for kind in kinds)  # noqa: S608 - declared names
    return f"select sum(n) from ({' union all by name '.join(counts)})"  # noqa: S608 - of these
