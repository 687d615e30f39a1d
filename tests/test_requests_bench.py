"""The clear air that changes of Wi-Fi are said to give back, against what they truly do.

The simulator imports nothing of the survey, the plan or the radio. A network is told with the level
of all its power, ten times what a station hears of it in the middle of its band. Seeds 1 to 20 were
used while developing; these are others.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
import pytest
from estimate_harness import SERIES
from simulate.chain import CHANNELS, THRESHOLD_DBM, Air, Floats, airs, chain, last_day
from simulate.fold import folded, known
from simulate.setting import Setting

from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.portfolio import fit_portfolio
from pipeline.estimate.posterior import estimate
from pipeline.estimate.visits import blocks
from pipeline.plan.costs import StoreProblem
from pipeline.plan.explain import Case, Evidence
from pipeline.plan.requests import WifiStanding, requests
from pipeline.plan.wifi import WifiHere, WifiTerms
from pipeline.records import StoreStation
from pipeline.settings import load_settings
from pipeline.tables.plan import WifiRequest

PERMITTED = (12, 17, 22)  # each under Wi-Fi 1, 6 or 11: else plans go where there is none
TERMS = WifiTerms.of(load_settings().limits)
SETTING = Setting("requests", readings=60, visits=2, stores=60)
TENTH = 0.001  # of a point, as printed
WHOLE_DB = 10.0  # 20 MHz against 2 MHz
SILENT_DBM, HALF_DB = -200.0, 6.0
SHAPE_DB = (-3.0, 0.0, 0.0, -3.0)  # of Wi-Fi n in channels n + 10 to n + 13
Told = tuple[float, float, float, float]  # promised, low, high, given back


@dataclass(frozen=True)
class _Store:
    """A store as estimated, its plan, and its networks."""

    case: Case
    plan: tuple[int, ...]
    rows: list[WifiHere]
    air: Air


def given_back(seed: int, setting: Setting) -> Iterator[tuple[Told, Told]]:
    """Yield what each store's first request promises and gives: to the plan as it is, and then."""
    rng = np.random.default_rng([seed, 5])
    for store in _stores(seed, setting, rng):
        standing = WifiStanding.of(store.case, store.plan, store.rows, TERMS)
        for one in requests(standing)[:1]:
            level_dbm = _changed(store.air, one)
            same = _gain(store, store.plan, level_dbm)
            best = _gain(store, _then(store, one), level_dbm)
            yield (
                (one.gives, one.gives_low, one.gives_high, same),
                (one.plan_gives, one.plan_gives_low, one.plan_gives_high, best),
            )


def _stores(seed: int, setting: Setting, rng: np.random.Generator) -> Iterator[_Store]:
    made, assumed = chain(setting, seed), Assumptions()
    told = known(made.truth)
    found = blocks(folded(made.readings), assumed)
    portfolio = fit_portfolio(found, told, assumed)
    frame = estimate(found, told, portfolio, last_day(setting), assumed).frame
    wanted = frame.filter(pl.col("channel").is_in(PERMITTED)).sort(SERIES)
    parts = wanted.partition_by("store", maintain_order=True)
    for part, air in zip(parts, airs(setting, seed), strict=True):
        case = _case(part, rng)
        plan = tuple(_quietest(case, s.station) for s in case.problem.stations)
        yield _Store(case, plan, list(_rows(air, case, rng)), air)


def _quietest(case: Case, station: str) -> int:
    return min(PERMITTED, key=lambda channel: case.evidence[station, channel].cost)


def _case(part: pl.DataFrame, rng: np.random.Generator) -> Case:
    evidence = {
        (row["station"], row["channel"]): Evidence(
            row["a"] / (row["a"] + row["b"]), None, None, row["expected_cost"], row["a"], row["b"],
            row["a"] + row["b"], 60, own_traffic=False, source="measured", wifi=None,
        )
        for row in part.iter_rows(named=True)
    }  # fmt: skip
    stations = tuple(
        StoreStation(name, PERMITTED[0], PERMITTED, float(rng.uniform(0.5, 1.5)), 0.0)
        for name in part["station"].unique(maintain_order=True)
    )
    problem = StoreProblem(
        str(part["store"][0]), stations, (), {at: e.reckoned for at, e in evidence.items()}, 0.005,
        {at: e.cost for at, e in evidence.items()},
    )  # fmt: skip
    return Case(problem, evidence, {}, PERMITTED)


