"""What it costs to refuse a station its channel: the plan decided anew, and how far that is proven.

Of nothing that a decision may be is the cost overlooked: where another might be cheaper than the
one found, the price of refusing is said to be at most so much.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import combinations
from math import fsum, inf
from operator import add

from pipeline.plan.assign import EFFORT, assign
from pipeline.plan.decide import Chances, Deciding, Decision, Group, Terms, decide
from pipeline.plan.stakes import Choice, Stakes, replaced

_SMALL = 16  # stations up to which all stations are decided anew with all the effort there is
# Steps of the local search for the answer to a refusal in a larger store: a station, and of all
# refusals of a store together; fewer a station only where more than two hundred are refused.
_STEPS, _ALL_STEPS = 50, 1_200_000
# Stations beyond which an answer that is not proven anyway is searched for with no more backtracks
# than that: of 100 stations all 71 answers stayed as they were, of 40 stations 3 of 59 got dearer.
_MANY, _BRIEF = 60, 1_000
_EXACT = 1e-4  # what an answer may be dearer than need be: a tenth of the last digit printed
_VISITED = 3  # stores planned together whose visits are weighed one by one
_NODES = 1_000  # stations set in a search of all that an answer may be


@dataclass(frozen=True, slots=True)
class AnswerToRefusal:
    """What is decided where a station has other choices, and what it costs more than the plan.

    `more` counts surcharges and visits, and is that or less where the answer is not `exact`.
    """

    choice: Choice
    groups: tuple[Group, ...]
    more: float
    exact: bool


def decide_anew(  # noqa: PLR0913 - what `decide` takes, and what is decided otherwise
    stakes: Stakes,
    terms: Terms,
    best: Decision,
    i: int,
    choices: Sequence[int],
    *,
    ties: Sequence[Sequence[int]] | None = None,
    effort: int = EFFORT,
    chances: Chances | None = None,
    refusals: int = 1,
) -> AnswerToRefusal:
    """Return the moves to make where station i has other choices than the best plan gave it.

    Both plans are weighed as if the station might do what either has it do. All stations may
    answer by changes of their own. In a store of more than sixteen a local search over all of them
    starts from the plan; what it changed and the stations most tied to the one refused are then
    decided anew. The steps of that search are counted, and shared with all `refusals` of the store.
    What cannot be cheaper, or is found cheaper, is told by a bound and a search over all plans.
    """
    chances = chances or Chances()
    changed = stakes.allowing(i, choices)
    costs = stakes.costs(i, best.choice)
    start = replaced(best.choice, {i: min(choices, key=lambda a: costs[a])})
    if len(start) > _SMALL:
        steps = min(_STEPS * len(start), _ALL_STEPS // refusals)
        start = stakes.improving.run(start, steps, dict(enumerate(changed.allowed)))
    some = _opened(changed, i, best.choice, start)
    brief = len(start) > _MANY and not some.whole
    most = min(effort, _BRIEF) if brief else effort
    found = decide(some, terms, ties=ties, effort=most, chances=chances, start=start)
    weighed = Deciding(stakes.allowing(i, sorted({*choices, best.choice[i]})), terms, chances)
    choice, exact = found.choice, False
    standing = Deciding(changed, terms, chances)
    if not brief:
        every = _Every(weighed, standing, _loose(some, choice))
        choice, exact = every.better(choice, min(effort, _BRIEF))
    more = weighed.minimised(choice) - weighed.minimised(best.choice)
    return AnswerToRefusal(choice, standing.groups(choice), more, exact)


def _opened(changed: Stakes, i: int, best: Choice, start: Choice) -> Stakes:
    """Return the stakes with the stations to decide anew: in a large store those near, or moved."""
    if len(start) <= _SMALL:
        return changed
    moved = {j for j, (a, b) in enumerate(zip(best, start, strict=True)) if a != b}
    return changed.opened(changed.around(i, _SMALL) | moved)


def _loose(some: Stakes, choice: Choice) -> list[Sequence[int]]:
    """Return what each station may take; in a very large store, of those decided anew alone."""
    if len(choice) <= _MANY or some.open is None:
        return list(some.allowed)
    return [a if j in some.open else [choice[j]] for j, a in enumerate(some.allowed)]


class _Every:
    """All that an answer may be: a bound of what it minimises, and a search through it.

    `weighed` says what is minimised, `standing` what stands; `allowed` are the choices by station.
    Surcharges are counted as if every own station that is heard were elsewhere: any answer pays so
    much, and visits are counted store by store.
    """

    def __init__(
        self, weighed: Deciding, standing: Deciding, allowed: Sequence[Sequence[int]]
    ) -> None:
        self.weighed, self.standing, self.allowed = weighed, standing, allowed
        self.stakes = weighed.stakes
        self.one = [
            [self._least(i, a) if a in some else inf for a in range(len(row))]
            for i, (row, some) in enumerate(zip(self.stakes.one, allowed, strict=True))
        ]
        bound = {
            home for home, free in zip(weighed.homes, self.stakes.free, strict=True) if not free
        }
        paying = sorted({*weighed.homes} - bound)
        self.paying = paying if len(paying) <= _VISITED else []

    def _least(self, i: int, a: int) -> float:
        """Return what a choice costs a station at the least, its own stations left out."""
        stakes = self.stakes
        if not stakes.free[i] or a == stakes.present[i]:
            return stakes.one[i][a]
        own = fsum(min(table[a][b] for b in self.allowed[j]) for j, table in stakes.heard[i])
        return stakes.one[i][a] + self.weighed.surcharge(i, a, own)

    def better(self, known: Choice, effort: int) -> tuple[Choice, bool]:
        """Return the best answer found, and whether it is the best there is."""
        cost = self.weighed.minimised(known)
        if cost - self._folded(known) <= _EXACT:  # else no bound comes near enough
            bound, others = self._bound(effort)
            for other in others:
                if (less := self.weighed.minimised(other)) < cost and self.standing.stand(other):
                    known, cost = other, less
            if cost - bound <= _EXACT:
                return known, True
        return self._searched(known, cost) if len(known) <= _SMALL else (known, False)

    def _folded(self, choice: Choice) -> float:
        """Return what an answer minimises at the least, as the bound counts it."""
        least = [
            row[a] - known[a]
            for a, row, known in zip(choice, self.one, self.stakes.one, strict=True)
        ]
        return self.stakes.cost(choice) + fsum(least) + self._visits(dict(enumerate(choice)))

    def _bound(self, effort: int) -> tuple[float, list[Choice]]:
        """Return a lower bound of what answers minimise, and those whose costs it is made of."""
        found = [
            self._without(set(stay), effort)
            for count in range(len(self.paying) + 1)
            for stay in combinations(self.paying, count)
        ]
        told = [one for one in found if one is not None]
        return min(bound for bound, _ in told), [choice for _, choice in told]

    def _without(self, stay: set[str], effort: int) -> tuple[float, Choice] | None:
        """Return that of answers that leave some stores unvisited; None where they may not."""
        stakes, allowed = self.stakes, list(self.allowed)
        for i, home in enumerate(self.weighed.homes):
            if home in stay:
                if stakes.present[i] not in allowed[i]:
                    return None
                allowed[i] = [stakes.present[i]]
        visits = self.weighed.terms.per_visit * (len(self.paying) - len(stay))
        if all(len(some) == 1 for some in allowed):
            choice = tuple(a for a, *_ in allowed)
            return stakes.cost(choice) + visits, choice
        one = [[row[a] for a in some] for row, some in zip(self.one, allowed, strict=True)]
        two = {
            (i, j): [[table[a][b] for b in allowed[j]] for a in allowed[i]]
            for (i, j), table in stakes.pairs
        }
        found = assign(one, two, effort=effort)
        choice = tuple(some[a] for some, a in zip(allowed, found.choice, strict=True))
        return found.bound + visits, choice

    def _searched(self, known: Choice, cost: float) -> tuple[Choice, bool]:
        """Return the best of all that stand, and whether no more steps are left to take.

        Stations are set one by one, those first that are tied to the others most; what may cost
        least is followed first (best-first branch and bound).
        """
        tied = [sum(ties.values()) for ties in self.stakes.tied]
        order = sorted(range(len(known)), key=lambda i: -tied[i])
        waiting: list[tuple[float, tuple[int, ...]]] = [(0.0, ())]
        for _ in range(_NODES):
            if not waiting or waiting[0][0] >= cost - _EXACT:
                return known, True
            _, taken = heappop(waiting)
            if len(taken) < len(order):
                for least, a in self._next(dict(zip(order, taken, strict=False)), order):
                    if least < cost - _EXACT:
                        heappush(waiting, (least, (*taken, a)))
                continue
            choice = replaced(known, dict(zip(order, taken, strict=True)))
            less = self.weighed.minimised(choice)
            if less < cost and self.standing.stand(choice):
                known, cost = choice, less
        return known, False

    def _next(self, taken: Mapping[int, int], order: Sequence[int]) -> Iterator[tuple[float, int]]:
        """Yield the choices of the next station with what all cost at the least."""
        total, rows, before = 0.0, list[list[float]](), dict[int, int]()
        for j in order:
            row: Iterable[float] = self.one[j]
            for i, table in self.stakes.near[j]:
                if i in before:
                    row = map(add, row, table[before[i]])
            if j in taken:
                total += list(row)[taken[j]]
                before[j] = taken[j]
            else:
                rows.append(list(row))
        following = order[len(taken)]
        least = total + sum(map(min, rows[1:]))
        for a in self.allowed[following]:
            yield least + rows[0][a] + self._visits({**taken, following: a}), a

    def _visits(self, taken: Mapping[int, int]) -> float:
        """Return what visits cost at the least, given what some stations take."""
        homes, present = self.weighed.homes, self.stakes.present
        paid = {homes[j] for j, a in taken.items() if a != present[j]}
        return self.weighed.terms.per_visit * len(paid.intersection(self.paying))
