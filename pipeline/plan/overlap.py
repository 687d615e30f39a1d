"""A lower bound for more stations than one relaxation holds: from parts that overlap.

Each part is relaxed by itself with the pair costs within it. What its proof leaves over of every
choice's own cost goes on to the next part, so nothing is counted twice; a pair's cost counts in the
first part that holds both. Any order of any parts gives a bound; none makes it fall.
"""

import math

import numpy as np

from pipeline.plan.network import Network, Verdict
from pipeline.plan.relaxation import Matrix, Relaxation

# Stations a part, and rounds for each. Of 300 stations parts of 100 proved 72 %, of 150 79 %, all
# at once 98 %: the largest parts that the effort allows are the best.
_SIZES = (200, 150, 100, 60, 30)
_ROUNDS, _FEWEST_ROUNDS = 150, 60
_PARTS = 3  # times the stations: by then hardly a pair is left that matters
_LITTLE = 0.002  # share of the pairs' costs from which the rest is not worth a part
# Squared sizes of matrices that take as long as a backtrack, as in `branch`.
_WORK_PER_BACKTRACK = 1_500


def by_parts(network: Network, top: int, effort: int) -> Verdict:
    """Return a bound of the whole from overlapping parts; no choice."""
    own = [list(row) for row in network.unary]
    left, size = _spread(network), _size(network, effort)
    enough, bound, spent = _LITTLE * left.sum(), 0, 0
    while left.sum() > enough:
        part = _grown(left, size)
        relaxation = Relaxation(_within(network, own, part, left), top)
        price = 1 + relaxation.work // _WORK_PER_BACKTRACK
        rounds = min(_ROUNDS, (effort - spent) // price)
        if rounds < _FEWEST_ROUNDS:
            break
        floor = relaxation.floor(relaxation.start(), relaxation.labels, top, rounds)
        spent += price * floor.rounds
        left[np.ix_(part, part)] = 0.0
        if floor.bound <= 0:
            continue
        bound += math.floor(floor.bound)
        for i, more in zip(part, floor.extra, strict=True):
            own[i] = [math.floor(x) for x in more[: len(own[i])]]
    return Verdict(None, min(top, bound), proven=False, solver="relaxation", spent=spent)


def _spread(network: Network) -> Matrix:
    """How much hangs on each pair of stations: its dearest cost less its cheapest."""
    spread = np.zeros((len(network.unary), len(network.unary)))
    for (i, j), table in network.pairs.items():
        spread[i, j] = spread[j, i] = max(map(max, table)) - min(map(min, table))
    return spread


def _size(network: Network, effort: int) -> int:
    """Return the stations a part, so that enough parts fit into the effort."""
    stations = len(network.unary)
    choices = sum(map(len, network.unary)) / stations
    for size in _SIZES:
        work = choices * size**2 * _PARTS * stations / size
        if work * _ROUNDS / _WORK_PER_BACKTRACK <= effort:
            return size
    return _SIZES[-1]


def _grown(left: Matrix, size: int) -> list[int]:
    """Grow a part from the station with most at stake: always the one most tied to the part."""
    part = [int(left.sum(axis=1).argmax())]
    tied = left[part[0]].copy()
    while len(part) < size:
        tied[part] = -1.0
        nearest = int(tied.argmax())
        if tied[nearest] <= 0:
            break
        part.append(nearest)
        tied += left[nearest]
    return sorted(part)


def _within(network: Network, own: list[list[int]], part: list[int], left: Matrix) -> Network:
    """Return a part with the own costs left over, and the pairs not counted yet."""
    pairs = {
        (k, m): network.pairs[i, j]
        for k, i in enumerate(part)
        for m, j in enumerate(part[k + 1 :], start=k + 1)
        if left[i, j] > 0
    }
    return Network(tuple(tuple(own[i]) for i in part), pairs)
