"""Stores that hear one another through a wall: planned together, each told in its own report."""

import random
from collections.abc import Mapping
from dataclasses import replace
from itertools import product
from math import log1p
from pathlib import Path

import numpy as np
import pytest
from joint_stores import Site, chain, summed
from test_begin import opened, request_of
from test_plan_decide import TERMS, pair_of

from pipeline.plan.decide import PLAIN
from pipeline.plan.explain import Case
from pipeline.plan.joint import of_each
from pipeline.plan.read import case_of
from pipeline.plan.rows import EvidenceRow, StationToday, StoreRows, joint_rows, store_case
from pipeline.plan.sequence import order_by_store
from pipeline.plan.store import plan_store
from pipeline.settings import load_settings
from pipeline.tables.run import PermittedChannel
from pipeline.tables.survey import Earshot, EarshotNextDoor

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


def random_rows(chance: random.Random) -> StoreRows:
    """Return stores planned together as the database would give them, up to seven stations."""
    stores, left = "AB" if chance.random() < 0.7 else "ABC", 7
    parts: dict[str, StoreRows] = {}
    for at, store in enumerate(stores):
        size = chance.randint(1, min(4, left - len(stores) + at + 1))
        left -= size
        names = [f"S{number}" for number in range(size)]
        choices = sorted(chance.sample((11, 15, 20, 25, 26), chance.randint(3, 5)))
        parts[store] = StoreRows(
            store,
            stations=[_station(chance, store, name) for name in names],
            choices=[PermittedChannel(store, channel) for channel in choices],
            evidence=[
                _evidence(chance, store, name, channel)
                for name in names
                for channel in range(11, 27)
            ],
            heard=[
                Earshot(store, a, b, -70.0, 2.0, "measured", 9.0, *_hits(chance))
                for a in names
                for b in names
                if a != b and chance.random() < 0.7
            ],
        )
    keys = [(store, row.station) for store, part in parts.items() for row in part.stations]
    through = [
        EarshotNextDoor(*a, *b, -70.0, 2.0, "measured", *_hits(chance))
        for a in keys
        for b in keys
        if a[0] != b[0] and chance.random() < 0.6
    ]
    return joint_rows(" + ".join(stores), parts.values(), through)


def _station(chance: random.Random, store: str, name: str) -> StationToday:
    """Return a station; of five, one is still to be installed and has no channel."""
    weight = chance.choice((0.5, 1.0, 1.7))
    channel = chance.choice((11, 15, 18, 20)) if chance.random() < 0.8 else None
    kept = channel if chance.random() < 0.15 else None
    why = None if kept is None else "held"
    air_share = round(chance.uniform(0.01, 0.6), 6)
    return StationToday(
        store, name, channel, weight, air_share, kept, why, None, None, None, None, first=False
    )


def _evidence(chance: random.Random, store: str, name: str, channel: int) -> EvidenceRow:
    share = round(chance.choice((0.0, 0.01, 0.1, 0.4)) + chance.random() / 50, 6)
    cost = -log1p(-share)
    return EvidenceRow(
        store, name, channel, share, share, share, cost, 1.0, 9.0, 50.0, 50, False, "measured",
        None, None, 1.0, 9.0,
    )  # fmt: skip


def _hits(chance: random.Random) -> tuple[float, float, float]:
    first = round(chance.uniform(0.05, 1.0), 6)
    return first, round(first * chance.uniform(0, 0.5), 6), 0.0


