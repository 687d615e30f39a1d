"""The schedule against the assignment problem, which a reference library solves to the end."""

import random
from dataclasses import replace
from datetime import date, datetime, time, timedelta

import numpy as np
import pytest
from schedule_portfolios import positions
from scipy.optimize import linear_sum_assignment

from pipeline.schedule.records import StoreJob
from pipeline.schedule.stores import schedule_stores
from pipeline.settings import Freeze, Team, Teams, Wave, Window, load_settings

FIRST = date(2026, 10, 5)


@pytest.mark.parametrize(("seed", "stores", "nights"), [(1, 8, 10), (2, 25, 20), (3, 40, 60)])
def test_one_store_a_night_is_an_assignment_problem(seed: int, stores: int, nights: int) -> None:
    """With one team of one store a night the best schedule is the best assignment.

    H. W. Kuhn, "The Hungarian method for the assignment problem", 1955; solved by
    scipy.optimize.linear_sum_assignment. Freezes of single stores make its holes.
    """
    dice = random.Random(seed)
    shut = {
        (store, night) for store in range(stores) for night in range(nights) if dice.random() < 0.6
    }
    jobs = [
        StoreJob(
            f"S{n:02}",
            "N",
            None,
            None,
            "Europe/Berlin",
            time(7),
            time(21),
            positions(1 + n % 4),
            round(dice.expovariate(1 / 100), 2) + 0.01,
        )
        for n in range(stores)
    ]
    shipped = load_settings().schedule
    rules = replace(
        shipped,
        work=replace(shipped.work, nights=nights),
        windows=replace(shipped.windows, default=Window(time(22), time(5), tuple(range(7)))),
        teams=Teams((Team("T", "N", 1, 360, tuple(range(7))),), 1, 1, 1, (0,)),
        waves=(Wave("all", 1, 1, 1, ()),),
        freezes=tuple(_night_shut(store, night) for store, night in sorted(shut)),
    )
    worth = np.array(
        [
            [
                0
                if (store, night) in shut
                else round(job.benefit * 100) * (rules.work.benefit_days - night)
                for night in range(nights)
            ]
            for store, job in enumerate(jobs)
        ]
    )

    found = schedule_stores(jobs, rules, FIRST)

    rows, columns = linear_sum_assignment(worth, maximize=True)
    assert round(found.benefit * 100) == int(worth[rows, columns].sum())
    assert found.optimal


def _night_shut(store: int, night: int) -> Freeze:
    noon = datetime.combine(FIRST + timedelta(days=night), time(12))
    return Freeze(noon, noon + timedelta(days=1), "shut", store=f"S{store:02}")
