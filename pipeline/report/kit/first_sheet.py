"""The first sheet of a workbook."""

from collections.abc import Sequence

from pipeline.report.kit.column import Look, Value, row_height
from pipeline.report.kit.sheet import Book, Page

_LEAD = 1.2  # letters of a lead, over those of a note


class FirstSheet:
    """The first sheet of a workbook, written from top to bottom: notes, and sections of lines."""

    def __init__(self, book: Book, page: Page, title: str, widths: Sequence[float]) -> None:
        self._book, self._page, self._widths = book, page, widths
        self._row = 1
        page.fit(1, 1)
        for column, width in enumerate(widths):
            page.width(column, column, width)
        page.put(0, 0, title, book.title)
        page.height(0, 26)

    def note(self, text: str, spare: float = 0.0, *, lead: bool = False) -> None:
        """Write a text across the sheet, in large letters if it asks for something.

        `spare` is space below it in points.
        """
        look, letters = (self._book.lead, _LEAD) if lead else (self._book.note, 1.0)
        self._page.merge(self._row, len(self._widths) - 1, text, look)
        height = row_height([(text, sum(self._widths) / letters)]) * letters
        self._page.height(self._row, height + spare)
        self._row += 1

    def section(self, title: str) -> None:
        """Begin a section, after an empty row."""
        self._row += 1
        for column in range(len(self._widths)):
            self._page.put(self._row, column, title if column == 0 else None, self._book.section)
        self._row += 1

    def line(self, *cells: tuple[Value, Look], height: float | None = None) -> None:
        """Write a line of cells, as high as given, or as long texts need."""
        for column, (value, look) in enumerate(cells):
            self._page.put(self._row, column, value, self._book.looks[look])
        if height is None and any(look is Look.LONG for _, look in cells):
            values = zip(cells, self._widths, strict=True)
            height = row_height([(v, width) for (v, _), width in values if isinstance(v, str)])
        if height is not None:
            self._page.height(self._row, height)
        self._row += 1

    def end(self) -> None:
        """Write the whole seal of the register; print no more than what was written."""
        self._row += 1
        self.note(self._book.sealed)
        if self._book.told:
            self.note(self._book.told)
        self._page.print_area(self._row - 1, len(self._widths) - 1)
