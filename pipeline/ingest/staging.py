"""Offer a delivered table to the database as texts: fast where its form allows, always exact."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import islice
from pathlib import Path

import duckdb
import polars as pl

from pipeline.database import Database
from pipeline.ingest.delimited import LINE_LIMIT, OWN_COLUMNS, QUOTE, DeliveredRow, Head
from pipeline.ingest.headings import CHANNEL_FIELDS, MENDED_FIELDS, Mapped
from pipeline.tables.exports import EXPORT_KINDS

_BATCH_ROWS = 20_000
_OWN: Mapping[str, str] = dict.fromkeys(OWN_COLUMNS, "VARCHAR") | {"line_number": "BIGINT"}
# Every field that a heading of any kind can stand for, and what is known of a row's form.
_STAGED: Mapping[str, str] = {
    **dict.fromkeys((field.name for kind in EXPORT_KINDS for field in kind.fields), "VARCHAR"),
    **dict.fromkeys((*CHANNEL_FIELDS.values(), *MENDED_FIELDS.values()), "VARCHAR"),
    **{name: _OWN[name] for name in ("line_number", "row_fault", "beyond")},
}


def stage_whole(database: Database, path: Path, head: Head, mapped: Mapped) -> None:
    """Offer a UTF-8 text as it lies on disk: every row must be as wide as the headings.

    The text is read when a statement reads `staged`; a row of another form raises duckdb.Error.
    """
    dialect = head.dialect
    quotes = (dialect.quote, dialect.escape)
    _offer_text(database, path, _cells(mapped), dialect.delimiter, quotes, head.first_line - 1)


def stage_plain(database: Database, path: Path, head: Head, mapped: Mapped) -> None:
    """Offer the plain copy of a text: rows of another form have their fault beside them."""
    columns = {**_OWN, **_cells(mapped)}
    _offer_text(database, path, columns, head.dialect.delimiter, (QUOTE, QUOTE), 0)


def stage_rows(database: Database, mapped: Mapped, rows: Iterable[DeliveredRow]) -> None:
    """Copy rows one by one into a temporary table, and offer that."""
    fields = list(_cells(mapped))
    stream = iter(rows)
    database.insert("ingest", "delivered_first", _frame(fields, islice(stream, _BATCH_ROWS)))
    while (more := _frame(fields, islice(stream, _BATCH_ROWS))).height:
        database.insert("ingest", "delivered_more", more)
    _offer(database, database.connection.table("delivered_rows"))


def _cells(mapped: Mapped) -> dict[str, str]:
    return {column.field: "VARCHAR" for column in mapped.columns}


def _offer_text(  # noqa: PLR0913, PLR0917 - what reading a text takes
    database: Database,
    path: Path,
    columns: dict[str, str],
    delimiter: str,
    quotes: tuple[str, str],
    skipped: int,
) -> None:
    delivered = database.connection.read_csv(
        str(path),
        columns=columns,
        header=False,
        skiprows=skipped,
        auto_detect=False,
        delimiter=delimiter,
        quotechar=quotes[0],
        escapechar=quotes[1],
        max_line_size=LINE_LIMIT,
    )
    _offer(database, delivered)


def _offer(database: Database, delivered: duckdb.DuckDBPyRelation) -> None:
    """Register the table as `delivered`, and with every field of every kind as `staged`."""
    present = set(delivered.columns)
    staged = delivered.select(
        *(
            duckdb.ColumnExpression(field)
            if field in present
            else duckdb.ConstantExpression(None).cast(kind).alias(field)
            for field, kind in _STAGED.items()
        )
    )
    database.connection.register("delivered", delivered)
    database.connection.register("staged", staged)


def _frame(fields: Sequence[str], rows: Iterable[DeliveredRow]) -> pl.DataFrame:
    """Return rows as a frame; empty texts of the rows' own columns are null."""
    width = len(fields)
    lines = [
        (row.line, *(text or None for text in row.own(width)[1:]), *row.padded(width))
        for row in rows
    ]
    schema = dict.fromkeys((*OWN_COLUMNS, *fields), pl.String) | {"line_number": pl.Int64}
    return pl.DataFrame(lines, schema=schema, orient="row")
