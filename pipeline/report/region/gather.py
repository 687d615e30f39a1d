"""Read what the region reviews say from the database."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TypeVar

from pipeline.database import Database
from pipeline.report.region.content import (
    ANYWHERE,
    DayOfChanges,
    ExpiringException,
    FindingLine,
    LateChange,
    MeasuredChange,
    OpenDeadline,
    PendingChange,
    RegionContent,
    StoreLine,
    UnapprovedDeparture,
)
from pipeline.settings import Settings
from pipeline.settings_schedule import Deadline

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
    steps, promises = rows("progress", DayOfChanges), rows("promise", MeasuredChange)
    pending, late = rows("decision", PendingChange), rows("late", LateChange)
    astray, found = rows("astray", UnapprovedDeparture), rows("finding", FindingLine)
    expiring = rows("exception", ExpiringException)
    for region in sorted(regions):
        yield RegionContent(
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


def _deadlines(
    deadlines: Sequence[Deadline], region: str, stores: Sequence[StoreLine]
) -> tuple[OpenDeadline, ...]:
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
            found.append(OpenDeadline(deadline.by, deadline.reason, deadline.store, left, total))
    return tuple(found)
