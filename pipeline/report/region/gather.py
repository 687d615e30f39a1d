"""Read what the reviews of regions say."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
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


def region_contents(
    database: Database, settings: Settings, regions: Sequence[str]
) -> Iterator[content.RegionContent]:
    """Yield the contents of the named regions, in ascending order of their names."""

    def read(kind: type[Line], name: str) -> Mapping[str, tuple[Line, ...]]:
        found: dict[str, list[Line]] = defaultdict(list)
        for line in database.records(kind, "report", name):
            found[line.region].append(line)
        return defaultdict(tuple, {region: tuple(lines) for region, lines in found.items()})

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
    proved = proofs(rollout, regions)
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
            anywhere=findings[content.ANYWHERE],
            expiring=(*expiring[region], *expiring[content.ANYWHERE]),
            seal=next((Seal(s.size, s.root, s.as_of) for s in seals[region]), None),
            deadlines=_deadlines(settings.schedule.deadlines, region, stores[region]),
            proof=proved[region],
            chain=proved[CHAIN],
            costs=costs,
            offer=offer,
        )
        yield _worded(found, book)


def _worded(review: content.RegionContent, book: RuleBook) -> content.RegionContent:
    """Return a review with its findings in the region's language."""
    words = wording(review.country)

    def told(found: content.FindingLine) -> content.FindingLine:
        detail = book.sentence(found.rule, words, found.facts, found.detail)
        return replace(found, detail=detail, title=book.title(found.rule, words.language))

    findings, anywhere = map(told, review.findings), map(told, review.anywhere)
    return replace(review, findings=tuple(findings), anywhere=tuple(anywhere))


def _deadlines(
    deadlines: Sequence[Deadline], region: str, stores: Sequence[content.StoreLine]
) -> tuple[content.OpenDeadline, ...]:
    """Return the deadlines of a region with changes still open, the earliest first."""
    found = []
    for deadline in sorted(deadlines, key=lambda d: (d.by, d.store or "")):
        if deadline.region not in {None, region}:
            continue
        meant = [s for s in stores if deadline.store in {None, s.store}]
        left = sum(s.open for s in meant)
        if left:
            total = sum(s.changes for s in meant)
            found.append(
                content.OpenDeadline(deadline.by, deadline.reason, deadline.store, left, total)
            )
    return tuple(found)
