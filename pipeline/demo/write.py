"""Write tables as files whose bytes depend on nothing but the tables."""

import csv
import io
from collections.abc import Sequence
from datetime import date, datetime, time
from pathlib import Path

from openpyxl import Workbook

from pipeline.demo.chain import CHAIN
from pipeline.demo.records import Cell, Dialect, Fault, Portfolio, Sheet
from pipeline.demo.sheets import sheets_of
from pipeline.xlsx import workbook_bytes, zip_bytes

_STAMP = datetime(2026, 9, 30, 18, 0)  # noqa: DTZ001 - a document property, fixed on purpose


def write_exports(portfolio: Portfolio, folder: Path, faults: Sequence[Fault] = ()) -> None:
    """Write the exports of a portfolio below `folder`, with the faults made in writing."""
    sheets = sheets_of(portfolio)
    for fault in faults:
        if fault.on_sheets is not None:
            sheets = fault.on_sheets(sheets)
    for path, content in files_of(sheets).items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)


def files_of(sheets: Sequence[Sheet]) -> dict[str, bytes]:
    """Return the files that hold the tables: path below the exports folder to bytes."""
    files: dict[str, bytes] = {}
    packed: dict[str, dict[str, bytes]] = {}
    books: dict[str, list[Sheet]] = {}
    for sheet in sheets:
        if "#" in sheet.path:
            books.setdefault(sheet.path.split("#")[0], []).append(sheet)
        elif "!" in sheet.path:
            container, member = sheet.path.split("!")
            packed.setdefault(container, {})[member] = text_of(sheet)
        else:
            files[sheet.path] = text_of(sheet)
    files.update({path: zip_bytes(members) for path, members in packed.items()})
    files.update({path: _workbook(tables) for path, tables in books.items()})
    return files


def text_of(sheet: Sheet) -> bytes:
    """Return a table as delimited text."""
    dialect = sheet.dialect
    out = io.StringIO()
    out.writelines(line + dialect.line_end for line in sheet.title)
    writer = csv.writer(out, delimiter=dialect.delimiter, lineterminator=dialect.line_end)
    writer.writerow(sheet.headings)
    writer.writerows([cell_text(cell, dialect) for cell in row] for row in sheet.rows)
    return out.getvalue().encode(dialect.encoding)


def cell_text(cell: Cell, dialect: Dialect) -> str:
    """Return one value as its source system writes it."""
    match cell:
        case None:
            return ""
        case bool():
            return dialect.yes if cell else dialect.no
        case float():
            return f"{cell:g}".replace(".", dialect.decimal_mark)
        case date() | time():  # a datetime is a date, too
            return cell.strftime(_format_of(cell, dialect))
        case _:
            return str(cell)


def _format_of(cell: date | time, dialect: Dialect) -> str:
    if isinstance(cell, datetime):
        return dialect.moment_format
    return dialect.date_format if isinstance(cell, date) else "%H:%M"


def _workbook(sheets: Sequence[Sheet]) -> bytes:
    book = Workbook(write_only=True)
    book.properties.creator = f"{CHAIN} store systems (invented)"
    for sheet in sheets:
        page = book.create_sheet(sheet.path.split("#")[1])
        for line in sheet.title:
            page.append([line])
        page.append(sheet.headings)
        for row in sheet.rows:
            page.append(row)
    return workbook_bytes(book, _STAMP)
