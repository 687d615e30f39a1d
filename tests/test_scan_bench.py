"""The survey plan on simulated chains: half the visits of a uniform survey, and a stop that holds.

The simulator imports nothing of the survey, the plan or the radio. Seeds 1, 2, 601 and 701 to
716 were used while developing; 637 to 648 were not.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from scan_harness import LIMIT, Planned, Survey, changed_by

from pipeline.plan.decide import Terms

HELD_BACK = tuple(range(637, 649))
UNIFORM = 4  # visits of each station
STORES = 34  # of each seed: 408 in all
_PRICE = Terms().per_visit


@dataclass(frozen=True)
class _Measured:
    """Regret in points by a uniform survey and by half its visits as chosen; visits a station.

    `settled` and `changed`: stores settled after two and four visits of each station, and after
    two as chosen, and how many of these 2,000 more readings change for more than the price.
    """

    uniform: float
    chosen: float
    spent: float
    settled: tuple[int, ...]
    changed: tuple[int, ...]


@cache
def _measured(seed: int, stores: int = STORES) -> _Measured:
    survey = Survey(seed, stores)
    *_, (spent, visits, chosen) = survey.chosen(UNIFORM / 2)
    surveys = (survey.uniform(UNIFORM // 2), survey.uniform(UNIFORM), visits)
    before = (survey.planned(surveys[0]), survey.planned(surveys[1]), chosen)
    more = survey.much_more()
    pairs = [
        _changes(one, survey.planned(seen, more)) for one, seen in zip(before, surveys, strict=True)
    ]
    settled, changed = zip(*pairs, strict=True)
    return _Measured(before[1].regret(), chosen.regret(), spent, settled, changed)


def _changes(before: Planned, after: Planned) -> tuple[int, int]:
    """Return how many stores were settled, and how many of these changed all the same.

    A change counts where the plan made later is better by more than `price_per_visit`, the prices
    of moves paid.
    """
    settled = [name for name, one in before.stores.items() if one.outlook.unsettled < LIMIT]
    gains = [changed_by(before.stores[name], after.stores[name]) for name in settled]
    return len(settled), sum(gain > _PRICE for gain in gains)


@pytest.mark.slow
def test_half_the_visits_reach_the_regret_of_a_uniform_survey() -> None:
    """Mean regret over 408 stores: two visits a station by the plan, four by rota."""
    found = [_measured(seed) for seed in HELD_BACK]
    assert all(one.spent <= UNIFORM / 2 for one in found)
    uniform = np.mean([one.uniform for one in found])
    assert np.mean([one.chosen for one in found]) <= uniform


@pytest.mark.slow
def test_what_is_settled_stays_as_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    """Of stores declared settled at most 5 % change by more than the price."""
    found = [_measured(seed) for seed in HELD_BACK]
    with capsys.disabled():
        for seed, one in zip(HELD_BACK, found, strict=True):
            print(f"\nseed {seed}: {one}")  # noqa: T201 - the table is the point
    settled, changed = (
        sum(sum(getattr(one, name)) for one in found) for name in ("settled", "changed")
    )
    assert settled >= 30
    assert changed <= 0.05 * settled
