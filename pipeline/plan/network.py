"""Cost networks: the caller's costs, checked, and their copy on an integer grid for the solvers."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import chain
from operator import add
from typing import NoReturn

Table = tuple[tuple[int, ...], ...]
"""`table[a][b]`: cost of the first station taking a while the second takes b."""


@dataclass(frozen=True)
class Network:
    """One-station and two-station costs in whole grid steps, keys (i, j) sorted with i < j."""

    unary: tuple[tuple[int, ...], ...]
    pairs: Mapping[tuple[int, int], Table]

    def cost(self, choice: Sequence[int]) -> int:
        """Add up the cost of one complete choice, in grid steps."""
        one = sum(row[a] for row, a in zip(self.unary, choice, strict=True))
        return one + sum(table[choice[i]][choice[j]] for (i, j), table in self.pairs.items())

    def grain(self) -> int:
        """Greatest whole number of steps that all costs are multiples of, 1 where all are 0."""
        own = math.gcd(*(x for row in self.unary for x in row))
        tables = self.pairs.values()
        return math.gcd(own, *(x for table in tables for row in table for x in row)) or 1

    def neighbours(self) -> list[list[tuple[int, Table]]]:
        """List for each station its partners with the table seen from its own side."""
        seen: list[list[tuple[int, Table]]] = [[] for _ in self.unary]
        for (i, j), table in self.pairs.items():
            seen[i].append((j, table))
            seen[j].append((i, tuple(zip(*table, strict=True))))
        return seen


@dataclass(frozen=True)
class Verdict:
    """What a solver found: a choice better than it was told, if any, and what it proved.

    `bound` is a proven lower bound in grid steps for the whole network (never above the
    best known cost); `spent` counts in the solver's own unit (backtracks or states).
    """

    choice: tuple[int, ...] | None
    bound: int
    proven: bool
    solver: str
    spent: int


Solve = Callable[[Network, int, int], Verdict]
"""`solve(network, top, effort)`: look for a choice cheaper than top."""


THIN = 3
"""Pairs a station up to which the exact solver needs little help."""

MANY = 16
"""Choices a station, on average, beyond which help for it takes longer than it saves."""

OneStationCosts = Sequence[Sequence[float]]
TwoStationCosts = Mapping[tuple[int, int], Sequence[Sequence[float]]]

# The sum of every table's largest entry stays below this, so that no solver's 64-bit sum
# overflows; pytoulbar2 itself stops at about 2**58.8.
_ROOM = 2**57
# Entries stay below this, so that scaling by a power of ten in floating point and rounding
# is off by less than one step.
_ENTRY_ROOM = 2**50
_LARGEST_EXPONENT = 290
_TINY, _LIFT = 1e-200, 600  # costs below that are multiplied by two to that power, which is exact
_EXACT_DIGITS = (0, 9)  # decimals of costs that are copied exactly: whole ones, and the plan's


@dataclass(frozen=True)
class Costs:
    """The caller's costs after the checks, pairs in sorted order."""

    one: tuple[tuple[float, ...], ...]
    two: Mapping[tuple[int, int], tuple[tuple[float, ...], ...]]

    def total(self, choice: Sequence[int]) -> float:
        """Sum of one complete choice in the caller's units, rounded once (math.fsum)."""
        terms = [row[a] for row, a in zip(self.one, choice, strict=True)]
        terms.extend(table[choice[i]][choice[j]] for (i, j), table in self.two.items())
        return math.fsum(terms)

    def lifted(self, power: int, known: float) -> "Costs":
        """Return the costs times two to a power, dearer ones than a known sum as twice that sum."""

        def row(costs: Sequence[float]) -> tuple[float, ...]:
            return tuple(math.ldexp(min(x, 2 * known), power) for x in costs)

        tables = {pair: tuple(map(row, table)) for pair, table in self.two.items()}
        return Costs(tuple(map(row, self.one)), tables)

    def entries(self) -> set[float]:
        """List the different costs."""
        return set[float]().union(*self.one, *chain.from_iterable(self.two.values()))

    @cached_property
    def largest(self) -> list[float]:
        """Largest entry of each row and each table."""
        return [*map(max, self.one), *(max(map(max, table)) for table in self.two.values())]

    def most(self) -> float:
        """Sum no choice can exceed; infinite where it does not fit a float."""
        try:
            return math.fsum(self.largest)
        except OverflowError:
            return math.inf


