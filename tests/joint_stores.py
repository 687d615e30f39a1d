"""Random stores that hear one another through walls, as exports, and their costs reckoned anew."""

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import erfc, log1p, log10, sqrt

import numpy as np

from pipeline.plan.costs import StoreProblem
from pipeline.plan.explain import Case

DAY = "2026-09-30"
PERMITTED = (11, 15, 20, 25, 26)
STORES = "store,name,region,country,shared site,exported on\n"
STATIONS = "store,station,channel,x m,y m,eui-64,exported on\n"
SCANS = "store,station,scanned at,channel,level dbm,own stations quiet\n"
LABELS = "store,label,station,level dbm,listens on,exported on\n"
HEARD = "store,listening station,heard store,heard station,level dbm,measured on\n"
_MOST = 7  # stations of a site, so that brute force can try all

Key = tuple[str, str]
Levels = dict[tuple[Key, Key], int]


@dataclass
class Site:
    """Stores that are neighbours: their stations, and the levels heard through the wall, in dBm."""

    stores: tuple[str, ...]
    named: bool  # the stores export names the site
    stations: list[Key] = field(default_factory=list)
    levels: Levels = field(default_factory=dict)


def chain(seed: int, count: int) -> tuple[dict[str, str], dict[str, str], list[Site]]:
    """Return the exports of some sites, those of the stores without neighbours, and the sites."""
    chance = random.Random(seed)
    files = {
        "stores.csv": STORES, "stations.csv": STATIONS, "scans.csv": SCANS, "labels.csv": LABELS
    }  # fmt: skip
    heard, alone = HEARD, dict(files)
    sites = []
    for number in range(count):
        site = _site(chance, number, files)
        sites.append(site)
        heard += "".join(
            f"{a[0]},{a[1]},{b[0]},{b[1]},{level},{DAY}\n" for (a, b), level in site.levels.items()
        )
    alone = dict(files)
    lines = alone["stores.csv"].splitlines()
    cut = [line.split(",") for line in lines]
    alone["stores.csv"] = "\n".join(",".join([*row[:4], row[5]]) for row in cut) + "\n"
    return files | {"heard.csv": heard}, alone, sites


def _site(chance: random.Random, number: int, files: dict[str, str]) -> Site:
    count = chance.choice((2, 2, 2, 3))
    stores = tuple(f"R{number:03}{'ABC'[at]}" for at in range(count))
    site = Site(stores, named=chance.random() < 0.4)
    left = _MOST
    for at, store in enumerate(stores):
        size = chance.randint(1, min(4, left - (count - at - 1)))
        left -= size
        files["stores.csv"] += (
            f"{store},{store},{chance.choice(('North', 'South'))},GB,"
            f"{f'Mall {number}' if site.named else ''},{DAY}\n"
        )
        _store(chance, store, size, files)
        site.stations += [(store, f"S{i}") for i in range(size)]
    for a in site.stations:
        for b in site.stations:
            if a[0] != b[0] and chance.random() < 0.4:
                site.levels[a, b] = chance.randint(-88, -50)
    if not site.named and not _tied(site):
        a, b = (next(key for key in site.stations if key[0] == store) for store in stores[:2])
        site.levels[a, b] = -60
    return site


def _tied(site: Site) -> bool:
    return any(level > -70 for level in site.levels.values())


def _store(chance: random.Random, store: str, size: int, files: dict[str, str]) -> None:
    labelled, listens = chance.random() < 0.7, chance.choice(("11 15 20 25", "15 20 25 26", ""))
    for number in range(size):
        station, address = f"S{number}", f"{chance.getrandbits(60):016x}"
        channel = chance.choice((*PERMITTED, 11, 18))
        x_m, y_m = chance.randint(0, 40), chance.randint(0, 40)
        files["stations.csv"] += f"{store},{station},{channel},{x_m},{y_m},{address},{DAY}\n"
        for label in range(chance.randint(0, 5) if labelled else 0):
            files["labels.csv"] += f"{store},{station}L{label},{station},-60,{listens},{DAY}\n"
        for hour in range(chance.choice((0, 6))):
            for scanned in PERMITTED:
                level = chance.choice((-95, -95, -90, -60))
                at = f"2026-09-29 1{hour}:00:00"
                files["scans.csv"] += f"{store},{station},{at},{scanned},{level},yes\n"


