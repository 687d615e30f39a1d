"""What the rules find, and the words for it."""

from pipeline.tables.declare import column, table


@table("finding")
class Finding:
    """What the rules found, per run; runs accumulate, so first and last seen can be told."""

    run: str = column("the run, named after its inputs")
    rule: str = column("the rule")
    severity: str = column("stop, fix, watch, note")
    store: str = column("the store's key")
    subject: str = column("station, label, channel or file the finding is about")
    detail: str = column("one sentence, in English")
    excepted: str | None = column("the approved exception's reason; null: it stands")
    facts: str | None = column("what the sentence is made of, as JSON with sorted keys", since=2)


@table("plan_bound", since=5)
class PlanBound:
    """What the rules that bind the plan found before it was made, and how each binds its station.

    Findings that an approved exception covers are left out.
    """

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    kind: str = column(
        "hold: it keeps its channel; first: its move comes first; "
        "alone: it is the store's only move of its night"
    )
    rule: str = column("the rule")
    detail: str = column("one sentence, in English")
    facts: str | None = column("what the sentence is made of, as JSON with sorted keys")


@table("rule_text", since=2)
class RuleText:
    """What the rules of the last check are called and say, in every language they have."""

    rule: str = column("the rule")
    language: str = column("two letters; English is always there")
    title: str = column("what the rule is called")
    says: str = column("the sentence, its blanks to be filled with a finding's facts")
    remedy: str = column("what to do")


@table("rule_problem")
class RuleProblem:
    """Rules of a run that could not be used, with the place to mend."""

    run: str = column("the run, named after its inputs")
    file: str = column("the rule's file name")
    line: int = column("1 is the first", sql="bigint")
    sentence: str = column("what is wrong with it and what to do")
