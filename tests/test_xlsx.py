"""A workbook's bytes depend on its content alone."""

import os
import subprocess
import sys
from hashlib import sha256
from pathlib import Path

from openpyxl import Workbook

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
