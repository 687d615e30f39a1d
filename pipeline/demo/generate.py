"""Make a chain from a seed: pure, the same records for the same seed on any day."""

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from itertools import chain as joined
from typing import TypeVar

from pipeline.demo import observe
from pipeline.demo.chain import DEMO_STORES, SEED, SNAPSHOTS, plan_of
from pipeline.demo.layout import site_of
from pipeline.demo.records import Fault, Portfolio, Site, StoreSeen

Row = TypeVar("Row")


def generate(
    seed: int = SEED, stores: int = len(DEMO_STORES), faults: Sequence[Fault] = ()
) -> Portfolio:
    """Return what the exports of a chain say, with the given faults in it.

    The first twelve stores are the demo's, further ones are drawn. Without faults no two
    stations in earshot share a channel where the store's channels suffice, and every value
    is in order.
    """
    sites = sites_of(seed, stores)
    for fault in faults:
        if fault.on_sites is not None:
            sites = fault.on_sites(sites)
    portfolio = _observed(seed, sites)
    for fault in faults:
        if fault.on_portfolio is not None:
            portfolio = fault.on_portfolio(portfolio)
    return portfolio


def sites_of(seed: int, stores: int) -> tuple[Site, ...]:
    """Return the stores as built, before anything is measured."""
    sites, addresses = [], 0
    for number in range(stores):
        plan = plan_of(seed, number)
        habit = 0.0 if number < len(DEMO_STORES) else 0.25
        sites.append(site_of(seed, plan, addresses, number, habit))
        addresses += plan.stations
    return tuple(sites)


def _observed(seed: int, sites: tuple[Site, ...]) -> Portfolio:
    def every(rows: Callable[[int, Site, date], Iterator[Row]]) -> tuple[Row, ...]:
        return tuple(joined.from_iterable(rows(seed, s, day) for day in SNAPSHOTS for s in sites))

    return Portfolio(
        seed=seed,
        stores=tuple(StoreSeen(site.plan, day) for day in SNAPSHOTS for site in sites),
        stations=every(observe.stations_seen),
        scans=every(observe.scans),
        labels=every(observe.labels),
        wifi=every(observe.wifi),
        heard=every(observe.heard),
    )
