"""What the rules find."""

from pipeline.tables.declare import column, table


@table("finding")
class Finding:
    """What the rules found, per run; runs accumulate, so first and last seen can be told."""

    run: str = column("the run, named after its inputs")
    rule: str = column("the rule")
    severity: str = column("stop, fix, watch, note")
    store: str = column("the store's key")
    subject: str = column("station, label, channel or file the finding is about")
    detail: str = column("one sentence")
    excepted: str | None = column("the approved exception's reason; null: it stands")


@table("rule_problem")
class RuleProblem:
    """Rules of a run that could not be used, with the place to mend."""

    run: str = column("the run, named after its inputs")
    file: str = column("the rule's file name")
    line: int = column("1 is the first", sql="bigint")
    sentence: str = column("")
