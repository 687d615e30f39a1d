"""What must be said of a change, from a plain list of what happened: shares no code with the view.

A fold over happenings, written from the meaning of the words, not from the program's statements.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

PROGRAM = "quietaisle"
_LOOKED_FOR = {"agreed", "booked", "reported", "shown", "short", "other"}


@dataclass(frozen=True)
class Happening:
    """One thing that happened; `said` is what comes with it."""

    kind: str
    day: date
    said: Any = None


@dataclass(frozen=True)
class Look:
    """An export that was looked at: its day, the channel it shows, and the way of the change.

    `before` are the channels up to the step, `after` those from it on; `loud` are busy channels.
    """

    seen_on: date
    channel: int
    before: Sequence[int]
    after: Sequence[int]
    loud: frozenset[int]


@dataclass
class Tale:
    """A change as its happenings tell it."""

    to_channel: int
    parking: bool
    standing: str = "undecided"
    word: str | None = None
    ordered: int = 0
    night: datetime | None = None
    nights: list[datetime] = field(default_factory=list)
    agreed_on: date = date.min
    reported_on: date | None = None
    done_on: date | None = None
    done_by: str | None = None
    found: int | None = None
    shown: list[tuple[date, int]] = field(default_factory=list)  # by exports that said something
    closed_on: date | None = None
    last: date = date.min
    replaced: bool = False
    went: str | None = None  # what the last look had to say
    otherwise: bool = False  # its work was reported as done differently, and no export has shown it
    scans: list[date] = field(default_factory=list)

    @property
    def closed(self) -> str | None:
        """How it ended; None while it is open."""
        ends = {"held": "as ordered", "short": "as ordered", "other": "done differently",
                "undone": "undone", "lapsed": "not done"}  # fmt: skip
        if self.replaced and self.standing in {"reported", "shown"}:
            return "as ordered"
        return ends.get(self.standing)

    @property
    def closed_day(self) -> date | None:
        """The day it ended; None while it is open."""
        if self.closed is None:
            return None
        return self.last if self.standing in {"reported", "shown"} else self.closed_on

    @property
    def waits_for(self) -> str | None:
        """What must come next; None where nothing does."""
        waits = {"undecided": "decision", "deferred": "decision", "agreed": "night",
                 "booked": "work", "reported": "export", "shown": "scan"}  # fmt: skip
        return None if self.replaced else waits.get(self.standing)

    def overdue(self, today: date) -> bool:
        """Tell whether its night is over and nothing shows it done."""
        over = self.night is not None and self.night < datetime.combine(today, time())
        return over and not self.replaced and self.standing in {"agreed", "booked"}

    @property
    def counts(self) -> bool:
        """Tell whether figures of effect may count it."""
        return self.standing in {"held", "short"} and not self.parking


def tell(to_channel: int, happenings: Sequence[Happening], *, parking: bool) -> Tale:
    """Return the tale of a change after all that happened to it, in order."""
    tale = Tale(to_channel, parking, ordered=to_channel)
    for one in happenings:
        tale.went = None
        _TOLD[one.kind](tale, one.day, one.said)
    return tale


def _proposed(tale: Tale, day: date, _: None) -> None:
    tale.last = day


def _decided(tale: Tale, day: date, said: tuple[str, int | None]) -> None:
    tale.word, channel = said
    tale.standing = {"approved": "agreed"}.get(tale.word, tale.word)
    tale.last, tale.night = day, None
    tale.done_on = tale.done_by = None  # what was done before was another order
    if tale.word == "approved":
        tale.ordered, tale.agreed_on = channel or tale.to_channel, day


def _booked(tale: Tale, day: date, due: datetime) -> None:
    tale.standing, tale.night, tale.last = "booked", due, max(day, tale.last)
    tale.nights.append(due)


def _reported(tale: Tale, day: date, outcome: str) -> None:
    tale.last = day
    if outcome in {"done", "done differently"}:
        tale.standing, tale.done_on, tale.done_by, tale.reported_on = "reported", day, "team", day
        tale.otherwise = outcome == "done differently"
    elif outcome == "not done":
        tale.standing, tale.agreed_on = "agreed", day
    else:
        tale.standing, tale.closed_on = "undone", day


def _scanned(tale: Tale, day: date, _: None) -> None:
    tale.scans.append(day)


def _superseded(tale: Tale, day: date, _: None) -> None:
    if tale.standing in {"undecided", "deferred", "agreed", "booked"}:
        tale.standing, tale.closed_on, tale.last = "lapsed", day, day


def _later_order(tale: Tale, _day: date, stands: bool) -> None:
    tale.replaced = stands


def _looked(tale: Tale, today: date, look: Look) -> None:
    if tale.replaced or tale.standing in {
        "undecided",
        "refused",
        "deferred",
        "held",
        "undone",
        "lapsed",
    }:
        return
    again = tale.standing == "shown" and look.seen_on == tale.last
    if look.seen_on <= tale.last and not again:
        return
    if look.channel in look.before:
        _is_back(tale, today, look)
    elif look.channel in look.after:
        _is_as_ordered(tale, today, look)
    else:
        _is_elsewhere(tale, today, look)


def _is_back(tale: Tale, today: date, look: Look) -> None:
    if tale.standing in {"shown", "short", "other"}:
        tale.standing, tale.closed_on, tale.went = "undone", today, "undone"
    elif tale.standing == "reported" or (
        tale.night is not None and tale.standing == "booked" and tale.night.date() < look.seen_on
    ):
        tale.standing, tale.agreed_on, tale.went = "agreed", today, "not done"
        tale.done_on = tale.done_by = None
    else:
        return
    _shown(tale, look)
    tale.last = today


def _is_elsewhere(tale: Tale, today: date, look: Look) -> None:
    tale.went = "done differently"
    if tale.standing == "other" and tale.found == look.channel:
        return
    if tale.standing in {"agreed", "booked"}:
        tale.done_on, tale.done_by = look.seen_on, PROGRAM
    tale.standing, tale.closed_on = "other", today
    _shown(tale, look)
    tale.last = today


def _is_as_ordered(tale: Tale, today: date, look: Look) -> None:
    if tale.standing == "short":
        return
    since = _since(tale, look)
    if tale.standing in {"agreed", "booked", "other"}:  # put right: what was done before was not it
        tale.done_on, tale.done_by = look.seen_on, PROGRAM
    if tale.standing in {"agreed", "booked", "reported", "other"}:
        tale.last = look.seen_on
    if tale.standing == "shown" and not tale.parking and not _scanned_since(tale, since):
        return
    _shown(tale, look)
    tale.closed_on = None
    if not tale.parking and not _scanned_since(tale, since):
        tale.standing = "shown"
        return
    promised = tale.ordered == tale.to_channel
    short = not tale.parking and promised and look.channel in look.loud
    tale.standing, tale.closed_on, tale.last = "short" if short else "held", today, today


def _shown(tale: Tale, look: Look) -> None:
    tale.otherwise = False
    tale.found = look.channel
    tale.shown.append((look.seen_on, look.channel))


def _since(tale: Tale, look: Look) -> date:
    """Return the day after which scans were made after the work."""
    latest = max(tale.nights, default=None)
    over = latest is not None and latest < datetime.combine(look.seen_on, time())
    worked = latest.date() if over and latest is not None else tale.agreed_on
    elsewhere = [day for day, channel in tale.shown if channel not in look.after]
    return max(tale.reported_on or worked, *elsewhere, date.min)


def _scanned_since(tale: Tale, since: date) -> bool:
    return any(day > since for day in tale.scans)


_TOLD: dict[str, Callable[[Tale, date, Any], None]] = {
    "proposed": _proposed, "decided": _decided, "booked": _booked, "reported": _reported,
    "scanned": _scanned, "superseded": _superseded, "later order": _later_order,
    "looked": _looked,
}  # fmt: skip
