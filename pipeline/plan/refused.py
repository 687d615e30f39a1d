"""Whether a refusal without a day still stands: while the gain is what it was then."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.plan.costs import StoreProblem, clear_air
from pipeline.records import OFF_AIR


@dataclass(frozen=True, slots=True)
class RefusedChannel:
    """A channel refused for a station, and the interval of the gain of then, in clear air."""

    store: str
    station: str
    from_channel: int | None
    channel: int
    plan: str
    by: str
    day: date
    until: date | None
    note: str | None
    gain_low: float | None
    gain_high: float | None


@dataclass(frozen=True, slots=True)
class StationThen:
    """A station when its store's plan was proposed, and the channel it was to end on.

    `channel` is None for one that was not on the air.
    """

    store: str
    plan: str
    station: str
    channel: int | None
    final: int | None
    of_store: str | None = None  # of those planned together, the station's own; None: the store


def still_refused(
    problem: StoreProblem, refused: Sequence[RefusedChannel], then: Sequence[StationThen]
) -> list[RefusedChannel]:
    """Return the refusals that stand: with a day, or with a gain that is still within its interval.

    The gain is that of then by the evidence of now: all stations on the channels of then, against
    all where the plan wanted them. One that was not known then ends no refusal.
    """
    return [row for row in refused if row.until is not None or _alike(problem, row, then)]


def _alike(problem: StoreProblem, row: RefusedChannel, then: Sequence[StationThen]) -> bool:
    if row.gain_low is None or row.gain_high is None:
        return True
    old = {
        one.station: (one.channel or OFF_AIR, one.final or OFF_AIR)
        for one in then
        if one.plan == row.plan
    }
    ways = [old.get(s.station, (s.channel, s.channel)) for s in problem.stations]
    at = [s.station for s in problem.stations].index(row.station)
    before, after = (clear_air(problem, channels)[at] for channels in zip(*ways, strict=True))
    return row.gain_low <= after - before <= row.gain_high