def checked(one_station_costs: OneStationCosts, two_station_costs: TwoStationCosts) -> Costs:
    """Copy the costs after checking each entry.

    Raises:
        ValueError: an entry is not a finite number of 0 or more, a row is empty, a table has
            the wrong shape, or a pair names no two stations; the sentence names the entry.
    """
    one = tuple(
        _row(f"one_station_costs[{i}]", row, None) for i, row in enumerate(one_station_costs)
    )
    for key in two_station_costs:
        _check_pair(key, len(one))
    two = {(i, j): _copy(i, j, two_station_costs[i, j], one) for i, j in sorted(two_station_costs)}
    costs = Costs(one, two)
    if not math.isfinite(costs.most()):
        raise ValueError("the costs are too large to be added up; give them in a larger unit")
    return costs


def checked_ties(ties: Sequence[Sequence[int]], costs: Costs) -> tuple[tuple[int, ...], ...]:
    """Copy the secondary costs after checking shape and values (whole numbers, 0 or more)."""
    if len(ties) != len(costs.one):
        raise ValueError(f"ties has {len(ties)} rows; there are {len(costs.one)} stations")
    for i, row in enumerate(ties):
        if len(row) != len(costs.one[i]):
            raise ValueError(f"ties[{i}] has {len(row)} entries; {len(costs.one[i])} are needed")
        for a, value in enumerate(row):
            if type(value) is not int or value < 0:
                raise ValueError(f"ties[{i}][{a}] is {value!r}; it must be a whole number from 0")
    return tuple(tuple(row) for row in ties)


def check_choice(name: str, i: int, a: int, costs: Costs) -> None:
    """Raise ValueError unless station i exists and has an a-th choice."""
    if type(i) is not int or not 0 <= i < len(costs.one):
        raise ValueError(f"{name} names station {i!r}; there are {len(costs.one)} stations")
    if type(a) is not int or not 0 <= a < len(costs.one[i]):
        raise ValueError(
            f"{name}[{i}] is {a!r}; station {i} has choices 0 to {len(costs.one[i]) - 1}"
        )


def check_complete(name: str, choice: Sequence[int], costs: Costs) -> None:
    """Raise ValueError unless `choice` gives every station one of its choices."""
    if len(choice) != len(costs.one):
        raise ValueError(f"{name} has {len(choice)} entries; there are {len(costs.one)} stations")
    for i, a in enumerate(choice):
        check_choice(name, i, a, costs)


_ROWS = {list, tuple}


def _copy(
    i: int, j: int, table: Sequence[Sequence[float]], one: Sequence[Sequence[float]]
) -> tuple[tuple[float, ...], ...]:
    """Copy most tables after looking at all entries at once; the others are gone through."""
    if _usual(table, len(one[i]), len(one[j])):
        return tuple(map(tuple, table))
    return _table(i, j, table, one)


def _usual(table: Sequence[Sequence[float]], rows: int, columns: int) -> bool:
    """Say whether a table is plainly as described: lists of floats, or of whole numbers."""
    if type(table) not in _ROWS or len(table) != rows or not set(map(type, table)) <= _ROWS:
        return False
    flat = [*chain.from_iterable(table)]
    return (
        set(map(len, table)) == {columns}
        and len(kinds := set(map(type, flat))) == 1
        and kinds <= {float, int}
        and min(flat) >= 0
        and sum(flat) < math.inf  # not a number is below nothing
    )


def _row(name: str, row: object, length: int | None) -> tuple[float, ...]:
    if isinstance(row, str | bytes) or not isinstance(row, Sequence):
        _refuse(name, row, "it must be a sequence of costs")
    if not row:
        raise ValueError(f"{name} is empty; a station needs at least one choice")
    if length is not None and len(row) != length:
        raise ValueError(f"{name} has {len(row)} entries; {length} are needed")
    for a, value in enumerate(row):
        if isinstance(value, bool) or not isinstance(value, int | float):
            _refuse(f"{name}[{a}]", value, "a cost must be an int or a float")
        if not 0 <= value < math.inf:
            _refuse(f"{name}[{a}]", value, "a cost must be finite and 0 or more")
    return tuple(row)


def _refuse(name: str, value: object, why: str) -> NoReturn:
    raise ValueError(f"{name} is {value!r}; {why}")


