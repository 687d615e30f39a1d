"""Stores whose labels' places are known: what exports say of them, and who a place would rescue.

A floor with stations on a grid of which some are missing, labels evenly or in clusters, and a path
loss of the simulator's own: loss at 1 m, exponent, shadowing of which a part is the label's own,
and what labels lose beyond stations. None of it is told to the program but levels.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.plan.cover import CoverLabels, CoverRows, CoverStation, LabelLevel
from pipeline.radio.propagation import fit_log_distance
from pipeline.tables.survey import PathFit

WEAK_DBM = -80.0
_FLOOR_DB, _FLOOR_M = 15.0, 4.0


@dataclass(frozen=True)
class Shelves:
    """A store as built: stations and labels (floor, x, y in m), and how signals weaken in it."""

    stations: np.ndarray
    labels: np.ndarray
    serving: np.ndarray
    level_dbm: np.ndarray
    at_1m_db: float
    exponent: float
    shadow_db: float
    own: float
    lost_db: np.ndarray  # by label, beyond the path

    def loss_db(self, spots: np.ndarray, points: np.ndarray) -> np.ndarray:
        """Return the median loss from spots to points."""
        floors = np.abs(spots[:, None, 0] - points[None, :, 0])
        flat = ((spots[:, None, 1:] - points[None, :, 1:]) ** 2).sum(axis=2)
        far_m = np.maximum(np.sqrt(flat + (_FLOOR_M * floors) ** 2), 0.5)
        loss = self.at_1m_db + 10 * self.exponent * np.log10(far_m) + _FLOOR_DB * floors
        return np.asarray(loss)

    @property
    def weak(self) -> np.ndarray:
        """Which labels hear their station weakly."""
        return self.level_dbm < WEAK_DBM

    def rescued(self, place: tuple[int, float, float], seed: int) -> int:
        """Return how many weak labels would hear a 0 dBm station at a place at the weak level."""
        random = np.random.default_rng((seed, 99))
        rest = self.shadow_db * (1 - self.own) ** 0.5
        heard = -self.loss_db(np.array([place]), self.labels)[0] - self.lost_db
        heard = heard + random.normal(0, rest, len(heard))
        return int((heard[self.weak] >= WEAK_DBM).sum())


def shelves(seed: int, *, clusters: bool = False) -> Shelves:
    """Return a store, always the same for a seed."""
    random = np.random.default_rng(seed)
    floors = int(random.choice([1, 1, 2]))
    wide, deep = random.uniform(30, 100), random.uniform(25, 70)
    stations = _stations(random, floors, wide, deep)
    labels = _labels(random, floors, wide, deep, clusters=clusters)
    shadow, own = random.uniform(2.5, 7), random.choice([0, 0.2, 0.5])
    lost = random.normal(0, shadow * own**0.5, len(labels)) - random.uniform(-5, 3)
    blank = np.zeros(0)
    store = Shelves(
        stations, labels, blank, blank, random.uniform(36, 46), random.uniform(2.4, 3.6), shadow,
        own, lost,
    )  # fmt: skip
    levels = -store.loss_db(stations, labels) - lost
    levels += random.normal(0, shadow * (1 - own) ** 0.5, levels.shape)
    said = np.round(levels.max(axis=0) + random.normal(0, 0.7, len(labels)))
    return Shelves(
        stations, labels, levels.argmax(axis=0), said, store.at_1m_db, store.exponent, shadow, own,
        lost,
    )  # fmt: skip


def _stations(random: np.random.Generator, floors: int, wide: float, deep: float) -> np.ndarray:
    count = int(random.integers(3, 10))
    rows = max(1, round((count * deep / wide) ** 0.5))
    across = -(-count // rows)
    found = []
    for floor in range(floors):
        grid = [
            ((c + 0.5) * wide / across, (r + 0.5) * deep / rows)
            for r in range(rows)
            for c in range(across)
        ]
        missing = int(random.integers(0, max(1, len(grid) // 3) + 1))
        kept = sorted(random.permutation(len(grid))[: max(2, len(grid) - missing)])
        for at in kept:
            x, y = grid[at]
            found.append((floor, x + random.uniform(-2, 2), y + random.uniform(-2, 2)))
    return np.array(found)


def _labels(
    random: np.random.Generator, floors: int, wide: float, deep: float, *, clusters: bool
) -> np.ndarray:
    count, middles = int(random.integers(200, 900)), 12
    size = middles if clusters else count
    spots = np.column_stack(
        [
            random.integers(0, floors, size),
            random.uniform(0, wide, size),
            random.uniform(0, deep, size),
        ]
    )
    if not clusters:
        return spots
    found = spots[random.integers(0, middles, count)]
    found[:, 1] = np.clip(found[:, 1] + random.normal(0, 4, count), 0, wide)
    found[:, 2] = np.clip(found[:, 2] + random.normal(0, 2, count), 0, deep)
    return found


def exported(store: Shelves, seed: int) -> CoverRows:
    """Return what exports say of a store: levels of labels, and of stations among themselves."""
    names = [f"s{number}" for number in range(len(store.stations))]
    stations = [
        CoverStation("S", name, name, int(floor), float(x), float(y), 0.0, "installed")
        for name, (floor, x, y) in zip(names, store.stations, strict=True)
    ]
    levels = [
        LabelLevel("S", name, float(level), int(count), bool(level < WEAK_DBM))
        for number, name in enumerate(names)
        for level, count in zip(
            *np.unique(store.level_dbm[store.serving == number], return_counts=True), strict=True
        )
    ]
    weak = int(store.weak.sum())
    labels = CoverLabels("S", len(store.labels), len(store.labels), weak, wanting=True)
    return CoverRows(labels, stations, levels, _fit(store, seed))


def _fit(store: Shelves, seed: int) -> PathFit | None:
    """Return the fit of levels between stations, where the program would use one."""
    random = np.random.default_rng((seed, 7))
    loss = store.loss_db(store.stations, store.stations)
    heard = -loss + random.normal(0, store.shadow_db, loss.shape)
    at = [(i, j) for i, j in np.argwhere(heard > -92) if i != j]
    floors = np.abs(store.stations[:, None, 0] - store.stations[None, :, 0])
    flat = ((store.stations[:, None, 1:] - store.stations[None, :, 1:]) ** 2).sum(axis=2)
    far_m = np.sqrt(flat + (_FLOOR_M * floors) ** 2)
    if len(at) < 8:  # fit_pairs_minimum
        return None
    found = fit_log_distance(
        [float(far_m[i, j]) for i, j in at],
        [float(-heard[i, j] - _FLOOR_DB * floors[i, j]) for i, j in at],
    )
    if not 1.5 <= found.exponent <= 4 or found.exponent_error > 0.5:
        return None
    return PathFit(
        "S", len(at), found.exponent, found.exponent_error, found.loss_at_1m_db, found.spread_db,
        used=True, note="",
    )  # fmt: skip
