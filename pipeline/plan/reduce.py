"""Makes a cost network smaller without losing its best choice, and splits it into parts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import sub

from pipeline.plan.network import MANY, THIN, Network, Table

_FEW = 16  # stations up to which looking for choices never worse may leave nothing for the solver


@dataclass(frozen=True)
class Part:
    """Stations that no pair that matters ties to the rest, with the choices worth trying.

    `choices[k]` lists, in the caller's numbering, what station `stations[k]` may still take;
    `network` has one row per station and one entry per choice left.
    """

    stations: tuple[int, ...]
    choices: tuple[tuple[int, ...], ...]
    network: Network


@dataclass(frozen=True)
class Reduced:
    """The parts of a network; its best cost is `constant` plus the best cost of each part."""

    parts: tuple[Part, ...]
    constant: int


@dataclass
class _Work:
    """The network while it shrinks: labels are kept in the caller's numbering."""

    choices: list[list[int]]
    unary: list[dict[int, int]]
    pairs: dict[tuple[int, int], Table]
    constant: int = 0


def reduced(network: Network, fixed: Mapping[int, int]) -> Reduced:
    """Fix stations, fold pairs that add nothing jointly, drop dominated choices, split.

    At least one best choice of the network survives. Where two choices are equally good in
    every context the earlier one is kept.
    """
    work = _Work(
        [
            [fixed[i]] if i in fixed else list(range(len(row)))
            for i, row in enumerate(network.unary)
        ],
        [dict(enumerate(row)) for row in network.unary],
        dict(network.pairs),
    )
    _fold(work)
    fresh = set() if _quick(work) else set(range(len(work.unary)))
    while fresh := _drop_dominated(work, fresh):
        _fold(work)
    return Reduced(tuple(_part(work, group) for group in _groups(work)), work.constant)


def _quick(work: _Work) -> bool:
    """Say whether the exact solver takes less than looking for choices never worse would."""
    size = len(work.unary)
    thin = size > _FEW and len(work.pairs) <= THIN * size
    return thin or sum(map(len, work.unary)) > MANY * size


def _fold(work: _Work) -> None:
    """Move every pair cost that is a sum of one-station costs into those, then level them."""
    for (i, j), table in list(work.pairs.items()):
        a0, b0 = work.choices[i][0], work.choices[j][0]
        if not _separable(table, work.choices[i], work.choices[j]):
            continue
        for a in work.choices[i]:
            work.unary[i][a] += table[a][b0]
        for b in work.choices[j]:
            work.unary[j][b] += table[a0][b] - table[a0][b0]
        del work.pairs[i, j]
    for i, row in enumerate(work.unary):
        least = min(row[a] for a in work.choices[i])
        work.constant += least
        work.unary[i] = {a: row[a] - least for a in work.choices[i]}


def _separable(table: Table, rows: Sequence[int], columns: Sequence[int]) -> bool:
    first, b0 = table[rows[0]], columns[0]
    for a in rows[1:]:
        row = table[a]
        rise = row[b0] - first[b0]
        for b in columns:
            if row[b] - first[b] != rise:
                return False
    return True


def _drop_dominated(work: _Work, fresh: set[int]) -> set[int]:
    """Remove choices that another choice of the same station is never worse than.

    Only stations whose partners have lost choices can have come by more such choices: `fresh`.
    Returns those that this made fresh.
    """
    around = {pair: table for pair, table in work.pairs.items() if not fresh.isdisjoint(pair)}
    partners = Network(((),) * len(work.unary), around).neighbours()
    after: set[int] = set()
    for i in sorted(fresh):
        mine, near = work.choices[i], partners[i]
        first, last = (_beside(work, near, i, at) for at in (0, -1))
        for a in list(mine):
            # Beside one choice of all partners: most pairs are refused here.
            cheaper = [b for b in mine if b != a and first[b] <= first[a] and last[b] <= last[a]]
            if any(_dominates(work, near, i, b, a) for b in cheaper):
                mine.remove(a)
                after.update(j for j, _ in near)
    return after


def _beside(work: _Work, partners: list[tuple[int, Table]], i: int, at: int) -> dict[int, int]:
    """Return what each choice of a station costs beside each partner's first, or last, choice."""
    costs = {a: work.unary[i][a] for a in work.choices[i]}
    for j, table in partners:
        y = work.choices[j][at]
        for a in costs:
            costs[a] += table[a][y]
    return costs


