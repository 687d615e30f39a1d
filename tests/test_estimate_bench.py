"""The estimator against simulated truth: a slice by default, the whole table when slow.

Seeds 1 to 4 were used while developing the estimator (401 to 403 for one store alone), 201 to 203
while developing the decision on moves, 11 to 14 for the last change of it. 901, 902 and 903, and
501, 502 and 503, were not.
"""

from dataclasses import fields, replace

import numpy as np
import polars as pl
import pytest
from estimate_harness import (
    Maker,
    Measured,
    claimed_and_scanned_anew,
    estimated,
    judged,
    measured,
    worst_to_best,
)
from simulate.chain import chain
from simulate.setting import SETTINGS, Setting
from simulate.sweeps import swept

HELD_BACK = (907, 908, 909)
MISSED: dict[str, dict[str, float]] = {
    "5 readings, one visit": {"harmed": 4.8, "kept": 94.9},
    "10 readings, one visit": {"harmed": 4.5},
    "300 readings, three visits": {"regret": 0.07},
    "2,000 readings, ten visits": {"regret": 0.07},
    "60, two visits, no Wi-Fi survey": {"regret": 0.07},
    "60 maxima of 138 ms, two visits": {"bias": 1.8},
}
"""Bounds of moves that harm and of good moves kept (%), of regret beyond that of the plan on bounds
and of bias (points), where what was aimed at is not reached: 3, 95, 0 and 1."""
SWEPT = (1, 2, 3)
MISSED_SWEPT: dict[str, tuple[float, float, float]] = {
    "60 within 1.2 s": (1.0, 84.0, 80.0),
    "60 maxima of 138 ms, two visits": (2.3, 77.0, 71.0),
    "60 means of 138 ms, two visits": (1.0, 78.0, 80.0),
    "60, two visits, no Wi-Fi survey": (1.0, 84.0, 80.0),
    "60, two visits at night": (1.3, 85.0, 80.0),
}
"""Bounds of bias (points) and of what intervals cover (%), all and truly busy, on the second chain
where less is reached than was aimed at: 1 point (1.5 of few readings), 85 and 80 %."""
LONE_HELD_BACK = (501, 502, 503)
MISSED_LONE = {
    "60, two visits, no Wi-Fi survey": (85.0, 77.0),
    "60, two visits, wild load": (84.5, 66.5),
}
"""What intervals of one store alone cover at least (%), of all and of truly busy channels."""
NULL = Setting("null chain", null=0.1, stores=20)
BY_NAME = {setting.name: setting for setting in SETTINGS}


def _mean(setting: Setting, seeds: tuple[int, ...], made_by: Maker = chain) -> Measured:
    each = [measured(setting, seed, made_by) for seed in seeds]
    means = {f.name: float(np.mean([getattr(m, f.name) for m in each])) for f in fields(Measured)}
    return Measured(**means)


@pytest.mark.parametrize("stores", [20, pytest.param(30, marks=pytest.mark.slow)])
def test_two_visits_of_thirty_are_near_the_truth(stores: int) -> None:
    """A quick slice: one small chain, its bounds a little wider for it."""
    found = measured(replace(BY_NAME["60 readings, two visits"], stores=stores), 1)
    assert abs(found.bias) < 2
    assert found.error < 5
    assert found.bound_bias < -4  # what was printed before
    assert 85 <= found.covered <= 98
    assert found.covered_busy > 80
    assert found.kept > 90
    assert found.harmed < 5


@pytest.mark.parametrize("stores", [8, pytest.param(12, marks=pytest.mark.slow)])
def test_where_nothing_can_be_gained_hardly_anything_moves(stores: int) -> None:
    """Every channel is 10 % busy: at most one station in ten of one small chain is moved."""
    moved, low, high = claimed_and_scanned_anew(replace(NULL, stores=stores), 1)
    assert moved <= 10
    assert low <= high


@pytest.mark.parametrize(
    ("seed", "stores"),
    [(1, 4), *(pytest.param(s, 8, marks=pytest.mark.slow) for s in HELD_BACK)],
)
def test_maxima_of_a_null_chain_claim_nothing(seed: int, stores: int) -> None:
    """Every channel is 10 % busy; all move from the channel that looks worst to the best looking.

    Judged by later scans of both channels, nothing is claimed: how long bursts are and how far
    dwells stray is not known, but shares are as far off before as after. No station is moved by
    the plan.
    """
    setting = replace(NULL, stores=stores, statistic="max", dwell_ms=138.24)
    promised, claimed = worst_to_best(setting, seed)
    assert abs(claimed) < 0.5
    assert promised < 2
    assert abs(measured(setting, seed).bias) < 1.5
    moved, low, high = claimed_and_scanned_anew(setting, seed)
    assert moved <= 5
    assert low <= 0 <= high


