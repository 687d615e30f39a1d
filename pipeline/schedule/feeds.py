"""Calendar files (RFC 5545) of the schedule: one per store and one per team.

Times are UTC, so they are the same instants wherever the file is opened. Within one plan an event
keeps its UID when a store is given another night, so that a calendar which took the file before
moves it; the time stamp is the day of the run, so that the same schedule gives the same bytes.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from itertools import groupby
from uuid import UUID, uuid5

from icalendar import Calendar, Event

from pipeline.schedule.records import Placement

_OURS = UUID("5f0e7a52-9d43-4b8e-8f6a-3c1d7b2e9a64")
_PRODUCT = "-//quietaisle//change schedule//EN"


@dataclass(frozen=True, slots=True)
class Imprint:
    """What every calendar file of a run carries."""

    as_of: date  # the day of the run
    plans: Mapping[str, str]  # by store, the plan whose moves are made, where it has a name
    cautions: Sequence[str]  # sentences that stand on every job, such as those about ladders


@dataclass(frozen=True, slots=True)
class Feed:
    """A calendar file: of a store where `store` is set, else of a team."""

    region: str
    store: str | None
    team: str | None
    content: bytes


def feeds(placed: Iterable[Placement], imprint: Imprint) -> tuple[Feed, ...]:
    """Return the calendar file of every store, then of every team, in the schedule."""
    by_store = sorted(placed, key=lambda one: (one.region, one.store, one.evening))
    by_team = sorted(by_store, key=lambda one: (one.region, one.team, one.starts_at))
    parts = _parts(by_store)
    made = [
        Feed(region, store, None, _calendar(f"Changes at store {store}", own, parts, imprint))
        for (region, store), own in _groups(by_store, "store")
    ]
    made += [
        Feed(region, None, team, _calendar(f"Changes by {team}", own, parts, imprint))
        for (region, team), own in _groups(by_team, "team")
    ]
    return tuple(made)


def _groups(placed: Sequence[Placement], by: str) -> list[tuple[tuple[str, str], list[Placement]]]:
    grouped = groupby(placed, key=lambda one: (one.region, str(getattr(one, by))))
    return [(key, list(own)) for key, own in grouped]


def _parts(placed: Sequence[Placement]) -> dict[tuple[str, date], tuple[int, int]]:
    """Return which of a store's nights each is, and of how many."""
    parts: dict[tuple[str, date], tuple[int, int]] = {}
    for store, own in groupby(placed, key=lambda one: one.store):
        nights = [one.evening for one in own]
        for number, evening in enumerate(nights, start=1):
            parts[store, evening] = (number, len(nights))
    return parts


def _calendar(
    title: str,
    placed: Sequence[Placement],
    parts: Mapping[tuple[str, date], tuple[int, int]],
    imprint: Imprint,
) -> bytes:
    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("name", title)  # RFC 7986
    for one in placed:
        calendar.add_component(_event(one, parts[one.store, one.evening], imprint))
    return bytes(calendar.to_ical())


def _event(one: Placement, part: tuple[int, int], imprint: Imprint) -> Event:
    number, nights = part
    which = f", night {number} of {nights}" if nights > 1 else ""
    provisional = " (provisional)" if one.provisional else ""
    plan = imprint.plans.get(one.store, "")
    event = Event()
    event.add("uid", str(uuid5(_OURS, "\n".join((one.store, plan, str(number))))))
    event.add("dtstamp", datetime.combine(imprint.as_of, time(), UTC))
    event.add("dtstart", one.starts_at)
    event.add("dtend", one.ends_at)
    event.add("summary", f"Channel changes at store {one.store}{which}{provisional}")
    event.add("location", f"Store {one.store}, {one.region}")
    event.add("status", "TENTATIVE" if one.provisional else "CONFIRMED")
    event.add("description", "\n".join([*_lines(one), *imprint.cautions]))
    return event


def _lines(one: Placement) -> list[str]:
    only = one.first_move == one.last_move
    moves = f"Move {one.first_move}" if only else f"Moves {one.first_move} to {one.last_move}"
    lines = [
        f"{moves} in the order of the change plan.",
        f"Team: {one.team}. Wave: {one.wave}.",
    ]
    if one.provisional:
        lines.append("Provisional: an earlier wave must be verified first.")
    return lines
