"""Read what is dated of each store, up to a day, from the database."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from itertools import groupby
from operator import itemgetter
from typing import Any

from pipeline.audit.agreed import Agreement
from pipeline.audit.fields import ANY
from pipeline.audit.follow import Snapshot
from pipeline.audit.records import Happening, OnFile, Order, StoreFacts
from pipeline.database import Database

_Row = tuple[Any, ...]
_store = itemgetter(0)


def store_facts(database: Database, last: date, store: str | None = None) -> Iterator[StoreFacts]:
    """Yield what is known of each store, or of one, from facts dated up to and with a day."""
    began = database.rows("audit", "began")[0][0] or last
    asked = {"last": last, "store": store}
    agreements = _by_store(database.rows("audit", "agreements", asked))
    orders = _by_store(database.rows("audit", "orders", asked))
    exceptions = _exceptions(database.rows("audit", "exceptions", {"last": last}))
    seen = _by_store(database.rows("audit", "stations", asked))
    for name in sorted(seen.keys() | agreements.keys()):
        own = exceptions.get(name, []) + exceptions.get(ANY, [])
        yield StoreFacts(
            store=name,
            snapshots=tuple(_snapshots(seen.get(name, ()))),
            agreements=tuple(Agreement(*row[1:]) for row in agreements.get(name, ())),
            orders=tuple(_orders(orders.get(name, ()))),
            exceptions=tuple(own),
            began=began,
        )


def _by_store(rows: Iterable[_Row]) -> Mapping[str, list[_Row]]:
    return {store: list(group) for store, group in groupby(rows, key=_store)}


def _snapshots(rows: Sequence[_Row]) -> Iterator[Snapshot]:
    for day, group in groupby(rows, key=itemgetter(1)):
        yield Snapshot(day, {row[2]: row[2:] for row in group})


def _orders(rows: Sequence[_Row]) -> Iterator[Order]:
    for head, group in groupby(rows, key=itemgetter(1, 2, 3, 4, 5)):
        change, plan, station, to_channel, parking = head
        happenings = tuple(Happening(*row[6:]) for row in group)
        yield Order(change, plan, station, to_channel, parking, happenings)


def _exceptions(rows: Sequence[_Row]) -> Mapping[str, list[OnFile]]:
    """Return the exceptions by store, each for every stretch of days it was on file."""
    found: dict[str, list[OnFile]] = defaultdict(list)
    for what, group in groupby(rows, key=itemgetter(0, 1, 2, 3, 4, 5)):
        store, rule, subject, reason, by, until = what
        since: date | None = None
        for as_of, on_file, first_run in (row[6:] for row in group):
            if on_file:
                since = date.min if first_run else as_of
            elif since is not None:
                found[store].append(OnFile(rule, subject, reason, by, until, since, as_of))
                since = None
        if since is not None:
            found[store].append(OnFile(rule, subject, reason, by, until, since, None))
    return found
