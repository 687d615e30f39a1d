"""Read what the audit of a quarter says."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.database import Database
from pipeline.errors import UnknownSelection
from pipeline.records import Inputs, Seal
from pipeline.report.quarter import content
from pipeline.report.quarter.sample import sample_outcomes
from pipeline.report.rule_book import rule_book
from pipeline.tables.audit import AuditPromise, AuditStore
from pipeline.wording import DEFAULT_LANGUAGE


def quarter_content(
    database: Database, quarter: str, language: str = DEFAULT_LANGUAGE
) -> content.QuarterContent:
    """Return the content of the audit of a quarter, written as 2026-Q3; rules in a language.

    Raises:
        UnknownSelection: it was not audited.
    """
    known = database.column("report", "quarters")
    if quarter not in known:
        raise UnknownSelection("audited quarter", quarter, known)
    of = {"quarter": quarter}
    figures = database.records(content.QuarterFigures, "report", "quarter_figures", of)
    editions = database.records(content.QuarterEdition, "report", "quarter_edition", of)
    edition = (
        editions[0] if editions else content.QuarterEdition(None, database.value("report", "day"))
    )
    at = {"quarter": quarter, "edition": edition.edition}
    made = {"made_on": edition.made_on}
    rules = database.records(content.RuleCount, "report", "quarter_rules", of)
    book = rule_book(database)
    found = content.QuarterContent(
        quarter=quarter,
        edition=edition.edition,
        made_on=edition.made_on,
        trend=tuple(one for one in figures if one.region is None),
        regions=_regions(figures, quarter),
        causes=tuple(database.records(content.ToAnswer, "report", "quarter_causes", of)),
        approvals=tuple(database.records(content.Approval, "report", "quarter_approvals", of)),
        types=tuple(database.records(content.TypeRate, "report", "quarter_types", of)),
        repeated=tuple(database.records(content.RepeatStore, "report", "quarter_repeated", of)),
        states=tuple(database.records(content.StateCount, "report", "quarter_states", of)),
        measured=tuple(database.records(AuditPromise, "report", "quarter_promises", of)),
        rules=tuple(replace(one, title=book.title(one.rule, language)) for one in rules),
        differences=tuple(
            database.records(content.QuarterDeparture, "report", "quarter_departures", of)
        ),
        samples=(),
        restated=(),
        seal=next(iter(database.records(Seal, "report", "quarter_seal", at)), None),
        inputs=next(iter(database.records(Inputs, "report", "quarter_inputs", made)), None),
        stores=tuple(database.records(AuditStore, "report", "quarter_stores", of)),
    )
    restated = database.records(
        content.RestatedLine, "report", "quarter_restated", at | {"last": found.last}
    )
    outcomes = sample_outcomes(database, found.first, found.last)
    return replace(found, samples=outcomes, restated=tuple(restated))


def _regions(
    figures: Sequence[content.QuarterFigures], quarter: str
) -> tuple[tuple[content.QuarterFigures, content.QuarterFigures | None], ...]:
    """Return the figures of each region in a quarter and in the one before."""
    quarters = [one.quarter for one in figures if one.region is None]
    before = quarters[-2] if len(quarters) > 1 else None
    earlier = {one.region: one for one in figures if one.quarter == before}
    return tuple(
        (one, earlier.get(one.region))
        for one in figures
        if one.quarter == quarter and one.region is not None
    )
