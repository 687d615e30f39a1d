"""Invented exports: read from `tests/exports`, put into files of every form, and judged."""

import csv
import gzip
import re
import sqlite3
import tomllib
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from functools import cache
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from xml.sax.saxutils import escape

import duckdb
import openpyxl
import polars as pl
from empty import new_database

from pipeline.ingest.load import ingest
from pipeline.ingest.notation import FolderTerms
from pipeline.progress import Silent
from pipeline.settings import Settings, load_settings

FOLDER = Path(__file__).parent / "exports"
AS_OF = date(2026, 9, 30)
KEYS: Mapping[str, tuple[str, ...]] = {
    "stores": ("store",),
    "stations": ("store", "station"),
    "ed_readings": ("store", "station", "scanned_at", "channel"),
    "labels": ("store", "label"),
    "wifi": ("store", "network"),
    "heard": ("store", "station", "neighbour"),
}
TABLES = {
    "stores": "store_seen",
    "stations": "station_seen",
    "ed_readings": "ed_reading",
    "labels": "label_seen",
    "wifi": "wifi_seen",
    "heard": "heard_seen",
}
# The words of the exports, as ISO 3166-1 and the database's booleans have them.
_COUNTRIES = {
    "Österreich": "AT", "France": "FR", "España": "ES", "Italia": "IT", "Nederland": "NL",
    "Polska": "PL", "日本": "JP",
}  # fmt: skip
_YES = {"yes", "ja", "oui", "sí", "sì", "tak", "はい", "true"}
_NO = {"no", "nein", "non", "nee", "nie", "いいえ", "false"}
_NUMBERS = {
    "x_m", "y_m", "tx_power_dbm", "level_dbm", "dwell_ms", "success_pct", "updates_per_day",
    "payload_octets", "utilisation_pct",
}  # fmt: skip
_WHOLE = {
    "floor", "channel", "port", "stations_heard", "wifi_channel", "width_mhz", "updates_sent",
    "updates_acknowledged", "acknowledged_first",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Export:
    """One invented export, with what `tests/exports/README.md` says of its parts."""

    group: str
    name: str
    kind: str
    file: str
    text: str
    sheet: str = "Sheet"
    member: str = "table.csv"
    encoding: str = "utf-8"
    columns: str = ""
    fixed: Mapping[str, str] = field(default_factory=dict)
    says: str = ""
    open: str = ""
    asked: str = ""
    also: str = ""
    heading_rows: int = 1

    @property
    def fields(self) -> list[str]:
        """The field of each column; '-' where it has none."""
        return self.columns.split()


@dataclass(frozen=True, slots=True)
class Found:
    """What the program made of an export: its rows by kind, what it asked, and how it read it."""

    rows: Mapping[str, list[dict[str, Any]]]
    refused: tuple[str, ...]
    aside: tuple[str, ...]
    said: str


def exports() -> list[Export]:
    """Return every export, group by group."""
    return [
        Export(path.stem, **each)
        for path in sorted(FOLDER.glob("*.toml"))
        for each in tomllib.loads(path.read_text(encoding="utf-8"))["export"]
    ]


def written(export: Export, folder: Path) -> Path:
    """Write an export into a folder and return the folder."""
    path = folder / export.file
    path.parent.mkdir(parents=True, exist_ok=True)
    text = export.text.encode(export.encoding)
    suffix = path.suffix
    if suffix == ".xlsx":
        _book(export, path)
    elif suffix == ".ods":
        path.write_bytes(_document(_cells(export)))
    elif suffix == ".parquet":
        headings, *rows = _cells(export)
        pl.DataFrame(rows, schema=headings, orient="row", strict=False).write_parquet(path)
    elif suffix == ".sqlite":
        _sqlite(_cells(export), path)
    elif suffix == ".gz":
        path.write_bytes(gzip.compress(text, mtime=0))
    elif suffix == ".zst":
        _packed(export, path)
    elif suffix == ".zip":
        with zipfile.ZipFile(path, "w") as archive:
            packed = gzip.compress(text, mtime=0) if export.member.endswith(".gz") else text
            archive.writestr(export.member, packed)
    else:
        path.write_bytes(text)
    return folder


def _cells(export: Export) -> list[list[Any]]:
    """Return the typed cells of an export whose form has types."""
    return [[_typed(cell) for cell in row] for row in csv.reader(_lines(export), delimiter=";")]


def _lines(export: Export) -> list[str]:
    return export.text.strip("\n").split("\n")


def _typed(cell: str) -> Any:  # noqa: ANN401 - whatever a cell may be
    if re.fullmatch(r"-?\d+", cell):
        return int(cell)
    if re.fullmatch(r"-?\d+\.\d+", cell):
        return float(cell)
    if re.fullmatch(r"\d{4}-\d\d-\d\d( \d\d:\d\d:\d\d)?", cell):
        return datetime.fromisoformat(cell)
    return cell or None


def _book(export: Export, path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.create_sheet(export.sheet, 0)
    for line, row in enumerate(_cells(export), start=1):
        for place, cell in enumerate(row, start=1):
            if cell == "<":
                sheet.merge_cells(
                    start_row=line, end_row=line, start_column=place - 1, end_column=place
                )
            else:
                sheet.cell(line, place, cell)
    book.save(path)


def open_document(rows: str) -> str:
    """Return the content of an OpenDocument sheet (ISO/IEC 26300), whose rows are markup."""
    names = ("office", "table", "text")
    spaces = " ".join(f'xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"' for n in names)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {spaces}><office:body>'
        f'<office:spreadsheet><table:table table:name="Sheet">{rows}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )


def _document(rows: Sequence[Sequence[Any]]) -> bytes:
    lines = (f"<table:table-row>{''.join(map(_cell, row))}</table:table-row>" for row in rows)
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", open_document("".join(lines)))
    return out.getvalue()


def _cell(value: object) -> str:
    text = f"<text:p>{escape(str(value))}</text:p>"
    if isinstance(value, int | float):
        return (
            f'<table:table-cell office:value-type="float" office:value="{value}">{text}'
            "</table:table-cell>"
        )
    return f'<table:table-cell office:value-type="string">{text}</table:table-cell>'


def _sqlite(rows: Sequence[Sequence[Any]], path: Path) -> None:
    headings, *values = rows
    with sqlite3.connect(path) as connection:
        connection.execute(f"create table exported ({', '.join(headings)})")
        marks = ", ".join("?" * len(headings))
        connection.executemany(f"insert into exported values ({marks})", values)  # noqa: S608 - of a test
    connection.close()


def _packed(export: Export, path: Path) -> None:
    with duckdb.connect() as connection:
        connection.execute("create table packed as select unnest(?) as line", [_lines(export)])
        connection.execute(
            f"copy packed to '{path}' (format csv, header false, delimiter '\\t', quote '', "
            "escape '', compression zstd)"
        )


@cache
def settings() -> Settings:
    """Return the settings of an empty rules file."""
    return load_settings()


def found_in(folder: Path, of: Settings | None = None) -> Found:
    """Take a folder into a new database and return what became of it."""
    with (
        TemporaryDirectory() as room,
        new_database(Path(room) / "q.duckdb") as database,
    ):
        outcomes = ingest(
            database, folder, of or settings(), Silent(), FolderTerms(as_of=AS_OF, latest=AS_OF)
        )
        read = database.connection
        facts = {kind: read.table(table) for kind, table in TABLES.items()}
        rows = {
            kind: [
                dict(zip(fact.columns, row, strict=True)) for row in fact.order("all").fetchall()
            ]
            for kind, fact in facts.items()
        }
        aside = read.execute(
            "select problem || ' ' || text from quarantined_row where problem <> 'file-refused' "
            "union all select problem || ' ' || field || ' ' || text from quarantined_cell"
        ).fetchall()
    refused = tuple(each.refused or each.passed_over or "" for each in outcomes)
    said = " / ".join(each.decisions for each in outcomes)
    return Found(rows, tuple(filter(None, refused)), tuple(each[0] for each in aside), said)


def expected(export: Export) -> list[dict[str, Any]]:
    """Return the rows that an export says, typed, without what stands under `open`."""
    if export.says:
        headings, *rows = ([c.strip() for c in line.split("|")] for line in _said(export.says))
    else:
        rows, headings = list(_rows(export))[export.heading_rows :], export.fields
    left_out = {"-", *export.open.split()}
    return [
        {n: _value(n, cell) for n, cell in zip(headings, row, strict=True) if n not in left_out}
        for row in rows
    ]


def _said(text: str) -> list[str]:
    return text.strip("\n").split("\n")


def delimiter_of(heading: str) -> str:
    """Return what parts the cells of a row of headings."""
    return next((each for each in ";\t," if each in heading), ",")


def _rows(export: Export) -> Iterator[list[str]]:
    lines = _lines(export)
    heading = next(line for line in lines if line.strip() and not line.startswith(("# ", "sep=")))
    delimiter = next((each for each in ";\t," if each in heading), None)
    for cells in csv.reader(lines[lines.index(heading) :], delimiter=delimiter_of(heading)):
        # Without a delimiter they are aligned with blanks, or between bars.
        row = cells if delimiter else cells[0].replace("|", " ").split()
        if row and not set("".join(row)) <= set("- "):
            yield [cell.strip() for cell in row]


def _value(name: str, cell: str) -> Any:  # noqa: ANN401 - each field has its own type
    if not cell:
        return None
    if name in _NUMBERS:
        return float(cell.replace(",", "."))
    typed = _TYPES.get(name, str)
    return typed(cell)


def _day(cell: str) -> str:
    """Return a day, alone or before a time of day, with its year first."""
    return re.sub(r"^(\d\d)[./-](\d\d)[./-](\d{4})", r"\3-\2-\1", cell).replace("/", "-")


def _flag(cell: str) -> bool:
    assert cell in _YES | _NO, cell
    return cell in _YES


_TYPES: Mapping[str, Callable[[str], Any]] = {
    **dict.fromkeys(_WHOLE, int),
    "pan_id": lambda cell: int(cell, 16),
    "seen_on": lambda cell: date.fromisoformat(_day(cell)),
    "last_heard_on": lambda cell: date.fromisoformat(_day(cell)),
    "scanned_at": lambda cell: datetime.fromisoformat(_day(cell)),
    "opens": time.fromisoformat,
    "closes": time.fromisoformat,
    "connected": _flag,
    "own_quiet": _flag,
    "country": lambda cell: _COUNTRIES.get(cell, cell),
}
