"""Ways from one complete choice to another, one station at a time: searches on whole costs."""

import heapq
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from pipeline.plan.network import Network, Table

_STATES = 1 << 20  # more than any way passes through
State = tuple[int, ...]
"""What each moving station takes, in order of station."""


@dataclass(frozen=True)
class Ground:
    """The moving stations alone: the others stand still and are part of the one-station costs.

    `first` are those to be done as early as may be: each counts `toll` more, in the sum over the
    states on the way, for every state in which it is not done. The toll is more than any sum.
    """

    stations: tuple[int, ...]
    network: Network
    constant: int
    before: State
    after: State
    first: tuple[int, ...] = ()
    toll: int = 0

    def late(self, state: State) -> int:
        """What a state counts more for the stations that should be done by then."""
        return self.toll * sum(state[k] != self.after[k] for k in self.first)

    def cost(self, state: State) -> int:
        """Cost of the whole store while the moving stations take `state`."""
        return self.constant + self.network.cost(state)


def ground(
    network: Network, before: Sequence[int], after: Sequence[int], first: Collection[int] = ()
) -> Ground:
    """Single out the stations whose choice differs between before and after."""
    stations = tuple(i for i, a in enumerate(before) if a != after[i])
    place = {station: k for k, station in enumerate(stations)}
    unary = [list(network.unary[i]) for i in stations]
    constant = sum(row[before[i]] for i, row in enumerate(network.unary) if i not in place)
    pairs: dict[tuple[int, int], Table] = {}
    for (i, j), table in network.pairs.items():
        if i in place and j in place:
            pairs[place[i], place[j]] = table
        elif i in place:
            unary[place[i]] = [
                x + t[before[j]] for x, t in zip(unary[place[i]], table, strict=True)
            ]
        elif j in place:
            row = table[before[i]]
            unary[place[j]] = [x + t for x, t in zip(unary[place[j]], row, strict=True)]
        else:
            constant += table[before[i]][before[j]]
    most = constant + sum(map(max, unary)) + sum(max(map(max, table)) for table in pairs.values())
    return Ground(
        stations,
        Network(tuple(tuple(row) for row in unary), pairs),
        constant,
        tuple(before[i] for i in stations),
        tuple(after[i] for i in stations),
        tuple(k for k, i in enumerate(stations) if i in first),
        toll=_STATES * (most + 1),
    )


class Surroundings:
    """The states one change away from a state, with their costs.

    Attributes:
        once: each station parks at most once, so it changes at most twice: from its old choice
            to any other, from a parking choice only to its new one, from there no more.
    """

    def __init__(self, ground: Ground, *, once: bool) -> None:
        self._ground, self._once = ground, once
        self._partners = ground.network.neighbours()

    def after(self, state: State, cost: int) -> Iterator[tuple[State, int]]:
        """Walk through the states that may follow, in order of station and choice."""
        return self._around(state, cost, self._ground.before, self._ground.after)

    def before(self, state: State, cost: int) -> Iterator[tuple[State, int]]:
        """Walk through the states that may have come before."""
        return self._around(state, cost, self._ground.after, self._ground.before)

    def _around(
        self, state: State, cost: int, start: State, goal: State
    ) -> Iterator[tuple[State, int]]:
        for k, unary in enumerate(self._ground.network.unary):
            taken = state[k]
            if self._once and taken == goal[k]:
                continue
            prices = list(unary)
            for j, table in self._partners[k]:
                other = state[j]
                prices = [x + row[other] for x, row in zip(prices, table, strict=True)]
            base = cost - prices[taken]
            free = not self._once or taken == start[k]
            for a, price in enumerate(prices) if free else ((goal[k], prices[goal[k]]),):
                if a != taken:
                    yield (*state[:k], a, *state[k + 1 :]), base + price


def apart(one: State, other: State) -> int:
    """Count the stations in which two states differ."""
    return sum(a != b for a, b in zip(one, other, strict=True))


