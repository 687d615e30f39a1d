"""Workbooks as they come back, made plainly with openpyxl: what the forms need and no more."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from changes_kit import BY
from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.database import Database
from pipeline.forms import CHANGE, COPY, DECISIONS, MOVES, RESULTS, Form, plain

Entries = Mapping[str, Mapping[str, object]]  # change to what is filled in, by key
TOP = 5  # the first row of changes


@dataclass
class Book:
    """A workbook to be sent back, and the columns of its forms by key."""

    book: Workbook
    path: Path

    def sheet(self, form: Form) -> Worksheet:
        """Return the sheet of a form."""
        sheet = self.book[form.sheet]
        assert isinstance(sheet, Worksheet)
        return sheet

    def place(self, form: Form, change: str, key: str) -> str:
        """Return the cell of a change under a key."""
        sheet = self.sheet(form)
        keys = [cell.value for cell in sheet[TOP - 2]]
        for row in sheet.iter_rows(min_row=TOP):
            if row[keys.index(CHANGE)].value == change:
                return str(row[keys.index(key)].coordinate)
        raise AssertionError(change)

    def fill(self, form: Form, change: str, **values: object) -> "Book":
        """Fill in or overwrite cells of a change."""
        for key, value in values.items():
            cell: Any = self.sheet(form)[self.place(form, change, key)]
            cell.value = value
        return self

    def decide(
        self, change: str, word: str, by: str = BY, day: object = date(2026, 10, 5), note: str = ""
    ) -> "Book":
        """Fill in a decision."""
        return self.fill(DECISIONS, change, decision=word, by=by, date=day, note=note or None)

    def saved(self) -> Path:
        """Save it and return its path."""
        self.book.save(self.path)
        return self.path


def book_of(database: Database, store: str, folder: Path, name: str = "") -> Book:
    """Return the workbook of a store's plan in force, nothing filled in."""
    plan = database.connection.execute(
        "select plan from change_plan where store = ? order by number desc limit 1", [store]
    ).fetchall()[0][0]
    changes = database.connection.execute(
        "select change, position, station, from_channel, to_channel, parking, clear_air_before, "
        "clear_air_after from change where plan = ? order by position", [plan]
    ).fetchall()  # fmt: skip
    book = Workbook()
    book.remove(book.worksheets[0])
    copy = book.create_sheet(COPY)
    copy.append(["plan", plan])
    copy.append(["store", store])
    for form in (DECISIONS, RESULTS):
        sheet = book.create_sheet(form.sheet)
        sheet.append([f"Decide on plan {plan} of {store}"])
        sheet.append(["how to fill it in"])
        sheet.append(list(form.keys))
        sheet.append([key.title() for key in form.keys])
        for change in changes:
            cells = _cells(form, change)
            sheet.append([cells.get(key) for key in form.keys])
            for key in form.locked:
                copy.append([form.sheet, change[0], key, plain(cells.get(key))])
    _moves(book, copy, changes)
    return Book(book, folder / f"{name or store}.xlsx")


def _cells(form: Form, change: Sequence[object]) -> dict[str, object]:
    name, position, station, before, after, parking, clear_before, clear_after = change
    cells = {
        CHANGE: name, "order": position, "station": station, "name": f"aisle of {station}",
        "mounted": None, "from": before, "to": after, "kind": "parking" if parking else "final",
        "clear_before": clear_before, "clear_after": clear_after, "state": "proposed",
    }  # fmt: skip
    return {key: value for key, value in cells.items() if key in form.keys}


def _moves(book: Workbook, copy: Worksheet, changes: Sequence[Sequence[object]]) -> None:
    sheet = book.create_sheet(MOVES)
    sheet.append(["Order", "Station", "From", "To", "Reason"])
    for _, position, station, before, after, *_ in changes:
        row = (position, station, before, after, f"why {station} moves")
        sheet.append(row)
        for key, value in zip(("order", "station", "from", "to", "reason"), row, strict=True):
            copy.append([MOVES, str(position), key, plain(value)])


def reordered(book: Book, form: Form, order: Callable[[list[str]], list[str]]) -> None:
    """Move the columns of a form about, as people do."""
    sheet = book.sheet(form)
    keys = [str(cell.value) for cell in sheet[TOP - 2]]
    rows = [dict(zip(keys, row, strict=True)) for row in _values(sheet, TOP - 2)]
    wanted = order(keys)
    for number, row in enumerate(rows, start=TOP - 2):
        for at, key in enumerate(wanted, start=1):
            sheet.cell(number, at).value = row.get(key)  # type: ignore[assignment]  # as read


def reversed_rows(book: Book, form: Form) -> None:
    """Sort the rows of changes the other way round."""
    sheet = book.sheet(form)
    for number, row in enumerate(reversed(list(_values(sheet, TOP))), start=TOP):
        for at, value in enumerate(row, start=1):
            sheet.cell(number, at).value = value  # type: ignore[assignment]  # as read


def _values(sheet: Worksheet, first: int) -> list[tuple[object, ...]]:
    return list(sheet.iter_rows(min_row=first, values_only=True))
