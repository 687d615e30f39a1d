"""The auditor's sample: its size, its draw and its bound, against sums and an independent library.

Clopper, C. J. and Pearson, E. S. (1934), The use of confidence or fiducial limits illustrated in
the case of the binomial, Biometrika 26, 404-413. Sizes of 59 and 149 for no deviation at 5 % and
2 %: common practice of auditors, recomputed here from the binomial.
"""

from collections import Counter
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from pipeline.audit.sampling import SampleStation, draw, most_astray, size_for


def at_most(deviations: int, looked_at: int, share: float) -> float:
    """Return the chance of so few deviations, summed term by term."""
    return sum(
        comb(looked_at, k) * share**k * (1 - share) ** (looked_at - k)
        for k in range(deviations + 1)
    )


@pytest.mark.parametrize(("share", "size"), [(0.05, 59), (0.02, 149), (0.1, 29), (0.01, 299)])
def test_the_size_is_the_smallest_that_shows_it(share: float, size: int) -> None:
    """With one station fewer the chance of seeing none would be over one in twenty."""
    assert size_for(share) == size
    assert (1 - share) ** size <= 0.05 < (1 - share) ** (size - 1)
    assert most_astray(0, size) <= share < most_astray(0, size - 1)


@given(st.integers(1, 400), st.data())
def test_the_bound_is_that_of_clopper_and_pearson(looked_at: int, data: st.DataObject) -> None:
    """At the bound, so few are found in one sample of twenty; another library says the same."""
    deviations = data.draw(st.integers(0, looked_at - 1))
    bound = most_astray(deviations, looked_at)

    assert at_most(deviations, looked_at, bound) == pytest.approx(0.05, rel=1e-6)
    two_sided = binomtest(deviations, looked_at).proportion_ci(0.90, method="exact")
    assert bound == pytest.approx(two_sided.high, rel=1e-9)
    assert bound < most_astray(deviations + 1, looked_at)


def test_what_cannot_be_is_refused() -> None:
    """More deviations than stations, and shares outside 0 to 1, are errors of the caller."""
    for deviations, looked_at in ((1, 0), (-1, 5), (6, 5)):
        with pytest.raises(ValueError, match="looked at"):
            most_astray(deviations, looked_at)
    for share in (0.0, 1.0, -0.1):
        with pytest.raises(ValueError, match="not between"):
            size_for(share)
    assert most_astray(0, 0) == most_astray(3, 3) == 1.0


SIZES = st.dictionaries(st.sampled_from("NESW"), st.integers(1, 60), min_size=1)


def chain(sizes: dict[str, int]) -> list[SampleStation]:
    """Return the stations of a chain with so many in each region, three to a store."""
    return [
        SampleStation(region, f"{region}{n // 3}", f"B{n}")
        for region, count in sizes.items()
        for n in range(count)
    ]


@given(SIZES, st.integers(0, 200), st.text(max_size=5))
def test_a_draw_is_spread_over_regions_and_repeats(
    sizes: dict[str, int], size: int, seed: str
) -> None:
    """Every region has its share to within one station; order and run change nothing."""
    stations = chain(sizes)
    drawn = draw(stations, size, seed)

    assert len(drawn) == len(set(drawn)) == min(size, len(stations))
    for region, count in Counter(one.region for one in drawn).items():
        assert abs(count - min(1, size / len(stations)) * sizes[region]) < 1
    assert draw(stations[::-1], size, seed) == drawn


def test_every_station_has_the_same_chance() -> None:
    """Over two thousand seeds each of 30 stations is drawn 10 times in 30, within five sigma."""
    stations = chain({"N": 30})
    drawn = Counter(one for seed in range(2000) for one in draw(stations, 10, f"seed {seed}"))

    sigma = (2000 * (1 / 3) * (2 / 3)) ** 0.5
    assert all(abs(drawn[one] - 2000 / 3) < 5 * sigma for one in stations)