def _rows(air: Air, case: Case, rng: np.random.Generator) -> Iterator[WifiHere]:
    """Yield the survey of Wi-Fi: half of the networks are the shop's own.

    A network is told with how busy its Wi-Fi channel is, by all on it that the station hears.
    """
    wifi = np.flatnonzero(air.networks.is_wifi)
    ours = rng.random(wifi.size) < 0.5
    level = air.networks.level_dbm[:, wifi]
    on = level[0].argmax(axis=1)  # Wi-Fi n is loudest from channel n + 11 on
    heard = level.max(axis=2)
    for i, station in enumerate(case.problem.stations):
        for at, network in enumerate(wifi):
            beside = (on == on[at]) & (heard[i] > THRESHOLD_DBM)
            beside[at] = True
            use = 100 * float(1 - np.prod(1 - air.told[wifi[beside]]))
            yield WifiHere(
                case.problem.store, station.station, f"n{network}", int(on[at]), 20, None,
                float(heard[i, at]) + WHOLE_DB, use, bool(ours[at]),
            )  # fmt: skip


def _changed(air: Air, one: WifiRequest) -> Floats:
    """Return the levels once a request is granted."""
    level_dbm = air.networks.level_dbm.copy()
    for name in one.networks.split("; "):
        at = int(name.removeprefix("n"))
        heard = level_dbm[:, at, :].max(axis=1) - (HALF_DB if one.what == "power" else 0.0)
        first = (one.to_channel or one.wifi_channel) - 1
        level_dbm[:, at, :] = SILENT_DBM
        level_dbm[:, at, first : first + 4] = heard[:, None] + np.array(SHAPE_DB)
    return level_dbm


def _then(store: _Store, one: WifiRequest) -> list[int]:
    """Return the plan's channels with those that a request would have moved."""
    moved = dict(part.split(" ", 1) for part in one.channels.split(", ") if part)
    return [
        int(moved[s.station].split()[-1]) if s.station in moved else on
        for s, on in zip(store.case.problem.stations, store.plan, strict=True)
    ]


def _gain(store: _Store, channels: Sequence[int], level_dbm: Floats) -> float:
    """Return the clear air truly gained by labels, from the plan today to channels then."""
    weight = np.array([s.weight for s in store.case.problem.stations])
    at = np.arange(weight.size)
    now = store.air.busy(store.air.networks.level_dbm)[at, np.array(store.plan) - CHANNELS[0]]
    then = store.air.busy(level_dbm)[at, np.array(channels) - CHANNELS[0]]
    return float(weight @ (now - then) / weight.sum())


def _held(told: Sequence[Told]) -> float:
    """Return how often an interval, as printed to a tenth of a point, holds what was given back."""
    ends = ((round(low, 3), round(high, 3), true) for _, low, high, true in told)
    return sum(low - TENTH / 2 <= true <= high + TENTH / 2 for low, high, true in ends) / len(told)


def test_some_requests_give_back_what_they_promise() -> None:
    """Of a few stores: the promise lies in its interval, most of which hold what is given back."""
    found = list(given_back(21, replace(SETTING, stores=16)))
    assert len(found) >= 3
    for told in zip(*found, strict=True):
        assert all(low <= promised <= high for promised, low, high, _ in told)
        assert _held(told) >= 0.6


@pytest.mark.slow
def test_the_interval_holds_in_85_to_95_of_100() -> None:
    """Over the requests of 720 stores, to the plan as it is and to the plan that is best then.

    Not rounded they hold in 81 and 89 of 100: some requests are said to give back nothing at all,
    where a network at the threshold took 0.2 points. Promised is a point less than is given back.
    """
    found = [one for seed in range(21, 33) for one in given_back(seed, SETTING)]
    same, best = zip(*found, strict=True)
    assert len(found) >= 150
    for told in (same, best):
        assert 0.85 <= _held(told) <= 0.95
        assert abs(np.mean([promised - true for promised, _, _, true in told])) <= 0.015
