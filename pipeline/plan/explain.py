"""Why a station moves or stays, in one sentence with figures."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pipeline.plan.costs import StoreProblem, hit

Rival = tuple[float, int] | tuple[None, None]
"""What the next best channel costs more, in units of the plan, and which it is."""

_NOTABLE = 0.05  # a neighbour is named from this chance of disturbing
_MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of one station's channel.

    `bound` is the outside noise reckoned with and `share` the one found, 0..1; `worth` is what the
    readings count as, in fresh ones; `wifi` names the Wi-Fi channels heard in it.
    """

    bound: float
    share: float
    worth: float
    readings: int
    own_traffic: bool
    source: str
    wifi: str | None


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


def move_reason(
    case: Case, at: int, before: Sequence[int], after: Sequence[int], rival: Rival
) -> str:
    """Return why station `at` leaves its channel of today for the planned one."""
    old, new = before[at], after[at]
    parts = []
    if old not in case.problem.stations[at].choices:
        parts.append(f"channel {old} is not permitted here, or labels do not listen on it")
    today = _company(case, at, before)
    parts.append(f"today on {old}: {_noise(case, at, old)}, {today}")
    staying = _company(case, at, [*after[:at], old, *after[at + 1 :]])
    if staying != today:
        parts.append(f"staying while the others move: {staying}")
    parts.append(f"on {new}: {_noise(case, at, new)}, {_company(case, at, after)}")
    return "; ".join([*parts, *_rival(rival)])


def stay_reason(case: Case, at: int, channels: Sequence[int], rival: Rival) -> str:
    """Return why station `at` is left alone."""
    here = channels[at]
    found = f"on {here}: {_noise(case, at, here)}, {_company(case, at, channels)}"
    if case.problem.stations[at].station in case.locked:
        return f"{found}; an approved exception keeps it there"
    return "; ".join([found, "no other channel earns a move", *_rival(rival)])


def _rival(rival: Rival) -> Iterator[str]:
    extra, channel = rival
    if extra is not None:
        yield f"next best: channel {channel}, worse by {max(0.0, extra):.1%} of an average station"


def _noise(case: Case, at: int, channel: int) -> str:
    known = case.evidence.get((case.problem.stations[at].station, channel))
    if known is None:
        return "no evidence"
    whose = f", Wi-Fi {known.wifi}" if known.wifi else ""
    return f"outside noise up to {known.bound:.0%} ({known.source}{whose})"


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
