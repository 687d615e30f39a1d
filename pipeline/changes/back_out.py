"""The way back: the steps that return a store to how it was, from the register."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.database import Database
from pipeline.records import BackOutStep


@dataclass(frozen=True, slots=True)
class Carried:
    """A change that was carried out; `found` is the channel an export found, where one did."""

    store: str
    change: str
    plan: str
    station: str
    from_channel: int | None
    to_channel: int
    found: int | None


def back_out(database: Database, store: str, day: date) -> tuple[BackOutStep, ...]:
    """Return the steps that undo what stands carried out in a store at the end of a day.

    Changes carried out last are undone first; the store goes back to how it was before the first
    change of the register that still stands. A station that was set for the first time has nothing
    to go back to: its step leads off the air.
    """
    values = {"store": store, "day": day}
    return way_back(database.records(Carried, "changes", "carried_out", values))


def way_back(carried: Sequence[Carried]) -> tuple[BackOutStep, ...]:
    """Return the steps back from changes given last one first.

    A station found on another channel than its change says starts from there. Steps that lead to
    where the station already is are left out.
    """
    origin = {one.station: one.from_channel for one in carried}  # of the earliest, which comes last
    on: dict[str, int | None] = {}
    steps: list[BackOutStep] = []
    for one in carried:
        here = on.get(one.station, one.found or one.to_channel)
        if here != one.from_channel:
            steps.append(
                BackOutStep(
                    store=one.store,
                    position=len(steps) + 1,
                    change=one.change,
                    plan=one.plan,
                    station=one.station,
                    from_channel=here,
                    to_channel=one.from_channel,
                    parking=one.from_channel != origin[one.station],
                )
            )
        on[one.station] = one.from_channel
    return tuple(steps)
