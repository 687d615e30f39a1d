"""Choose places so that what clients pay is least: exact, and without any radio.

Two problems of one kind: the p-median problem, which opens so many places (Hakimi 1964), and
uncapacitated facility location, which pays for every place it opens (Balinski 1965; from memory).
Each client pays for the cheapest open place. Solved as a mixed-integer programme over cost levels
instead of pairs (Cornuéjols, Nemhauser and Wolsey 1980, from memory): whoever can be served for no
more than a level by no open place pays the step up to the next. Clients that rank places alike
share a row, so where a cost is 0 or 1, as of covered or not, each pattern has one row.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from math import comb, fsum, inf

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

_MEETS = 1e-6  # of the value: the solver's own tolerance
_TRIED = 300  # ways to choose places: beyond them the solver is faster
Costs = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Location:
    """The places to open, in order, which of them each client uses, and the proof.

    `cost` is what all clients and places cost, `bound` what no choice can go below; they meet where
    it is `optimal`.
    """

    places: tuple[int, ...]
    used: tuple[int, ...]
    cost: float
    bound: float
    optimal: bool


def locate(  # noqa: PLR0913 - what is paid, and three ways to bound the search
    costs: Costs,
    *,
    opening: Sequence[float] | None = None,
    count: int | None = None,
    weights: Sequence[float] | None = None,
    nodes: int | None = None,
    tried: int = _TRIED,
) -> Location:
    """Open the places that cost least.

    `costs[i][j]` is what client i pays if place j is the best that is open, 0 or more; `weights`
    multiplies it, client by client. `opening` is what each place costs by itself, 0 if left out;
    with `count` just so many are opened. Where there are no more than `tried` ways to choose these,
    each is priced; else `nodes` limits the search by a count, never by a clock.

    Raises:
        ValueError: costs that are not finite and 0 or more, or a count that cannot be.
    """
    table = np.asarray(costs, dtype=np.float64)
    if table.ndim != 2 or not table.size:  # noqa: PLR2004 - clients by places
        raise ValueError(f"costs must be clients by places, at least one each; got {table.shape}")
    weight = np.ones(table.shape[0]) if weights is None else np.asarray(weights, dtype=np.float64)
    price = np.zeros(table.shape[1]) if opening is None else np.asarray(opening, dtype=np.float64)
    _require(table, price, weight, count)
    if count is not None and comb(table.shape[1], count) <= tried:
        return _all_tried(table, weight, price, count)
    rows, steps, least = _levels(table, weight)
    size, places = len(steps), table.shape[1]
    # z_k + sum of the places that serve within the level >= 1
    covers = csr_array(np.hstack([rows, np.eye(size)]) if size else np.zeros((0, places)))
    limits = [LinearConstraint(covers, 1.0, inf)] if size else []
    opened = np.concatenate([np.ones(places), np.zeros(size)])
    low, high = (1, places) if count is None else (count, count)
    limits.append(LinearConstraint(csr_array(opened[None, :]), low, high))
    found = milp(
        np.concatenate([price, steps]),
        integrality=opened,
        bounds=Bounds(0.0, np.concatenate([np.ones(places), np.full(size, inf)])),
        constraints=limits,
        options={"mip_rel_gap": 0.0} | ({} if nodes is None else {"node_limit": nodes}),
    )
    chosen = _chosen(found.x, places, price, count)
    cost = _cost(table, weight, price, chosen)
    bound = least + (found.mip_dual_bound if found.mip_dual_bound is not None else -least)
    meets = cost - bound <= _MEETS * max(1.0, abs(cost))
    return Location(chosen, _used(table, chosen), cost, cost if meets else bound, meets)


def _all_tried(table: Costs, weight: Costs, price: Costs, count: int) -> Location:
    """Return the first of the best of all ways to open so many places."""
    ways = list(combinations(range(table.shape[1]), count))
    at = np.array(ways)
    served = table[:, at].min(axis=2)
    costs = weight @ served + price[at].sum(axis=1)
    chosen = ways[int(costs.argmin())]
    cost = _cost(table, weight, price, chosen)
    return Location(chosen, _used(table, chosen), cost, cost, optimal=True)


def _used(table: Costs, chosen: tuple[int, ...]) -> tuple[int, ...]:
    at = table[:, chosen].argmin(axis=1)
    return tuple(chosen[place] for place in at.tolist())


def _require(table: Costs, price: Costs, weight: Costs, count: int | None) -> None:
    for name, values in (("costs", table), ("opening", price), ("weights", weight)):
        if not np.isfinite(values).all() or (values < 0).any():
            raise ValueError(f"{name} must be finite and 0 or more")
    if price.shape != (table.shape[1],) or weight.shape != (table.shape[0],):
        raise ValueError("opening must be one a place, weights one a client")
    if count is not None and not 1 <= count <= table.shape[1]:
        raise ValueError(f"count must be 1 to {table.shape[1]}; got {count}")


def _levels(table: Costs, weight: Costs) -> tuple[Costs, Costs, float]:
    """Return, step by step, the places that spare it and what it costs; and what all pay anyway."""
    steps: dict[bytes, float] = {}
    rows: dict[bytes, npt.NDArray[np.bool_]] = {}
    for line, worth in zip(table, weight, strict=True):
        levels = np.unique(line)
        for low, high in pairwise(levels.tolist()):
            within = line <= low
            key = within.tobytes()
            rows.setdefault(key, within)
            steps[key] = steps.get(key, 0.0) + worth * (high - low)
    least = fsum((table.min(axis=1) * weight).tolist())
    places = table.shape[1]
    stacked = np.array(list(rows.values()), dtype=np.float64).reshape(len(rows), places)
    return stacked, np.array(list(steps.values())), least


def _chosen(found: Costs | None, places: int, price: Costs, count: int | None) -> tuple[int, ...]:
    """Return the places opened; of a search cut short before any choice, the cheapest ones."""
    if found is None:
        return tuple(sorted(np.argsort(price, kind="stable")[: count or 1].tolist()))
    return tuple(np.flatnonzero(found[:places] > 0.5).tolist())  # noqa: PLR2004 - of a whole number


def _cost(table: Costs, weight: Costs, price: Costs, chosen: tuple[int, ...]) -> float:
    served = table[:, chosen].min(axis=1) * weight
    return fsum([*served.tolist(), *price[list(chosen)].tolist()])
