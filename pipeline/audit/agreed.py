"""What is agreed of a station on a day: the rows of the baseline, brought to their station."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from pipeline.audit.fields import FIELDS, NOTHING, Values
from pipeline.audit.follow import Life

_PLACE_OF = {name: place for place, name in enumerate(FIELDS)}


@dataclass(frozen=True, slots=True)
class Agreement:
    """One row of the baseline: what was agreed of one field of one station, by whom, and why.

    `value` None agrees that the station is not there. `change` names the verified change that
    moved the baseline; None: it was approved as it stood.
    """

    version: int
    station: str
    field: str
    value: str | None
    approved_by: str
    approved_on: date
    reason: str
    change: str | None


Agreements = tuple[Agreement | None, ...]  # one for each of FIELDS


@dataclass(frozen=True, slots=True)
class Agreed:
    """What was agreed of one station from each day on on which that changed."""

    days: tuple[date, ...] = ()
    values: tuple[Values, ...] = ()
    rows: tuple[Agreements, ...] = ()

    def on(self, day: date) -> Values:
        """Return what was agreed on a day; nothing before the first agreement."""
        at = bisect_right(self.days, day)
        return self.values[at - 1] if at else NOTHING

    def row(self, day: date, place: int) -> Agreement | None:
        """Return the agreement in force on a day about one field."""
        at = bisect_right(self.days, day)
        return self.rows[at - 1][place] if at else None

    def moved(self, start: date, end: date) -> bool:
        """Tell whether anything was agreed after `start` up to and with `end`."""
        return bisect_right(self.days, start) != bisect_right(self.days, end)


def agreed_by_life(
    lives: Sequence[Life], agreements: Sequence[Agreement]
) -> tuple[tuple[Life, ...], tuple[Agreed, ...]]:
    """Return what is agreed of each life.

    A station of the baseline that no export ever named gets a life of its own, without sightings;
    the lives come back with these added.
    """
    order = sorted(agreements, key=lambda a: (a.approved_on, a.version, a.station, a.field))
    spans = _spans(lives)
    grown = list(lives)
    unmet: dict[str, int] = {}
    rows: dict[int, list[Agreement]] = defaultdict(list)
    for agreement in order:
        owner = _owner(lives, spans.get(agreement.station, ()), agreement)
        if owner is None:
            if agreement.station not in unmet:
                unmet[agreement.station] = len(grown)
                grown.append(_never_seen(agreement, lives))
            owner = unmet[agreement.station]
        rows[owner].append(agreement)
    return tuple(grown), tuple(_folded(rows.get(number, ())) for number in range(len(grown)))


def _spans(lives: Sequence[Life]) -> Mapping[str, list[int]]:
    """Return the numbers of the lives that ever went by each name."""
    spans: dict[str, list[int]] = defaultdict(list)
    for number, life in enumerate(lives):
        for _, name in life.names:
            if number not in spans[name]:
                spans[name].append(number)
    return spans


def _owner(lives: Sequence[Life], numbers: Sequence[int], agreement: Agreement) -> int | None:
    """Return the life an agreement speaks of: the one that last took the name by that day.

    Else one that begins under that name later on. What a station is called later never counts, so
    that an agreement means the same however much is known by now.
    """
    station, day = agreement.station, agreement.approved_on
    took = [
        (met, number)
        for number in numbers
        for met, name in lives[number].names
        if name == station and met <= day
    ]
    if took:
        return max(took)[1]
    return next((n for n in numbers if lives[n].names[0][1] == station), None)


def _never_seen(agreement: Agreement, lives: Sequence[Life]) -> Life:
    snapshots = len(lives[0].seen) if lives else 0
    return Life(((agreement.approved_on, agreement.station),), (None,) * snapshots)


def _folded(agreements: Sequence[Agreement]) -> Agreed:
    days, values, rows = [], [], []
    now: list[Agreement | None] = [None] * len(FIELDS)
    for day, group in groupby(agreements, key=lambda a: a.approved_on):
        for agreement in group:
            now[_PLACE_OF[agreement.field]] = agreement
        days.append(day)
        values.append(tuple(None if a is None else a.value for a in now))
        rows.append(tuple(now))
    return Agreed(tuple(days), tuple(values), tuple(rows))
