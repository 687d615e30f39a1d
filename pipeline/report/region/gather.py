"""Read what the reviews of regions say."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TypeVar

from pipeline.database import Database
from pipeline.effect.costs import own_weight, update_costs
from pipeline.effect.gather import CHAIN, TERMS, Rollout, proofs
from pipeline.records import Seal
from pipeline.report.region import content
from pipeline.report.rule_book import RuleBook, rule_book
from pipeline.settings import Deadline, Settings
from pipeline.wording import wording

Line = TypeVar("Line", bound=content.OfRegion)
_NO_REGION = ""  # what is of no one region, beside the chain, which is of all
_EMPTY = content.RegionContent(
    region="", as_of=date.min, stores=(), steps=(), promises=(), pending=(), late=(), otherwise=(),
    astray=(), findings=(), anywhere=(), expiring=(), deadlines=(), seal=None,
)  # fmt: skip


def region_contents(
    database: Database, settings: Settings, regions: Sequence[str]
) -> Iterator[content.RegionContent]:
    """Yield the contents of the named regions, in ascending order of their names.

    `CHAIN` as a name asks for that of the chain, which comes first.
    """

    def read(kind: type[Line], name: str) -> Mapping[str, tuple[Line, ...]]:
        found: dict[str, list[Line]] = defaultdict(list)
        for line in database.records(kind, "report", name):
            found[line.region].append(line)
        whole = [line for region in sorted(found) if region != CHAIN for line in found[region]]
        anywhere = tuple(found.pop(content.ANYWHERE, ()))
        every = {CHAIN: tuple(whole), _NO_REGION: anywhere}
        return defaultdict(tuple, every | {one: tuple(lines) for one, lines in found.items()})

    as_of = database.value("report", "day")
    stores = read(content.StoreLine, "region_stores")
    days = read(content.DayOfChanges, "region_days")
    promises = read(content.MeasuredChange, "region_promises")
    pending = read(content.PendingChange, "region_pending")
    late = read(content.LateChange, "region_late")
    otherwise = read(content.ChangeOtherwise, "region_otherwise")
    astray = read(content.Astray, "region_astray")
    findings = read(content.FindingLine, "region_findings")
    expiring = read(content.ExpiringException, "region_exceptions")
    seals = read(content.RegionSeal, "region_seals")
    book = rule_book(database)
    waves = [wave.name for wave in settings.schedule.waves]
    rollout = Rollout(database, waves, settings.limits)
    named = sorted(set(stores) - {CHAIN, _NO_REGION})
    proved = proofs(rollout, named if CHAIN in regions else regions)
    costs = update_costs(TERMS, rollout.burdens)
    offer = own_weight(rollout.burdens) if costs else None
    for region in sorted(regions):
        found = content.RegionContent(
            region=region,
            as_of=as_of,
            stores=stores[region],
            steps=days[region],
            promises=promises[region],
            pending=pending[region],
            late=late[region],
            otherwise=otherwise[region],
            astray=astray[region],
            findings=findings[region],
            anywhere=findings[_NO_REGION],
            expiring=(*expiring[region], *expiring[_NO_REGION]),
            seal=_latest(seals[region]),
            deadlines=_deadlines(settings.schedule.deadlines, region, stores[region]),
            proof=proved[region],
            chain=None if region == CHAIN else proved[CHAIN],
            costs=costs,
            offer=offer,
            approvers=settings.approvers,
        )
        if region == CHAIN:
            parts = (
                replace(
                    _EMPTY, region=one, as_of=as_of, stores=stores[one], promises=promises[one],
                    proof=proved[one],
                )
                for one in named
            )  # fmt: skip
            found = replace(found, parts=tuple(parts))
        yield _worded(found, book)


def _latest(seals: Sequence[content.RegionSeal]) -> Seal | None:
    """Return the latest seal of some regions."""
    found = max(seals, key=lambda one: one.size, default=None)
    return None if found is None else Seal(found.size, found.root, found.as_of)


def _worded(review: content.RegionContent, book: RuleBook) -> content.RegionContent:
    """Return a review with its findings in the region's language."""
    language = wording(review.country).language

    def told(found: content.FindingLine) -> content.FindingLine:
        detail = book.sentence(found.rule, language, found.facts, found.detail)
        return replace(found, detail=detail, title=book.title(found.rule, language))

    findings, anywhere = map(told, review.findings), map(told, review.anywhere)
    return replace(review, findings=tuple(findings), anywhere=tuple(anywhere))


def _deadlines(
    deadlines: Sequence[Deadline], region: str, stores: Sequence[content.StoreLine]
) -> tuple[content.OpenDeadline, ...]:
    """Return the deadlines of a region with changes still open, the earliest first."""
    found = []
    for deadline in sorted(deadlines, key=lambda d: (d.by, d.store or "")):
        if region != CHAIN and deadline.region not in {None, region}:
            continue
        meant = [s for s in stores if deadline.store in {None, s.store}]
        meant = [s for s in meant if deadline.region in {None, s.region}]
        left = sum(s.open for s in meant)
        if left:
            total = sum(s.changes for s in meant)
            of = deadline.store or (deadline.region if region == CHAIN else None)
            found.append(content.OpenDeadline(deadline.by, deadline.reason, of, left, total))
    return tuple(found)
