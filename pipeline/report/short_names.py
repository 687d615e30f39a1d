"""Short names by which a drawing and its table call the same station."""

from collections.abc import Mapping, Sequence

_LONGEST = 5
_SEPARATORS = "-_/. :"


def short_names(stations: Sequence[str]) -> Mapping[str, str]:
    """Return a short name of each station, unique in the store.

    What all names begin with is left out where that leaves short names; else they are numbered.
    """
    endings = _endings(stations)
    if all(0 < len(ending) <= _LONGEST for ending in endings):
        return dict(zip(stations, endings, strict=True))
    return {station: str(number) for number, station in enumerate(stations, start=1)}


def _endings(stations: Sequence[str]) -> list[str]:
    """Return the names without what they share up to the last separator."""
    first, last = min(stations, default=""), max(stations, default="")
    alike = (i for i, (a, b) in enumerate(zip(first, last, strict=False)) if a != b)
    shared = first[: next(alike, len(first))]
    cut = max((shared.rfind(separator) for separator in _SEPARATORS), default=-1) + 1
    return [station[cut:] for station in stations]
