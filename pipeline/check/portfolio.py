"""The portfolio view: which rules fail, where most, and since when."""

from dataclasses import dataclass
from datetime import date

from pipeline.database import Database


@dataclass(frozen=True, slots=True)
class RuleStanding:
    """What one rule comes to in this run and over the runs before it.

    `findings` counts the excepted ones too; `new_findings` were never seen before this run's day;
    `gone_findings` stood on an earlier day and no longer do. `gone_since` is the first day on
    which the rule found nothing any more, None while it finds something.
    """

    rule: str
    stores: int
    findings: int
    excepted: int
    new_findings: int
    gone_findings: int
    first_seen: date
    last_seen: date
    gone_since: date | None


def portfolio(database: Database) -> tuple[RuleStanding, ...]:
    """Return every rule that ever found something, most standing findings first."""
    return tuple(RuleStanding(*row) for row in database.rows("check", "standing"))