def direct(ground: Ground, ceiling: int) -> tuple[int, list[State]]:
    """Best order in which every station moves once, straight to its new choice.

    Exact by dynamic programming over the sets of stations that have moved. First the worst
    state is made as cheap as possible (anything up to `ceiling` is equally good), then the sum
    over the states between, then the station that comes earlier goes first. Returns the worst
    cost, at least `ceiling`, and the states from before to after.
    """
    costs = _subset_costs(ground)
    full = len(costs) - 1
    worst = [ceiling] * (full + 1)
    for moved in range(full - 1, -1, -1):
        nexts = [worst[moved | bit] for bit in _missing(moved, full)]
        worst[moved] = max(min(nexts), costs[moved] if moved else ceiling)
    sums: list[int | None] = [None] * full + [0]
    for moved in range(full - 1, -1, -1):
        if costs[moved] > worst[0] and moved:
            continue
        later = [x for bit in _missing(moved, full) if (x := sums[moved | bit]) is not None]
        if later:
            late = ground.late(_subset_state(ground, moved))
            sums[moved] = min(later) + (costs[moved] + late if moved else 0)
    states, moved = [ground.before], 0
    while moved != full:
        reached = [
            (x, bit) for bit in _missing(moved, full) if (x := sums[moved | bit]) is not None
        ]
        moved |= min(reached)[1]
        states.append(_subset_state(ground, moved))
    return worst[0], states


def _missing(moved: int, full: int) -> list[int]:
    return [1 << k for k in range(full.bit_length()) if not moved >> k & 1]


def _subset_state(ground: Ground, moved: int) -> State:
    ends = enumerate(zip(ground.before, ground.after, strict=True))
    return tuple(new if moved >> k & 1 else old for k, (old, new) in ends)


def _changes(ground: Ground) -> tuple[int, list[int], list[list[int]]]:
    """Return the cost of before, what moving each station adds, and what each pair adds to that.

    Pairs stand below the diagonal.
    """
    size = len(ground.stations)
    first = ground.cost(ground.before)
    alone = [ground.cost(_subset_state(ground, 1 << k)) - first for k in range(size)]
    joint = [[0] * size for _ in range(size)]
    for (i, j), table in ground.network.pairs.items():
        old, new = ground.before, ground.after
        straight = table[old[i]][old[j]] + table[new[i]][new[j]]
        joint[j][i] = straight - table[old[i]][new[j]] - table[new[i]][old[j]]
    return first, alone, joint


def _subset_costs(ground: Ground) -> list[int]:
    """Cost of every state in which some stations have moved and the others have not."""
    first, alone, joint = _changes(ground)
    costs = [first] * (1 << len(alone))
    for moved in range(1, len(costs)):
        top = moved.bit_length() - 1
        rest = moved ^ (1 << top)
        together = sum(x for i, x in enumerate(joint[top]) if rest >> i & 1)
        costs[moved] = costs[rest] + alone[top] + together
    return costs


@dataclass(frozen=True)
class Flood:
    """Result of `lowest`: the way, None where there is none; incomplete when out of budget."""

    worst: int
    way: list[State] | None
    complete: bool


def lowest(ground: Ground, ceiling: int, most: int, budget: int, *, once: bool) -> Flood:
    """Find the way whose worst state is cheapest; states dearer than `most` are not entered.

    A flood from the dearer end, always on from the state reached most cheaply (anything up to
    `ceiling` is equally cheap; where equal, the one nearest to the other end).
    """
    near = Surroundings(ground, once=once)
    start, goal, onward = ground.before, ground.after, near.after
    if ground.cost(start) < ground.cost(goal):
        start, goal, onward = goal, start, near.before
    came: dict[State, State | None] = {start: None}
    heap = [(ceiling, apart(start, goal), start, ground.cost(start))]
    while heap and budget:
        worst, _, state, cost = heapq.heappop(heap)
        budget -= 1
        if state == goal:
            way = _trace(came, goal)
            return Flood(worst, way if goal == ground.after else way[::-1], complete=True)
        for new, price in onward(state, cost):
            if new not in came and price <= most:
                came[new] = state
                heapq.heappush(heap, (max(worst, price), apart(new, goal), new, price))
    return Flood(most, None, complete=not heap)


