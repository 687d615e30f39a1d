"""Offer a delivered table to the database as texts: fast where its form allows, always exact."""

from collections.abc import Mapping
from pathlib import Path

import duckdb

from pipeline.database import Database
from pipeline.ingest.delimited import LINE_LIMIT, PLAIN_COLUMNS, PLAIN_QUOTE
from pipeline.ingest.given import Understood
from pipeline.ingest.headings import MENDED_FIELDS
from pipeline.ingest.tables import DeliveredTable
from pipeline.ingest.words import CHANNEL_FIELDS
from pipeline.tables.exports import EXPORT_KINDS

_BUFFER = 1 << 20
# Rows that the database is given at a time: somewhat fewer than a group of 122,880, in which it
# stores them. Of larger batches it would store the rests, join them later, and so write them twice.
_BATCH = 110_000
_BATCH_OCTETS_MOST = 32 << 20
_BATCH_STEP = 1 << 16  # the reader fails where its buffer is no multiple of 16 octets
_PLAIN: Mapping[str, str] = dict.fromkeys(PLAIN_COLUMNS, "VARCHAR") | {"line_number": "BIGINT"}
# Every field that a heading of any kind can stand for, and what is known of a row's form.
_STAGED: Mapping[str, str] = {
    **dict.fromkeys((field.name for kind in EXPORT_KINDS for field in kind.fields), "VARCHAR"),
    **dict.fromkeys((*CHANNEL_FIELDS.values(), *MENDED_FIELDS.values()), "VARCHAR"),
    **{name: _PLAIN[name] for name in ("line_number", "row_fault", "beyond")},
}

# A day and a time of day in columns of their own; a whole moment stays.
_MOMENT = duckdb.SQLExpression(
    r"case when regexp_full_match(trim(scanned_at), "
    r"'\d{1,2}([:.]\d{2}){1,2}([.,]\d+)?( ?[AaPp]\.?[Mm]\.?)?') "
    r"then concat_ws(' ', regexp_replace(trim(scanned_on), '[ T]00:00(:00)?$', ''), "
    r"trim(scanned_at)) else scanned_at end"
).alias("scanned_at")


def stage_whole(database: Database, path: Path, table: DeliveredTable, known: Understood) -> None:
    """Offer a UTF-8 text as it lies on disk: every row must be as wide as the headings.

    It is read when a statement reads `staged`; a row of another form raises duckdb.Error.
    """
    dialect = table.head.dialect
    delivered = database.connection.read_csv(
        str(path),
        columns=_cells(known),
        header=False,
        skiprows=table.head.first_line - 1,
        auto_detect=False,
        delimiter=dialect.delimiter,
        quotechar=dialect.quote,
        escapechar=dialect.escape,
        max_line_size=LINE_LIMIT,
        buffer_size=_buffer(path, table.rows_if_even, LINE_LIMIT),
    )
    _offer(database, delivered, known.filled)


def stage_plain(database: Database, table: DeliveredTable, known: Understood) -> int:
    """Copy a table to plain lines and offer these; return how many rows it has."""
    rows, longest = 0, LINE_LIMIT
    with table.copy.open("w", encoding="utf-8", newline="", buffering=_BUFFER) as target:
        for line in table.lines():
            target.write(line)
            rows += 1
            if len(line) > LINE_LIMIT // 4:  # a character takes up to four bytes
                longest = max(longest, len(line.encode()))
    delivered = database.connection.read_csv(
        str(table.copy),
        columns={**_PLAIN, **_cells(known)},
        header=False,
        auto_detect=False,
        delimiter=table.head.dialect.delimiter,
        quotechar=PLAIN_QUOTE,
        escapechar=PLAIN_QUOTE,
        # Told, because guessing fails where a quoted cell holds a carriage return.
        lineterminator=duckdb.CSVLineTerminator.LINE_FEED,
        max_line_size=longest,
        buffer_size=_buffer(table.copy, rows, longest),
    )
    _offer(database, delivered, known.filled)
    return rows


def _buffer(path: Path, rows: int, longest: int) -> int:
    """Return how many octets of a text to read at a time: a batch, and two of its longest lines."""
    batch = min(path.stat().st_size * _BATCH // max(1, rows), _BATCH_OCTETS_MOST)
    return -(-max(2 * longest, batch) // _BATCH_STEP) * _BATCH_STEP


def _cells(known: Understood) -> dict[str, str]:
    return {column.field: "VARCHAR" for column in known.mapped.columns}


def _offer(
    database: Database, delivered: duckdb.DuckDBPyRelation, filled: Mapping[str, str]
) -> None:
    """Register the table as `delivered`, and with every field of every kind as `staged`.

    A field without a column is empty, or everywhere what `filled` says.
    """
    present = set(delivered.columns)
    joined = {"scanned_on", "scanned_at"} <= present
    staged = delivered.select(
        *(
            _MOMENT
            if joined and field == "scanned_at"
            else duckdb.ColumnExpression(field)
            if field in present
            else duckdb.ConstantExpression(filled.get(field)).cast(kind).alias(field)
            for field, kind in _STAGED.items()
        )
    )
    database.connection.register("delivered", delivered)
    database.connection.register("staged", staged)
