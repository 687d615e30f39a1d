"""Bring a delivered table into the database as texts, fast where its form allows, exact always."""

from collections.abc import Iterable, Sequence
from itertools import islice
from pathlib import Path

import duckdb
import polars as pl

from pipeline.database import Database
from pipeline.ingest.delimited import LINE_LIMIT, Head, Row
from pipeline.ingest.headings import CHANNELS, MENDED_FIELDS, Mapped
from pipeline.ingest.numbered import OWN, QUOTE

_BATCH_ROWS = 20_000
# Every field a heading can stand for, whatever the kind.
FIELDS = (
    "store", "station", "seen_on", "name", "region", "country", "store_type", "time_zone",
    "opens", "closes", "mounted", "floor", "x_m", "y_m", "channel", "pan_id", "tx_power_dbm",
    "eui64", "ip_address", "port", "firmware", "hardware", "connected", "scanned_at", "level",
    "statistic", "dwell_ms", "own_quiet", "unit", "scale", "zero_dbm", "db_per_step", "label",
    "level_dbm", "stations_heard", "success_pct", "last_heard_on", "updates_per_day",
    "payload_octets", "channels", "network", "wifi_channel", "width_mhz", "secondary",
    "utilisation_pct", "neighbour",
    *(f"c{channel}" for channel in CHANNELS),
    *MENDED_FIELDS.values(),
)  # fmt: skip


def stage_whole(database: Database, path: Path, head: Head, mapped: Mapped) -> None:
    """Offer a UTF-8 file as it lies on disk: every row must have the headings' width.

    The file is read when a statement reads `staged`; a row of another form raises duckdb.Error.
    """
    delivered = database.connection.read_csv(
        str(path),
        columns={column.field: "VARCHAR" for column in mapped.columns},
        header=False,
        skiprows=head.first_line - 1,
        auto_detect=False,
        delimiter=head.dialect.delimiter,
        quotechar=head.dialect.quote,
        escapechar=head.dialect.escape,
        max_line_size=LINE_LIMIT,
    )
    _offer(database, delivered)


def stage_numbered(database: Database, path: Path, head: Head, mapped: Mapped) -> None:
    """Offer a text's numbered copy: rows of another form have their fault beside them."""
    own = {column: "BIGINT" if column == "line_number" else "VARCHAR" for column in OWN}
    delivered = database.connection.read_csv(
        str(path),
        columns=own | {column.field: "VARCHAR" for column in mapped.columns},
        header=False,
        auto_detect=False,
        delimiter=head.dialect.delimiter,
        quotechar=QUOTE,
        escapechar=QUOTE,
        max_line_size=LINE_LIMIT,
    )
    _offer(database, delivered)


def stage_rows(database: Database, mapped: Mapped, rows: Iterable[Row]) -> None:
    """Copy rows one by one into a temporary table; rows of a wrong form keep their fault."""
    fields = [column.field for column in mapped.columns]
    stream = iter(rows)
    statement = "delivered_first"
    while True:
        batch = list(islice(stream, _BATCH_ROWS))
        if not batch and statement == "delivered_more":
            break
        database.insert("ingest", statement, _frame(fields, batch))
        statement = "delivered_more"
    _offer(database, database.connection.table("delivered_rows"))


def _offer(database: Database, delivered: duckdb.DuckDBPyRelation) -> None:
    """Register the table as `delivered`, and with every field any kind knows as `staged`."""
    present = set(delivered.columns)
    types = dict.fromkeys(FIELDS, "VARCHAR") | {
        "line_number": "BIGINT",
        "row_fault": "VARCHAR",
        "beyond": "VARCHAR",
    }
    staged = delivered.select(
        *(
            duckdb.ColumnExpression(field)
            if field in present
            else duckdb.ConstantExpression(None).cast(types[field]).alias(field)
            for field in types
        )
    )
    database.connection.register("delivered", delivered)
    database.connection.register("staged", staged)


def _frame(fields: Sequence[str], rows: Sequence[Row]) -> pl.DataFrame:
    width = len(fields)
    cells = [row.cells if len(row.cells) == width else _padded(row.cells, width) for row in rows]
    columns = list(zip(*cells, strict=True)) if cells else [()] * width
    data = dict(zip(fields, columns, strict=True))
    text = dict.fromkeys([*fields, "row_fault", "beyond", "more"], pl.String)
    return pl.DataFrame(
        data
        | {
            "line_number": [row.line for row in rows],
            "row_fault": [row.fault for row in rows],
            "beyond": [row.form(width) or None for row in rows],
            "more": [" | ".join(row.cells[width:]) or None for row in rows],
        },
        schema=text | {"line_number": pl.Int64},
    ).select([*fields, *OWN])


def _padded(cells: Sequence[str], width: int) -> list[str]:
    return [*cells[:width], *[""] * (width - len(cells))]
