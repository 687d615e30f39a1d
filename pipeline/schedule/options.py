"""The ways in which a store's moves can be done: on which nights, with how many moves in each.

All moves of a store are made in one night where there is a night long enough for them. Where there
is none, they are made in the fewest nights that do, one directly after the other, so that a store
is never left half changed for longer than a day; each but the last is filled.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from pipeline.schedule.clock import instant, zone_of
from pipeline.schedule.records import Night, Option, Part, Shift, StoreJob
from pipeline.settings import Deadline, Team, Work

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MINUTE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Due:
    """The strictest deadline of a store."""

    deadline: Deadline
    instant: datetime


def due_of(job: StoreJob, deadlines: Sequence[Deadline]) -> Due | None:
    """Return the store's strictest deadline; it passes at the end of its day on the store's clock.

    A store without a known time zone has none, since it has no nights either.
    """
    site = job.site
    zone = zone_of(site.time_zone)
    own = [
        deadline
        for deadline in deadlines
        if deadline.region in (None, site.region) and deadline.store in (None, site.store)
    ]
    if zone is None or not own:
        return None
    strictest = min(own, key=lambda deadline: (deadline.by, deadline.reason))
    midnight = datetime.combine(strictest.by + timedelta(days=1), time())
    return Due(strictest, instant(midnight, zone))


def shifts_of(teams: Sequence[Team], first: date, days: int) -> Mapping[int, tuple[Shift, ...]]:
    """Return which teams work on which night, by days from the first."""
    return {
        day: tuple(
            Shift(team.name, team.jobs, team.minutes)
            for team in teams
            if (first + timedelta(days=day)).weekday() in team.weekdays
        )
        for day in range(days)
    }


def usable(
    nights: Sequence[Night], shifts: Mapping[int, Sequence[Shift]], due: Due | None
) -> Mapping[int, Part]:
    """Return the time a store's nights leave for work, by days from the first night.

    A part's minutes are the most that one team can work in it.
    """
    parts = {}
    for day, night in enumerate(nights):
        if night.stopped_by is not None or not shifts[day]:
            continue
        opens = -((_EPOCH - night.opens) // _MINUTE)  # a started minute is no whole one
        closes = (night.closes - _EPOCH) // _MINUTE
        if due is not None:
            closes = min(closes, (due.instant - _EPOCH) // _MINUTE)
        minutes = min(closes - opens, max(shift.minutes for shift in shifts[day]))
        if minutes > 0:
            parts[day] = Part(day, minutes, opens, closes)
    return parts


def options_of(moves: int, units: int, parts: Mapping[int, Part], work: Work) -> tuple[Option, ...]:
    """Return every way to make a store's moves, by first night.

    Args:
        moves: how many.
        units: the benefit of having made them, per day.
        parts: the time for work, by days from the first night.
        work: minutes per move, settling, and for how many days the benefit counts.
    """
    runs = [run for day in parts if (run := _run(moves, day, parts, work))]
    fewest = min((len(run) for run in runs), default=0)
    return tuple(
        Option(run, units * max(1, work.benefit_days - run[-1].day))
        for run in runs
        if len(run) == fewest
    )


def moves_in(minutes: int, work: Work) -> int:
    """Return how many moves one night's minutes are enough for."""
    return max(0, minutes - work.settle_minutes) // work.minutes_per_move


def _run(moves: int, day: int, parts: Mapping[int, Part], work: Work) -> tuple[Part, ...]:
    run: list[Part] = []
    left = moves
    while left > 0:
        part = parts.get(day)
        done = min(left, moves_in(part.minutes, work)) if part is not None else 0
        if part is None or done == 0:
            return ()
        minutes = done * work.minutes_per_move + work.settle_minutes
        run.append(Part(day, minutes, part.opens, part.closes))
        left -= done
        day += 1
    return tuple(run)
