"""The portfolio view: which rules fail, where most, and since when."""

from dataclasses import dataclass
from datetime import date

from pipeline.database import Database


@dataclass(frozen=True, slots=True)
class RuleStanding:
    """What one rule comes to in this run and over the runs before it, in one region or in all.

    `region` None: the whole portfolio. `findings` counts the excepted ones too. `new_findings`
    have stood without a break since a day from the asked one on; `gone_findings` went on such a
    day. `gone_since` is the first day on which nothing was found any more, None while something is.
    """

    rule: str
    region: str | None
    stores: int
    findings: int
    excepted: int
    new_findings: int
    gone_findings: int
    first_seen: date
    last_seen: date
    gone_since: date | None


def portfolio(database: Database, since: date) -> tuple[RuleStanding, ...]:
    """Return every rule that ever found something, most standing findings first.

    Each rule comes once for the whole portfolio and then once for every region it was found in.

    Args:
        database: checked, with `this_run` set.
        since: the first day of what counts as new, such as the first of the quarter.
    """
    return tuple(RuleStanding(*row) for row in database.rows("check", "standing", {"since": since}))
