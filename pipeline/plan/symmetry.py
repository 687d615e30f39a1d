"""Rules out answers that differ from another only in the names of interchangeable choices."""

from collections.abc import Sequence

from pipeline.plan.network import Network, Table


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
