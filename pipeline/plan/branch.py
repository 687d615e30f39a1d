"""Proves what the exact solver alone cannot: branch and bound over the relaxation."""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass, field

import numpy as np

from pipeline.plan.network import Network, Solve, Table, Verdict
from pipeline.plan.reduce import joined, reduced
from pipeline.plan.relaxation import Floor, Label, Mask, Matrix, Relaxation, State
from pipeline.plan.solvers import root_price, solve_by_elimination
from pipeline.progress import reached

_ROOT_ROUNDS = 225
_FEWEST_ROUNDS = 60
_NODE_ROUNDS = 60
# Branches a station that the effort must allow for branching to begin; with fewer, more rounds on
# the whole raise the bound further: as long as so many close a share of what is left open.
_BRANCHES = 2
_MORE_ROUNDS, _WORTH = 75, 0.03
# Backtracks of the exact solver on what the root leaves, at first.
_SLICE = 3_000
# Where fewer of all pairs matter, and the root rules out less of the labels, branches are worth
# less than the exact solver: every one costs 60 rounds for nothing.
_THIN, _USEFUL = 0.5, 0.1
# Branches get so many times the solver's slice: what they gain is kept, a slice is made anew.
_KEPT = 2
# A branch of at most two to this power choices in all is tried by the exact solver before it is
# divided, for half of what the division would take.
_LEAF = 30
# Squared matrix sizes that take about as long as one backtrack of the exact solver, measured on
# 40, 160 and 300 stations.
_WORK_PER_BACKTRACK = 1_500
# Stations a part, and rounds for each. Of 300 stations parts of 100 proved 72 %, of 150 79 %, all
# at once 98 %: the largest parts that the effort allows are the best.
_SIZES = (200, 150, 100, 60, 30)
_PART_ROUNDS = 150
_PARTS = 3  # times the stations: by then hardly a pair is left that matters
_LITTLE = 0.002  # share of the pairs' costs from which the rest is not worth a part


@dataclass(order=True)
class _Node:
    """Labels still allowed, and what is proven for them."""

    bound: float
    serial: int
    allowed: Mask = field(compare=False)
    floor: Floor = field(compare=False)


