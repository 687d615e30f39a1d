"""Labels promised to be rescued by a further place, against those rescued where all is known.

Seeds 0 to 2150, 20000 to 21600 and 30000 to 30400 were used while developing; these are others.
"""

import pytest
from simulate.shelves import exported, shelves

from pipeline.plan.cover import cover
from pipeline.settings import load_settings

LEAST_WEAK = 8
SLOW = pytest.mark.slow
Told = tuple[int, float, int, int, int]  # weak, promised, low, high, rescued


def promises(seeds: range, *, clusters: bool = False) -> list[Told]:
    """Return what is promised of each store's best place, and what comes of it."""
    limits, found = load_settings().limits, []
    for seed in seeds:
        store = shelves(seed, clusters=clusters)
        weak = int(store.weak.sum())
        said = cover(exported(store, seed), limits) if weak >= LEAST_WEAK else None
        if said is not None and said.places:
            one = said.places[0]
            true = store.rescued((one.floor, one.x_m, one.y_m), seed)
            found.append((weak, one.rescued, one.rescued_low, one.rescued_high, true))
    return found


def _summary(found: list[Told]) -> tuple[float, float]:
    """Return how often the interval holds the truth, and the mean of promised less rescued."""
    held = sum(low <= true <= high for _, _, low, high, true in found) / len(found)
    bias = sum((promised - true) / weak for weak, promised, _, _, true in found) / len(found)
    return held, bias


def test_some_promises_hold() -> None:
    """Of a few stores: most intervals hold the truth, and none promises more than is weak."""
    found = promises(range(9000, 9024))
    held, _ = _summary(found)
    assert held >= 0.85
    assert all(0 <= low <= promised <= high <= weak for weak, promised, low, high, _ in found)


def test_stations_in_a_narrow_row_have_cells_in_every_world() -> None:
    """A world may be narrower than a cell: labels then hang in the nearest."""
    assert promises(range(31418, 31419), clusters=True)


@SLOW
@pytest.mark.parametrize(("first", "clusters"), [(22000, False), (32000, True)])
def test_the_interval_holds_in_85_to_95_of_100(first: int, *, clusters: bool) -> None:
    """Over 600 stores not used while developing: labels evenly over the floor, and in a dozen."""
    held, bias = _summary(promises(range(first, first + 600), clusters=clusters))
    assert 0.85 <= held <= 0.95
    assert abs(bias) <= 0.05
