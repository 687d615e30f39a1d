"""Workbooks as bytes: the same content gives the same bytes, whenever and wherever it is saved."""

import re
import zipfile
from collections.abc import Mapping
from datetime import datetime
from io import BytesIO

from openpyxl import Workbook

MADE_AT = datetime(2000, 1, 1)  # noqa: DTZ001 - a fixed mark in place of the moment of saving
_ZIP_STAMP = (1980, 1, 1, 0, 0, 0)
_CORE = "docProps/core.xml"
_MODIFIED = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*")


def workbook_bytes(book: Workbook, made_at: datetime = MADE_AT) -> bytes:
    """Return a workbook as .xlsx with `made_at` in place of the moment of saving."""
    book.properties.created = made_at
    saved = BytesIO()
    book.save(saved)
    with zipfile.ZipFile(saved) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    stamp = made_at.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    members[_CORE] = _MODIFIED.sub(rb"\g<1>" + stamp, members[_CORE])
    return zip_bytes(members)


def zip_bytes(members: Mapping[str, bytes]) -> bytes:
    """Return a zip archive whose bytes tell neither the time nor the operating system."""
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in members.items():
            entry = zipfile.ZipInfo(name, date_time=_ZIP_STAMP)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            archive.writestr(entry, content)
    return out.getvalue()