@pytest.mark.slow
@pytest.mark.parametrize("setting", SETTINGS, ids=lambda s: s.name)
def test_every_setting(setting: Setting, capsys: pytest.CaptureFixture[str]) -> None:
    """Bias, coverage, moves and regret of seeds that were not used while developing.

    `MISSED` says where less is reached than was aimed at, and `docs/method.md` why.
    """
    found = _mean(setting, HELD_BACK)
    with capsys.disabled():
        print(f"\n{setting.name:32s} {_line(found)}")  # noqa: T201 - the table is the point
    if setting.stores == 1:
        return  # one store's air is what it is: its seeds do not average
    missed = MISSED.get(setting.name, {})
    aimed = 1.0 if setting.readings >= 60 else 1.5
    assert abs(found.bias) <= missed.get("bias", aimed)
    assert 85 <= found.covered <= 95.5
    if setting.visits > 1:
        assert found.covered_busy >= 80
    assert found.kept >= missed.get("kept", 95.0)
    assert found.under_one < 15
    assert found.harmed < missed.get("harmed", 3.0)
    assert found.regret <= found.regret_today + missed.get("regret", 0.005)


@pytest.mark.slow
@pytest.mark.parametrize("setting", [s for s in SETTINGS if s.stores > 1], ids=lambda s: s.name)
def test_every_setting_of_the_second_chain(
    setting: Setting, capsys: pytest.CaptureFixture[str]
) -> None:
    """Bias and coverage on chains nothing was chosen on but how far the dwells of maxima stray.

    Of moves there, `docs/method.md` says what is reached; none of it is worse than stated here.
    """
    found = _mean(setting, SWEPT, swept)
    with capsys.disabled():
        print(f"\n{setting.name:32s} {_line(found)}")  # noqa: T201 - the table is the point
    aimed = 1.0 if setting.readings >= 60 else 1.5
    bias, covers, covers_busy = MISSED_SWEPT.get(setting.name, (aimed, 85.0, 80.0))
    assert abs(found.bias) <= bias
    assert covers <= found.covered <= 95.5
    if setting.visits > 1:
        assert found.covered_busy >= covers_busy
    assert found.kept > 85
    assert found.harmed < 11
    assert found.under_one < 22.5


def test_two_visits_are_near_the_truth_of_the_second_chain() -> None:
    """A quick slice of the slow bench: one small chain."""
    found = measured(replace(BY_NAME["60 readings, two visits"], stores=10, days=7), 1, swept)
    assert abs(found.bias) < 3
    assert 80 <= found.covered <= 98
    assert found.kept > 85


def _line(m: Measured) -> str:
    return (
        f"bias {m.bias:+.2f} (bound {m.bound_bias:+.1f}) error {m.error:.1f} "
        f"covers {m.covered:.0f}/{m.covered_busy:.0f} width {m.width:.1f} "
        f"planned {m.planned_bias:+.1f} regret {m.regret:.2f} (bound {m.regret_today:.2f}) "
        f"moved {m.moved:.0f} under one {m.under_one:.0f} harm {m.harmed:.1f} kept {m.kept:.0f}"
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    "setting",
    [s for s in SETTINGS if s.visits > 1 and s.statistic == "single"],
    ids=lambda s: s.name,
)
def test_one_store_alone(setting: Setting, capsys: pytest.CaptureFixture[str]) -> None:
    """Stores each estimated from its own readings alone, 8 for each of three seeds held back.

    85 in 100 of all and 80 of truly busy channels were aimed at. One store cannot tell a wild load
    or an unusual day from its own few visits: `MISSED_LONE` says where less is reached.
    """
    lone = [
        estimated(replace(setting, stores=1), 100 * seed + at)
        for seed in LONE_HELD_BACK
        for at in range(8)
    ]
    bias, covered, covered_busy = judged(pl.concat(lone))
    with capsys.disabled():
        told = f"bias {bias:+.2f} covers {covered:.0f}/{covered_busy:.0f}"
        print(f"\none store, {setting.name:32s} {told}")  # noqa: T201 - the table is the point
    assert abs(bias) <= 1.5
    least, least_busy = MISSED_LONE.get(setting.name, (85.0, 80.0))
    assert least <= covered <= 97.5
    assert covered_busy >= least_busy


@pytest.mark.slow
def test_null_chains(capsys: pytest.CaptureFixture[str]) -> None:
    """At most 5 % of stations move, and what they gain is no different from nothing."""
    settings = [NULL, replace(NULL, readings=10, visits=1), replace(NULL, readings=300, visits=3)]
    runs = [
        (s.readings, *claimed_and_scanned_anew(s, seed)) for s in settings for seed in HELD_BACK
    ]
    with capsys.disabled():
        for readings, moved, low, high in runs:
            told = f"moved {moved:.1f} %, gain {low:+.1f} to {high:+.1f}"
            print(f"\nnull, {readings} readings: {told}")  # noqa: T201 - the table is the point
    assert np.mean([moved for _, moved, _, _ in runs]) <= 5
    assert sum(low <= 0 <= high for _, _, low, high in runs) >= len(runs) - 1
