"""What is asked for in cells: another channel, the end of a refusal, what would be if. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from pipeline.changes.returned import (
    Cell,
    Cells,
    EntryProblem,
    read_channel,
    read_choice,
    read_day,
    read_workbook,
)
from pipeline.forms import (
    ANOTHER,
    BEST,
    OFF,
    REFUSED,
    SCAN_TAKEN,
    WHAT_IF,
    WIFI_MOVED,
    WISH_WORDS,
    meaning,
)
from pipeline.tables.changes import Change

_WHOLE = 100  # per cent
_YEARS_MOST = 10  # of a refusal; a later day is a slip of the pen


@dataclass(frozen=True, slots=True)
class DeafLabels:
    """How many labels of a store do not listen on a channel."""

    store: str
    channel: int
    labels: int


@dataclass(frozen=True, slots=True)
class Room:
    """The channels a store's changes may be ordered to, and how many labels each would lose."""

    permitted: Sequence[int]
    deaf: Mapping[int, int]

    @property
    def open(self) -> list[int]:
        """The permitted channels that every label listens on."""
        return [channel for channel in self.permitted if channel not in self.deaf]


def read_order(cell: Cell, word: str, change: Change, steps: Sequence[Change], room: Room) -> int:
    """Return the other channel that a cell orders for a change, 0 for none.

    `steps` are those of the change's station in the order of its plan.

    Raises:
        EntryProblem: a channel without the word for it, the word without a channel, or a channel
            that cannot be ordered.
    """
    if word != ANOTHER:
        if cell.text:
            raise EntryProblem(
                f"a channel goes here only with the decision '{ANOTHER}': choose that, "
                "or clear this cell"
            )
        return 0
    last = steps[-1]
    if change.change != last.change:
        raise EntryProblem(
            f"this is a step on the way of {change.station}: choose 'approved' here, and order "
            f"another channel in the row of its last step, {last.change}"
        )
    today = steps[0].from_channel
    others = [str(c) for c in room.open if c not in {today, last.to_channel}]
    named = f"choose one of {', '.join(others)}" if others else "there is no other to choose"
    if not cell.text:
        raise EntryProblem(f"'{ANOTHER}' needs the channel here: {named}")
    channel = read_channel(cell)
    if why := _pointless(channel, today, last):
        raise EntryProblem(why)
    if why := _closed(channel, last, room):
        raise EntryProblem(f"{why}: {named}")
    return channel


def _pointless(channel: int, today: int | None, last: Change) -> str | None:
    """Return what to do instead where a channel is the one proposed, or that of today."""
    if channel == last.to_channel:
        return f"channel {channel} is the one proposed: choose 'approved' and clear this cell"
    if channel == today:
        return f"{last.station} is on channel {channel} as it is: refuse the change instead"
    return None


def _closed(channel: int, last: Change, room: Room) -> str | None:
    """Return why no change of the store may go to a channel, or None."""
    if channel not in room.permitted:
        return f"channel {channel} is not permitted in store {last.store}"
    if channel in room.deaf:
        labels = f"{room.deaf[channel]} labels of store {last.store}"
        return f"{labels} do not listen on channel {channel}"
    return None


def read_until(cell: Cell, word: str, decided_on: date) -> date:
    """Return the day before which a refused change is not put forward again; date.min for none.

    Raises:
        EntryProblem: no day can be read, it goes with no refusal, or it is before the decision.
    """
    if not cell.text:
        return date.min
    if word != REFUSED:
        raise EntryProblem(
            f"a day goes here only with the decision '{REFUSED}': choose that, or clear this cell"
        )
    until = read_day(cell).date()
    if until <= decided_on:
        raise EntryProblem(f"{until} is not after the day of the decision, {decided_on}")
    if until > decided_on + timedelta(days=366 * _YEARS_MOST):
        raise EntryProblem(f"{until} is more than {_YEARS_MOST} years after the decision")
    return until


@dataclass(frozen=True, slots=True)
class Wished:
    """What the sheet What if of a store's workbook asks: where each wish stands, and its text."""

    store: str
    wishes: tuple[tuple[str, str], ...]


def read_wished(path: Path) -> Wished:
    """Return what a change plan asks, each wish as `plan --set` takes it.

    Raises:
        EntryProblem: it has no such sheet, or a row of it cannot be read; says where.
    """
    returned = read_workbook(path, (WHAT_IF,))
    where = f"{returned.workbook}, sheet {returned.tab(WHAT_IF.sheet)}"
    if returned.refusals or returned.store is None:
        why = next((str(one) for one in returned.refusals), f"{where}: it names no store")
        raise EntryProblem(why)
    rows = [row for row in returned.decisions if row["value"].text]
    if not rows:
        raise EntryProblem(f"{where}: no row has a value; fill in the last column of one")
    return Wished(returned.store, tuple((_at(where, row), _wish(where, row)) for row in rows))


def _at(where: str, row: Cells) -> str:
    return f"{where}, cell {row['value'].at}"


def _wish(where: str, row: Cells) -> str:
    """Return a row as `plan --set` takes it: a number without a sign is a share in per cent."""
    try:
        what, cell = read_choice(row["what"], WISH_WORDS), row["value"]
        at, value = row["station"].typed.strip(), cell.typed.strip().rstrip("% ")
    except EntryProblem as error:
        raise EntryProblem(f"{_at(where, row)}: {error}") from error
    if what == SCAN_TAKEN:
        part = cell.percent and isinstance(cell.value, int | float)
        return f"{at}={float(value) * _WHOLE:g}%" if part else f"{at}={value}%"
    value = meaning(value, (BEST, OFF)) or value
    return f"wifi:{at}={value}" if what == WIFI_MOVED else f"{at}={value}"
