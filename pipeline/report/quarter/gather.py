"""Read what the audit of a quarter says."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.database import Database
from pipeline.errors import UnknownSelection
from pipeline.report.quarter.content import (
    AuditedStore,
    CheckedChange,
    FieldCount,
    KindCount,
    QuarterContent,
    QuarterDeparture,
    QuarterEdition,
    QuarterFigures,
    RepeatStore,
    RuleCount,
    StateCount,
    TypeRate,
)
from pipeline.report.rule_book import rule_book
from pipeline.wording import DEFAULT_LANGUAGE


def quarter_content(database: Database, quarter: str) -> QuarterContent:
    """Return the content of the audit of a quarter, written as 2026-Q3.

    Raises:
        UnknownSelection: it was not audited.
    """
    known = database.column("report", "quarters")
    if quarter not in known:
        raise UnknownSelection("audited quarter", quarter, known)
    of = {"quarter": quarter}
    figures = database.records(QuarterFigures, "report", "quarter_figures", of)
    editions = database.records(QuarterEdition, "report", "quarter_edition", of)
    edition = editions[0] if editions else QuarterEdition(None, database.value("report", "day"))
    rules = database.records(RuleCount, "report", "quarter_rules", of)
    book = rule_book(database)
    return QuarterContent(
        quarter=quarter,
        edition=edition.edition,
        made_on=edition.made_on,
        trend=tuple(one for one in figures if one.region is None),
        regions=_regions(figures, quarter),
        kinds=tuple(database.records(KindCount, "report", "quarter_kinds", of)),
        types=tuple(database.records(TypeRate, "report", "quarter_types", of)),
        fields=tuple(database.records(FieldCount, "report", "quarter_fields", of)),
        repeated=tuple(database.records(RepeatStore, "report", "quarter_repeated", of)),
        states=tuple(database.records(StateCount, "report", "quarter_states", of)),
        measured=tuple(database.records(CheckedChange, "report", "quarter_promises", of)),
        rules=tuple(replace(one, title=book.title(one.rule, DEFAULT_LANGUAGE)) for one in rules),
        differences=tuple(database.records(QuarterDeparture, "report", "quarter_departures", of)),
        stores=tuple(database.records(AuditedStore, "report", "quarter_stores", of)),
    )


def _regions(
    figures: Sequence[QuarterFigures], quarter: str
) -> tuple[tuple[QuarterFigures, QuarterFigures | None], ...]:
    """Return the figures of each region in a quarter and in the one before."""
    quarters = [one.quarter for one in figures if one.region is None]
    before = quarters[-2] if len(quarters) > 1 else None
    earlier = {one.region: one for one in figures if one.quarter == before}
    return tuple(
        (one, earlier.get(one.region))
        for one in figures
        if one.quarter == quarter and one.region is not None
    )
