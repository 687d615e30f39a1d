"""Write workbooks whose bytes depend on their content only, not on the time or the machine."""

import zipfile
from collections.abc import Mapping
from datetime import datetime
from io import BytesIO

from openpyxl import Workbook
from openpyxl.writer.excel import ExcelWriter

MADE_AT = datetime(2000, 1, 1)  # noqa: DTZ001 - fixed, in place of the time of saving
_ZIP_STAMP = (1980, 1, 1, 0, 0, 0)


def workbook_bytes(book: Workbook, made_at: datetime = MADE_AT) -> bytes:
    """Return a workbook as .xlsx, with `made_at` in place of the time of saving."""
    book.properties.created = book.properties.modified = made_at
    saved = BytesIO()
    # `book.save` would write the current time, and compress what is compressed again below.
    ExcelWriter(book, zipfile.ZipFile(saved, "w")).save()
    with zipfile.ZipFile(saved) as archive:
        return zip_bytes({name: archive.read(name) for name in archive.namelist()})


def zip_bytes(members: Mapping[str, bytes]) -> bytes:
    """Return a zip archive that names neither the time nor the operating system."""
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in members.items():
            entry = zipfile.ZipInfo(name, date_time=_ZIP_STAMP)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            archive.writestr(entry, content)
    return out.getvalue()
