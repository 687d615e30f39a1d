"""Which further places bring weak labels up to a level, how many of them, and how sure that is."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import erf, sqrt

import numpy as np

from pipeline.cover.floors import Figures, Spot
from pipeline.cover.labels import Levels, WeakLabels, World, missed, whereabouts
from pipeline.cover.locate import locate

MOST_PLACES = 3
_TRIED = 12  # places, those that help most alone
_TOGETHER = 5.0  # labels of one level and station that hang in one place (ours)
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

    `parts` has for each world, with its weight, where labels hang and the chance that they hear a
    spot too weakly.
    """

    spots: tuple[Spot, ...]
    counts: Figures
    parts: tuple[tuple[float, Figures, Figures], ...]

    def chances(self, chosen: Sequence[int]) -> list[tuple[float, Figures, Figures]]:
        """Return, world by world, its weight, and by kind the chance that a label is rescued.

        The third is the variance of that chance over the cells where the label may hang.
        """
        found = []
        for weight, where, miss in self.parts:
            missing = miss[list(chosen)].prod(axis=0)
            mean = np.einsum("kcp,cp->k", where, missing)
            square = np.einsum("kcp,cp->k", where, missing**2)
            found.append((weight, 1 - mean, np.maximum(square - mean**2, 0.0)))
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
        parts.append((world.weight, found.weight, missed(found, there, world, level_dbm)))
    return Reach(tuple(spots), np.array([float(k.labels) for k in kinds]), tuple(parts))


def rescued(known: Reach, chosen: Sequence[int], share: float) -> Rescued:
    """Return what some spots together rescue; `share` of the time the interval holds the truth."""
    means, spreads, weights = [], [], []
    # Labels that hang together share a place, so they are rescued together or not.
    beside = np.minimum(known.counts, _TOGETHER) - 1
    for weight, chance, between in known.chances(chosen):
        weights.append(weight)
        means.append(float(known.counts @ chance))
        spreads.append(sqrt(float(known.counts @ (chance * (1 - chance) + beside * between))))
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
    return sum(weight * float(known.counts @ chance) for weight, chance, _ in known.chances(chosen))


def _scenes(known: Reach, tried: Sequence[int], seed: int) -> tuple[Figures, Figures]:
    """Return who is covered by which of the spots tried, in equally likely scenes, and its weight.

    A scene says in which world, and where, a kind of labels hangs, and how strongly it hears each.
    """
    random = np.random.default_rng(seed)
    shares = np.array([weight for weight, _, _ in known.parts])
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
