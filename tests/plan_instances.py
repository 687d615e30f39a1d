"""Cost networks for the tests of the planner, made from a seed."""

import itertools
import math
import random
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import numpy.typing as npt

One = list[list[float]]
Two = dict[tuple[int, int], list[list[float]]]
Steps = npt.NDArray[np.int64]

CHANNELS = (11, 15, 20, 25, 26)


def seeded(seed: int) -> random.Random:
    """Return dice that fall the same way on every run."""
    return random.Random(seed)


def total(
    one: Sequence[Sequence[float]],
    two: Mapping[tuple[int, int], Sequence[Sequence[float]]],
    choice: Sequence[int],
) -> float:
    """Add up one complete choice, independently of the package."""
    terms = [row[a] for row, a in zip(one, choice, strict=True)]
    return math.fsum(terms + [table[choice[i]][choice[j]] for (i, j), table in two.items()])


def every_choice(one: Sequence[Sequence[float]]) -> Iterator[tuple[int, ...]]:
    """Walk through all complete choices in dictionary order."""
    return itertools.product(*(range(len(row)) for row in one))


def mixed_costs(seed: int, most_stations: int = 6, most_choices: int = 4) -> tuple[One, Two]:
    """Costs without structure: whole or broken, sparse or dense, sometimes prohibitive."""
    dice = seeded(seed)
    whole, density = dice.random() < 0.4, dice.choice((0.2, 0.6, 1.0))

    def cost() -> float:
        if dice.random() < 0.25:
            return 0
        if dice.random() < 0.03:
            return 1e6
        return dice.randrange(8) if whole else dice.random() * 10 ** dice.choice((-3, 0, 0, 2))

    sizes = [dice.randint(1, most_choices) for _ in range(dice.randint(1, most_stations))]
    one = [[cost() for _ in range(size)] for size in sizes]
    two = {
        (i, j): [[cost() for _ in range(sizes[j])] for _ in range(sizes[i])]
        for i, j in itertools.combinations(range(len(sizes)), 2)
        if dice.random() < density
    }
    return one, two


def clear_air_costs(
    seed: int, stations: int, width_m: float = 30.0, depth_m: float = 30.0
) -> tuple[One, Two, list[int]]:
    """Costs of an invented floor in the planner's own model, and the channels of today.

    Path loss has its break point at 8 m (IEEE 802.15.4-2006 Annex E); shadowing of 7 dB, 30 and
    45 dB of rejection beside the channel, threshold -75 dBm. Everything within 30 m by 30 m is
    in mutual earshot.
    """
    dice = seeded(seed)
    place = [(dice.uniform(0, width_m), dice.uniform(0, depth_m)) for _ in range(stations)]
    weight = [dice.uniform(0.5, 1.5) for _ in place]
    weight = [w * stations / sum(weight) for w in weight]
    air = [dice.uniform(0.01, 0.1) for _ in place]
    power_dbm = [dice.uniform(0, 8) for _ in place]
    now = [dice.randrange(len(CHANNELS)) for _ in place]
    one = [
        [-w * math.log(1 - dice.uniform(0.02, 0.6)) + 0.02 * (a != today) for a in range(5)]
        for w, today in zip(weight, now, strict=True)
    ]
    two: Two = {}
    for i, j in itertools.combinations(range(stations), 2):
        loss_db = _path_loss_db(math.dist(place[i], place[j]))
        lost = [
            -weight[i] * math.log(1 - air[j] * _hit(power_dbm[j] - loss_db, apart))
            - weight[j] * math.log(1 - air[i] * _hit(power_dbm[i] - loss_db, apart))
            for apart in range(16)
        ]
        two[i, j] = [[lost[abs(c - d)] for d in CHANNELS] for c in CHANNELS]
    return one, two, now


def _path_loss_db(distance_m: float) -> float:
    if distance_m <= 8:
        return 40.2 + 20 * math.log10(max(distance_m, 1))
    return 58.5 + 33 * math.log10(distance_m / 8)


