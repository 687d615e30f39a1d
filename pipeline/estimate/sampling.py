"""How many stations to look at, which ones, and what was found says of all the others. Pure.

An auditor who looks at n stations and finds k that are not as agreed is 95 % sure that no more than
a certain share of all stations is not: the upper bound of Clopper and Pearson (1934), the share at
which k or fewer would be found in one of twenty such samples.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from math import ceil, floor, log, log1p

# Not scipy.stats, whose import takes a quarter of the time in which a command starts.
from scipy.special import betaincinv

SURE = 0.95
"""How sure a sample's bound is."""


@dataclass(frozen=True, slots=True, order=True)
class SampleStation:
    """A station that may be drawn."""

    region: str
    store: str
    station: str


def size_for(share: float, sure: float = SURE) -> int:
    """Return how many stations, none of them astray, show that at most this share is.

    Raises:
        ValueError: the share is not between 0 and 1.
    """
    if not 0 < share < 1:
        raise ValueError(f"a share of {share} is not between 0 and 1")
    return ceil(log(1 - sure) / log1p(-share))


def most_astray(deviations: int, looked_at: int, sure: float = SURE) -> float:
    """Return the largest share, 0..1, that so few deviations leave possible.

    Raises:
        ValueError: there are more deviations than stations looked at, or a count is negative.
    """
    if not 0 <= deviations <= looked_at:
        raise ValueError(f"{deviations} deviations of {looked_at} looked at")
    if deviations == looked_at:
        return 1.0
    return float(betaincinv(deviations + 1, looked_at - deviations, sure))


def most_astray_of_all(deviations: int, regions: Iterable[tuple[int, int]]) -> float:
    """Return the largest share, 0..1, of all stations that a sample by region leaves possible.

    The bound above is that of the regions' shares weighed by what was looked at in each: the number
    of deviations then strays no more than it does with one share in all (Hoeffding 1956, theorem 5,
    from memory; it asks for one deviation fewer than expected). Sizes are whole numbers, and not
    every station was found, so that the weights are not quite those of the regions. So the bound is
    moved to where all of it lies in the regions looked at least, in which it weighs most.

    Args:
        deviations: found in all regions together.
        regions: of each, how many stations it has and how many were looked at.
    """
    counts = sorted(regions, key=lambda one: (one[1] / one[0] if one[0] else 1.0, one))
    looked_at, stations = sum(n for _, n in counts), sum(count for count, _ in counts)
    left = looked_at * most_astray(deviations, looked_at)
    if left < deviations + 1:
        return 1.0
    astray = 0.0
    for count, n in counts:
        part = min(1.0, left / n) if n else 1.0
        astray += part * count
        left -= part * n
    return min(1.0, astray / stations)


def draw(stations: Sequence[SampleStation], size: int, seed: str) -> tuple[SampleStation, ...]:
    """Return a sample, spread over the regions by their numbers of stations; all, if it asks more.

    A station's place in the draw is the SHA-256 of the seed and its name, so that anybody can draw
    it again, and a station more or less elsewhere changes little.
    """
    regions: dict[str, list[SampleStation]] = defaultdict(list)
    for station in sorted(stations):
        regions[station.region].append(station)
    shares = _shares({name: len(of) for name, of in regions.items()}, size)
    drawn = [
        station
        for name, of in regions.items()
        for station in sorted(of, key=lambda one: _place(one, seed))[: shares[name]]
    ]
    return tuple(sorted(drawn))


def _place(station: SampleStation, seed: str) -> str:
    said = f"{seed}\n{station.store}\n{station.station}"
    return sha256(said.encode("utf-8", "surrogatepass")).hexdigest()


def _shares(counts: dict[str, int], size: int) -> dict[str, int]:
    """Return how many of each region: in proportion, the largest remainders rounded up."""
    total = sum(counts.values())
    size = min(size, total)
    exact = {name: size * count / total for name, count in counts.items()}
    whole = {name: floor(share) for name, share in exact.items()}
    by_rest = sorted(exact, key=lambda name: (whole[name] - exact[name], name))
    for name in by_rest[: size - sum(whole.values())]:
        whole[name] += 1
    return whole
