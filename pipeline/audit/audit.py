"""The audit of a quarter, of any two days, and of a sample of stations."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass, replace
from datetime import date, timedelta
from hashlib import sha256
from types import MappingProxyType
from typing import Any

from pipeline.audit.baseline import advance, store_facts
from pipeline.audit.drift import Swallowed, audited, departures, story_of
from pipeline.audit.records import DriftKind, Quarter, Span, quarters_to, span_of
from pipeline.database import Database
from pipeline.errors import DaysOutOfOrder, NothingToAudit, NothingToSample
from pipeline.estimate.sampling import SampleStation, draw, size_for
from pipeline.fresh import fingerprint
from pipeline.originals import Original, keep_originals
from pipeline.progress import Progress, Silent
from pipeline.records import frame_of
from pipeline.tables.audit import (
    AuditAir,
    AuditChange,
    AuditEdition,
    AuditFinding,
    AuditPromise,
    AuditSample,
    AuditStore,
    Departure,
    DepartureApproved,
    DepartureTold,
    SampledStation,
    SampleResult,
)

# Each table of figures and the statement that works it out; all but the first need the stores.
_FIGURES: Mapping[type[Any], str] = MappingProxyType(
    {
        AuditStore: "figures_of_stores",
        AuditFinding: "figures_of_findings",
        AuditChange: "figures_of_changes",
        AuditPromise: "figures_of_promises",
        AuditAir: "figures_of_air",
    }
)

_OPEN = frozenset(
    {DriftKind.DRIFT, DriftKind.REPLACED, DriftKind.RENAMED, DriftKind.NEW, DriftKind.GONE}
)
"""The kinds that somebody must answer: put back, or have approved."""

_LEAST = 3  # stations; two that changed alike may have done so by chance
_WEEK = timedelta(days=6)  # from its first day to its last
_NAME = 10  # hexadecimal digits


@dataclass(frozen=True, slots=True)
class AuditOutcome:
    """What an audit came to.

    `edition` counts from 1; a later one restates the quarter, because facts that speak of it came
    after it was audited. None: the quarter is not over on the run's day, so this is not one yet.
    """

    quarter: str
    edition: int | None
    stores: int
    departures: int


@dataclass(frozen=True, slots=True)
class _QuarterDays:
    quarter: str
    first: date
    last: date


def audit(database: Database, quarter: Quarter, progress: Progress | None = None) -> AuditOutcome:
    """Audit a quarter, and all before it for the trend; fills drift and the audit tables.

    It rests on what is dated within each quarter or before: exports by the day they speak of,
    register events and approvals by the day they happened. So it says the same whenever it is
    run, unless facts that speak of the quarter come late: then it is a restatement with its own
    number.

    Args:
        database: with `this_run` set.
        quarter: to audit; up to the day of the run where it is not over yet.
        progress: over the stores.

    Raises:
        NothingToAudit: no export speaks of the quarter or a day before, or it has not begun.
    """
    as_of: date = database.value("audit", "as_of")
    began: date | None = database.value("audit", "began")
    if began is None or quarter.last < began or quarter.first > as_of:
        raise NothingToAudit(quarter.name, began, as_of)
    advance(database)
    quarters = list(quarters_to(began, quarter))
    spans = [span_of(one, as_of) for one in quarters]
    stories = [story_of(facts) for facts in store_facts(database, spans[-1].end)]
    watched = (progress or Silent()).over(stories, "audit", len(stories))
    rows: list[Departure] = []
    approved: list[DepartureApproved] = []
    for story in watched:
        for span in spans:
            departed, swallowed = audited(story, span)
            rows += departed
            approved += map(_approved, swallowed)
    days = [
        _QuarterDays(one.name, one.first, span.end)
        for one, span in zip(quarters, spans, strict=True)
    ]
    with database.transaction():
        _replace(database, quarter.name, with_causes(rows), approved, days)
        edition = _edition(database, quarter, as_of) if quarter.last <= as_of else None
    found = sum(row.quarter == quarter.name for row in rows)
    return AuditOutcome(quarter.name, edition, len(stories), found)


def compare(database: Database, start: date, end: date) -> tuple[Departure, ...]:
    """Return what departs from what is agreed between the evenings of two days; writes nothing.

    Raises:
        DaysOutOfOrder: the second day is not after the first.
    """
    if start >= end:
        raise DaysOutOfOrder(start, end)
    span = Span(start, end)
    facts = (replace(one, first_run=date.min) for one in store_facts(database, end))
    stories = map(story_of, facts)
    return tuple(row for story in stories for row in departures(story, span))


def with_causes(rows: Iterable[Departure]) -> list[Departure]:
    """Return departures with the name of their cause, in their order.

    Departures of one quarter and field, from one value to one other, first seen within seven days
    at three stations or more, have one cause; any other has its own. A cause is named after what
    it consists of, so that a name never means something else later.
    """
    rows = list(rows)
    alike: dict[tuple[str | None, ...], list[int]] = defaultdict(list)
    for at, row in enumerate(rows):
        if row.kind in _OPEN:
            alike[row.quarter, row.field, row.kind, row.agreed, row.found, row.by_order].append(at)
    for places in alike.values():
        for group in _weeks(rows, places):
            parts = [group] if len(group) >= _LEAST else [[at] for at in group]
            for part in parts:
                cause = _name_of([rows[at] for at in part])
                for at in part:
                    rows[at] = replace(rows[at], cause=cause)
    return rows


def _weeks(rows: Sequence[Departure], places: Sequence[int]) -> Iterator[list[int]]:
    """Yield the places of rows first seen within seven days of the first of them."""
    group: list[int] = []
    for at in sorted(places, key=lambda at: (_first(rows[at]), at)):
        if group and _first(rows[at]) - _first(rows[group[0]]) > _WEEK:
            yield group
            group = []
        group.append(at)
    if group:
        yield group


def _first(row: Departure) -> date:
    return row.first_seen or date.min


def _name_of(rows: Sequence[Departure]) -> str:
    told = sorted(
        (r.quarter, r.store, r.subject, r.field, str(r.agreed), str(r.found), str(r.first_seen))
        for r in rows
    )
    return sha256(repr(told).encode()).hexdigest()[:_NAME]


def _approved(one: Swallowed) -> DepartureApproved:
    row, approval = one.departure, one.approval
    return DepartureApproved(
        quarter=row.quarter,
        store=row.store,
        subject=row.subject,
        field=row.field,
        agreed=row.agreed,
        found=row.found,
        by_order=row.by_order,
        first_seen=row.first_seen,
        approved_by=approval.approved_by,
        approved_on=approval.approved_on,
        reason=approval.reason,
        version=approval.version,
    )


def _replace(
    database: Database,
    quarter: str,
    rows: Sequence[Departure],
    approved: Sequence[DepartureApproved],
    days: Sequence[_QuarterDays],
) -> None:
    """Replace the rows of the quarters up to and including one."""
    database.clear_until(quarter, Departure, DepartureApproved, *_FIGURES)
    database.insert("audit", "departures", frame_of(Departure, rows))
    database.put(DepartureApproved, approved)
    for name in _FIGURES.values():
        database.insert("audit", name, frame_of(_QuarterDays, days))


def _edition(database: Database, quarter: Quarter, as_of: date) -> int:
    """Return the number of this edition: the latest one's if it says the same, else the next.

    What a new one tells is kept, so that the next can say what came late.
    """
    name, facts = quarter.name, _fingerprint(database, quarter)
    latest = database.records(AuditEdition, "audit", "latest_edition", {"quarter": name})
    if latest and latest[0].facts == facts:
        return latest[0].edition
    edition = latest[0].edition + 1 if latest else 1
    told = [
        DepartureTold(
            name, edition, row.store, row.subject, row.field, row.agreed, row.found, row.kind,
            row.by_order,
        )
        for row in database.every(Departure)
        if row.quarter == name
    ]  # fmt: skip
    database.put(DepartureTold, told)
    database.put(AuditEdition, [AuditEdition(name, edition, facts, as_of, len(told))])
    return edition


def _fingerprint(database: Database, quarter: Quarter) -> str:
    """Return a mark of all that the audit says, the quarters before included."""
    content = sha256()
    kinds: tuple[type[Any], ...] = (Departure, DepartureApproved, *_FIGURES)
    for kind in kinds:
        for row in database.every(kind):
            if row.quarter <= quarter.name:
                content.update(repr(astuple(row)).encode())
    for row in database.added(SampleResult):  # none: the mark of versions without samples
        if row.looked_on <= quarter.last:
            content.update(repr((row.sample, row.number, row.as_agreed)).encode())
    return content.hexdigest()[:16]


_NAME_LETTERS = 10  # letters of a sample's name


@dataclass(frozen=True, slots=True)
class AgreedStation:
    """A station of which a channel is agreed, and what is."""

    region: str
    store: str
    station: str
    channel: int
    pan_id: str | None


def draw_sample(database: Database, wanted: float, seed: str | None = None) -> str:
    """Draw stations by region, enter them in the register and return the sample's name.

    The same draw from the same stations on the same day is the same sample.

    Args:
        database: with `this_run` set.
        wanted: how many, or, below 1, the share that none astray are to rule out.
        seed: from which anybody can draw it again; None: the name of the run.

    Raises:
        NothingToSample: nothing is agreed of any station.
    """
    agreed = {
        SampleStation(one.region, one.store, one.station): one
        for one in database.records(AgreedStation, "audit", "sample_from")
    }
    if not agreed:
        raise NothingToSample
    seed = seed if seed is not None else str(database.value("audit", "sample_seed"))
    size = min(len(agreed), size_for(wanted) if wanted < 1 else int(wanted))
    day = database.value("audit", "as_of")
    said = (repr(one) for one in agreed.values())
    name = fingerprint(seed, str(size), day.isoformat(), *said)[:_NAME_LETTERS]
    if name in database.column("audit", "samples_known"):
        return name
    regions = Counter(one.region for one in agreed)
    rows = [
        SampledStation(
            name, number, one.region, one.store, one.station, regions[one.region],
            agreed[one].channel, agreed[one].pan_id,
        )
        for number, one in enumerate(draw(list(agreed), size, seed), start=1)
    ]  # fmt: skip
    with database.transaction():
        database.put(AuditSample, [AuditSample(name, day, seed, len(agreed), len(rows))])
        database.put(SampledStation, rows)
    return name


def keep_results(
    database: Database, results: Sequence[SampleResult], originals: Sequence[Original]
) -> None:
    """Keep what auditors found, and the workbooks it came in."""
    with database.transaction():
        keep_originals(database, "workbook", originals)
        database.put(SampleResult, results)
