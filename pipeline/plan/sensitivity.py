"""How sure a plan is: how often it still wins when the evidence is drawn anew within its doubt.

A draw is won when no change of one station, nor of two that hear one another at once, betters the
plan. That is nearly always, but not proven to be, the draw's best plan; it takes a hundredth of the
time of a proof, and what is asked here is how firm the evidence is.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import fsum
from operator import add, sub

from pipeline.plan.costs import OneStation, StoreProblem, TwoStation
from pipeline.plan.explain import Case
from pipeline.plan.redraw import LEAST_WORTH, Doubt, Redraw

_WELL_SCANNED = 100.0  # readings from which another scan would settle little
_GAIN = 1e-9  # costs closer than this are equal

Table = list[list[float]]


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """How often the plan won, what it lost on average, and the measurement that would tell most.

    `regret` is the mean over the draws of how much more the plan costs than the best rival found,
    in units of the plan; `ask` is empty where the plan always won.
    """

    store: str
    draws: int
    wins: int
    regret: float
    ask: str


def sensitivity(case: Case, after: Sequence[int], doubt: Doubt, draws: int) -> Sensitivity:
    """Return how often the plan `after` (channels by station) still wins over `draws` draws."""
    problem = case.problem
    ours = [s.choices.index(c) for s, c in zip(problem.stations, after, strict=True)]
    redraw = Redraw(case, doubt)
    regrets: list[float] = []
    rivals: Counter[tuple[int, int]] = Counter()
    for _ in range(draws):
        rival = _Rival(*redraw.tables(), ours)
        if rival.bettered():
            rivals.update(_changes(problem, ours, rival.now))
        regrets.append(rival.gained)
    wins = sum(regret == 0 for regret in regrets)
    ask = _ask(case, after, rivals)
    return Sensitivity(problem.store, draws, wins, fsum(regrets) / max(1, draws), ask)


class _Rival:
    """A plan that starts as ours and is bettered by changing one or two stations at a time."""

    def __init__(self, one: OneStation, two: TwoStation, ours: Sequence[int]) -> None:
        self.one, self.two, self.now = one, two, list(ours)
        self.gained = 0.0
        self.near: list[list[tuple[int, Table]]] = [[] for _ in one]
        for (i, j), table in two.items():
            self.near[i].append((j, [list(column) for column in zip(*table, strict=True)]))
            self.near[j].append((i, table))

    def bettered(self) -> bool:
        """Change stations until neither one nor two that hear one another gain; tell if any did."""
        while self._one_by_one() or self._two_by_two():
            pass
        return self.gained > 0

    def _costs(self, i: int) -> list[float]:
        """Return what each choice of a station costs, the others as they are now."""
        costs = self.one[i]
        for j, table in self.near[i]:
            costs = list(map(add, costs, table[self.now[j]]))
        return costs

    def _one_by_one(self) -> bool:
        changed = False
        for i in range(len(self.one)):
            costs = self._costs(i)
            least = min(costs)
            gain = costs[self.now[i]] - least
            if gain > _GAIN:
                self.now[i], self.gained, changed = costs.index(least), self.gained + gain, True
        return changed

    def _two_by_two(self) -> bool:
        """Make the first change of two stations at once that gains."""
        costs = [self._costs(i) for i in range(len(self.one))]
        for (i, j), table in self.two.items():
            here, there = self.now[i], self.now[j]
            kept = costs[i][here] + costs[j][there] - table[here][there]
            alone = list(map(sub, costs[j], table[here]))
            for a, line in enumerate(table):
                base = costs[i][a] - line[there] - kept
                both = list(map(add, alone, line))
                b = both.index(min(both))
                if base + alone[b] + line[b] < -_GAIN:
                    self.gained -= base + alone[b] + line[b]
                    self.now[i], self.now[j] = a, b
                    return True
        return False


def _changes(
    problem: StoreProblem, ours: Sequence[int], rival: Sequence[int]
) -> Iterator[tuple[int, int]]:
    """Yield station and channel of every choice that the rival makes otherwise."""
    for at, (mine, theirs) in enumerate(zip(ours, rival, strict=True)):
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
            gain = doubt.get((at, channel), 0.0) + times / max(worth, LEAST_WORTH)
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
