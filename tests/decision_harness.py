"""Plans made from estimates and carried out in simulated air whose truth is known."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.plan.assign import assign
from pipeline.plan.decide import Terms, decide
from pipeline.plan.stakes import Stakes

PERMITTED = (11, 15, 20, 25, 26)
PRICE = 0.005
OWN_COST = 0.02  # of one own station on the same channel; none in a null chain
TERMS = Terms()
_MOST = 0.999

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Moves:
    """One row per station: gains in points of clear air; regret of the store's plan."""

    frame: pl.DataFrame


@dataclass(frozen=True)
class _Store:
    """Arrays (stations, channels): truth, expected cost, a, b; weight and present per station."""

    truth: Floats
    cost: Floats
    a: Floats
    b: Floats
    weight: Floats
    present: list[int]
    own: float


def carried_out(
    joined: pl.DataFrame, seed: int, terms: Terms = TERMS, own: float = OWN_COST
) -> Moves:
    """Plan every store of estimates joined with truth (`busy`) and compare with what is true.

    joined: store, station, channel, busy, expected_cost, a, b. Stations start on channels drawn by
    seed and have weights from 0.5 to 1.5. Returns store, station, old, new, weight, claimed and
    gained (points of clear air), regret (label-weighted points lost against perfect knowledge).
    """
    rng = np.random.default_rng(seed)
    rows = []
    wanted = joined.filter(pl.col("channel").is_in(PERMITTED)).sort("store", "station", "channel")
    for (store,), part in wanted.group_by("store", maintain_order=True):
        names = part["station"].unique(maintain_order=True).to_list()
        rows += _store_rows(str(store), names, _store(part, len(names), rng, own), terms)
    columns = ["store", "station", "old", "new", "weight", "claimed", "gained", "regret"]
    return Moves(pl.DataFrame(rows, schema=columns, orient="row"))


def _store(part: pl.DataFrame, stations: int, rng: np.random.Generator, own: float) -> _Store:
    def grid(column: str) -> Floats:
        return part[column].to_numpy().reshape(stations, len(PERMITTED))

    return _Store(
        np.minimum(grid("busy"), _MOST),
        grid("expected_cost"),
        grid("a"),
        grid("b"),
        rng.uniform(0.5, 1.5, stations),
        [int(x) for x in rng.integers(len(PERMITTED), size=stations)],
        own,
    )


def _store_rows(
    name: str, stations: Sequence[str], store: _Store, terms: Terms
) -> list[tuple[str, str, int, int, float, float, float, float]]:
    choice = decide(_stakes(store), terms).choice
    perfect = assign(_one(store, -np.log1p(-store.truth)), _two(store)).choice
    now, then = _clear(store, store.truth, store.present), _clear(store, store.truth, choice)
    best = _clear(store, store.truth, perfect)
    regret = 100 * float(store.weight @ (best - then) / store.weight.sum())
    estimate = store.a / (store.a + store.b)
    claimed = 100 * (_clear(store, estimate, choice) - _clear(store, estimate, store.present))
    rows = zip(
        stations, store.present, choice, store.weight, claimed, 100 * (then - now), strict=True
    )
    return [
        (name, s, PERMITTED[p], PERMITTED[c], float(w), float(g), float(t), regret)
        for s, p, c, w, g, t in rows
    ]


def _stakes(store: _Store) -> Stakes:
    """Return the store as the decision takes it: everybody hears everybody."""
    count, channels = store.weight.size, len(PERMITTED)
    beside = (store.own * np.eye(channels)).tolist()
    return Stakes(
        one=_one(store, store.cost),
        two=_two(store),
        beside={(i, j): beside for i in range(count) for j in range(count) if i != j},
        busy=(store.a / (store.a + store.b)).tolist(),
        beta=[
            list(zip(a, b, strict=True))
            for a, b in zip(store.a.tolist(), store.b.tolist(), strict=True)
        ],
        weight=store.weight.tolist(),
        lost=[[0.0] * channels] * count,
        present=tuple(store.present),
        allowed=[range(channels)] * count,
        price=PRICE,
    )


def _one(store: _Store, cost: Floats) -> list[list[float]]:
    table = store.weight[:, None] * cost
    moved = np.arange(table.shape[1])[None, :] != np.array(store.present)[:, None]
    return [[round(float(x), 9) for x in row] for row in table + PRICE * moved]


def _two(store: _Store) -> dict[tuple[int, int], list[list[float]]]:
    count, weight = store.weight.size, store.weight
    return {
        (i, j): (store.own * (weight[i] + weight[j]) * np.eye(len(PERMITTED))).tolist()
        for i in range(count)
        for j in range(i + 1, count)
    }


def _clear(store: _Store, busy: Floats, choice: Sequence[int]) -> Floats:
    """Return the clear air of each station under a choice of channels."""
    on = np.array(choice)
    own = np.array([np.sum(on == c) - 1 for c in on])
    result: Floats = (1 - busy[np.arange(on.size), on]) * np.exp(-store.own * own)
    return result
