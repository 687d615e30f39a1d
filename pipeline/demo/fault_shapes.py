"""Two shapes of faults: what rules must find, and what must be quarantined."""

from pipeline.demo.records import Fault, Outcome, PortfolioEdit, SheetEdit, SiteEdit


def found(  # noqa: PLR0913 - a fault's fields
    name: str,
    subject: str,
    what: str,
    *rules: str,
    on_sites: SiteEdit | None = None,
    on_portfolio: PortfolioEdit | None = None,
    on_sheets: SheetEdit | None = None,
) -> Fault:
    """Return a fault that rules must find; the subject begins with the store."""
    store = subject.partition("-")[0]
    edits_made = (on_sites, on_portfolio, on_sheets)
    return Fault(name, store, subject, what, Outcome.FOUND, rules, *edits_made)


def quarantined(  # noqa: PLR0913 - a fault's fields
    name: str,
    subject: str,
    what: str,
    problem: str,
    *,
    on_portfolio: PortfolioEdit | None = None,
    on_sheets: SheetEdit | None = None,
) -> Fault:
    """Return a fault whose rows must be quarantined for a named problem."""
    store, raises = subject.partition("-")[0], (problem, "rows-quarantined")
    edits_made = (None, on_portfolio, on_sheets)
    return Fault(name, store, subject, what, Outcome.QUARANTINED, raises, *edits_made)
