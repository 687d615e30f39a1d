"""Plain enumeration, for parts so small that starting a solver costs more than the answer."""

from pipeline.plan.network import Network, Solve, Table, Verdict

SMALL = 1_000
"""Complete choices up to which enumeration is the quickest."""


def states(network: Network) -> int:
    """Count the complete choices of a network."""
    count = 1
    for row in network.unary:
        count *= len(row)
    return count


def solve(network: Network) -> Verdict:
    """Try every complete choice; of equally cheap ones the first in dictionary order wins."""
    earlier: list[list[tuple[int, Table]]] = [[] for _ in network.unary]
    for (i, j), table in network.pairs.items():
        earlier[j].append((i, tuple(zip(*table, strict=True))))
    best: list[tuple[int, tuple[int, ...]]] = []
    tried = _descend(network, earlier, [], 0, best)
    cost, choice = best[0]
    return Verdict(choice, cost, proven=True, solver="enumeration", spent=tried)


def solve_any(network: Network, top: int, effort: int, solver: Solve) -> Verdict:
    """Enumerate a small network; hand any other to the solver."""
    if states(network) <= SMALL:
        return solve(network)
    return solver(network, top, effort)


def _descend(
    network: Network,
    earlier: list[list[tuple[int, Table]]],
    taken: list[int],
    cost: int,
    best: list[tuple[int, tuple[int, ...]]],
) -> int:
    """Extend `taken` by each choice of the next station; return the states looked at."""
    if best and cost >= best[0][0]:
        return 1
    if len(taken) == len(network.unary):
        best[:] = [(cost, tuple(taken))]
        return 1
    looked = 1
    near = earlier[len(taken)]
    for b, own in enumerate(network.unary[len(taken)]):
        rise = own + sum(table[b][taken[i]] for i, table in near)
        looked += _descend(network, earlier, [*taken, b], cost + rise, best)
    return looked
