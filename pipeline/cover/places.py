"""Which further places bring weak labels up to a level: an exact choice, and how sure that is.

The choice, without any radio, is two problems of one kind: the p-median problem, which opens so
many places (Hakimi 1964), and uncapacitated facility location, which pays for every place it opens
(Balinski 1965; from memory). Each client pays for the cheapest open place. Solved as a
mixed-integer programme over cost levels instead of pairs (Cornuéjols, Nemhauser and Wolsey 1980,
from memory): whoever can be served for no more than a level by no open place pays the step up to
the next. Clients that rank places alike share a row, so where a cost is 0 or 1, as of covered or
not, each pattern has one row.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from math import comb, erf, fsum, inf, sqrt

import numpy as np
import numpy.typing as npt

from pipeline.cover.floors import (
    Figures,
    Levels,
    Mask,
    Spot,
    WeakLabels,
    World,
    missed,
    whereabouts,
)

_MEETS = 1e-6  # of the value: the solver's own tolerance
_WAYS = 300  # ways to choose places: beyond them the solver is faster
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
    tried: int = _WAYS,
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
    return _solved(table, weight, price, count, nodes)


def _solved(
    table: Costs, weight: Costs, price: Costs, count: int | None, nodes: int | None
) -> Location:
    """Return what the mixed-integer programme opens, with its bound."""
    # Few stores come so far, and these take a twelfth of the program's start.
    from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415
    from scipy.sparse import csr_array  # noqa: PLC0415

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


MOST_PLACES = 3
_LEAST = 1e-300
_TRIED = 12  # places, those that help most alone
_SCENES = 24  # of each kind of labels, equally likely


@dataclass(frozen=True, slots=True)
class Rescued:
    """How many labels come up to the level: expected, and the ends of the interval."""

    labels: float
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Reach:
    """How strongly weak labels would be heard from every spot, in every world.

    `counts` says how many labels are of each kind, `stations` whose they are. `parts` has for each
    world where labels hang and the chance that they hear a spot too weakly.
    """

    spots: tuple[Spot, ...]
    counts: Figures
    stations: Mask  # by station and kind
    parts: tuple[tuple[World, Figures, Figures], ...]

    def chances(self, chosen: Sequence[int]) -> list[tuple[World, Figures, Figures]]:
        """Return, world by world, by kind the chance that a label is rescued.

        The third is the variance of that chance over the cells where the label may hang.
        """
        found = []
        for world, where, miss in self.parts:
            missing = miss[list(chosen)].prod(axis=0)
            here = np.einsum("kcp,cp->kc", where, missing)
            mean, hangs = here.sum(axis=1), np.maximum(where.sum(axis=2), _LEAST)
            between = (here**2 / hangs).sum(axis=1) - mean**2
            found.append((world, 1 - mean, np.maximum(between, 0.0)))
        return found


def reach(  # noqa: PLR0913 - two levels and what they are of, and the labels
    stations: Levels,
    places: Levels,
    spots: Sequence[Spot],
    *,
    kinds: Sequence[WeakLabels],
    ways: Sequence[World],
    level_dbm: float,
) -> Reach:
    """Return what each spot reaches; both levels are at the same cells."""
    known = [kind.cell for kind in kinds if kind.cell is not None]
    parts = []
    for world in ways:
        # Cells outside of a world count for labels that are known to hang there.
        used = world.inside.copy()
        used[known] = True
        found = whereabouts(stations, kinds, world, used)
        there = places.only(used)
        parts.append((world, found.weight, missed(found, there, world, level_dbm)))
    counts, whose = np.array([float(k.labels) for k in kinds]), [k.station for k in kinds]
    return Reach(tuple(spots), counts, np.equal.outer(np.unique(whose), whose), tuple(parts))


def rescued(known: Reach, chosen: Sequence[int], share: float) -> Rescued:
    """Return what some spots together rescue; `share` of the time the interval holds the truth."""
    means, spreads, weights = [], [], []
    for world, chance, between in known.chances(chosen):
        weights.append(world.weight)
        means.append(float(known.counts @ chance))
        # Labels that hang together, whatever their levels, are rescued together or not.
        pairs = (known.stations @ (known.counts * np.sqrt(between))) ** 2
        shared = world.together * (float(pairs.sum()) - float(known.counts @ between))
        single = float(known.counts @ (chance * (1 - chance)))
        spreads.append(sqrt(max(0.0, single + shared)))
    tail = (1 - share) / 2
    total = int(known.counts.sum())
    upto = [_upto(n, weights, means, spreads) for n in range(total + 1)]
    low = next(n for n in range(total + 1) if upto[n] > tail or n == total)
    high = next(n for n in range(total + 1) if upto[n] >= 1 - tail or n == total)
    mean = sum(w * m for w, m in zip(weights, means, strict=True))
    return Rescued(mean, low, high)


def _upto(
    n: int, weights: Sequence[float], means: Sequence[float], spreads: Sequence[float]
) -> float:
    """Return the chance of no more than n, a normal curve for each world, with continuity."""
    found = 0.0
    for weight, mean, spread in zip(weights, means, spreads, strict=True):
        if spread < 1e-9:  # noqa: PLR2004 - all or none
            found += weight * (n >= mean - 0.5)
        else:
            found += weight * (1 + erf((n + 0.5 - mean) / spread / sqrt(2))) / 2
    return found


@dataclass(frozen=True, slots=True)
class Choice:
    """The spots chosen, the best first, the share they bring, and the proof.

    `share` is that of all labels at the level, as expected, `bound` what so many spots of those
    tried could bring at most. `enough`: the share asked for is reached; if not, `fewest` is None.
    """

    spots: tuple[int, ...]
    share: float
    bound: float
    optimal: bool
    enough: bool


def choose_places(known: Reach, labels: int, wanted: float, nodes: int, seed: int) -> Choice:
    """Return the fewest spots that bring a share of a store's labels to the level, three at most.

    `labels` are all of the store, of which the weak ones are to be rescued.
    """
    alone = np.array([_expected(known, [spot]) for spot in range(len(known.spots))])
    tried = sorted(np.argsort(-alone, kind="stable")[:_TRIED].tolist())
    scenes, weight = _scenes(known, tried, seed)
    strong = labels - known.counts.sum()
    for count in range(1, min(MOST_PLACES, len(tried)) + 1):
        found = locate(1 - scenes, count=count, weights=weight.tolist(), nodes=nodes)
        share = float(strong + weight.sum() - found.cost) / labels
        bound = float(strong + weight.sum() - found.bound) / labels
        enough = share >= wanted
        if enough or count == min(MOST_PLACES, len(tried)):
            break
    spots = sorted((tried[place] for place in found.places), key=lambda s: (-alone[s], s))
    return Choice(tuple(spots), share, bound, found.optimal, enough)


def _expected(known: Reach, chosen: Sequence[int]) -> float:
    return sum(w.weight * float(known.counts @ chance) for w, chance, _ in known.chances(chosen))


def _scenes(known: Reach, tried: Sequence[int], seed: int) -> tuple[Figures, Figures]:
    """Return who is covered by which of the spots tried, in equally likely scenes, and its weight.

    A scene says in which world, and where, a kind of labels hangs, and how strongly it hears each.
    """
    random = np.random.default_rng(seed)
    shares = np.array([world.weight for world, _, _ in known.parts])
    even = (np.arange(_SCENES) + 0.5) / _SCENES * shares.sum()
    drawn = np.minimum(np.searchsorted(np.cumsum(shares), even), len(shares) - 1)
    rows = []
    for world, times in zip(*np.unique(drawn, return_counts=True), strict=True):
        _, where, miss = known.parts[world]
        upto = np.cumsum(where.reshape(len(where), -1), axis=1)
        asked = random.random((len(upto), times)) * upto[:, -1:]
        at = np.array([np.searchsorted(u, d) for u, d in zip(upto, asked, strict=True)])
        at = np.minimum(at, upto.shape[1] - 1)
        chance = 1 - miss[tried].reshape(len(tried), -1)[:, at]  # spots, kinds, scenes
        rows.append(random.random(chance.shape) < chance)
    covered = np.concatenate(rows, axis=2).reshape(len(tried), -1)
    weight = np.repeat(known.counts / _SCENES, _SCENES)
    patterns, back = np.unique(covered.T, axis=0, return_inverse=True)
    shared: Figures = np.bincount(back.ravel(), weights=weight).astype(np.float64)
    return patterns.astype(np.float64), shared
