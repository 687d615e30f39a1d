"""Surveys of simulated chains, uniform and by the survey plan, and what their plans come to."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import count

import numpy as np
import polars as pl
from decision_harness import OWN_COST, PERMITTED, TERMS, _stakes, _store, carried_out
from estimate_harness import SERIES
from simulate.chain import Chain, chain, last_day
from simulate.fold import folded, known
from simulate.setting import Setting

from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.portfolio import Portfolio, fit_portfolio
from pipeline.estimate.posterior import estimate
from pipeline.estimate.visits import blocks
from pipeline.plan.decide import Decision, decide
from pipeline.plan.scan import Outlook, Prospects, ScanVisit, outlooks
from pipeline.plan.stakes import Stakes

READINGS, MOST_VISITS = 30, 16  # of a visit; visits that were made, to be looked at in turn
LIMIT = 0.05
_ASSUMED = Assumptions()
_BLOCKS = [*SERIES, "scanned_at", "statistic", "dwell_ms", "readings", "busy", "censored",
           "level_dbm", "hour"]  # fmt: skip
Visits = Mapping[str, int]


@dataclass(frozen=True)
class Store:
    """One store as planned: its stations, what is at stake, the decision and its outlook."""

    stations: tuple[str, ...]
    stakes: Stakes
    decision: Decision
    outlook: Outlook


@dataclass(frozen=True)
class Planned:
    """A chain as planned on the visits looked at; `joined` are estimates beside the truth."""

    seed: int
    joined: pl.DataFrame
    stores: dict[str, Store]

    def regret(self) -> float:
        """Return what the plans lose against perfect knowledge, in points, mean over the stores."""
        plans = carried_out(self.joined, self.seed).frame
        return float(np.mean(plans.unique("store")["regret"].to_numpy()))


class Survey:
    """A chain every station of which was visited often; visits are looked at one by one.

    The portfolio's figures are fitted once, to two visits of every station, and once more where
    there are more rows: to fit them anew each time would take most of the time.
    """

    def __init__(self, seed: int, stores: int) -> None:
        self.seed = seed
        self.setting = Setting(
            "pool", readings=READINGS * MOST_VISITS, visits=MOST_VISITS, stores=stores
        )
        made = chain(self.setting, seed)
        self.truth, self.told = made.truth, known(made.truth)
        self.stations = sorted(made.truth["station"].unique())
        self._rows = _numbered(made, seed)
        self._fitted: dict[bool, Portfolio] = {}

    def planned(self, visits: Visits, more: pl.DataFrame | None = None) -> Planned:
        """Return the plan on so many visits of each station, and on more rows."""
        found = self._blocks(visits, more)
        portfolio = self._portfolio(more)
        frame = estimate(found, self.told, portfolio, last_day(self.setting), _ASSUMED).frame
        joined = self.truth.join(frame, on=SERIES).sort(SERIES)
        return Planned(self.seed, joined, dict(_stores(joined, self.seed, portfolio)))

    def _blocks(self, visits: Visits, more: pl.DataFrame | None) -> pl.DataFrame:
        looked = pl.DataFrame({"station": list(visits), "seen": list(visits.values())})
        rows = self._rows.join(looked, on="station").filter(pl.col("number") < pl.col("seen"))
        parts = [rows.select(_BLOCKS), *([] if more is None else [more.select(_BLOCKS)])]
        return blocks(pl.concat(parts), _ASSUMED)

    def _portfolio(self, more: pl.DataFrame | None) -> Portfolio:
        if (more is None) not in self._fitted:
            found = self._blocks(self.uniform(2), more)
            self._fitted[more is None] = fit_portfolio(found, self.told, _ASSUMED)
        return self._fitted[more is None]

    def uniform(self, visits: int) -> Visits:
        """Return the same number of visits of every station."""
        return dict.fromkeys(self.stations, visits)

    def chosen(self, most: float) -> Iterator[tuple[float, Visits, Planned]]:
        """Yield visits per station, visits and plan, from one visit each on as the plan asks.

        Each round visits the stations worth most, an eighth of all, once; up to `most` a station.
        """
        visits = dict(self.uniform(1))
        step = max(1, len(visits) // 8)
        for _ in count():
            found = self.planned(visits)
            spent = sum(visits.values()) / len(visits)
            yield spent, dict(visits), found
            asked = [
                (-one.worth, store.stations[one.station])
                for store in found.stores.values()
                for one in store.outlook.asked
                if visits[store.stations[one.station]] < MOST_VISITS
            ]
            left = round(most * len(visits)) - sum(visits.values())
            if not asked or left <= 0:
                return
            for _, station in sorted(asked)[: min(step, left)]:
                visits[station] += 1

    def much_more(self) -> pl.DataFrame:
        """Return 2,000 readings more of the permitted channels, of ten visits at other times."""
        much = replace(self.setting, readings=2000, visits=10)
        readings = chain(much, self.seed, survey=1).readings
        return folded(readings.filter(pl.col("channel").is_in(PERMITTED)))


def _numbered(made: Chain, seed: int) -> pl.DataFrame:
    """Return the readings with the number of their visit, in an order drawn for each store."""
    rows = folded(made.readings).with_columns(pl.col("scanned_at").dt.date().alias("day"))
    days = rows.select("store", "day").unique().sort("store", "day")
    rng = np.random.default_rng(seed)
    orders = [rng.permutation(len(part)) for _, part in days.group_by("store", maintain_order=True)]
    return rows.join(
        days.with_columns(pl.Series("number", np.concatenate(orders))), on=["store", "day"]
    )


def _stores(joined: pl.DataFrame, seed: int, portfolio: Portfolio) -> Iterator[tuple[str, Store]]:
    rng = np.random.default_rng(seed)
    wanted = joined.filter(pl.col("channel").is_in(PERMITTED)).sort(SERIES)
    visit = ScanVisit(READINGS, portfolio.correlation)
    for (name,), part in wanted.group_by("store", maintain_order=True):
        stations = tuple(part["station"].unique(maintain_order=True))
        stakes = _stakes(_store(part, len(stations), rng, OWN_COST))
        decision = decide(stakes, TERMS)
        prospects = Prospects(stakes, decision.choice, TERMS, visit, seed=str(name))
        (outlook,) = outlooks(prospects, [range(len(stations))], LIMIT)
        yield str(name), Store(stations, stakes, decision, outlook)


def changed_by(before: Store, after: Store) -> float:
    """Return by how much the plan made later is better than the one before, in its own costs."""
    return after.stakes.cost(before.decision.choice) - after.stakes.cost(after.decision.choice)
