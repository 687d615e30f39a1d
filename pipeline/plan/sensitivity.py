"""How sure a plan is: how often it still wins when the evidence is drawn anew within its doubt.

Each draw takes every busy share from the distribution its readings leave (Beta, Jeffreys prior:
worth x share + 1/2 against worth x (1 - share) + 1/2) and every path's level from a normal
distribution with its spread, the same both ways, and plans again. Draws are seeded by the store's
name: the same evidence gives the same answer.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import fsum
from random import Random

from pipeline.plan.assign import assign
from pipeline.plan.costs import StoreProblem, priced, tie_costs
from pipeline.plan.explain import Case
from pipeline.radio.coexistence import Rejection, channel_rejection_db
from pipeline.radio.propagation import exceedance_probability
from pipeline.records import Heard

_LEAST_WORTH = 2.0  # what an unscanned channel's figure counts as, in readings
_WELL_SCANNED = 100.0  # readings from which another scan would settle little
_EFFORT = 500  # backtracks per draw: a draw asks whether the plan is beaten, not for a proof


@dataclass(frozen=True, slots=True)
class Doubt:
    """What decides how far a level reaches: limits in dBm and dB."""

    cca_threshold_dbm: float
    rejection: Rejection
    residual_spread_db: float


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """How often the plan won, what it lost on average, and the measurement that would tell most.

    `regret` is the mean over the draws of how much more the plan costs than the draw's best plan,
    in units of the plan; `ask` is empty where the plan always won.
    """

    store: str
    draws: int
    wins: int
    regret: float
    ask: str


def sensitivity(case: Case, after: Sequence[int], doubt: Doubt, draws: int) -> Sensitivity:
    """Return how often the plan `after` (channels by station) still wins over `draws` draws."""
    problem, random = case.problem, Random(case.problem.store)
    ties = tie_costs(problem.stations)
    regrets: list[float] = []
    rivals: Counter[tuple[int, int]] = Counter()
    for _ in range(draws):
        tables = priced(
            replace(
                problem, busy=_busy_drawn(case, random), heard=_heard_drawn(case, doubt, random)
            )
        )
        ours = tables.choice(after)
        best = assign(tables.one, tables.two, ties=ties, effort=_EFFORT, incumbent=ours)
        regrets.append(max(0.0, tables.total(after) - best.cost))
        if regrets[-1] > 0:
            rivals.update(_rivals(problem, ours, best.choice))
    wins = sum(regret == 0 for regret in regrets)
    ask = _ask(case, after, rivals)
    return Sensitivity(problem.store, draws, wins, fsum(regrets) / max(1, draws), ask)


def _busy_drawn(case: Case, random: Random) -> Mapping[tuple[str, int], float]:
    drawn = {}
    for station in case.problem.stations:
        for channel in station.choices:
            known = case.evidence[station.station, channel]
            worth = max(known.worth, _LEAST_WORTH)
            drawn[station.station, channel] = random.betavariate(
                worth * known.share + 0.5, worth * (1 - known.share) + 0.5
            )
    return drawn


def _heard_drawn(case: Case, doubt: Doubt, random: Random) -> tuple[Heard, ...]:
    shift: dict[tuple[str, str], float] = {}
    drawn = []
    for heard in case.problem.heard:
        path = min(heard.station, heard.neighbour), max(heard.station, heard.neighbour)
        if path not in shift:
            shift[path] = random.gauss(0.0, 1.0)
        level = case.levels[heard.station, heard.neighbour]
        level_dbm = level.heard_dbm + shift[path] * level.spread_db
        co, adjacent, alternate = (
            exceedance_probability(
                level_dbm - channel_rejection_db(apart, doubt.rejection),
                doubt.cca_threshold_dbm,
                doubt.residual_spread_db,
            )
            for apart in (0, 1, 2)
        )
        drawn.append(Heard(heard.station, heard.neighbour, (co, adjacent, alternate)))
    return tuple(drawn)


def _rivals(
    problem: StoreProblem, ours: Sequence[int], best: Sequence[int]
) -> Iterator[tuple[int, int]]:
    """Yield station and channel of every choice that the draw's best plan makes otherwise."""
    for at, (mine, theirs) in enumerate(zip(ours, best, strict=True)):
        if mine != theirs:
            yield at, problem.stations[at].choices[theirs]


def _ask(case: Case, after: Sequence[int], rivals: Counter[tuple[int, int]]) -> str:
    """Return the measurement that would settle most of the draws the plan lost.

    A scan settles the more, the oftener its channel was in question and the less it is known.
    """
    if not rivals:
        return ""
    doubt: dict[tuple[int, int], float] = {}
    for (at, rival), times in rivals.items():
        for channel in (after[at], rival):
            worth = case.evidence[case.problem.stations[at].station, channel].worth
            gain = doubt.get((at, channel), 0.0) + times / max(worth, _LEAST_WORTH)
            doubt[at, channel] = gain
    at, channel = min(doubt, key=lambda key: (-doubt[key], key))
    station = case.problem.stations[at].station
    if case.evidence[station, channel].worth < _WELL_SCANNED:
        return f"scan channel {channel} at {station}, own stations quiet, in trading hours"
    guessed = sorted(
        (-level.heard_dbm, neighbour)
        for (listener, neighbour), level in case.levels.items()
        if listener == station and level.source != "measured"
    )
    if guessed:
        return f"measure the level at which {station} hears {guessed[0][1]}"
    return f"scan channel {channel} at {station} once more, on another day"
