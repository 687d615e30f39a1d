"""Why a station moves or stays, in one sentence with figures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.plan.costs import StoreProblem, hit

_NOTABLE = 0.05  # a neighbour is named from this chance of disturbing
_MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of one station's channel.

    `bound` is the outside noise reckoned with and `share` the one found, 0..1; `worth` is what the
    readings count as, in fresh ones.
    """

    bound: float
    share: float
    worth: float
    readings: int
    own_traffic: bool
    source: str
    basis: str


@dataclass(frozen=True, slots=True)
class Level:
    """The level at which a neighbour is heard, in dBm, its spread in dB, and where it is from."""

    heard_dbm: float
    spread_db: float
    source: str


def sureness(evidence: Evidence, readings_minimum: float) -> str:
    """Return 'high', 'fair' or 'low': how far the evidence on a channel can be relied on."""
    if evidence.source != "measured":
        return "low"
    return "fair" if evidence.own_traffic or evidence.readings < readings_minimum else "high"


@dataclass(frozen=True, slots=True)
class Case:
    """A store's problem with what is known behind its figures."""

    problem: StoreProblem
    evidence: Mapping[tuple[str, int], Evidence]
    levels: Mapping[tuple[str, str], Level]
    locked: frozenset[str]


def move_reason(case: Case, at: int, before: Sequence[int], after: Sequence[int]) -> str:
    """Return why station `at` leaves its channel of today for the planned one."""
    parts = [_channel(case, at, before), _channel(case, at, after)]
    if before[at] not in case.problem.stations[at].choices:
        parts.insert(
            0, f"channel {before[at]} is not permitted here, or labels do not listen on it"
        )
    return "; ".join(parts)


def stay_reason(case: Case, at: int, channels: Sequence[int]) -> str:
    """Return why station `at` is left alone."""
    locked = case.problem.stations[at].station in case.locked
    why = "an approved exception keeps it there" if locked else "no other channel earns a move"
    return f"{_channel(case, at, channels)}; {why}"


def _channel(case: Case, at: int, channels: Sequence[int]) -> str:
    station, channel = case.problem.stations[at].station, channels[at]
    known = case.evidence.get((station, channel))
    noise = "no evidence" if known is None else f"outside noise {known.bound:.0%} ({known.source})"
    return f"channel {channel}: {noise}, {_company(case, at, channels)}"


def _company(case: Case, at: int, channels: Sequence[int]) -> str:
    """Name the neighbours that disturb station `at`, loudest first, at most three."""
    on = {s.station: c for s, c in zip(case.problem.stations, channels, strict=True)}
    here = case.problem.stations[at].station
    loud = sorted(
        (-case.levels[here, heard.neighbour].heard_dbm, heard.neighbour)
        for heard in case.problem.heard
        if heard.station == here and hit(heard, on[here], on[heard.neighbour]) >= _NOTABLE
    )
    if not loud:
        return "no own neighbour disturbs it"
    named = ", ".join(
        f"{name} on {on[name]} at {-level:.0f} dBm" for level, name in loud[:_MOST_NAMED]
    )
    more = f" and {len(loud) - _MOST_NAMED} more" if len(loud) > _MOST_NAMED else ""
    return f"own neighbours heard: {named}{more}"
