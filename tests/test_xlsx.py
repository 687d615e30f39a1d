"""A workbook's bytes depend on its content alone."""

import os
import subprocess
import sys
from datetime import date, datetime
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font

from pipeline.xlsx import workbook_bytes

ROOT = Path(__file__).parents[1]
_PROGRAM = (
    "import pipeline, openpyxl; from hashlib import sha256; from openpyxl import Workbook; "
    "from pipeline.xlsx import workbook_bytes; book = Workbook(); "
    "book.worksheets[0].append(['Łódź', 1, None, 2.5]); "
    "print(openpyxl.LXML, sha256(workbook_bytes(book)).hexdigest())"
)


def test_bytes_do_not_depend_on_what_else_is_installed(tmp_path: Path) -> None:
    """A library that openpyxl would use if it were there changes nothing."""
    (tmp_path / "lxml").mkdir()
    (tmp_path / "lxml" / "__init__.py").touch()
    (tmp_path / "lxml" / "etree.py").write_text("LXML_VERSION = (9, 9, 9, 9)\n", encoding="utf-8")
    told = subprocess.run(
        [sys.executable, "-c", _PROGRAM],
        check=True,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": f"{tmp_path}{os.pathsep}{ROOT}", "PYTHONHASHSEED": "5"},
    ).stdout
    book = Workbook()
    book.worksheets[0].append(["Łódź", 1, None, 2.5])

    assert told.split() == ["False", sha256(workbook_bytes(book)).hexdigest()]


def test_cells_are_written_as_the_library_itself_writes_them() -> None:
    """Every kind of cell, those among them that are left to the library; source: openpyxl."""
    book = Workbook()
    sheet = book.worksheets[0]
    for row in (
        ["plain", "a < b & c > d", "'\"", " spaces ", "two\nlines", " ", "", None, "=1+1", "#N/A"],
        [0, -1, 2.5, 1 / 3, 1e300, True, False, date(2026, 9, 30), datetime(2026, 9, 30, 8, 15)],
        ["bold", None, 7],
        ["linked", 1],
        ["spoken of", 2],
    ):
        sheet.append(row)
    for cell in sheet[3]:
        cell.font = Font(bold=True)
    sheet["A4"].hyperlink = "../elsewhere.xlsx"
    sheet["A5"].comment = Comment("why", "who")
    sheet.merge_cells("A7:C7")
    sheet["A7"].font = Font(italic=True)
    sheet.row_dimensions[2].height = 31.5
    sheet.row_dimensions[9].hidden = True
    saved = BytesIO()
    book.save(saved)

    ours, theirs = ZipFile(BytesIO(workbook_bytes(book))), ZipFile(saved)
    assert ours.namelist() == theirs.namelist()
    for name in ours.namelist():
        if name != "docProps/core.xml":  # says when it was saved
            assert ours.read(name) == theirs.read(name), name


def test_a_book_written_row_by_row_keeps_its_rows() -> None:
    """The library writes such sheets as their rows come; they are not written over as empty."""
    book = Workbook(write_only=True)
    book.create_sheet("Rows").append(["Łódź", 1])
    [row] = load_workbook(BytesIO(workbook_bytes(book)))["Rows"].iter_rows(values_only=True)
    assert row == ("Łódź", 1)