class Proof:
    """One run: the best choice below `top` so far, the open branches and the effort left."""

    def __init__(self, network: Network, top: int, effort: int, solve: Solve) -> None:
        self.network, self.solve = network, solve
        self.effort = self.left = effort
        self.best: tuple[int, ...] | None = None
        self.top = top
        # All costs are multiples of this, so an answer is cheaper by at least as much.
        self.grain = network.grain()
        self.relaxation = Relaxation(network, self.top)
        self.open: list[_Node] = []
        self.serial = 0

    def run(self, known: int = 0) -> Verdict:
        """Bound the whole, then let two ways share the effort until one has proven the rest.

        One is the exact solver on what the root leaves, each time with twice the effort, and with
        half of it all at first on a thin store; the other works through the branches, weakest bound
        first, in larger slices. It has the next slice too where what it gained in its last promises
        an end sooner. Where the effort is too little for branches the bound of the whole is raised
        as far as it goes. The verdict's bound is 0 where the matrices are too large for the effort.
        Where the whole's bound is below one already known, branches are of no use: it ends there.
        """
        rounds = min(_ROOT_ROUNDS, self.effort // 2 // self._price(1))
        if rounds < _FEWEST_ROUNDS:
            return Verdict(None, 0, proven=False, solver="", spent=0)
        self._root(rounds)
        if self.root.bound < known:
            return Verdict(None, 0, proven=False, solver="", spent=self.effort - self.left)
        vast = self.left < _BRANCHES * len(self.network.unary) * self._price(_NODE_ROUNDS)
        share, sooner = self._first_share(), False
        if vast:
            self._raise_root()
        while self._unproven() and not vast:
            if not sooner and self._exact(self._hopeful(self.root), min(share, self.left)):
                self.open.clear()
                break
            sooner = self._branched(_KEPT * share)
            share = share if sooner else 2 * share
        weakest = self.open[0].bound if self.open else math.inf
        bound = self.top if weakest > self.goal else math.ceil(weakest / self.grain) * self.grain
        return Verdict(self.best, bound, bound == self.top, "relaxation", self.effort - self.left)

    def _first_share(self) -> int:
        """Return the solver's first slice: half of all effort on a thin store."""
        size = len(self.network.unary)
        thin = 2 * len(self.network.pairs) < _THIN * size * (size - 1)
        left = self._hopeful(self.root).sum() / self.root.allowed.sum()
        return max(_SLICE, self.left // 2) if thin and left > 1 - _USEFUL else _SLICE

    def _unproven(self) -> bool:
        return bool(self.open) and self.open[0].bound <= self.goal and self.left > 0

    @property
    def goal(self) -> int:
        """Cost to reach: anything dearer is no better than the best so far."""
        return self.top - self.grain

    def _price(self, rounds: int) -> int:
        return rounds * (1 + self.relaxation.work // _WORK_PER_BACKTRACK)

    def _spend(self, effort: int) -> None:
        self.left -= effort
        reached(min(1.0, 1 - self.left / self.effort))

    def _floor(self, state: State, allowed: Mask, rounds: int) -> Floor:
        floor = self.relaxation.floor(state, allowed, self.goal, rounds)
        self._spend(self._price(floor.rounds))
        return floor

    def _root(self, rounds: int) -> None:
        """Bound the whole network and leave out all that is hopeless."""
        allowed = self.relaxation.labels.copy()
        for i, row in enumerate(self.network.unary):
            allowed[i, : len(row)] = [x < self.top for x in row]
        floor = self._floor(self.relaxation.start(), allowed, rounds)
        pairs = self.relaxation.hopeless_pairs(floor, allowed, self.goal)
        self.network = _without(self.network, pairs, self.top)
        self.root = _Node(floor.bound, 0, allowed, floor)
        self._push(floor.bound, allowed, floor)

    def _raise_root(self) -> None:
        """Bound the whole network by more rounds, then let the exact solver try what is left."""
        node, gained = self.root, math.inf
        price = self._price(_MORE_ROUNDS)
        while self._unproven() and self.left >= price and gained > _WORTH:
            before, allowed = node.bound, self._hopeful(node)
            floor = self._floor(node.floor.state, allowed, _MORE_ROUNDS)
            if floor.bound > before:
                node = _Node(floor.bound, 0, allowed, floor)
                self.open = []
                self._push(floor.bound, allowed, floor)
            gained = (node.bound - before) / (self.top - before)
        self.root = node
        allowed = self._hopeful(node)
        few = allowed.sum() <= (1 - _USEFUL) * self.relaxation.labels.sum()
        if self._unproven() and few and self._exact(allowed, self.left - root_price(self.network)):
            self.open.clear()

    def _hopeful(self, node: _Node) -> Mask:
        """Return the labels of a branch that may still better the best."""
        hopeful: Mask = node.allowed & (node.floor.bound + node.floor.extra <= self.goal)
        return hopeful

    def _branched(self, share: int) -> bool:
        """Work through branches; tell whether twice as much again promises to prove the rest."""
        before, until = self.open[0].bound, self.left - share
        while self._unproven() and self.left > until:
            self._branch(heapq.heappop(self.open))
        if not self._unproven():
            return True
        weakest = self.open[0].bound
        return 2 * (weakest - before) >= self.top - weakest

    def _push(self, bound: float, allowed: Mask, floor: Floor) -> None:
        if bound <= self.goal:
            self.serial += 1
            heapq.heappush(self.open, _Node(bound, self.serial, allowed, floor))

    def _branch(self, node: _Node) -> None:
        """Solve a branch exactly if few stations are left, else divide it."""
        allowed = self._hopeful(node)
        choices = allowed.sum(axis=1)
        if np.any(choices < 1):
            return
        station = self._divided_at(node, allowed)
        few = float(np.log2(choices).sum()) <= _LEAF
        if few and self._exact(allowed, self._price(_NODE_ROUNDS) * int(choices[station]) // 2):
            return
        for a in np.flatnonzero(allowed[station]).tolist():
            child = allowed.copy()
            child[station] = False
            child[station, a] = True
            floor = self._floor(node.floor.state, child, _NODE_ROUNDS)
            self._push(max(node.bound, floor.bound), child, floor)

    def _divided_at(self, node: _Node, allowed: Mask) -> int:
        """Station with least left over: over its choices, how far each is from ruled out."""
        reach = np.minimum(node.floor.extra / (self.top - node.floor.bound), 1.0)
        leftover: Matrix = np.where(allowed, 1.0 - reach, 0.0).sum(axis=1)
        leftover[allowed.sum(axis=1) == 1] = np.inf
        return int(leftover.argmin())

    def _exact(self, allowed: Mask, effort: int) -> bool:
        """Let the exact solver look for something better; True if it looked everywhere."""
        shrunk = reduced(_only(self.network, allowed.tolist(), self.top), {})
        limit = self.top - shrunk.constant
        if limit <= 0:
            return True
        if effort < 1:
            return False
        found = [
            solve_by_elimination(part.network) or self.solve(part.network, limit, effort)
            for part in shrunk.parts
        ]
        prices = (root_price(part.network) for part in shrunk.parts)
        self._spend(1 + sum(prices) + sum(verdict.spent for verdict in found))
        choices = [verdict.choice for verdict in found if verdict.choice is not None]
        if len(choices) == len(found):
            choice = joined(shrunk.parts, choices)
            if (cost := self.network.cost(choice)) < self.top:
                self.best, self.top = choice, cost
        return all(verdict.proven for verdict in found)


def _only(network: Network, allowed: list[list[bool]], top: int) -> Network:
    """Price out what is not allowed."""
    unary = tuple(
        tuple(x if may else top for x, may in zip(row, mays, strict=False))
        for row, mays in zip(network.unary, allowed, strict=True)
    )
    return Network(unary, network.pairs)


def _without(network: Network, hopeless: set[tuple[Label, Label]], top: int) -> Network:
    """Price out pairs of labels."""
    pairs: dict[tuple[int, int], Table] = {}
    for (i, j), table in network.pairs.items():
        pairs[i, j] = tuple(
            tuple(top if ((i, a), (j, b)) in hopeless else x for b, x in enumerate(row))
            for a, row in enumerate(table)
        )
    return Network(network.unary, pairs)


def by_parts(network: Network, top: int, effort: int) -> Verdict:
    """Return a lower bound for more stations than one relaxation holds, from overlapping parts.

    Each part is relaxed by itself with the pair costs within it. What its proof leaves over of
    every choice's own cost goes on to the next part, so nothing is counted twice; a pair's cost
    counts in the first part that holds both. Any order of any parts gives a bound; none makes it
    fall. No choice is found.
    """
    own = [list(row) for row in network.unary]
    left, size = _spread(network), _size(network, effort)
    enough, bound, spent = _LITTLE * left.sum(), 0, 0
    while left.sum() > enough:
        part = _grown(left, size)
        relaxation = Relaxation(_within(network, own, part, left), top)
        price = 1 + relaxation.work // _WORK_PER_BACKTRACK
        rounds = min(_PART_ROUNDS, (effort - spent) // price)
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
        if work * _PART_ROUNDS / _WORK_PER_BACKTRACK <= effort:
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
