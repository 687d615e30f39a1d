"""Unpack a text that was packed with gzip (RFC 1952) or zstd (RFC 8878)."""

import gzip
import zlib
from pathlib import Path

import duckdb

from pipeline.ingest.delimited import LINE_LIMIT, TableUnreadable

_MOST = 8 << 30  # octets
_CHUNK = 1 << 20


def unpacked(path: Path, out: Path) -> Path:
    """Write what a packed text holds to `out` and return that.

    Raises:
        TableUnreadable: it is damaged, or unpacks to more than exports ever do.
    """
    try:
        if path.suffix.lower() == ".gz":
            _gzip(path, out)
        else:
            _zstd(path, out)
    except (OSError, EOFError, zlib.error, duckdb.Error) as error:
        raise TableUnreadable("packed-damaged", why=str(error)[:200]) from error
    return out


def _gzip(path: Path, out: Path) -> None:
    with gzip.open(path) as source, out.open("wb") as target:
        size = 0
        while chunk := source.read(_CHUNK):
            size += len(chunk)
            if size > _MOST:
                raise TableUnreadable("packed-large")
            target.write(chunk)


def _zstd(path: Path, out: Path) -> None:
    """Unpack by way of DuckDB, line by line: UTF-8 without control characters."""
    with duckdb.connect() as connection:
        lines = connection.read_csv(
            str(path), header=False, columns={"line": "VARCHAR"}, auto_detect=False,
            delimiter="\x1f", quotechar="", escapechar="", compression="zstd",
            max_line_size=LINE_LIMIT,
        )  # fmt: skip
        lines.write_csv(str(out), header=False, sep="\x1f", quotechar="", escapechar="")