def _dominates(work: _Work, partners: list[tuple[int, Table]], i: int, b: int, a: int) -> bool:
    """Say whether station i does at least as well on b as on a, whatever the others take."""
    gain = work.unary[i][a] - work.unary[i][b]
    for j, table in partners:
        on_a, on_b, left = table[a], table[b], work.choices[j]
        if len(left) == len(on_a):
            gain += min(map(sub, on_a, on_b))
        else:
            gain += min(on_a[y] - on_b[y] for y in left)
    return gain > 0 or (gain == 0 and b < a)


def _groups(work: _Work) -> list[list[int]]:
    """Connected components over the pairs that are left, in order of their first station."""
    partners: list[list[int]] = [[] for _ in work.unary]
    for i, j in work.pairs:
        partners[i].append(j)
        partners[j].append(i)
    groups, seen = [], set[int]()
    for start in range(len(work.unary)):
        if start in seen:
            continue
        seen.add(start)
        group = [start]
        for i in group:  # grows while it is walked
            fresh = [j for j in partners[i] if j not in seen]
            seen.update(fresh)
            group.extend(fresh)
        groups.append(sorted(group))
    return groups


def _part(work: _Work, group: Sequence[int]) -> Part:
    place = {station: k for k, station in enumerate(group)}
    choices = tuple(tuple(work.choices[i]) for i in group)
    unary = tuple(tuple(work.unary[i][a] for a in work.choices[i]) for i in group)
    pairs = {
        (place[i], place[j]): _left(table, work.choices[i], work.choices[j])
        for (i, j), table in work.pairs.items()
        if i in place
    }
    return Part(tuple(group), choices, Network(unary, pairs))


def _left(table: Table, rows: Sequence[int], columns: Sequence[int]) -> Table:
    if len(rows) == len(table) and len(columns) == len(table[0]):
        return table
    return tuple(tuple(table[a][b] for b in columns) for a in rows)


def joined(parts: Sequence[Part], choices: Sequence[Sequence[int]]) -> tuple[int, ...]:
    """Put the parts' choices together in the caller's numbering."""
    whole: dict[int, int] = {}
    for part, choice in zip(parts, choices, strict=True):
        for station, options, a in zip(part.stations, part.choices, choice, strict=True):
            whole[station] = options[a]
    return tuple(whole[i] for i in sorted(whole))


def without_copies(network: Network, top: int) -> Network:
    """Price out, at `top`, all but one way of naming interchangeable choices.

    Choices are interchangeable when no cost changes if all stations swap them. Of a set of such
    choices one station may then take the first only, another the first two, and so on: any
    answer can be renamed to keep to that. Stations at odds with each other gain most by it.
    """
    sets = [group for group in _interchangeable(network) if len(group) > 1]
    if not sets:
        return network
    unary = [list(row) for row in network.unary]
    for place, i in enumerate(_most_at_odds(network, max(len(group) for group in sets) - 1)):
        for group in sets:
            for a in group[place + 1 :]:
                unary[i][a] = top
    return Network(tuple(tuple(row) for row in unary), network.pairs)


def _most_at_odds(network: Network, size: int) -> list[int]:
    """Stations that cost each other most, `size` of them or all: grown from the best start."""
    stations = range(len(network.unary))
    price = [[0] * len(network.unary) for _ in stations]
    for (i, j), table in network.pairs.items():
        price[i][j] = price[j][i] = max(max(row) for row in table)
    best: tuple[int, list[int]] = (-1, [])
    for start in stations:
        group, total, with_group = [start], 0, list(price[start])
        while len(group) < min(size, len(stations)):
            i = max(
                (k for k in stations if k not in group),
                key=lambda k: (with_group[k], sum(price[k]), -k),
            )
            total += with_group[i]
            group.append(i)
            with_group = [x + y for x, y in zip(with_group, price[i], strict=True)]
        if total > best[0]:
            best = (total, group)
    return best[1]


def _interchangeable(network: Network) -> list[list[int]]:
    """Partition the choices; a single set each where stations have different numbers of them."""
    size = len(network.unary[0])
    if any(len(row) != size for row in network.unary):
        return []
    groups: list[list[int]] = []
    for a in range(size):
        home = next((group for group in groups if _alike(network, group[0], a)), None)
        if home is None:
            groups.append([a])
        else:
            home.append(a)
    return groups


def _alike(network: Network, a: int, b: int) -> bool:
    return all(row[a] == row[b] for row in network.unary) and all(
        _swaps(table, a, b) for table in network.pairs.values()
    )


def _swaps(table: Table, a: int, b: int) -> bool:
    """Say whether a table stays the same when both stations swap a and b."""
    swapped = list(range(len(table)))
    swapped[a], swapped[b] = b, a
    return all(_row(table[swapped[x]], swapped) == row for x, row in enumerate(table))


def _row(row: Sequence[int], order: Sequence[int]) -> tuple[int, ...]:
    return tuple(row[x] for x in order)
