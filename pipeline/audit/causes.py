"""Tell single departures from those of one cause: the same new value, in the same week. Pure."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from hashlib import sha256

from pipeline.audit.records import DriftKind
from pipeline.tables.audit import Departure

OPEN = frozenset(
    {DriftKind.DRIFT, DriftKind.REPLACED, DriftKind.RENAMED, DriftKind.NEW, DriftKind.GONE}
)
"""The kinds that somebody must answer: put back, or have approved."""

_LEAST = 3  # stations; two that changed alike may have done so by chance
_WEEK = timedelta(days=6)  # from its first day to its last
_NAME = 10  # hexadecimal digits


def with_causes(rows: Iterable[Departure]) -> list[Departure]:
    """Return departures with the name of their cause, in their order.

    Departures of one quarter and field, from one value to one other, first seen within seven days
    at three stations or more, have one cause; any other has its own. A cause is named after what
    it consists of, so that a name never means something else later.
    """
    rows = list(rows)
    alike: dict[tuple[str | None, ...], list[int]] = defaultdict(list)
    for at, row in enumerate(rows):
        if row.kind in OPEN:
            alike[row.quarter, row.field, row.kind, row.agreed, row.found, row.by_order].append(at)
    for places in alike.values():
        for group in _weeks(rows, places):
            parts = [group] if len(group) >= _LEAST else [[at] for at in group]
            for part in parts:
                cause = _name([rows[at] for at in part])
                for at in part:
                    rows[at] = replace(rows[at], cause=cause)
    return rows


def _weeks(rows: Sequence[Departure], places: Sequence[int]) -> Iterator[list[int]]:
    """Yield the places of rows first seen within seven days of the first of them."""
    group: list[int] = []
    for at in sorted(places, key=lambda at: (_first(rows[at]), at)):
        if group and _first(rows[at]) - _first(rows[group[0]]) > _WEEK:
            yield group
            group = []
        group.append(at)
    if group:
        yield group


def _first(row: Departure) -> date:
    return row.first_seen or date.min


def _name(rows: Sequence[Departure]) -> str:
    told = sorted(
        (r.quarter, r.store, r.subject, r.field, str(r.agreed), str(r.found), str(r.first_seen))
        for r in rows
    )
    return sha256(repr(told).encode()).hexdigest()[:_NAME]
