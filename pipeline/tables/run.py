"""The run: its day, its limits, what it need not do again, and what its rules find."""

from datetime import date

from pipeline.tables.declare import column, table


@table("tables_version")
class TablesVersion:
    """The version of the tables below: one row."""

    version: int = column("version")


@table("schema_made", since=4)
class SchemaMade:
    """What made the tables, views and macros: one row; another program makes them again."""

    fingerprint: str = column("of the statements that make them")


@table("setting", key=("name",))
class Setting:
    """The limits of this run, from the rules file, as rules read them."""

    name: str = column("name for people")
    value: float = column("the value")


@table("permitted_channel")
class PermittedChannel:
    """Channels the rules permit, per store of this run."""

    store: str = column("the store's key")
    channel: int = column("IEEE 802.15.4 channel, 11..26")


@table("this_run")
class ThisRun:
    """One row: the run the views below speak of.

    `run` is derived from the inputs, never from a clock.
    """

    run: str = column("the run, named after its inputs")
    as_of: date = column("the day the run speaks of")


@table("station_status", since=6)
class StationStatus:
    """The status of stations as the rules file has it decided.

    It holds where the exports say none, or were made before it.
    """

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    status: str = column("'planned', 'installed' or 'removed'")
    since: date = column("the day from which it holds")
    approved_by: str = column("who decided it")
    reason: str = column("the sentence why")


@table("exception")
class Exemption:
    """Approved departures from the rules, from the rules file.

    '*' matches any store or subject.
    """

    rule: str = column("the rule")
    store: str = column("the store's key")
    subject: str = column("what it is about")
    reason: str = column("the sentence why")
    approved_by: str = column("who approved it")
    until: date = column("last day on which it holds")


@table("setting_text", key=("name",))
class SettingText:
    """A text of the rules file that rules read, such as the standard firmware."""

    name: str = column("name for people")
    value: str = column("the value")


@table("rules_kept")
class RulesKept:
    """The rules file of the last run as written, for commands that are given none: one row."""

    text: str = column("the text")


@table("run", key=("run",))
class RunKept:
    """Runs of this database, one row per distinct set of inputs."""

    run: str = column("the run, named after its inputs")
    as_of: date = column("the day the run speaks of")
    version: str = column("version")


@table("computed")
class Computed:
    """What each store was last surveyed and planned from: a fingerprint of content alone.

    A store whose fingerprint is still the same is not computed again.
    """

    step: str = column("survey, plan")
    store: str = column("the store's key")
    fingerprint: str = column("of its facts or of the step before, of the rules and of the program")


@table("report_written")
class ReportWritten:
    """The report files as last written.

    Size and time only tell whether somebody touched them since; what stands in them follows from
    the fingerprint.
    """

    folder: str = column("of the store or region")
    store: str = column("or region, by name")
    fingerprint: str = column("of all that its files say, and of the program")
    files: str = column("name, size in octets and time of change of each file")


@table("whole_run")
class WholeRun:
    """What the last run that wrote every file was made from: one row.

    There is none once anything has happened since.
    """

    fingerprint: str = column("of exports, register, rules, day and program, and of the folder")


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
