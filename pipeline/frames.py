"""Frames out of frozen records: one column per field, typed by the record's own annotations."""

from collections.abc import Iterable
from dataclasses import fields
from datetime import date, datetime
from types import NoneType
from typing import Any, get_args, get_type_hints

import polars as pl

_COLUMN: dict[Any, type[pl.DataType]] = {
    bool: pl.Boolean,
    date: pl.Date,
    datetime: pl.Datetime,
    float: pl.Float64,
    int: pl.Int64,
    str: pl.String,
}


def frame_of(kind: type[Any], records: Iterable[Any]) -> pl.DataFrame:
    """Return the records as a frame; it has its columns even where there are no records.

    `kind` is a dataclass whose fields are bool, date, datetime, float, int or str, or one of these
    or None.
    """
    hints = get_type_hints(kind)
    schema = {field.name: _column(hints[field.name]) for field in fields(kind)}
    rows = [tuple(getattr(record, name) for name in schema) for record in records]
    return pl.DataFrame(rows, schema=schema, orient="row")


def _column(hint: Any) -> type[pl.DataType]:  # noqa: ANN401 - a type hint may be anything
    options = [option for option in get_args(hint) if option is not NoneType]
    return _COLUMN[options[0] if options else hint]