def _hits(level_dbm: float, spread_db: float) -> tuple[float, float, float]:
    """Return the chance that a level less the rejection stands above -75 dBm, as it is normal."""
    return tuple(  # type: ignore[return-value]  # three of them
        round(0.5 * erfc((-75.0 - (level_dbm - loss)) / (spread_db * sqrt(2))), 6)
        for loss in (0, 30, 45)
    )


def _level(site: Site, a: Key, b: Key) -> tuple[float, float] | None:
    """Return at which level a hears b, and its spread: as measured, either way, else as modelled.

    The two send with the same power, so that a level measured the other way is the same. At 30 m
    the break-point model of IEEE 802.15.2: 58.5 + 33 log10(d / 8).
    """
    if (found := site.levels.get((a, b), site.levels.get((b, a)))) is not None:
        return float(found), 2.0
    return (-(58.5 + 33 * log10(30 / 8)), 7.0) if site.named else None


@dataclass
class Sum:
    """Tables of costs, station by station and pair by pair, for numpy to add up."""

    choices: list[tuple[int, ...]]
    one: list[list[float]]
    two: dict[tuple[int, int], list[list[float]]]

    def least(self) -> float:
        """Return the least cost of all choices."""
        grid = np.stack(np.meshgrid(*(np.arange(len(c)) for c in self.choices), indexing="ij"))
        flat = grid.reshape(len(self.choices), -1)
        total = np.zeros(flat.shape[1])
        for row, at in zip(self.one, flat, strict=True):
            total += np.array(row)[at]
        for (i, j), table in self.two.items():
            total += np.array(table)[flat[i], flat[j]]
        return float(total.min())

    def of(self, channels: Sequence[int]) -> float:
        """Return the cost of one choice."""
        at = [c.index(channel) for c, channel in zip(self.choices, channels, strict=True)]
        pairs = sum(table[at[i]][at[j]] for (i, j), table in self.two.items())
        return sum(row[a] for row, a in zip(self.one, at, strict=True)) + pairs


def summed(site: Site, alone: Mapping[str, Case]) -> Sum:
    """Return the costs of a site: those of each store alone, and of each pair through the wall.

    What a store costs alone is taken from a run of the same exports without neighbours.
    """
    rows: dict[Key, tuple[StoreProblem, int]] = {}
    for store in site.stores:
        problem = alone[store].problem
        rows |= {(store, s.station): (problem, at) for at, s in enumerate(problem.stations)}
    keys = list(rows)
    station = {key: problem.stations[at] for key, (problem, at) in rows.items()}
    choices = [tuple(sorted({*station[k].choices, station[k].channel})) for k in keys]
    allowed = [station[k].choices for k in keys]
    one = [
        [
            station[k].weight
            * (
                rows[k][0].noise_cost(k[1], c)
                - log1p(-min(rows[k][0].lost.get((k[1], c), 0.0), 0.999))
            )
            + rows[k][0].price_per_move * (c != station[k].channel)
            if c in free
            else 1e9
            for c in some
        ]
        for k, some, free in zip(keys, choices, allowed, strict=True)
    ]
    two: dict[tuple[int, int], list[list[float]]] = {}
    for i, a in enumerate(keys):
        for j, b in enumerate(keys):
            if i == j:
                continue
            hits = _heard(site, rows, a, b)
            if hits is None or hits[0] < 0.001:
                continue
            low, high = min(i, j), max(i, j)
            table = two.setdefault((low, high), [[0.0] * len(choices[high]) for _ in choices[low]])
            for x, c in enumerate(choices[low]):
                for y, d in enumerate(choices[high]):
                    chance = hits[abs(c - d)] if abs(c - d) < 3 else 0.0
                    share = min(station[b].air_share * chance, 0.999)
                    table[x][y] += station[a].weight * rows[a][0].own_weight * -log1p(-share)
    return Sum(choices, one, two)


def _heard(
    site: Site, rows: Mapping[Key, tuple[StoreProblem, int]], a: Key, b: Key
) -> tuple[float, float, float] | None:
    if a[0] != b[0]:
        found = _level(site, a, b)
        return None if found is None else _hits(*found)
    own = rows[a][0].heard
    return next((h.hit for h in own if (h.station, h.neighbour) == (a[1], b[1])), None)