def _check_pair(key: tuple[int, int], stations: int) -> None:
    if not (isinstance(key, tuple) and len(key) == 2 and all(type(i) is int for i in key)):  # noqa: PLR2004 - a pair
        _refuse("a key of two_station_costs", key, "it must be two station indices")
    i, j = key
    if not 0 <= i < j < stations:
        raise ValueError(
            f"two_station_costs[{key!r}] names no pair i < j of the {stations} stations"
        )


def _table(
    i: int, j: int, table: object, one: Sequence[Sequence[float]]
) -> tuple[tuple[float, ...], ...]:
    name = f"two_station_costs[{(i, j)!r}]"
    if isinstance(table, str | bytes) or not isinstance(table, Sequence):
        _refuse(name, table, "it must be a table of costs")
    if len(table) != len(one[i]):
        raise ValueError(f"{name} has {len(table)} rows; station {i} has {len(one[i])} choices")
    return tuple(_row(f"{name}[{a}]", row, len(one[j])) for a, row in enumerate(table))


@dataclass(frozen=True)
class Grid:
    """An integer copy of the costs: `round(cost * scale) * weight + tie` in each entry.

    `scale` is a power of ten. The copy is exact where all costs are whole, or all have at most
    nine decimals, and sums fit in 64 bits; else it is as fine as these allow, and each of the
    `rounded` tables may be off by one step of 1/scale. `weight` exceeds every sum of ties, so ties
    never outweigh one step.
    """

    network: Network
    scale: Fraction
    weight: int
    rounded: int

    def exact(self, steps: int) -> Fraction:
        """Turn a lower bound in grid steps into one in the caller's units, without rounding."""
        return (Fraction(steps // self.weight) - self.rounded) / self.scale

    def bound(self, steps: int) -> float:
        """Turn a lower bound in grid steps into one in the caller's units, rounded down."""
        exact = self.exact(steps)
        if exact <= 0:
            return 0.0
        value = float(exact)
        return value if value <= exact else math.nextafter(value, 0.0)


def to_grid(costs: Costs, ties: Sequence[Sequence[int]] | None, known: float) -> Grid:
    """Copy checked costs to the finest grid that fits.

    Args:
        costs: checked costs in the caller's units.
        ties: secondary one-station costs, compared only where costs are equal on the grid.
        known: cost of some complete choice; dearer entries are cut to just above it, because no
            best choice can hold one, and the grid is finer for it.
    """
    weight = 1 + (sum(max(row) for row in ties) if ties else 0)
    lift = _LIFT if 0 < known < _TINY else 0
    if lift:  # no power of ten that a float can hold makes whole numbers of such costs
        costs, known = costs.lifted(lift, known), math.ldexp(known, lift)
    largest = [min(x, known) for x in costs.largest]
    room, top = _ROOM // (2 * weight), math.fsum(largest)
    fits = [0] if top == 0 else [d for d in _EXACT_DIGITS if _fits(top, max(largest), room, d)]
    entries = costs.entries()
    exact = next((d for d in fits if all(x > known or round(x, d) == x for x in entries)), None)
    exponent = _exponent(room, top, max(largest)) if exact is None else exact
    scale = Fraction(10) ** exponent
    cut = int(Fraction(known) * scale) + len(largest) + 2
    times, over = 10.0 ** max(exponent, 0), 10.0 ** max(-exponent, 0)
    steps = {x: (cut if x > known else round(x * times / over)) * weight for x in entries}
    network = _copied(costs, steps)
    if ties:
        both = zip(network.unary, ties, strict=True)
        network = replace(network, unary=tuple(tuple(map(add, *rows)) for rows in both))
    rounded = 0 if exact is not None else sum(x > 0 for x in largest)
    return Grid(network, scale * 2**lift, weight, rounded)


def _fits(top: float, largest: float, room: int, digits: int) -> bool:
    """Say whether costs in steps of so many decimals can be added up."""
    steps = 10.0**digits
    return top * steps < room and largest * steps < _ENTRY_ROOM


def _exponent(room: int, top: float, largest: float) -> int:
    finest = min(math.log10(room) - math.log10(top), math.log10(_ENTRY_ROOM / largest))
    return max(-_LARGEST_EXPONENT, min(_LARGEST_EXPONENT, math.floor(finest)))


def _copied(costs: Costs, steps: Mapping[float, int]) -> Network:
    """Put in each cost's place what it is in whole steps."""

    def rows(table: Sequence[Sequence[float]]) -> Table:
        return tuple(tuple(map(steps.__getitem__, row)) for row in table)

    return Network(rows(costs.one), {pair: rows(table) for pair, table in costs.two.items()})
