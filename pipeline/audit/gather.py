"""Read what is dated of each store, up to a day, from the database."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from itertools import groupby
from operator import attrgetter, itemgetter

import polars as pl

from pipeline.audit.records import ANY, FIELDS, ChangeStory, OnFile, Snapshot, StoreFacts
from pipeline.database import Database
from pipeline.records import grouped
from pipeline.tables.audit import Baseline, ExceptionFile
from pipeline.tables.changes import Change, ChangeEvent

_EXCEPTION = attrgetter("store", "rule", "subject", "reason", "approved_by", "until")


def store_facts(database: Database, last: date, store: str | None = None) -> Iterator[StoreFacts]:
    """Yield what is known of each store, or of one, from facts dated up to and including a day."""
    first_run = database.value("audit", "first_run") or date.min
    asked = {"last": last, "store": store}
    agreements = grouped(database.records(Baseline, "audit", "agreements", asked), "store")
    changes = _changes(database, last, store)
    exceptions = _exceptions(database.records(ExceptionFile, "audit", "exceptions", {"last": last}))
    listed, decided = (database.frame("audit", name, asked) for name in ("stations", "decided"))
    seen = _snapshots(listed, decided)
    for name in sorted(seen.keys() | agreements.keys()):
        own = exceptions.get(name, []) + exceptions.get(ANY, [])
        yield StoreFacts(
            store=name,
            snapshots=seen.get(name, ()),
            agreements=tuple(agreements.get(name, ())),
            changes=changes.get(name, ()),
            exceptions=tuple(own),
            first_run=first_run,
        )


def _snapshots(listed: pl.DataFrame, decided: pl.DataFrame) -> Mapping[str, tuple[Snapshot, ...]]:
    """Return the exports by store; rows as plain tuples, since there are very many."""
    values = [pl.col(name).cast(pl.String) for name in FIELDS]
    rows = listed.select("store", "seen_on", *values).iter_rows()
    said: defaultdict[tuple[str, date], dict[str, str | None]] = defaultdict(dict)
    for store, day, station, before in decided.iter_rows():
        said[store, day][station] = before
    return {
        store: tuple(
            Snapshot(day, {row[2]: row[2:] for row in group}, said.get((store, day), {}))
            for day, group in groupby(exports, key=itemgetter(1))
        )
        for store, exports in groupby(rows, key=itemgetter(0))
    }


def _changes(
    database: Database, last: date, store: str | None
) -> Mapping[str, tuple[ChangeStory, ...]]:
    """Return the changes by store, each with its events up to a day."""
    asked = {"last": last, "store": store}
    events = grouped(database.records(ChangeEvent, "audit", "events", asked), "change")
    changes = database.records(Change, "audit", "changes", {"store": store})
    given = database.mapping("audit", "given", {"store": store})
    return {
        name: tuple(ChangeStory(one, tuple(events.get(one.change, ())), given) for one in own)
        for name, own in grouped(changes, "store").items()
    }


def _exceptions(rows: Sequence[ExceptionFile]) -> Mapping[str, list[OnFile]]:
    """Return the exceptions by store, each for every stretch of days it was on file."""
    found: dict[str, list[OnFile]] = defaultdict(list)
    for _, group in groupby(rows, key=_EXCEPTION):
        since: date | None = None
        for row in group:
            if row.on_file:
                since = date.min if row.first_run else row.as_of
            elif since is not None:
                found[row.store].append(_on_file(row, since, row.as_of))
                since = None
        if since is not None:
            found[row.store].append(_on_file(row, since, None))
    return found


def _on_file(row: ExceptionFile, since: date, gone: date | None) -> OnFile:
    return OnFile(
        row.rule, row.subject, row.reason, row.approved_by, row.until, since=since, gone=gone
    )
