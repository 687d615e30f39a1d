"""The assignment on graphs whose chromatic number is published.

Each graph becomes a store: a station per node, a conflict of 1 per edge on the same channel.
With as many channels as the chromatic number no conflict is left, with one fewer at least one
is, and both are proven.
"""

import math
from collections.abc import Callable, Iterable

import networkx as nx
import pytest

from pipeline.plan.assign import EFFORT, Assignment, assign

Edges = Iterable[tuple[int, int]]


def conflicts(nodes: int, edges: Edges, channels: int, effort: int = EFFORT) -> Assignment:
    """Assign channels to nodes with as few edges as possible on one channel."""
    clash = [[int(a == b) for b in range(channels)] for a in range(channels)]
    two = {(min(e), max(e)): clash for e in edges}
    return assign([[0] * channels for _ in range(nodes)], two, effort=effort)


def numbered(graph: nx.Graph) -> tuple[int, list[tuple[int, int]]]:
    """Number the nodes of a graph in their own order."""
    place = {node: i for i, node in enumerate(graph.nodes)}
    return len(place), [(place[a], place[b]) for a, b in graph.edges]


def queen(size: int) -> tuple[int, list[tuple[int, int]]]:
    """Squares of a board, joined when a queen goes from one to the other."""
    squares = [(row, column) for row in range(size) for column in range(size)]
    return len(squares), [
        (i, j)
        for i, (r, c) in enumerate(squares)
        for j, (s, d) in enumerate(squares[:i])
        if r == s or c == d or abs(r - s) == abs(c - d)
    ]


def crown(size: int) -> tuple[int, list[tuple[int, int]]]:
    """Complete bipartite graph without a perfect matching, sides taken in turn."""
    return 2 * size, [(2 * a, 2 * b + 1) for a in range(size) for b in range(size) if a != b]


def kneser(n: int, k: int) -> tuple[int, list[tuple[int, int]]]:
    """Subsets of size k of n things, joined when disjoint."""
    return numbered(nx.kneser_graph(n, k))


GRAPHS: list[tuple[str, Callable[[], tuple[int, list[tuple[int, int]]]], int]] = [
    # Petersen 1898: 3. Frucht 1939, Chvatal 1970, Heawood, Groetzsch: handbook values as in
    # Wolfram MathWorld and the DIMACS colouring benchmarks (Johnson and Trick 1996).
    ("petersen", lambda: numbered(nx.petersen_graph()), 3),
    ("frucht", lambda: numbered(nx.frucht_graph()), 3),
    ("chvatal", lambda: numbered(nx.chvatal_graph()), 4),
    ("icosahedral", lambda: numbered(nx.icosahedral_graph()), 4),
    ("dodecahedral", lambda: numbered(nx.dodecahedral_graph()), 3),
    ("octahedral", lambda: numbered(nx.octahedral_graph()), 3),
    ("heawood", lambda: numbered(nx.heawood_graph()), 2),
    # Mycielski, Colloquium Mathematicum 3 (1955): the k-th graph needs k, without a triangle.
    ("mycielski 3", lambda: numbered(nx.mycielski_graph(3)), 3),
    ("mycielski 4", lambda: numbered(nx.mycielski_graph(4)), 4),
    ("mycielski 5", lambda: numbered(nx.mycielski_graph(5)), 5),
    # Lovasz, Journal of Combinatorial Theory A 25 (1978): n - 2k + 2.
    ("kneser 5 2", lambda: kneser(5, 2), 3),
    ("kneser 6 2", lambda: kneser(6, 2), 4),
    ("kneser 7 3", lambda: kneser(7, 3), 3),
    # Johnson, Journal of Computer and System Sciences 9 (1974): 2, where greedy may need n.
    ("crown 8", lambda: crown(8), 2),
    # DIMACS queen graphs (Johnson and Trick 1996).
    ("queen 5", lambda: queen(5), 5),
    ("queen 6", lambda: queen(6), 7),
    ("queen 7", lambda: queen(7), 7),
    ("mycielski 6", lambda: numbered(nx.mycielski_graph(6)), 6),
]


@pytest.mark.parametrize(("name", "graph", "chromatic"), GRAPHS)
def test_published_chromatic_number(
    name: str, graph: Callable[[], tuple[int, list[tuple[int, int]]]], chromatic: int
) -> None:
    """As many channels as published leave no conflict; one fewer leaves one, proven."""
    nodes, edges = graph()

    enough = conflicts(nodes, edges, chromatic)
    effort = EFFORT if name == "mycielski 6" else 6_000
    fewer = conflicts(nodes, edges, chromatic - 1, effort)

    assert (enough.cost, enough.optimal) == (0, True), name
    assert fewer.bound >= 1, name


@pytest.mark.slow
def test_eight_queens_need_nine_channels() -> None:
    """The DIMACS graph queen8_8 has chromatic number 9 (Johnson and Trick 1996)."""
    nodes, edges = queen(8)

    assert conflicts(nodes, edges, 9).cost == 0
    assert conflicts(nodes, edges, 8, effort=1_000_000).bound >= 1


@pytest.mark.parametrize(
    ("stations", "channels", "least"),
    [
        (16, 16, 0),
        (17, 16, 1),
        (20, 16, 4),
        (32, 16, 16),
        (5, 4, 1),
        (8, 4, 4),
        (16, 4, 24),
        (18, 4, 32),
        (10, 3, 12),
        (24, 5, 46),
    ],
)
def test_complete_graph_needs_the_conflicts_of_the_turan_split(
    stations: int, channels: int, least: int
) -> None:
    """With everyone in earshot the least conflicts are those of equal shares (Turan 1941)."""
    share, over = divmod(stations, channels)
    split = over * math.comb(share + 1, 2) + (channels - over) * math.comb(share, 2)
    edges = [(i, j) for j in range(stations) for i in range(j)]

    found = conflicts(stations, edges, channels, effort=20_000)

    assert split == least
    assert (found.cost, found.bound, found.optimal) == (least, least, True)


def closer_than(separation: int, stations: int) -> Assignment:
    """Assign the channels 11 to 26 to stations in mutual earshot; count those too close."""
    close = [[int(abs(a - b) < separation) for b in range(16)] for a in range(16)]
    pairs = {(i, j): close for j in range(stations) for i in range(j)}
    return assign([[0] * 16 for _ in range(stations)], pairs)


@pytest.mark.parametrize(("separation", "most"), [(2, 8), (3, 6)])
def test_mutual_neighbours_that_fit_at_a_separation(separation: int, most: int) -> None:
    """Channels 11 to 26 hold 8 mutual neighbours two channels apart, and 6 three apart.

    Griggs and Yeh (SIAM Journal on Discrete Mathematics 5, 1992): K_n labelled at distance 2
    has span 2(n - 1); the channels have span 15. Three apart likewise needs 3(n - 1).
    """
    assert closer_than(separation, most).cost == 0
    assert closer_than(separation, most + 1).bound >= 1