def _trace(came: dict[State, State | None], goal: State) -> list[State]:
    way, at = [goal], came[goal]
    while at is not None:
        way.append(at)
        at = came[at]
    return way[::-1]


def shortest(ground: Ground, worst: int, budget: int, *, once: bool) -> list[State] | None:
    """Find the way with fewest steps, then least sum, that never costs more than `worst`.

    A* backwards from after, so that the way can be read off forwards with the earlier station
    first where equal. None when out of budget.
    """
    near = Surroundings(ground, once=once)
    reached: dict[State, tuple[int, int]] = {}
    heap = [(apart(ground.before, ground.after), 0, ground.after, 0, ground.cost(ground.after))]
    last: tuple[int, int] | None = None
    while heap and (last is None or heap[0][:2] <= last):
        length, total, state, steps, cost = heapq.heappop(heap)
        if state in reached:
            continue
        if len(reached) == budget:
            return None
        reached[state] = (steps, total)
        if state == ground.before:
            last = (length, total)
            continue
        for new, price in near.before(state, cost):
            if new not in reached and price <= worst:
                onward = total
                if new != ground.before:
                    onward += price + ground.late(new)
                rest = apart(new, ground.before)
                heapq.heappush(heap, (steps + 1 + rest, onward, new, steps + 1, price))
    return _read_off(ground, near, reached) if last else None


def _read_off(
    ground: Ground, near: Surroundings, reached: dict[State, tuple[int, int]]
) -> list[State]:
    way, cost = [ground.before], ground.cost(ground.before)
    while way[-1] != ground.after:
        steps, total = reached[way[-1]]
        own = 0 if len(way) == 1 else cost + ground.late(way[-1])
        way_on = (steps - 1, total - own)
        state, cost = next(
            (new, price) for new, price in near.after(way[-1], cost) if reached.get(new) == way_on
        )
        way.append(state)
    return way


def shortcut(way: Sequence[State]) -> list[State]:
    """Leave out detours: go straight to the last state that one change reaches."""
    short, at = [way[0]], 0
    while at < len(way) - 1:
        at = max(k for k in range(at + 1, len(way)) if apart(way[at], way[k]) <= 1)
        short.append(way[at])
    return short


def beam(ground: Ground, ceiling: int, width: int) -> tuple[int, list[State]]:
    """Good direct order for many stations: keep the `width` best sets moved at each step."""
    first, alone, joint = _changes(ground)
    both = [[joint[max(i, j)][min(i, j)] for i in range(len(joint))] for j in range(len(joint))]
    size = len(alone)
    layer = [_Kept(ceiling, 0, [ground.before], 0, first, alone)]
    for at in range(1, size + 1):
        reached: dict[int, tuple[int, int, list[State], _Kept, int]] = {}
        for kept in layer:
            for k in (k for k in range(size) if not kept.moved >> k & 1):
                price, moved = kept.cost + kept.dearer[k], kept.moved | 1 << k
                new = (*kept.way[-1][:k], ground.after[k], *kept.way[-1][k + 1 :])
                worst = max(kept.worst, price) if at < size else kept.worst
                total = kept.total + (price + ground.late(new) if at < size else 0)
                if moved not in reached or (worst, total) < reached[moved][:2]:
                    reached[moved] = (worst, total, [*kept.way, new], kept, k)
        best = sorted(reached.values(), key=lambda entry: entry[:3])[:width]
        layer = [
            _Kept(
                worst, total, way, kept.moved | 1 << k, kept.cost + kept.dearer[k],
                [x + y for x, y in zip(kept.dearer, both[k], strict=True)],
            )
            for worst, total, way, kept, k in best
        ]  # fmt: skip
    return layer[0].worst, layer[0].way


@dataclass(frozen=True, slots=True)
class _Kept:
    """A set of stations moved, the way there, and what moving each of the others costs more."""

    worst: int
    total: int
    way: list[State]
    moved: int
    cost: int
    dearer: list[int]
