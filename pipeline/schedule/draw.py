"""The draw that decides which stores go first, so that those to come can be compared with them.

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

from pipeline.schedule.records import StoreJob
from pipeline.settings import Deadline, ScheduleRules
from pipeline.tables.schedule import WaveDraw

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
