"""One store in tables: what every choice costs, how sure that is, and who needs whom to move."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import exp, floor, fsum
from operator import getitem
from typing import Any, TypeVar

from pipeline.plan.network import checked, to_grid
from pipeline.plan.search import Improving

Table = Sequence[Sequence[float]]
Choice = tuple[int, ...]
T = TypeVar("T")

_EQUAL = 1e-9  # costs closer than this are equal
_DECIMALS, _ROUNDING = 9, 1e-13  # of the plan's costs; what adding up may make of them
_COARSE = 0.005  # steps of what own stations cost, for a first look at a change
_SLIGHT = 0.1  # of the price of a move: a need this small ties no moves together


class Fact(cached_property[T]):
    """What rests on costs and the present alone: true whatever is allowed, agreed or open."""


@dataclass(frozen=True)
class Stakes:
    """What is at stake for each station i on each choice a.

    Attributes:
        one: expected costs `[i][a]`, the price of a move in them.
        two: `[(i, j)][a][b]` with i < j, what two stations cost each other.
        beside: `[(i, j)][a][b]` for every i that hears j, -ln of the share of time j leaves free at
            i; in `two` with the stations' weights.
        busy: expected share of time, 0..1, that outside signals keep a choice busy.
        beta: a and b of the Beta of that share.
        weight: of each station.
        lost: -ln of the share of frames that get through weak interference on a choice; in `one`
            with the station's weight.
        present: where each station is.
        allowed: choices that each may take; one that may not stay where it is must move.
        price: of a move, in units of cost.
        agreed: stations whose move is agreed on. They may not stay, but what they gain is told as
            if they might.
        homes: the store of each station where several are planned together; empty for one alone.
        open: stations whose choice is decided; the others keep that of a choice known. None: all.
    """

    one: Table
    two: Mapping[tuple[int, int], Table]
    beside: Mapping[tuple[int, int], Table]
    busy: Table
    beta: Sequence[Sequence[tuple[float, float]]]
    weight: Sequence[float]
    lost: Table
    present: Choice
    allowed: Sequence[Sequence[int]]
    price: float
    agreed: frozenset[int] = frozenset()
    homes: tuple[str, ...] = ()
    open: frozenset[int] | None = None

    def allowing(self, i: int, choices: Sequence[int]) -> "Stakes":
        """Return the same with other choices for station i."""
        return self._but(allowed=[choices if at == i else a for at, a in enumerate(self.allowed)])

    def opened(self, stations: frozenset[int]) -> "Stakes":
        """Return the same with these stations to be decided, the others as known."""
        return self._but(open=stations)

    def undecided(self) -> "Stakes":
        """Return the same as if what is agreed on were still free."""
        pairs = enumerate(zip(self.allowed, self.present, strict=True))
        allowed = [sorted({*some, now}) if i in self.agreed else some for i, (some, now) in pairs]
        return self._but(allowed=allowed) if self.agreed else self

    def _but(self, **changes: Any) -> "Stakes":  # noqa: ANN401 - fields of any kind
        """Return the same with other choices allowed or open, and each `Fact` worked out so far."""
        changed, kind = replace(self, **changes), type(self)
        known = {at: v for at, v in vars(self).items() if isinstance(getattr(kind, at, None), Fact)}
        vars(changed).update(known)
        return changed

    @property
    def whole(self) -> bool:
        """Whether nothing that is decided is tied to what is not."""
        some = self.open
        return some is None or all(some.issuperset(self.tied[i]) for i in some)

    def around(self, i: int, most: int) -> frozenset[int]:
        """Grow a set of stations from one: always the station most tied to those already in it."""
        found, tied = {i}, dict(self.tied[i])
        while tied and len(found) < most:
            nearest = min(tied, key=lambda j: (-tied[j], j))
            found.add(nearest)
            for j, more in self.tied[nearest].items():
                if j not in found:
                    tied[j] = tied.get(j, 0.0) + more
            del tied[nearest]
        return frozenset(found)

    @Fact
    def tied(self) -> tuple[dict[int, float], ...]:
        """Per station: how much hangs on what it and each other take, where it is anything."""
        ties: tuple[dict[int, float], ...] = tuple({} for _ in self.one)
        for (i, j), table in self.two.items():
            spread = max(map(max, table)) - min(map(min, table))
            if spread > 0:
                ties[i][j] = ties[j][i] = spread
        return ties

    @Fact
    def improving(self) -> Improving:
        """Local searches on these costs, whatever is allowed."""
        costs = checked(self.one, self.two)
        return Improving(to_grid(costs, None, costs.total(self.present)).network)

    @cached_property
    def free(self) -> tuple[bool, ...]:
        """Whether each station may stay where it is."""
        return tuple(p in a for p, a in zip(self.present, self.allowed, strict=True))

    @Fact
    def pairs(self) -> tuple[tuple[tuple[int, int], Table], ...]:
        """The tables of `two` in the order of their stations."""
        return tuple(sorted(self.two.items()))

    @Fact
    def near(self) -> tuple[tuple[tuple[int, Table], ...], ...]:
        """Per station: who disturbs it or is disturbed, with `two` seen from its side, [b][a]."""
        seen: list[list[tuple[int, Table]]] = [[] for _ in self.one]
        for (i, j), table in self.pairs:
            seen[i].append((j, [list(column) for column in zip(*table, strict=True)]))
            seen[j].append((i, table))
        return tuple(map(tuple, seen))

    @Fact
    def heard(self) -> tuple[tuple[tuple[int, Table], ...], ...]:
        """Per station: those it hears, with their table of `beside`."""
        seen: list[list[tuple[int, Table]]] = [[] for _ in self.one]
        for (i, j), table in sorted(self.beside.items()):
            seen[i].append((j, table))
        return tuple(map(tuple, seen))

    @Fact
    def hears(self) -> tuple[tuple[list[int], list[list[Sequence[float]]]], ...]:
        """Per station: those it hears, and per choice of its own, the rows of their tables."""
        return tuple(
            ([j for j, _ in heard], [[table[a] for _, table in heard] for a in range(len(row))])
            for heard, row in zip(self.heard, self.one, strict=True)
        )

    @Fact
    def hearers(self) -> tuple[tuple[tuple[int, Table], ...], ...]:
        """Per station: those that hear it, with their table of `beside`."""
        seen: list[list[tuple[int, Table]]] = [[] for _ in self.one]
        for (i, j), table in sorted(self.beside.items()):
            seen[j].append((i, table))
        return tuple(map(tuple, seen))

    @Fact
    def binding(self) -> tuple[tuple[tuple[int, int], Table], ...]:
        """The tables of `two` by which moves can need one another."""
        tied = self.tied
        return tuple(
            ((i, j), table)
            for (i, j), table in self.pairs
            if 2 * tied[i].get(j, 0.0) > self._trifle
        )

    @property
    def _trifle(self) -> float:
        """What moves must gain more together than apart to need one another."""
        return max(_SLIGHT * self.price, _EQUAL)

    @Fact
    def air_now(self) -> tuple[float, ...]:
        """Expected clear air of each station today, 0..1."""
        return tuple(self.air(i, self.present) for i in range(len(self.one)))

    def air(self, i: int, choice: Choice) -> float:
        """Return the expected clear air of station i, 0..1."""
        return (1 - self.busy[i][choice[i]]) * exp(-self.own(i, choice))

    def own(self, i: int, choice: Choice) -> float:
        """Return -ln of the share of time that the own stations leave free at station i."""
        others, rows = self.hears[i]
        return fsum(map(getitem, rows[choice[i]], [choice[j] for j in others]))

    def cost(self, choice: Choice) -> float:
        """Return the expected cost of a complete choice."""
        if choice not in self._costs:
            one = [row[a] for row, a in zip(self.one, choice, strict=True)]
            two = [table[choice[i]][choice[j]] for (i, j), table in self.pairs]
            self._costs[choice] = fsum([*one, *two])
        return self._costs[choice]

    @Fact
    def _costs(self) -> dict[Choice, float]:
        """Costs reckoned so far."""
        return {}

    def beside_held(self, i: int, choice: Choice, held: Collection[int]) -> list[float]:
        """Return what each choice allowed costs station i beside those held where they are."""
        beside = [table[choice[j]] for j, table in self.near[i] if j in held]
        row = [fsum([self.one[i][a], *(t[a] for t in beside)]) for a in self.allowed[i]]
        # A sum of costs of nine decimals has nine, and is then exact on the grid.
        near = [round(x, _DECIMALS) for x in row]
        return [x if abs(x - y) > _ROUNDING else y for x, y in zip(row, near, strict=True)]

    def between(self, loose: Collection[int]) -> dict[tuple[int, int], list[list[float]]]:
        """Return what those loose cost each other on what they are allowed, by place in `loose`."""
        place = {i: k for k, i in enumerate(loose)}
        allowed = self.allowed
        return {
            (place[i], place[j]): [[table[a][b] for b in allowed[j]] for a in allowed[i]]
            for (i, j), table in self.pairs
            if i in place and j in place
        }

    def change(self, before: Choice, after: Choice) -> tuple[float, float]:
        """Return what `after` costs more than `before`: of each station alone, and of pairs."""
        changed = {i for i, a in enumerate(before) if a != after[i]}
        alone = [self.one[i][after[i]] - self.one[i][before[i]] for i in sorted(changed)]
        pairs = []
        for i in sorted(changed):
            old, new = before[i], after[i]
            pairs += [
                table[after[j]][new] - table[before[j]][old]
                for j, table in self.near[i]
                if i < j or j not in changed
            ]
        return fsum(alone), fsum(pairs)

    def costs(self, i: int, choice: Choice) -> list[float]:
        """Return what each choice of station i costs, the others as they are."""
        costs = list(self.one[i])
        for j, table in self.near[i]:
            costs = [x + y for x, y in zip(costs, table[choice[j]], strict=True)]
        return costs

    def movers(self, choice: Choice) -> list[int]:
        """Return the stations that leave where they are."""
        return [i for i, p in enumerate(self.present) if choice[i] != p]

    def back(self, choice: Choice, stations: Sequence[int]) -> Choice:
        """Return the choice with some stations left where they are, unless they must move."""
        stay = {i for i in stations if self.free[i]}
        return tuple(self.present[i] if i in stay else a for i, a in enumerate(choice))

    def groups(self, choice: Choice) -> list[tuple[int, ...]]:
        """Return the moves as groups: those that need one another, directly or through others.

        A move needs another if its gain is smaller without it, by more than a trifle. So what a
        group gains is at least as much if other groups are not made.
        """
        group = {i: [i] for i in self.movers(choice)}
        for pair, table in self.binding:
            one, other = group.get(pair[0]), group.get(pair[1])
            if one is None or other is None or one is other:
                continue
            if self._need(pair, table, choice):
                one += other
                group.update(dict.fromkeys(other, one))
        return sorted({tuple(sorted(some)) for some in group.values()})

    def _need(self, pair: tuple[int, int], table: Table, choice: Choice) -> bool:
        i, j = pair
        ends = (self.present[i], self.present[j]), (choice[i], choice[j])
        return _together(table, *ends) < -self._trifle

    def needing(
        self, choice: Choice, most: Mapping[int, float]
    ) -> Iterator[tuple[dict[int, int], float]]:
        """Yield changes of two stations that gain more at once than one by one.

        The second is what they cost less for changing at once. Those are left out that gain
        nothing where each station gains no more by itself than the `most` it has.
        """
        for (i, j), table in self.pairs:
            if i not in most or j not in most:
                continue
            if most[i] + most[j] + 2 * self.tied[i].get(j, 0.0) <= 0:
                continue
            for a in self.allowed[i]:
                for b in self.allowed[j]:
                    spared = -_together(table, (choice[i], choice[j]), (a, b))
                    if spared > _EQUAL:  # so both change
                        yield {i: a, j: b}, spared


class LeastSurcharges:
    """What moves cost more, at the least, after changes; own stations' costs are rounded down.

    `surcharge(station, choice, own)` is what one costs more, never less for a higher own cost.
    """

    def __init__(
        self, stakes: Stakes, choice: Choice, surcharge: Callable[[int, int, float], float]
    ) -> None:
        self.stakes, self.choice, self.surcharge = stakes, choice, surcharge
        self.moved = {i: choice[i] for i in stakes.movers(choice) if stakes.free[i]}
        self.own = {i: stakes.own(i, choice) for i in self.moved}
        self.now = {i: surcharge(i, a, self.own[i]) for i, a in self.moved.items()}
        self.total = sum(self.now.values())
        self.falls: dict[int, float] = {}
        self.dearest: dict[int, float] = {}
        self.beside: dict[tuple[int, int], list[tuple[int, float]]] = {}
        self.elsewhere: dict[tuple[int, int], float] = {}
        self.known: dict[tuple[int, int, int], float] = {}

    def spared(self, j: int) -> float:
        """Return what surcharges can fall at most if station j leaves, beside any one other."""
        if j not in self.falls:
            self.falls[j] = self.now.get(j, 0.0)
            for i, cost in self._taken(j, self.choice[j]):
                least = self.own[i] - cost - self._dearest(i)
                self.falls[j] += self.now[i] - self._one(i, self.moved[i], least)
        return self.falls[j]

    def _dearest(self, i: int) -> float:
        """Return what the own station costs a station that costs it most."""
        if i not in self.dearest:
            others, rows = self.stakes.hears[i]
            there = [self.choice[j] for j in others]
            self.dearest[i] = max(map(getitem, rows[self.moved[i]], there), default=0.0)
        return self.dearest[i]

    def exact(self, after: Choice) -> float:
        """Return all surcharges of a choice, own costs worked out where they are others."""
        stakes = self.stakes
        fresh = {j for j, (a, b) in enumerate(zip(self.choice, after, strict=True)) if a != b}
        for j in tuple(fresh):
            here, there = (dict(self._taken(j, x[j])) for x in (self.choice, after))
            fresh.update(i for i in {*here, *there} if here.get(i) != there.get(i))
        return sum(
            self.surcharge(i, after[i], stakes.own(i, after)) if i in fresh else self.now[i]
            for i in stakes.movers(after)
            if stakes.free[i]
        )

    def after(self, changes: Mapping[int, int]) -> float:
        """Return a lower bound of all surcharges."""
        more: dict[int, float] = {}
        for j, b in changes.items():
            for i, cost in self._taken(j, b):
                more[i] = more.get(i, 0.0) + cost
            for i, cost in self._taken(j, self.choice[j]):
                more[i] = more.get(i, 0.0) - cost
        total = self.total
        for i, extra in more.items():
            if i not in changes:
                total += self._one(i, self.moved[i], self.own[i] + extra) - self.now[i]
        for i, a in changes.items():
            total -= self.now.get(i, 0.0)
            if self.stakes.free[i] and a != self.stakes.present[i]:
                total += self._one(i, a, self._own(i, a, changes))
        return total

    def _taken(self, j: int, b: int) -> list[tuple[int, float]]:
        """Return what station j on a choice costs each of those that moved, where they are."""
        if (j, b) not in self.beside:
            moved, hearers = self.moved, self.stakes.hearers[j]
            near = [(i, table[moved[i]][b]) for i, table in hearers if i in moved]
            self.beside[j, b] = [(i, cost) for i, cost in near if cost]
        return self.beside[j, b]

    def _own(self, i: int, a: int, changes: Mapping[int, int]) -> float:
        """Return what own stations cost station i on a choice, after changes of others."""
        if (i, a) not in self.elsewhere:
            self.elsewhere[i, a] = self.stakes.own(i, replaced(self.choice, {i: a}))
        own = self.elsewhere[i, a]
        for j, b in changes.items():
            if table := self.stakes.beside.get((i, j)):
                own += table[a][b] - table[a][self.choice[j]]
        return own

    def _one(self, i: int, a: int, own: float) -> float:
        key = i, a, floor(own / _COARSE - _EQUAL)
        if key not in self.known:
            self.known[key] = self.surcharge(i, a, max(0.0, key[2] * _COARSE))
        return self.known[key]


def replaced(choice: Choice, new: Mapping[int, int]) -> Choice:
    """Return a choice with some stations on others."""
    return tuple(new.get(i, a) for i, a in enumerate(choice))


def _together(table: Table, old: tuple[int, int], new: tuple[int, int]) -> float:
    """Return what two moves cost more for being made both than each of them alone adds."""
    (i, j), (a, b) = old, new
    return table[a][b] + table[i][j] - table[a][j] - table[i][b]
