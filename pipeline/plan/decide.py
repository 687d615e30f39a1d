"""Which moves are made: the best assignment, less what does not earn its disruption surely enough.

Moves that need one another are one group with one gain, one chance and one price.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from heapq import heappop, heappush
from itertools import combinations
from math import exp, fsum

from pipeline.plan.assign import EFFORT, TOLERANCE, Assignment, assign
from pipeline.plan.costs import Swap, chance_of_loss, chance_together
from pipeline.plan.stakes import Choice, LeastSurcharges, Stakes, replaced

_GAIN = 1e-9  # costs closer than this are equal
_TRIED = 10  # of groups up to this size every part is tried
_CHANGES = 4  # a station, that a decision is bettered by at most: a count, so that it ends
_DIGITS = 12  # of what own stations cost, so that sums in any order are equal
_NOTABLE = 2.0  # clear air, in prices of a move, that a station must notice of its own move


@dataclass(frozen=True, slots=True)
class Terms:
    """What moves must earn. Prices are in units of cost, like that of a move.

    Attributes:
        least_chance: that a group of moves gains anything, 0..1.
        per_visit: what all moves of a store together must gain beyond their own prices; of stores
            planned together, those of each that is visited.
        for_others: in prices of a move, what one costs more that is not expected to better its own
            station by a point (twice the price of a move).
        against: what one costs more again, times the square of the chance that its own station is
            then worse by more than a point: small chances cost next to nothing, large ones much.
        earshot: chance of being heard from which two stations are in earshot, 0..1.
    """

    least_chance: float = 0.85
    per_visit: float = 0.01
    for_others: float = 0.5
    against: float = 45.0
    earshot: float = 0.5


PLAIN = Terms(least_chance=0.0, per_visit=0.0, for_others=0.0, against=0.0)
"""Every move that earns its price in expectation."""


@dataclass(frozen=True, slots=True)
class Group:
    """Moves that need one another: what they gain in units of cost, prices left out, how surely.

    Both are of the stations that could stay, as compared with staying; None where all must move.
    """

    stations: tuple[int, ...]
    gain: float | None
    chance: float | None


@dataclass(frozen=True, slots=True)
class Decision:
    """The choice of each station, the groups of its moves, and how good it is proven to be.

    `bound` is a lower bound of the cost while those that stay do, whatever the movers choose;
    `optimal`: the two meet.
    """

    choice: Choice
    groups: tuple[Group, ...]
    cost: float
    bound: float
    optimal: bool
    solver: str


@dataclass(frozen=True, slots=True)
class Chances:
    """Chances reckoned so far, for decisions on the same stakes whatever is allowed."""

    gain: dict[tuple[object, ...], float] = field(default_factory=dict)
    loss: dict[tuple[int, int, float], float] = field(default_factory=dict)


def decide(  # noqa: PLR0913 - two inputs; the rest are options with defaults
    stakes: Stakes,
    terms: Terms,
    *,
    ties: Sequence[Sequence[int]] | None = None,
    effort: int = EFFORT,
    chances: Chances | None = None,
    start: Choice | None = None,
) -> Decision:
    """Return the moves to make.

    From the best assignment, groups that do not stand are cut down to their best part that does;
    then changes of one station, or of two that need one another, are made as long as they better
    the whole and all groups stand; where a choice is known to `start` from, from that one as well.
    `ties` and `effort` are for `assign`.
    """
    chances = chances or Chances()
    deciding = Deciding(stakes, terms, chances)
    best, found = _solved(stakes, start, frozenset(), ties, effort)
    starts = [best] if start in (None, best) else [best, start]
    ends = [deciding.visited(deciding.bettered(deciding.standing(each))) for each in starts]
    choice = min(ends, key=deciding.minimised)
    if choice != best or not found.optimal:
        stay = frozenset(range(len(choice))) - set(stakes.movers(choice))
        other, found = _solved(stakes, choice, stay, ties, effort)
        if deciding.stand(other) and deciding.spent(other) <= deciding.spent(choice) + _GAIN:
            choice = other  # of equals, the one the ties prefer
    cost = stakes.cost(choice)
    bound = min(cost, found.bound)
    close = cost - bound <= TOLERANCE * cost
    return Decision(choice, deciding.groups(choice), cost, bound, close, found.solver)


def _solved(
    stakes: Stakes,
    known: Choice | None,
    held: frozenset[int],
    ties: Sequence[Sequence[int]] | None,
    effort: int,
) -> tuple[Choice, Assignment]:
    """Return the best assignment of what is allowed, with some held where the known has them.

    What those held cost the others is folded into the others' own costs.
    """
    choice = stakes.present if known is None else known
    every = frozenset(range(len(choice)))
    loose = sorted((every if stakes.open is None else stakes.open) - held)
    found = assign(
        [stakes.beside_held(i, choice, every.difference(loose)) for i in loose],
        stakes.between(loose),
        ties=ties and [[ties[i][a] for a in stakes.allowed[i]] for i in loose],
        incumbent=known and [stakes.allowed[i].index(known[i]) for i in loose],
        effort=effort,
    )
    taken = zip(loose, found.choice, strict=True)
    choice = replaced(choice, {i: stakes.allowed[i][a] for i, a in taken})
    cost = stakes.cost(choice)
    return choice, replace(found, cost=cost, bound=cost - (found.cost - found.bound))


class Deciding:
    """The steps of a decision; choices are complete."""

    def __init__(self, stakes: Stakes, terms: Terms, chances: Chances) -> None:
        self.stakes, self.terms = stakes, terms
        self._chances, self._losses = chances.gain, chances.loss
        self.homes = stakes.homes or ("",) * len(stakes.one)

    def spent(self, choice: Choice) -> float:
        """Return the expected cost with all that moves cost more."""
        return self.stakes.cost(choice) + self._surcharges(choice, self.stakes.movers(choice))

    def _surcharges(self, choice: Choice, movers: Sequence[int]) -> float:
        """Return what moves cost more that do little for their own stations, or harm them."""
        own = self.stakes.own
        free = (i for i in movers if self.stakes.free[i])
        return sum(self.surcharge(i, choice[i], own(i, choice)) for i in free)

    def surcharge(self, i: int, a: int, own: float) -> float:
        """Return what a station's move costs more; the less the less `own` stations cost it."""
        stakes, terms = self.stakes, self.terms
        air = (1 - stakes.busy[i][a]) * exp(-own)
        total = terms.for_others * (air - stakes.air_now[i] < _NOTABLE * stakes.price)
        total += terms.against * self._chance_of_loss(i, a, own) ** 2 if terms.against else 0.0
        return total * stakes.price

    def _chance_of_loss(self, i: int, a: int, own: float) -> float:
        """Return the chance that a station's own clear air falls notably by its move."""
        stakes, present = self.stakes, self.stakes.present
        key = (i, a, round(own, _DIGITS))
        if key not in self._losses:
            here = (*stakes.beta[i][present[i]], round(stakes.own(i, present), _DIGITS))
            ends = here, (*stakes.beta[i][a], key[2])
            self._losses[key] = chance_of_loss(*ends, _NOTABLE * stakes.price)
        return self._losses[key]

    def groups(self, choice: Choice) -> tuple[Group, ...]:
        """Return the moves by groups, as if what is agreed on were still free."""
        told = Deciding(self.stakes.undecided(), self.terms, Chances(self._chances, self._losses))
        return tuple(told.group(choice, each) for each in self.stakes.groups(choice))

    def group(self, choice: Choice, stations: tuple[int, ...]) -> Group:
        """Return what moves made together gain beside the other moves, and how surely."""
        stakes = self.stakes
        free = [i for i in stations if stakes.free[i]]
        if not free:
            return Group(stations, None, None)
        alone, pairs = stakes.change(stakes.back(choice, free), choice)
        gain = stakes.price * len(free) - alone - pairs
        kept = fsum(
            stakes.weight[i] * (stakes.lost[i][stakes.present[i]] - stakes.lost[i][choice[i]])
            for i in free
        )
        return Group(stations, gain, self._chance(choice, free, kept - pairs))

    def _chance(self, choice: Choice, free: Sequence[int], spared: float) -> float:
        key = (tuple((i, choice[i]) for i in free), round(spared, _DIGITS))
        if key not in self._chances:
            stakes = self.stakes
            swaps = [
                Swap(stakes.weight[i], stakes.beta[i][stakes.present[i]], stakes.beta[i][choice[i]])
                for i in free
            ]
            self._chances[key] = chance_together(swaps, spared)
        return self._chances[key]

    def stand(self, choice: Choice) -> bool:
        """Tell whether every group earns its price, and gains with the least chance."""
        return next(self._failing(choice), None) is None

    def _failing(self, choice: Choice) -> Iterator[tuple[int, ...]]:
        for stations in self.stakes.groups(choice):
            found = self.group(choice, stations)
            if found.gain is None or found.chance is None:
                continue
            free = [i for i in stations if self.stakes.free[i]]
            price = self.stakes.price * len(free) + self._surcharges(choice, free)
            if found.gain < price - _GAIN or found.chance < self.terms.least_chance:
                yield stations

    def standing(self, choice: Choice) -> Choice:
        """Return the best part of the moves that stands; of many, each failing group cut down."""
        free = [i for i in self.stakes.movers(choice) if self.stakes.free[i]]
        if len(free) <= _TRIED:
            return self._best_part(choice, free)
        while (failing := next(self._failing(choice), None)) is not None:
            choice = self._best_part(choice, [i for i in failing if self.stakes.free[i]])
        return choice

    def _best_part(self, choice: Choice, free: Sequence[int]) -> Choice:
        """Return the choice with some of a few stations' moves taken back, so that the rest stands.

        Of more than a few, the move is taken back that is missed least.
        """
        stakes, some = self.stakes, set(free)
        if len(free) > _TRIED:
            more = LeastSurcharges(stakes, choice, self.surcharge)
            backs = [stakes.back(choice, [i]) for i in free]
            return min(backs, key=lambda b: sum(stakes.change(choice, b)) + more.exact(b))
        parts = [
            stakes.back(choice, dropped)
            for count in range(len(free) + 1)
            for dropped in combinations(free, count)
        ]
        best: tuple[float, int] | None = None
        # What moves cost more is reckoned last, and only of parts that may still be the best.
        plain = sorted((sum(stakes.change(choice, part)), at) for at, part in enumerate(parts))
        for least, at in plain:
            if best and least > best[0]:
                break
            part = parts[at]
            found = least + self._surcharges(part, stakes.movers(part)), at
            if (best is None or found < best) and all(
                some.isdisjoint(failing) for failing in self._failing(part)
            ):
                best = found
        assert best is not None, "to move nothing always stands"  # noqa: S101 - for mypy
        return parts[best[1]]

    def bettered(self, choice: Choice) -> Choice:
        """Change one station, or two that need one another, for the best until nothing is better.

        All groups stand after each change.
        """
        for _ in range(_CHANGES * len(choice)):
            better = next((c for c in self._better(choice) if self.stand(c)), None)
            if better is None:
                break
            choice = better
        return choice

    def _better(self, choice: Choice) -> Iterator[Choice]:
        """Yield the choices one change away that cost less in all, the least costly first.

        What moves cost more is reckoned exactly only of what may be next.
        """
        least = LeastSurcharges(self.stakes, choice, self.surcharge)
        waiting = [
            (bound - _GAIN, more, tuple(changes.items()))
            for changes, more in self._around(choice, least)
            if more - sum(map(least.spared, changes)) < 0
            if (bound := more - least.total + least.after(changes)) < -_GAIN
        ]
        found: list[tuple[float, Choice]] = []
        for bound, more, changes in sorted(waiting):
            while found and found[0][0] < bound:
                yield heappop(found)[1]
            after = replaced(choice, dict(changes))
            total = more - least.total + least.exact(after)
            if total < -_GAIN:
                heappush(found, (total, after))
        while found:
            yield heappop(found)[1]

    def _around(
        self, choice: Choice, least: LeastSurcharges
    ) -> Iterator[tuple[dict[int, int], float]]:
        """Yield what one change is, with what it costs more, surcharges left out.

        Of two at once only those that may gain.
        """
        stakes = self.stakes
        some = range(len(choice)) if stakes.open is None else sorted(stakes.open)
        rises: dict[int, list[float]] = {}
        most: dict[int, float] = {}
        for i in some:
            costs = stakes.costs(i, choice)
            rises[i] = [cost - costs[choice[i]] for cost in costs]
            others = [a for a in stakes.allowed[i] if a != choice[i]]
            for a in others:
                yield {i: a}, rises[i][a]
            if others:
                most[i] = least.spared(i) - min(rises[i][a] for a in others)
        for changes, spared in stakes.needing(choice, most):
            yield changes, sum(rises[i][a] for i, a in changes.items()) - spared

    def minimised(self, choice: Choice) -> float:
        """Return what the plan minimises: what is spent, and the price of each visit it causes.

        A store in which a station must move is visited anyway.
        """
        visits = self.visits(self.stakes.movers(choice))
        return self.spent(choice) + self.terms.per_visit * len(visits)

    def visits(self, movers: Sequence[int]) -> list[str]:
        """Return the stores that are visited for moves that need not be."""
        bound = {self.homes[i] for i in movers if not self.stakes.free[i]}
        return sorted({self.homes[i] for i in movers} - bound)

    def visited(self, choice: Choice) -> Choice:
        """Leave out the stores that are not worth a visit: any of a few, else each by itself."""
        stakes = self.stakes
        movers = stakes.movers(choice)
        stores = self.visits(movers)
        sizes = range(len(stores) + 1) if len(stores) <= _TRIED else (0, 1, len(stores))
        found = []
        for dropped in (set(some) for size in sizes for some in combinations(stores, size)):
            part = stakes.back(choice, [i for i in movers if self.homes[i] in dropped])
            if not dropped or self.stand(part):
                found.append((self.minimised(part), part))
        least = min(cost for cost, _ in found)
        return next(part for cost, part in reversed(found) if cost <= least + _GAIN)
