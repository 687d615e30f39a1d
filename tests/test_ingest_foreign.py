"""OpenDocument spreadsheets and SQLite files give the rows that the same table gives as text.

LibreOffice writes and reads the spreadsheets that these readers are held against; SQLite's own
library writes the databases.
"""

import csv
import shutil
import sqlite3
import subprocess
import zipfile
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from exports_kit import open_document
from ingest_kit import put, take
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.ingest.foreign import ForeignUnreadable, database_sheets, document_sheets

SOFFICE = shutil.which("soffice") or shutil.which("libreoffice") or ""
STATIONS: list[list[Any]] = [
    ["Store", "Station", "Channel", "Exported on"],
    ["S1", "B1", 15, "2026-09-30"],
    ["S1", "B2", 20, "2026-09-30"],
]


def document(path: Path, rows: str) -> Path:
    """Write a spreadsheet whose rows are written in markup."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("content.xml", open_document(rows))
    return path


def rows_of(path: Path) -> list[list[str]]:
    """Return the filled rows of a spreadsheet's only sheet."""
    (sheet,) = document_sheets(path)
    return [row.cells for row in sheet.rows()]


@pytest.mark.skipif(not SOFFICE, reason="LibreOffice is not installed")
def test_a_spreadsheet_of_an_office_program_is_read_as_it_shows(tmp_path: Path) -> None:
    """Numbers, days, moments, texts over lines, blanks, and rows far apart."""
    book = openpyxl.Workbook()
    written = book.active
    assert isinstance(written, Worksheet)
    for row in (*STATIONS, ["a  b\tc", -80.25, "x\ny"], [], [None, 0.5]):
        written.append(row)
    written.append([datetime(2026, 9, 30, 22, 15)])
    book.save(tmp_path / "a.xlsx")
    for form in ("ods", "csv"):
        subprocess.run(
            [SOFFICE, f"-env:UserInstallation=file://{tmp_path}/office", "--headless",
             "--convert-to", form, "--outdir", tmp_path, tmp_path / "a.xlsx"],
            check=True, capture_output=True, timeout=120,
        )  # fmt: skip
    (sheet,) = document_sheets(tmp_path / "a.ods")
    found = {row.line: row.cells for row in sheet.rows()}

    shown = list(csv.reader((tmp_path / "a.csv").read_text(encoding="utf-8").split("\n")[:-1]))
    assert [found[line] for line in (1, 2, 3)] == [list(map(str, row)) for row in STATIONS]
    assert shown[:3] == [found[line] for line in (1, 2, 3)]
    assert found[4] == ["a  b\tc", "-80.25", "x\ny"]
    assert (5 in found, found[6], found[7]) == (False, ["", "0.5"], ["2026-09-30 22:15:00"])
    assert [bool(any(row)) for row in shown] == [line in found for line in range(1, 8)]


def test_what_repeats_is_counted(tmp_path: Path) -> None:
    """Cells and rows stand as often as they are repeated, but for empty ones up to the end."""
    text = "<table:table-cell {}office:value-type='string'><text:p>{}</text:p></table:table-cell>"
    twice = text.format("table:number-columns-repeated='2' ", "S1")
    rows = (
        f"<table:table-row table:number-rows-repeated='3'>{twice}"
        "<table:table-cell table:number-columns-repeated='16382'/></table:table-row>"
        "<table:table-row table:number-rows-repeated='1048573'><table:table-cell/>"
        "</table:table-row>"
    )

    assert rows_of(document(tmp_path / "a.ods", rows)) == [["S1", "S1"]] * 3


BOMB = (
    "<table:table-row table:number-rows-repeated='900000000'><table:table-cell "
    "office:value-type='float' office:value='1'/></table:table-row>"
)


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        (BOMB, "repeats more cells"),
        ("<table:table-row table:number-rows-repeated='many'/>", "cannot be read"),
        ("<table:table-row>", "cannot be read"),
    ],
)
def test_damaged_spreadsheets_are_refused(tmp_path: Path, rows: str, why: str) -> None:
    """Among them a small file that would fill the memory."""
    with pytest.raises(ForeignUnreadable, match=why):
        document_sheets(document(tmp_path / "a.ods", rows))


def database(path: Path, statements: Sequence[str]) -> Path:
    """Write a database."""
    with sqlite3.connect(path) as connection:
        for statement in statements:
            connection.execute(statement)
    connection.close()
    return path


def test_tables_of_a_database_are_read_and_views_are_not(tmp_path: Path) -> None:
    """Whatever a table is called; numbers keep their digits, octets are shown in hexadecimal."""
    path = database(
        tmp_path / "a.sqlite",
        [
            'create table "x""; drop table y" (store text, "level dBm" real, raw blob)',
            "insert into \"x\"\"; drop table y\" values ('S1', -80.1, x'00ff'), (null, 15.0, null)",
            "create table y (n integer)",
            "create view v as select * from y",
        ],
    )
    before = path.read_bytes()
    found = {sheet.title: [row.cells for row in sheet.rows()] for sheet in database_sheets(path)}

    assert found == {
        'x"; drop table y': [
            ["store", "level dBm", "raw"],
            ["S1", "-80.1", "00ff"],
            ["", "15", ""],
        ],
        "y": [["n"]],
    }  # fmt: skip
    assert path.read_bytes() == before


def test_both_are_taken_like_any_export(tmp_path: Path) -> None:
    """And a damaged one is refused without harm to the others."""
    folder = put(tmp_path / "in", {"bad.sqlite": "SQLite format 3\0 and no more", "bad.ods": "x"})
    database(
        folder / "a.db",
        [
            "create table stations (store, station, channel, snapshot)",
            "insert into stations values ('S1', 'B1', 15, '2026-09-30')",
            "insert into stations values ('S1', 'B2', 20, '2026-09-30')",
        ],
    )
    result = take(folder)

    loaded = {outcome.file: (outcome.rows_loaded, outcome.refused) for outcome in result.outcomes}
    assert loaded["a.db#stations"] == (2, None)
    assert "database cannot be read" in str(loaded["bad.sqlite"][1])
    assert "damaged" in str(loaded["bad.ods"][1])
