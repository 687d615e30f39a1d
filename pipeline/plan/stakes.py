"""One store in tables: what every choice costs, how sure that is, and who needs whom to move."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import exp, fsum

Table = Sequence[Sequence[float]]
Choice = tuple[int, ...]

_EQUAL = 1e-9  # costs closer than this are equal
_SLIGHT = 0.1  # of the price of a move: a need this small ties no moves together


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

    def undecided(self) -> "Stakes":
        """Return the same as if what is agreed on were still free."""
        pairs = enumerate(zip(self.allowed, self.present, strict=True))
        allowed = [sorted({*some, now}) if i in self.agreed else some for i, (some, now) in pairs]
        return replace(self, allowed=allowed) if self.agreed else self

    @cached_property
    def free(self) -> tuple[bool, ...]:
        """Whether each station may stay where it is."""
        return tuple(p in a for p, a in zip(self.present, self.allowed, strict=True))

    @cached_property
    def near(self) -> tuple[tuple[tuple[int, Table], ...], ...]:
        """Per station: who disturbs it or is disturbed, with `two` seen from its side, [b][a]."""
        seen: list[list[tuple[int, Table]]] = [[] for _ in self.one]
        for (i, j), table in sorted(self.two.items()):
            seen[i].append((j, [list(column) for column in zip(*table, strict=True)]))
            seen[j].append((i, table))
        return tuple(map(tuple, seen))

    @cached_property
    def heard(self) -> tuple[tuple[tuple[int, Table], ...], ...]:
        """Per station: those it hears, with their table of `beside`."""
        seen: list[list[tuple[int, Table]]] = [[] for _ in self.one]
        for (i, j), table in sorted(self.beside.items()):
            seen[i].append((j, table))
        return tuple(map(tuple, seen))

    @cached_property
    def air_now(self) -> tuple[float, ...]:
        """Expected clear air of each station today, 0..1."""
        return tuple(self.air(i, self.present) for i in range(len(self.one)))

    def air(self, i: int, choice: Choice) -> float:
        """Return the expected clear air of station i, 0..1."""
        return (1 - self.busy[i][choice[i]]) * exp(-self.own(i, choice))

    def own(self, i: int, choice: Choice) -> float:
        """Return -ln of the share of time that the own stations leave free at station i."""
        return fsum(table[choice[i]][choice[j]] for j, table in self.heard[i])

    def cost(self, choice: Choice) -> float:
        """Return the expected cost of a complete choice."""
        one = [row[a] for row, a in zip(self.one, choice, strict=True)]
        return fsum([*one, *(t[choice[i]][choice[j]] for (i, j), t in self.two.items())])

    def change(self, before: Choice, after: Choice) -> tuple[float, float]:
        """Return what `after` costs more than `before`: of each station alone, and of pairs."""
        changed = {i for i, a in enumerate(before) if a != after[i]}
        alone = [self.one[i][after[i]] - self.one[i][before[i]] for i in sorted(changed)]
        pairs = [
            table[after[j]][after[i]] - table[before[j]][before[i]]
            for i in sorted(changed)
            for j, table in self.near[i]
            if j not in changed or i < j
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
        moved = self.movers(choice)
        group = {i: i for i in moved}
        for pair, table in sorted(self.two.items()):
            if pair[0] in group and pair[1] in group and self._need(pair, table, choice):
                one, other = group[pair[0]], group[pair[1]]
                group = {i: min(one, other) if g in {one, other} else g for i, g in group.items()}
        heads = sorted(set(group.values()))
        return [tuple(i for i in moved if group[i] == head) for head in heads]

    def _need(self, pair: tuple[int, int], table: Table, choice: Choice) -> bool:
        i, j = pair
        ends = (self.present[i], self.present[j]), (choice[i], choice[j])
        return _together(table, *ends) < -max(_SLIGHT * self.price, _EQUAL)

    def needing(self, choice: Choice) -> Iterator[tuple[Choice, float]]:
        """Yield choices in which two stations change that gain more at once than one by one.

        The second is what it costs less that they change at once.
        """
        for (i, j), table in sorted(self.two.items()):
            for a in self.allowed[i]:
                for b in self.allowed[j]:
                    spared = -_together(table, (choice[i], choice[j]), (a, b))
                    if spared > _EQUAL:  # so both change
                        yield replaced(choice, {i: a, j: b}), spared


def replaced(choice: Choice, new: Mapping[int, int]) -> Choice:
    """Return a choice with some stations on others."""
    return tuple(new.get(i, a) for i, a in enumerate(choice))


def _together(table: Table, old: tuple[int, int], new: tuple[int, int]) -> float:
    """Return what two moves cost more for being made both than each of them alone adds."""
    (i, j), (a, b) = old, new
    return table[a][b] + table[i][j] - table[a][j] - table[i][b]