def _hit(heard_dbm: float, apart: int) -> float:
    if apart > 2:
        return 0.0
    above_db = heard_dbm - (0, 30, 45)[apart] + 75
    return 0.5 * math.erfc(-above_db / 7 / math.sqrt(2))


def thin_costs(seed: int, stations: int) -> tuple[One, Two, list[int]]:
    """Costs of nine decimals where each station hears a few others, and the channels of today."""
    dice = seeded(seed)
    reach = math.sqrt(5 / (math.pi * stations))
    place = [(dice.random(), dice.random()) for _ in range(stations)]
    one = [[round(dice.random() * 0.3, 9) for _ in CHANNELS] for _ in place]
    two: Two = {}
    for i, j in itertools.combinations(range(stations), 2):
        if (near := 1 - math.dist(place[i], place[j]) / reach) > 0:
            same, beside = round(near, 9), round(near / 8, 9)
            two[i, j] = [
                [same if c == d else beside if abs(c - d) == 1 else 0.0 for d in CHANNELS]
                for c in CHANNELS
            ]
    return one, two, [dice.randrange(len(CHANNELS)) for _ in place]


def least(one: One, two: Two, ties: Sequence[Sequence[int]]) -> tuple[int, int] | None:
    """Return the least cost in steps of 1e-9 and the least ties at it, None if that is too wide.

    Stations are eliminated one by one in whole numbers, the one first that ties the fewest others
    together (Bertele and Brioschi, Nonserial Dynamic Programming, 1972; from memory).
    """
    weight = 1 + sum(map(max, ties))
    left: dict[tuple[int, ...], Steps] = {
        (i,): np.array([round(x * 10**9) * weight + t for x, t in zip(*rows, strict=True)])
        for i, rows in enumerate(zip(one, ties, strict=True))
    }
    left |= {
        at: np.array([[round(x * 10**9) * weight for x in row] for row in t])
        for at, t in two.items()
    }
    tables, total = list(left.items()), 0
    while tables:
        around: dict[int, set[int]] = {}
        for some, _ in tables:
            for i in some:
                around.setdefault(i, set()).update(some)
        gone = min(around, key=lambda i: (len(around[i]), i))
        scope: tuple[int, ...] = (gone, *sorted(around[gone] - {gone}))
        if len(scope) > 9:
            return None
        joint = np.zeros([len(one[i]) for i in scope], dtype=np.int64)
        for some, table in tables:
            if gone in some:
                turned = table.transpose(
                    sorted(range(len(some)), key=lambda k: scope.index(some[k]))
                )
                joint += turned.reshape([len(one[i]) if i in some else 1 for i in scope])
        rest = joint.min(axis=0)
        tables = [(some, table) for some, table in tables if gone not in some]
        if scope[1:]:
            tables.append((scope[1:], rest))
        else:
            total += int(rest)
    return divmod(total, weight)


def link_costs(seed: int, links: int) -> tuple[One, Two]:
    """Costs in the shape of CELAR 6's hard parts: duplex pairs 238 apart, others at a distance.

    Up to 44 choices a station; |f - g| = 238 within a pair must hold, |f - g| > d between others
    costs 1, 10, 100 or 1000 where it does not (Cabon et al., Constraints 4, 1999; from memory).
    """
    dice = seeded(seed)
    low = sorted(dice.sample(range(16, 240, 2), 22))
    domains: list[list[int]] = []
    for _ in range(links):
        kept = sorted(dice.sample(low, dice.choice((11, 18, 22))))
        domains += [[*kept, *(f + 238 for f in kept)]] * 2
    two: Two = {}
    for i, j in itertools.combinations(range(2 * links), 2):
        if i // 2 == j // 2:
            two[i, j] = [[1e6 * (abs(f - g) != 238) for g in domains[j]] for f in domains[i]]
        elif dice.random() < 0.8:
            apart, cost = dice.choice((60, 140, 200, 280)), dice.choice((1, 10, 100, 1000))
            two[i, j] = [[cost * (abs(f - g) <= apart) for g in domains[j]] for f in domains[i]]
    return [[0.0] * len(domain) for domain in domains], two
