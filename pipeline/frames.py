"""Frozen records as frames and in groups; a frame's columns are the record's fields."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from datetime import date, datetime
from functools import cache
from itertools import groupby
from operator import attrgetter
from types import NoneType
from typing import Any, TypeVar, get_args, get_type_hints

import polars as pl

Record = TypeVar("Record")
_COLUMN: dict[Any, type[pl.DataType]] = {
    bool: pl.Boolean,
    bytes: pl.Binary,
    date: pl.Date,
    datetime: pl.Datetime,
    float: pl.Float64,
    int: pl.Int64,
    str: pl.String,
}


def frame_of(kind: type[Any], records: Iterable[Any]) -> pl.DataFrame:
    """Return the records as a frame; it has its columns even where there are no records.

    `kind` is a dataclass whose fields are bool, bytes, date, datetime, float, int or str, or one of
    these or None.
    """
    schema = _schema(kind)  # type: ignore[arg-type] # a class can be hashed
    rows = [tuple(getattr(record, name) for name in schema) for record in records]
    return pl.DataFrame(rows, schema=schema, orient="row")


@cache
def _schema(kind: type[Any]) -> Mapping[str, type[pl.DataType]]:
    hints = get_type_hints(kind)
    return {field.name: _column(hints[field.name]) for field in fields(kind)}


def _column(hint: Any) -> type[pl.DataType]:  # noqa: ANN401 - a type hint may be anything
    options = [option for option in get_args(hint) if option is not NoneType]
    return _COLUMN[options[0] if options else hint]


def grouped(records: Iterable[Record], name: str) -> Mapping[str, Sequence[Record]]:
    """Return records by the value of a field by which they are sorted."""
    return {key: list(group) for key, group in groupby(records, key=attrgetter(name))}