def least_of(rows: StoreRows, limits: Mapping[str, float]) -> float:
    """Return the least cost of all choices, added up from the rows of the database alone."""
    stations = rows.stations
    permitted = {part.store: [one.channel for one in part.choices] for part in rows.parts}
    allowed = [[s.kept_on] if s.kept_on else permitted[s.store] for s in stations]
    grid = np.array(list(product(*allowed)))
    total = np.zeros(len(grid))
    cost = {(row.station, row.channel): row.cost for row in rows.evidence}
    for at, one in enumerate(stations):
        row = {c: one.weight * cost[one.station, c] for c in allowed[at] if c is not None}
        price = limits["price_per_move"] * (one.channel is not None)  # a first setting has none
        total += np.vectorize(row.__getitem__)(grid[:, at]) + price * (grid[:, at] != one.channel)
    place = {one.station: at for at, one in enumerate(stations)}
    for heard in rows.heard:
        a, b = place[heard.station], place[heard.neighbour]
        apart = np.abs(grid[:, a] - grid[:, b])
        hits = (heard.hit_co, heard.hit_adjacent, heard.hit_alternate)
        chance = np.select([apart == 0, apart == 1, apart == 2], hits, 0.0)
        total += stations[a].weight * -np.log1p(-stations[b].air_share * chance)
    return float(total.min())


def check_rows(seed: int, count: int) -> int:
    """Hold plans of random rows against brute force; return how many stations move in them."""
    limits, chance, moved = load_settings().limits, random.Random(seed), 0
    for _ in range(count):
        rows = random_rows(chance)
        case = store_case(rows, limits)
        found = plan_store(case, 200_000, PLAIN)
        assert found.proof.optimal
        assert found.proof.cost == pytest.approx(least_of(rows, limits), abs=EXACT)
        told = of_each(found, case)
        assert sum(one.proof.cost for one in told.values()) == pytest.approx(
            found.proof.cost, abs=EXACT
        )
        first = {row.station for row in rows.stations if row.channel is None}
        assert {move.station for move in found.moves if move.from_channel is None} == first
        for store, one in told.items():
            moved += len(one.moves)
            assert {row.store for row in one.stations} == {store}
            assert [move.position for move in one.moves] == list(range(1, len(one.moves) + 1))
    return moved


def test_joint_plans_cost_what_brute_force_finds() -> None:
    """The quick slice of the run below."""
    assert check_rows(1, 12) > 15


def test_each_store_that_is_visited_must_be_worth_it() -> None:
    """Two sure gains of 1.2 points are worth a visit in one store, and none in two stores."""
    air = {(n, c): ab for n in "AB" for c, ab in ((11, (330.0, 9670.0)), (15, (210.0, 9790.0)))}
    one = replace(pair_of((11, 11), air, hit=0.0), permitted=(11, 15))
    homes = {"A": ("X", "1"), "B": ("Y", "1")}
    two = replace(one, homes=homes, permitted_in={"X": (11, 15), "Y": (11, 15)})
    terms = replace(TERMS, per_visit=0.01)

    assert len(plan_store(one, 10_000, terms).moves) == 2
    assert plan_store(two, 10_000, terms).moves == ()
    assert len(plan_store(two, 10_000, replace(terms, per_visit=0.005)).moves) == 2


@pytest.mark.parametrize(("first", "stores"), [((), "YX"), ((0,), "XY")])
def test_a_store_is_changed_after_another(first: tuple[int, ...], stores: str) -> None:
    """X1 and X2 go where Y1 is today: Y makes room first, unless X has what must come first."""
    clash = [[9.0 * (a == b) for b in range(3)] for a in range(3)]
    two = {(0, 2): clash, (1, 2): clash}
    ends = ((0, 0, 1), (1, 1, 2))
    order = order_by_store([[1.0] * 3] * 3, two, ends, first, ["X", "X", "Y"])

    told = "".join(dict.fromkeys("XXY"[step.station] for step in order.steps))
    assert told == stores
    assert order.worst == (3.0 if stores == "YX" else 21.0)
    assert [step.to_choice for step in order.steps if step.station == 2] == [2]


@pytest.mark.slow
def test_joint_plans_of_300_sites_cost_what_brute_force_finds() -> None:
    """Two or three stores, up to seven stations, some of them bound, some to be installed."""
    assert check_rows(2, 300) > 300


@pytest.mark.slow
def test_plans_of_150_random_sites_cost_what_brute_force_finds(tmp_path: Path) -> None:
    """Two or three stores, up to seven stations, heard at levels or of one site, or both."""
    assert check_sites(tmp_path, 4, 150) >= 100
