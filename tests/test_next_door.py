"""Stores that hear one another through a wall: planned together, each told in its own report."""

from pathlib import Path

import pytest
from joint_stores import Site, chain, summed
from test_begin import opened, request_of

from pipeline.plan.decide import PLAIN
from pipeline.plan.explain import Case
from pipeline.plan.store import plan_store
from pipeline.plan.stores import case_of

EXACT = 2e-6  # costs are rounded to nine digits, pair by pair, and chances to six


def check_sites(folder: Path, seed: int, count: int) -> int:
    """Hold the plans of random sites against brute force; return how many are planned together."""
    files, alone, sites = chain(seed, count)
    cases: dict[str, Case] = {}
    for database, settings in opened(request_of(folder / "alone", alone)):
        for site in sites:
            for store in site.stores:
                case = case_of(database, settings, store)
                assert case is not None
                assert not case.homes
                cases[store] = case
    together = 0
    for database, settings in opened(request_of(folder / "joint", files)):
        ask = database.connection.execute
        joint = dict(ask("select store, joint from store_joined").fetchall())
        told = {
            (store, station): channel
            for store, station, channel in ask(
                "select store, station, channel_planned from station_plan"
            ).fetchall()
        }
        cost = dict(ask("select store, cost from plan_proof").fetchall())
        for site in sites:
            together += _same(site, joint)
            table = summed(site, cases)
            case = case_of(database, settings, site.stores[0])
            assert case is not None
            if not _same(site, joint):
                continue
            free = plan_store(case, 200_000, PLAIN)
            assert free.proof.cost == pytest.approx(table.least(), abs=EXACT), site
            channels = [told[key] for key in site.stations]
            assert sum(cost[store] for store in site.stores) == pytest.approx(
                table.of(channels), abs=EXACT
            )
    return together


def _same(site: Site, joint: dict[str, str]) -> bool:
    return len({joint.get(store, store) for store in site.stores}) == 1


def test_plans_of_random_sites_cost_what_brute_force_finds(tmp_path: Path) -> None:
    """The quick slice of the run below."""
    assert check_sites(tmp_path, 3, 5) >= 3


@pytest.mark.slow
def test_plans_of_150_random_sites_cost_what_brute_force_finds(tmp_path: Path) -> None:
    """Two or three stores, up to seven stations, heard at levels or of one site, or both."""
    assert check_sites(tmp_path, 4, 150) >= 100
