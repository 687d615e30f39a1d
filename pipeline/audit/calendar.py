"""Quarters of the calendar, and the span of days an audit speaks of.

Snapshot days and register times are on each store's own calendar and clock, so a quarter begins
and ends at each store's own midnight. Moments in UTC are brought there before they are counted.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from pipeline.errors import QuarterUnreadable

_MONTHS = 3
_QUARTERS = 4
_FORM = re.compile(r"(\d{4})-Q([1-4])")


@dataclass(frozen=True, slots=True, order=True)
class Quarter:
    """A quarter of the calendar; `number` is 1 to 4."""

    year: int
    number: int

    @property
    def name(self) -> str:
        """Its name, such as 2026-Q3."""
        return f"{self.year:04}-Q{self.number}"

    @property
    def first(self) -> date:
        """Its first day."""
        return date(self.year, _MONTHS * (self.number - 1) + 1, 1)

    @property
    def last(self) -> date:
        """Its last day."""
        return self.next.first - timedelta(days=1)

    @property
    def next(self) -> "Quarter":
        """The quarter after it."""
        year, number = divmod(self.number, _QUARTERS)
        return Quarter(self.year + year, number + 1)


@dataclass(frozen=True, slots=True)
class Span:
    """The days after `start` up to and including `end`; `quarter` names it, if it is one's."""

    start: date
    end: date
    quarter: str = ""


def quarter_of(day: date) -> Quarter:
    """Return the quarter a day lies in."""
    return Quarter(day.year, (day.month - 1) // _MONTHS + 1)


def read_quarter(text: str) -> Quarter:
    """Return the quarter of a name such as 2026-Q3.

    Raises:
        QuarterUnreadable: the text is no such name.
    """
    found = _FORM.fullmatch(text.strip().upper())
    if found is None:
        raise QuarterUnreadable(text)
    return Quarter(int(found[1]), int(found[2]))


def quarters_to(first: date, last: Quarter) -> Iterator[Quarter]:
    """Yield the quarters from that of a day up to and including the last."""
    quarter = quarter_of(first)
    while quarter <= last:
        yield quarter
        quarter = quarter.next


def span_of(quarter: Quarter, as_of: date) -> Span:
    """Return the days of a quarter, but none after the day of the run."""
    return Span(quarter.first - timedelta(days=1), min(quarter.last, as_of), quarter.name)
