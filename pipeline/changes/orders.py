"""What a decision may say beside its word: another channel, the end of a refusal. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from pipeline.changes.returned import Cell, EntryProblem, read_channel, read_day
from pipeline.forms import ANOTHER, REFUSED
from pipeline.tables.changes import Change

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
