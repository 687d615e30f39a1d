"""Read what a quarter's audit says from the tables the audit filled."""

from collections.abc import Callable
from typing import TypeVar

from pipeline.database import Database
from pipeline.errors import UnknownSelection
from pipeline.report.quarter.content import (
    AuditedStore,
    CheckedChange,
    FieldCount,
    KindCount,
    QuarterContent,
    QuarterDeparture,
    QuarterFigures,
    RepeatStore,
    RuleCount,
    StateCount,
    TypeRate,
)

Row = TypeVar("Row")


def quarter_content(database: Database, quarter: str) -> QuarterContent:
    """Return the content of the audit of a quarter, written as 2026-Q3.

    Raises:
        UnknownSelection: it was not audited.
    """
    known = [name for (name,) in database.rows("report", "quarter_known")]
    if quarter not in known:
        raise UnknownSelection("audited quarter", quarter, known)
    asked = {"quarter": quarter}

    def rows(name: str, record: Callable[..., Row]) -> tuple[Row, ...]:
        return tuple(record(*row) for row in database.rows("report", f"quarter_{name}", asked))

    trend = rows("trend", QuarterFigures)
    edition, made_on = next(iter(database.rows("report", "quarter_edition", asked)), (None, None))
    if edition is None:
        made_on = database.rows("report", "region_day")[0][0]
    return QuarterContent(
        quarter=quarter,
        edition=edition,
        made_on=made_on,
        trend=tuple(one for one in trend if one.region is None),
        regions=_regions(trend, quarter),
        kinds=rows("kind", KindCount),
        types=rows("by_type", TypeRate),
        fields=rows("by_field", FieldCount),
        repeated=rows("repeat", RepeatStore),
        states=rows("change", StateCount),
        measured=rows("promise", CheckedChange),
        rules=rows("finding", RuleCount),
        differences=rows("departure", QuarterDeparture),
        stores=rows("store", AuditedStore),
    )


def _regions(
    trend: tuple[QuarterFigures, ...], quarter: str
) -> tuple[tuple[QuarterFigures, QuarterFigures | None], ...]:
    """Return each region in the quarter and in the one before it."""
    quarters = [one.quarter for one in trend if one.region is None]
    before = quarters[-2] if len(quarters) > 1 else None
    earlier = {one.region: one for one in trend if one.quarter == before}
    return tuple(
        (one, earlier.get(one.region))
        for one in trend
        if one.quarter == quarter and one.region is not None
    )
