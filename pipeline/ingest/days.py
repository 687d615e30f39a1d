"""Which days are believable: none beyond the newest a run allows, none years from all the rest."""

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import chain
from pathlib import Path

from pipeline.database import Database
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.notation import read_titles
from pipeline.ingest.tables import DeliveredTable
from pipeline.ingest.words import READINGS, TableRefused
from pipeline.tables.taken import FileTaken

_SAMPLE_ROWS = 20
_NEAR_YEARS = 1  # a year apart is the turn of a year, or an export that came late
_NEIGHBOURS_LEAST = 2  # files that must agree before another one is asked about
_FOUR_DIGITS = re.compile(r"(?<!\d)(?:19|20|21)\d\d(?!\d)|^\s*(?:19|20|21)\d\d(?=\d{4}\s*$)")
_TWO_DIGITS = re.compile(r"^\s*\d{1,2}[./-]\d{1,2}[./-](\d\d)(?!\d)")


@dataclass(frozen=True, slots=True)
class FolderTerms:
    """What a run says beside the files.

    `reports`: where it writes, which is not read. `latest`: the newest believable day; None: any.
    `as_of`: the day of tables that say none; None: it is asked for. `due`: tables with rows set
    aside as of the future, whose day has come.
    """

    reports: Path | None = None
    latest: date | None = None
    as_of: date | None = None
    due: frozenset[FileTaken] = frozenset()


class Neighbours:
    """The years that the files of a folder and the database speak of."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._met: defaultdict[str, set[int]] = defaultdict(set)

    def meet(self, table: DeliveredTable, vocabulary: Vocabulary) -> bool:
        """Note the years of a table; say whether it can be taken before all others are known."""
        years = _years_of(table, vocabulary)
        if years:
            self._met[table.file] |= years
        return not years or self._is_near(table, self._others(table))

    def refuse(self, table: DeliveredTable) -> TableRefused | None:
        """Return the question about a table years away from all others; none where it is not."""
        others = self._others(table)
        files = {*self._met, *self._database.column("ingest", "tables_held")} - {table.file}
        lone = len(files) < _NEIGHBOURS_LEAST
        if lone or not self._met[table.file] or self._is_near(table, others):
            return None
        held = self._database.column("ingest", "years_held")
        if self._is_near(table, [{year} for year in held]):
            return None
        years = sorted(self._met[table.file])
        near = min({*held, *chain(*others)}, key=lambda year: (abs(year - years[0]), year))
        return TableRefused.of("year-apart", year=years[0], near=near)

    def _others(self, table: DeliveredTable) -> list[set[int]]:
        return [years for file, years in self._met.items() if file != table.file]

    def _is_near(self, table: DeliveredTable, others: Iterable[set[int]]) -> bool:
        own = self._met[table.file]
        confirmed = read_titles(table.head.titles, ()).year
        return any(confirmed == str(year) for year in own) or any(
            abs(one - other) <= _NEAR_YEARS for one in own for years in others for other in years
        )


def _years_of(table: DeliveredTable, vocabulary: Vocabulary) -> set[int]:
    """Return the years of the days in the first rows of a table, or of the line above them."""
    mapped = vocabulary.understand(table.head.headings.cells)
    if table.refused is not None or isinstance(mapped, TableRefused):
        return set()
    field = "scanned_at" if mapped.kind == READINGS else "seen_on"
    places = [place for place, column in enumerate(mapped.columns) if column.field == field]
    headings = vocabulary.headings_of(mapped.kind, "seen_on")
    titled = read_titles(table.head.titles, headings).exported_on if not places else None
    rows = table.first_rows(_SAMPLE_ROWS) if places else []
    cells = [row[place] for row in rows for place in places if place < len(row)]
    cells += [] if places else [titled or ""]
    return {year for cell in cells if (year := _year(cell)) is not None}


def _year(cell: str) -> int | None:
    if match := _FOUR_DIGITS.search(cell):
        return int(match[0])
    short = _TWO_DIGITS.match(cell)
    return 2000 + int(short[1]) if short else None
