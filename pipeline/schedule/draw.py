"""Waves: the draw that decides which stores go first, and what a wave must reach before the next.

Stores are drawn within strata: those alike in urgency and deadline, in equal parts by expected
benefit. A ticket is made of the seed and the store's key alone, so anybody can draw again. Tickets
decide which wave takes a store, and its night within the wave as far as windows and teams allow.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from hashlib import sha256
from itertools import groupby
from math import ceil

from pipeline.schedule.records import Gate, StoreJob, WaveResult
from pipeline.settings import Deadline, ScheduleRules, Wave
from pipeline.tables.changes import WaveDraw

DRAWN = "drawn"
_STRATA_MOST = 4
_WEIGHT_LEAST, _WAVE_RATIO = 100, 8
_WAVES_APART = 6  # more would count stores beyond what solvers reckon with exactly


@dataclass(frozen=True, slots=True)
class Lot:
    """What new tickets are made of."""

    seed: str  # the name of the run
    as_of: date
    kept: Sequence[WaveDraw] = ()


def strictest(job: StoreJob, deadlines: Iterable[Deadline]) -> Deadline | None:
    """Return the earliest deadline of a store."""
    dues = [
        deadline
        for deadline in deadlines
        if deadline.region in {None, job.region} and deadline.store in {None, job.store}
    ]
    return min(dues, key=lambda deadline: (deadline.by, deadline.reason), default=None)


def draw(jobs: Sequence[StoreJob], rules: ScheduleRules, lot: Lot) -> tuple[WaveDraw, ...]:
    """Return the ticket of every store with work, and those kept of others, by store.

    A ticket is kept once made. One of a store that the rules file names for a wave has no stratum,
    since chance has no say in it. Until a store is in a wave for good, `drawn` follows the rules.
    """
    named = {store for wave in rules.waves for store in wave.stores}
    by_chance = rules.work.order == DRAWN
    found = {ticket.store: ticket for ticket in lot.kept}
    for region in sorted({job.region for job in jobs}):
        own = [job for job in jobs if job.region == region]
        parts = min(_STRATA_MOST, max(1, ceil(rules.waves[0].up_to * len(own))))
        strata = _strata([job for job in own if job.store not in found], rules.deadlines, parts)
        for store, alike in strata.items():
            ticket = sha256(f"{lot.seed}\n{store}".encode()).hexdigest()[:16]
            found[store] = WaveDraw(
                store, region, alike, ticket, lot.seed, drawn=by_chance, drawn_on=lot.as_of
            )
        for job in own:
            if job.wave is None:
                stratum = None if job.store in named else found[job.store].stratum
                found[job.store] = replace(found[job.store], drawn=by_chance, stratum=stratum)
    return tuple(found[store] for store in sorted(found))


def _strata(jobs: Sequence[StoreJob], deadlines: Sequence[Deadline], parts: int) -> dict[str, str]:
    """Return the stratum of each store of a region."""

    def alike(job: StoreJob) -> str:
        due = strictest(job, deadlines)
        return f"{'urgent, ' * job.urgent}{f'due {due.by}, ' if due else ''}"

    found = {}
    ordered = sorted(jobs, key=lambda job: (alike(job), -job.benefit, job.store))
    for group, members in groupby(ordered, key=alike):
        listed = list(members)
        for place, job in enumerate(listed):
            found[job.store] = f"{group}benefit {place * parts // len(listed) + 1} of {parts}"
    return found


def weights(tickets: Iterable[WaveDraw], later: int) -> Mapping[str, int]:
    """Return what a day sooner counts for the stores of a wave: early tickets most, in one ratio.

    So nights follow the draw, and neither benefit nor size. `later` is how many waves follow: even
    the last store of a wave counts as much as the first of the next.
    """
    later = min(later, _WAVES_APART)
    return {
        store: round(_WEIGHT_LEAST * _WAVE_RATIO ** (later + 1 - place))
        for store, place in _spread(tickets).items()
    }


def places(draws: Iterable[WaveDraw], waiting: Iterable[str]) -> Mapping[str, float]:
    """Return the place of each waiting store, 0..1: every stratum is spread over the whole.

    Those that nobody drew are left out: they go by benefit.
    """
    waiting = set(waiting)
    return _spread(one for one in draws if one.drawn and one.store in waiting)


def _spread(draws: Iterable[WaveDraw]) -> dict[str, float]:
    strata = defaultdict(list)
    for one in draws:
        strata[one.region, one.stratum].append(one)
    found = {}
    for own in strata.values():
        for rank, one in enumerate(sorted(own, key=lambda one: one.ticket)):
            found[one.store] = (rank + 0.5) / len(own)
    return found


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
