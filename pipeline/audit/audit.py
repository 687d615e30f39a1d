"""The audit of a quarter, and of any two days: departures and figures into tables."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from hashlib import sha256
from types import MappingProxyType

import polars as pl

from pipeline.audit.baseline import advance
from pipeline.audit.calendar import Quarter, Span, quarters_to, span_of
from pipeline.audit.drift import StoreStory, departures, story_of
from pipeline.audit.gather import store_facts
from pipeline.audit.records import Departure
from pipeline.database import Database
from pipeline.errors import DaysOutOfOrder, NothingToAudit
from pipeline.frames import frame_of
from pipeline.progress import Progress, Silent

_COLUMNS: Mapping[str, type[pl.DataType]] = MappingProxyType(
    {"first_seen": pl.Date, "stood_days": pl.Int64, "approved_on": pl.Date}
)  # of Departure; all others are texts
_TABLES = ("store", "finding", "change", "promise", "air")


@dataclass(frozen=True, slots=True)
class Audited:
    """What an audit came to.

    `edition` counts from 1; a later one restates the quarter, because facts that speak of it came
    after it was audited. None: the quarter is not over on the run's day, so this is not one yet.
    """

    quarter: str
    edition: int | None
    stores: int
    departures: int


@dataclass(frozen=True, slots=True)
class _Days:
    quarter: str
    first: date
    last: date


def audit(database: Database, quarter: Quarter, progress: Progress | None = None) -> Audited:
    """Audit a quarter, and all before it for the trend; fills drift and the audit tables.

    It rests on what is dated within each quarter or before: exports by the day they speak of,
    register events and approvals by the day they happened. So it says the same whenever it is
    run, unless facts that speak of the quarter come late: then it is a restatement with its own
    number.

    Args:
        database: with `this_run` set.
        quarter: to audit; up to the day of the run where it is not over yet.
        progress: over the stores.

    Raises:
        NothingToAudit: no export speaks of the quarter or a day before, or it has not begun.
    """
    as_of = database.rows("audit", "as_of")[0][0]
    began = database.rows("audit", "began")[0][0]
    if began is None or quarter.last < began or quarter.first > as_of:
        raise NothingToAudit(quarter.name, began, as_of)
    advance(database)
    spans = {q.name: span_of(q, as_of) for q in quarters_to(began, quarter)}
    stories = [story_of(facts) for facts in store_facts(database, spans[quarter.name].end)]
    watched = (progress or Silent()).over(stories, "audit", len(stories))
    rows = [(name, row) for name, row in _all(watched, spans)]
    days = [_Days(q.name, q.first, spans[q.name].end) for q in quarters_to(began, quarter)]
    with database.transaction():
        _replace(database, quarter.name, rows, days)
        edition = _edition(database, quarter, as_of) if quarter.last <= as_of else None
    found = sum(name == quarter.name for name, _ in rows)
    return Audited(quarter.name, edition, len(stories), found)


def compare(
    database: Database, start: date, end: date, store: str | None = None
) -> tuple[Departure, ...]:
    """Return what departs from what is agreed between the evenings of two days; writes nothing.

    Raises:
        DaysOutOfOrder: the second day is not after the first.
    """
    if start >= end:
        raise DaysOutOfOrder(start, end)
    span = Span(start, end)
    stories = map(story_of, store_facts(database, end, store))
    return tuple(row for story in stories for row in departures(story, span))


def _all(stories: Iterable[StoreStory], spans: dict[str, Span]) -> Iterator[tuple[str, Departure]]:
    for story in stories:
        for quarter, span in spans.items():
            for row in departures(story, span):
                yield quarter, row


def _replace(
    database: Database, quarter: str, rows: Sequence[tuple[str, Departure]], days: list[_Days]
) -> None:
    """Put the quarters' rows in the place of those worked out before."""
    database.run("audit", "clear_drift", {"quarter": quarter})
    for table in _TABLES:
        database.run("audit", f"clear_audit_{table}", {"quarter": quarter})
    database.insert("audit", "insert_drift", _drift_frame(rows))
    for table in _TABLES:
        database.insert("audit", f"insert_{table}", frame_of(_Days, days))


def _drift_frame(rows: Sequence[tuple[str, Departure]]) -> pl.DataFrame:
    schema = {field.name: _COLUMNS.get(field.name, pl.String) for field in fields(Departure)}
    columns = {name: [getattr(row, name) for _, row in rows] for name in schema}
    return pl.DataFrame(
        {"quarter": [name for name, _ in rows], **columns},
        schema={"quarter": pl.String, **schema},
    )


def _edition(database: Database, quarter: Quarter, as_of: date) -> int:
    """Return the number of this edition: the latest one's if it says the same, else the next."""
    facts = _fingerprint(database, quarter.name)
    latest = database.rows("audit", "edition", {"quarter": quarter.name})
    if latest and latest[0][1] == facts:
        return int(latest[0][0])
    edition = int(latest[0][0]) + 1 if latest else 1
    values = {"quarter": quarter.name, "edition": edition, "facts": facts, "as_of": as_of}
    database.run("audit", "insert_edition", values)
    return edition


def _fingerprint(database: Database, quarter: str) -> str:
    """Return a mark of all that the audit says, the quarters before included."""
    content = sha256()
    for table in ("drift", *_TABLES):
        for row in database.rows("audit", f"facts_{table}", {"quarter": quarter}):
            content.update(repr(row).encode())
    return content.hexdigest()[:16]
