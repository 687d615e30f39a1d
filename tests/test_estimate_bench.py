"""The estimator against simulated truth: a slice by default, the whole table when slow.

Seeds 1 to 4 were used while developing. 101, 102 and 103 were not.
"""

from dataclasses import fields, replace

import numpy as np
import pytest
from estimate_harness import Measured, claimed_and_scanned_anew, measured
from simulate.setting import SETTINGS, Setting

HELD_BACK = (101, 102, 103)
NULL = Setting("null chain", null=0.1, stores=20)
BY_NAME = {setting.name: setting for setting in SETTINGS}


def _mean(setting: Setting, seeds: tuple[int, ...]) -> Measured:
    each = [measured(setting, seed) for seed in seeds]
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


@pytest.mark.slow
@pytest.mark.parametrize("setting", SETTINGS, ids=lambda s: s.name)
def test_every_setting(setting: Setting, capsys: pytest.CaptureFixture[str]) -> None:
    """Bias, coverage, moves and regret of seeds that were not used while developing.

    Two measures are held to less than was aimed at. Regret: the 90 % chance asked of a move costs
    up to a tenth of a point where readings are many (without it estimates beat the bound in all
    settings tried). Harm: with 10 readings or fewer, perfect knowledge too is near 5 %.
    """
    found = _mean(setting, HELD_BACK)
    with capsys.disabled():
        print(f"\n{setting.name:32s} {_line(found)}")  # noqa: T201 - the table is the point
    if setting.stores == 1:
        return  # one store's air is what it is: its seeds do not average
    assert abs(found.bias) <= (1.0 if setting.readings >= 60 else 1.5)
    assert 85 <= found.covered <= 95.5
    if setting.visits > 1:
        assert found.covered_busy >= 80
    assert found.under_one < 15
    assert found.harmed < (3 if setting.readings >= 60 else 6)
    assert found.regret <= found.regret_today + 0.12


def _line(m: Measured) -> str:
    return (
        f"bias {m.bias:+.2f} (bound {m.bound_bias:+.1f}) error {m.error:.1f} "
        f"covers {m.covered:.0f}/{m.covered_busy:.0f} width {m.width:.1f} "
        f"planned {m.planned_bias:+.1f} regret {m.regret:.2f} (bound {m.regret_today:.2f}) "
        f"moved {m.moved:.0f} under one {m.under_one:.0f} harm {m.harmed:.1f} kept {m.kept:.0f}"
    )


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
