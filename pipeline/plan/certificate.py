"""A proof that nothing costs less, which `docs/check_plan.py` checks with none of our code.

The exact solver keeps no record of what it ruled out. So the proof is made anew: a tree of choices
whose ends are either few enough to be tried, or bounded by sums of squares in whole numbers.
"""

from typing import Any

import numpy as np

from pipeline.plan.network import Network
from pipeline.plan.relaxation import PENALTY, Crowd, Floor, Mask, Matrix, Relaxation
from pipeline.plan.solvers import elimination

_ROUNDS = (225, 60)  # for the whole, and for a branch
_SCALE = 2**12  # vectors are whole numbers of so many to one, for sums of squares in grid steps
_TRIED = 40_000  # entries a table may have for what is left to be tried


class _Spent(Exception):
    """More nodes are needed than are allowed."""


def certificate(network: Network, choice: tuple[int, ...], nodes: int) -> dict[str, Any] | None:
    """Return the proof that no choice is cheaper; None where it takes more nodes than that.

    What is returned can be written as JSON; `docs/check_plan.py` says what is in it.
    """
    making = _Making(network, network.cost(choice), nodes)
    try:
        tree = making.whole()
    except _Spent:
        return None
    two = [[i, j, table] for (i, j), table in network.pairs.items()]
    return {
        "one": network.unary,
        "two": two,
        "choice": choice,
        "cost": making.top,
        "tree": tree,
    }


class _Making:
    def __init__(self, network: Network, top: int, nodes: int) -> None:
        self.network, self.top, self.nodes = network, top, nodes
        self.relaxation = Relaxation(network, max(1, top))

    def whole(self) -> dict[str, Any]:
        return self._node(self.relaxation.labels, None)

    def _node(self, allowed: Mask, before: Floor | None) -> dict[str, Any]:
        self.nodes -= 1
        if self.nodes < 0:
            raise _Spent
        if (order := self._order(allowed)) is not None:
            return {"last": order}
        start = before.state if before else self.relaxation.start()
        floor = self.relaxation.floor(start, allowed, self.top, _ROUNDS[before is not None])
        squares = self._squares(floor)
        # The checker's bound is of rounded squares: what it only just rules out is kept here.
        goal = self.top * (1 + 1e-7)
        left: Mask = allowed & (floor.bound + floor.extra <= goal)
        if not left.any(axis=1).all():
            return {"squares": squares}
        return {"squares": squares, "rest": self._divided(left, floor)}

    def _divided(self, left: Mask, floor: Floor) -> dict[str, Any]:
        if (order := self._order(left)) is not None:
            return {"last": order}
        reach = np.minimum(floor.extra / max(1.0, self.top - floor.bound), 1.0)
        over = np.where(left, 1.0 - reach, 0.0).sum(axis=1)
        over[left.sum(axis=1) == 1] = np.inf
        station = int(over.argmin())
        under = []
        for a in np.flatnonzero(left[station]).tolist():
            child = left.copy()
            child[station] = False
            child[station, a] = True
            under.append([a, self._node(child, floor)])
        return {"at": station, "under": under}

    def _order(self, allowed: Mask) -> list[int] | None:
        """Return an order of elimination with small tables; None where there is none."""
        order = elimination(allowed.sum(axis=1).tolist(), self.network.pairs, _TRIED)
        return None if order is None else [taken.station for taken in order]

    def _squares(self, floor: Floor) -> dict[str, Any]:
        """Write the multipliers as sums of squares of whole numbers, and the crowds' prices."""
        state, unit = floor.state, self.relaxation.unit
        groups = zip(self.relaxation.groups, state.multiplier, state.crowds, strict=True)
        return {
            "scale": _SCALE,
            "groups": [
                {
                    "labels": [
                        (int(i), int(a)) for i, a in zip(group.stations, group.choices, strict=True)
                    ],
                    "vectors": _vectors(multiplier * (-PENALTY * unit)),
                    "crowds": [_crowd(crowd, unit) for crowd in crowds if crowd.price > 0],
                }
                for group, multiplier, crowds in groups
            ],
        }


def _vectors(matrix: Matrix) -> list[list[int]]:
    """Return vectors whose squares add up to about the matrix; all of them are whole numbers."""
    values, vectors = np.linalg.eigh(matrix)
    some = values > 0
    scaled = np.rint(vectors[:, some] * np.sqrt(values[some]) * _SCALE).astype(np.int64)
    return [row for row in scaled.T.tolist() if any(row)]


def _crowd(crowd: Crowd, unit: float) -> tuple[list[int], int, int]:
    return (crowd.rows - 1).tolist(), crowd.size, round(crowd.price * unit * _SCALE**2)
