"""The auditor's sample: its size, its draw and its bound, against sums and an independent library.

Clopper, C. J. and Pearson, E. S. (1934), The use of confidence or fiducial limits illustrated in
the case of the binomial, Biometrika 26, 404-413. Sizes of 59 and 149 for no deviation at 5 % and
2 %: common practice of auditors, recomputed here from the binomial.
"""

from collections import Counter
from math import comb

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, hypergeom

from pipeline.estimate.sampling import (
    SampleStation,
    draw,
    most_astray,
    most_astray_of_all,
    size_for,
)


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


@given(
    st.lists(
        st.tuples(st.integers(1, 40), st.floats(0, 1), st.floats(0.05, 1)), min_size=1, max_size=4
    )
)
def test_the_bound_holds_whatever_the_regions_are_like(
    regions: list[tuple[int, float, float]],
) -> None:
    """Over all outcomes, weighed by their exact chances, it fails once in twenty at most."""
    counts = [(size, round(size * share), int(size * drawn)) for size, share, drawn in regions]
    chances = np.ones(1)
    for size, astray, looked in counts:
        one = hypergeom.pmf(np.arange(looked + 1), size, astray, looked)
        chances = np.convolve(chances, one)
    truth = sum(astray for _, astray, _ in counts) / sum(size for size, _, _ in counts)
    asked = [(size, looked) for size, _, looked in counts]
    fails = sum(
        chance
        for found, chance in enumerate(chances)
        if most_astray_of_all(found, asked) < truth - 1e-9
    )
    assert fails <= 0.05 + 1e-9


def test_rounding_widens_the_bound_a_little() -> None:
    """In proportion it is the plain bound; a region nobody looked at counts as astray in whole."""
    plain = most_astray(0, 59)
    assert most_astray_of_all(0, [(590, 59)]) == pytest.approx(plain)
    assert most_astray_of_all(0, [(400, 40), (190, 19)]) == pytest.approx(plain)
    assert plain < most_astray_of_all(0, [(404, 40), (186, 19)]) < 1.02 * plain
    assert most_astray_of_all(0, [(590, 59), (10, 0)]) == pytest.approx((590 * plain + 10) / 600)
    assert most_astray_of_all(0, [(5, 0)]) == most_astray_of_all(4, [(50, 5)]) == 1.0


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
