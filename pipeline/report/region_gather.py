"""Read what the region reviews say from the database."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

from pipeline.database import Database
from pipeline.report.region_content import (
    ANYWHERE,
    Astray,
    Due,
    Expiring,
    Found,
    Late,
    Pending,
    Promise,
    RegionContent,
    Step,
    StoreLine,
)
from pipeline.report.rule_book import RuleBook, rule_book
from pipeline.report.wording import wording
from pipeline.settings import Deadline, Settings

Row = TypeVar("Row")


def region_contents(
    database: Database, settings: Settings, regions: Sequence[str]
) -> Iterator[RegionContent]:
    """Yield the contents of the named regions, in ascending order of their names."""
    as_of = database.rows("report", "region_day")[0][0]

    def rows(name: str, record: Callable[..., Row]) -> Mapping[str, tuple[Row, ...]]:
        found: dict[str, list[Row]] = defaultdict(list)
        for region, *values in database.rows("report", f"region_{name}"):
            found[region].append(record(*values))
        return {region: tuple(records) for region, records in found.items()}

    stores = rows("store", StoreLine)
    steps, promises = rows("progress", Step), rows("promise", Promise)
    pending, late = rows("decision", Pending), rows("late", Late)
    astray, found = rows("astray", Astray), rows("finding", Found)
    expiring = rows("exception", Expiring)
    book = rule_book(database)
    for region in sorted(regions):
        content = RegionContent(
            region=region,
            as_of=as_of,
            stores=stores.get(region, ()),
            steps=steps.get(region, ()),
            promises=promises.get(region, ()),
            pending=pending.get(region, ()),
            late=late.get(region, ()),
            astray=astray.get(region, ()),
            findings=found.get(region, ()),
            anywhere=found.get(ANYWHERE, ()),
            expiring=(*expiring.get(region, ()), *expiring.get(ANYWHERE, ())),
            deadlines=_deadlines(settings.schedule.deadlines, region, stores.get(region, ())),
        )
        yield _worded(content, book)


def _worded(content: RegionContent, book: RuleBook) -> RegionContent:
    """Return the content with its findings in the region's language."""
    language = wording(content.country).language

    def told(found: Found) -> Found:
        detail = book.sentence(found.rule, language, found.facts, found.detail)
        return replace(found, detail=detail, title=book.title(found.rule, language))

    findings, anywhere = map(told, content.findings), map(told, content.anywhere)
    return replace(content, findings=tuple(findings), anywhere=tuple(anywhere))


def _deadlines(
    deadlines: Sequence[Deadline], region: str, stores: Sequence[StoreLine]
) -> tuple[Due, ...]:
    """Return the region's deadlines before which changes are still open, the earliest first."""
    found = []
    for deadline in sorted(deadlines, key=lambda d: (d.by, d.store or "")):
        if deadline.region not in {None, region}:
            continue
        meant = [s for s in stores if deadline.store in {None, s.store}]
        left, total = (
            sum(s.changes - s.done - s.failed for s in meant),
            sum(s.changes for s in meant),
        )
        if left:
            found.append(Due(deadline.by, deadline.reason, deadline.store, left, total))
    return tuple(found)
