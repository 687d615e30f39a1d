"""The quarantine as a workbook: what could not be taken, why, and what to do about it.

The first sheet lists every file and problem. Each further sheet holds the rows of files that have
the same headings and were read the same way. To mend rows: correct their cells in place (a date
or number is written as the lines above the headings say), leave the last three columns alone,
delete rows that shall stay where they are, save, and put the workbook into the folder of exports.
The next ingest knows the sheets by those three columns: it takes the rows like any other export,
and every row they name leaves quarantine. A row that is still wrong goes back into quarantine,
under the name of this workbook.

A file refused as a whole has no rows here: mend the file, or the rules file, and run again.
"""

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from io import BytesIO
from pathlib import Path

from xlsxwriter.format import Format
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from pipeline.database import Database
from pipeline.errors import OutputNotWritable

NAME = "quarantine.xlsx"
_MADE_AT = datetime(2000, 1, 1)  # noqa: DTZ001 - a fixed mark, so that equal content gives equal bytes
_OVERVIEW = ("quarantined file", "quarantined line", "rows", "problem", "reason", "what to do")
_BEFORE = ("reason", "what to do")
_AFTER = ("quarantined file", "quarantined line", "quarantined content")
_BEYOND = "beyond the headings"
_SHEETS_MOST = 200
_ROWS_MOST = 500_000
_CELL_MOST = 32_000  # characters; a sheet takes 32,767
# How ingest says it read a file, and the line that makes it read the sheet the same way.
_TITLES = (
    ("days day before month", "Dates: dd/mm/yyyy"),
    ("days month before day", "Dates: mm/dd/yyyy"),
    ("decimal comma", "Decimals: comma"),
    ("decimal point", "Decimals: point"),
    ("PAN IDs in hex", "PAN IDs: hex"),
    ("levels in dBm", "Unit: dBm"),
    ("levels in -dBm", "Unit: -dBm"),
    ("levels in raw", "Unit: raw"),
)


@dataclass(frozen=True, slots=True)
class _Row:
    """One quarantined row: where it came from, why, and its original cells by heading."""

    place: tuple[str, int, str]
    reason: str
    advice: str
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class _Layout:
    """What rows of one sheet share."""

    kind: str
    titles: tuple[str, ...]
    headings: tuple[str, ...]


def write_quarantine(database: Database, out: Path) -> Path | None:
    """Write `quarantine.xlsx` into the folder `out`; return its path, or none when all is well.

    An older workbook of that name is taken away when nothing is in quarantine any more. The same
    quarantine gives the same bytes.

    Raises:
        OutputNotWritable: the folder or file cannot be written.
    """
    path = out / NAME
    overview = database.rows("report", "quarantine_overview")
    try:
        if not overview:
            path.unlink(missing_ok=True)
            return None
        content = _workbook(overview, _sheets(database))
        out.mkdir(parents=True, exist_ok=True)
        passing = path.with_name(f".{NAME}.part")
        passing.write_bytes(content)
        os.replace(passing, path)  # noqa: PTH105 - whole or not at all
    except OSError as error:
        raise OutputNotWritable(path, str(error)) from error
    return path


def _sheets(database: Database) -> Mapping[_Layout, list[_Row]]:
    sheets: dict[_Layout, list[_Row]] = {}
    for row in database.rows("report", "quarantine_rows"):
        file, sha256, line, _, reason, advice, text, kind, exported_on, decisions = row
        cells = json.loads(text)
        headings = tuple(heading for heading in cells if heading != _BEYOND)
        layout = _Layout(kind, _titles(exported_on, decisions), headings)
        place = (file, line, sha256)
        sheets.setdefault(layout, []).append(_Row(place, reason, advice, cells))
    return sheets


def _titles(exported_on: date | None, decisions: str) -> tuple[str, ...]:
    said = decisions.split("; ")
    dated = (f"Exported on: {exported_on.isoformat()}",) if exported_on else ()
    return dated + tuple(title for words, title in _TITLES if words in said)


def _workbook(
    overview: Sequence[tuple[object, ...]], sheets: Mapping[_Layout, Sequence[_Row]]
) -> bytes:
    buffer = BytesIO()
    book = Workbook(buffer, {"in_memory": True, "constant_memory": False})
    book.set_properties({"title": "Rows in quarantine", "created": _MADE_AT})
    head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    text = book.add_format({"num_format": "@", "valign": "top"})
    wrapped = book.add_format({"num_format": "@", "valign": "top", "text_wrap": True})
    _put_overview(book.add_worksheet("Overview"), overview, head, wrapped)
    for number, (layout, rows) in enumerate(list(sheets.items())[:_SHEETS_MOST], start=1):
        sheet = book.add_worksheet(f"{number} {layout.kind}")
        _put_rows(sheet, layout, rows[:_ROWS_MOST], (head, text, wrapped))
    book.close()
    return buffer.getvalue()


def _put_overview(
    sheet: Worksheet, rows: Sequence[tuple[object, ...]], head: Format, wrapped: Format
) -> None:
    for column, (heading, width) in enumerate(zip(_OVERVIEW, (40, 12, 8, 24, 60, 60), strict=True)):
        sheet.set_column(column, column, width)
        sheet.write_string(0, column, heading, head)
    for line, row in enumerate(rows, start=1):
        for column, value in enumerate(row):
            if isinstance(value, int):
                sheet.write_number(line, column, value, wrapped)
            else:
                sheet.write_string(line, column, _shown(str(value)), wrapped)
    sheet.freeze_panes(1, 0)


def _put_rows(
    sheet: Worksheet, layout: _Layout, rows: Sequence[_Row], looks: tuple[Format, Format, Format]
) -> None:
    head, text, wrapped = looks
    beyond = (_BEYOND,) if any(_BEYOND in row.cells for row in rows) else ()
    own = (*layout.headings, *beyond)
    for line, title in enumerate(layout.titles):
        sheet.write_string(line, 0, title, text)
    top = len(layout.titles)
    for column, heading in enumerate((*_BEFORE, *own, *_AFTER)):
        sheet.write_string(top, column, _shown(heading), head)
    sheet.set_column(0, 1, 50)
    sheet.set_column(2, len(own) + 1, 16)
    sheet.set_column(len(own) + 2, len(own) + 4, 20)
    for line, row in enumerate(rows, start=top + 1):
        cells = [row.cells.get(heading, "") for heading in own]
        sheet.write_string(line, 0, _shown(row.reason), wrapped)
        sheet.write_string(line, 1, _shown(row.advice), wrapped)
        for column, cell in enumerate((*cells, *map(str, row.place)), start=len(_BEFORE)):
            if cell:
                sheet.write_string(line, column, _shown(cell), text)
    sheet.freeze_panes(top + 1, 0)


def _shown(text: str) -> str:
    """Return a text as a sheet can hold it: no control characters, not too long."""
    return "".join(sign if sign.isprintable() or sign in "\n\t" else "\ufffd" for sign in text)[
        :_CELL_MOST
    ]
