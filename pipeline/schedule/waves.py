"""Which store belongs to which wave, and what a wave must reach before the next one opens."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

from pipeline.schedule.records import Gate, WaveResult
from pipeline.settings import Wave

_ROUNDING = 1e-9  # a share of 0.3 of 10 stores is 3 stores


@dataclass(frozen=True, slots=True)
class Candidate:
    """A store that can be placed, as far as the order of waves goes."""

    store: str
    units: int  # benefit
    due: date | None  # its deadline, where that lies among the nights
    wave: str | None = None  # the one it was put in before
    urgent: bool = False  # its work settles what must not go on
    place: float = 0.0  # drawn, 0..1


@dataclass(frozen=True, slots=True)
class RegionWaves:
    """The waves of one region."""

    wave_of: Mapping[str, int]  # by store
    gates: tuple[Gate, ...]  # of every wave
    standing: tuple[tuple[int, int, int], ...]  # of every wave: its stores, those verified, needed
    open_wave: int  # the last one that may be worked on for certain


def region_waves(
    candidates: Sequence[Candidate], waves: Sequence[Wave], results: Sequence[WaveResult]
) -> RegionWaves:
    """Divide the stores of one region into waves.

    Each wave is filled up to its share of all the region's stores, those already done included.
    Stores put in it before and stores it names come first, then urgent ones, then those with a
    deadline, then those drawn first or, where nobody drew, with the most benefit. It opens the
    next wave once the required share of its stores is verified.

    Args:
        candidates: the region's stores that still have work.
        waves: in order; the last one reaches all stores.
        results: of this region.
    """
    done = {result.wave: (result.stores, result.verified) for result in results}
    total = len(candidates) + sum(stores for stores, _ in done.values())
    wave_of = _given(candidates, waves)
    waiting = [one.store for one in sorted(candidates, key=_order) if one.store not in wave_of]
    done_so_far = 0
    for number, wave in enumerate(waves):
        done_so_far += done.get(wave.name, (0, 0))[0]
        turned = done_so_far + sum(own <= number for own in wave_of.values())
        room = max(0, ceil(wave.up_to * total - _ROUNDING) - turned)
        last = number == len(waves) - 1
        taken = waiting if last else waiting[:room]
        waiting = waiting[len(taken) :]
        wave_of.update(dict.fromkeys(taken, number))
    return _region(wave_of, waves, done)


def _region(
    wave_of: Mapping[str, int], waves: Sequence[Wave], done: Mapping[str, tuple[int, int]]
) -> RegionWaves:
    gates, standing = [], []
    for number, wave in enumerate(waves):
        stores, verified = done.get(wave.name, (0, 0))
        size = stores + sum(own == number for own in wave_of.values())
        asked = ceil(wave.verified_share * size - _ROUNDING)
        gates.append(Gate(max(0, asked - verified), wave.wait_days))
        standing.append((size, verified, asked))
    shut = [number for number, gate in enumerate(gates) if gate.need > 0]
    open_wave = shut[0] if shut else len(waves) - 1
    return RegionWaves(wave_of, tuple(gates), tuple(standing), open_wave)


def _given(candidates: Sequence[Candidate], waves: Sequence[Wave]) -> dict[str, int]:
    """Return the stores whose wave is settled: what was decided before stands above the rules."""
    settled = {
        one.store: number
        for one in candidates
        for number, wave in enumerate(waves)
        if one.store in wave.stores
    }
    number_of = {wave.name: number for number, wave in enumerate(waves)}
    for one in candidates:
        if one.wave in number_of:
            settled[one.store] = number_of[one.wave]
    return settled


def _order(one: Candidate) -> tuple[bool, date, float, int, str]:
    return (not one.urgent, one.due or date.max, one.place, -one.units, one.store)
