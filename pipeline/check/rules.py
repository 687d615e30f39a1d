"""Judge the tables by every rule, shipped and the user's own; say in words what each looks for."""

import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import duckdb
import polars as pl

from pipeline import phrases
from pipeline.check.judge import FOUND, beyond, guarded_copy, judge, judge_own
from pipeline.check.rule_file import BrokenRule, Rule, read_rules
from pipeline.database import Database
from pipeline.errors import RuleUnusable, UnknownRule
from pipeline.phrases import fill, style
from pipeline.records import Severity, frame_of
from pipeline.settings import Settings
from pipeline.tables.run import PlanBound, RuleText

_COLUMNS = ("rule", "severity", *FOUND)
_Judged = tuple[pl.DataFrame, tuple[BrokenRule, ...]]


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


@dataclass(frozen=True, slots=True)
class Bound:
    """What the rules that bind the plan found, and why some of them could not be used."""

    found: tuple[pl.DataFrame, ...]
    problems: tuple[BrokenRule, ...]


def bind(database: Database, settings: Settings, folder: Path | None = None) -> Bound:
    """Judge by the rules that bind the plan, before it is made, and fill `plan_bound`.

    A finding binds its station, unless an exception covers it. The arguments are those of `check`,
    which takes the findings from here.
    """
    rules, _ = read_rules(None)
    own, _ = _own_rules(folder, rules)
    with database.held("store_now", "station_now"):
        ours = _judged(database.connection, _binding(rules, settings), settings)
    users = _judged_closed(database, _binding(own, settings), settings)
    kinds = pl.DataFrame(
        [(rule.name, _binds(rule, settings)) for rule in _binding([*rules, *own], settings)],
        schema={"rule": pl.String, "kind": pl.String},
        orient="row",
    )
    with database.transaction():
        database.clear(PlanBound)
        found = pl.concat([ours[0], users[0]]).join(kinds, on="rule")
        database.insert("check", "insert_bound", found)
    return Bound((ours[0], users[0]), (*ours[1], *users[1]))


def _binds(rule: Rule, settings: Settings) -> str:
    return rule.binding(settings.severity.get(rule.name, rule.severity))


def _binding(rules: Sequence[Rule], settings: Settings) -> list[Rule]:
    return [rule for rule in rules if _binds(rule, settings)]


def check(
    database: Database, settings: Settings, folder: Path | None = None, bound: Bound | None = None
) -> None:
    """Replace this run's findings, and the rules' words, by what the rules find and say now.

    A rule that cannot be used becomes a finding that names its file and line; the others run.

    Args:
        database: with `this_run` set and the survey done.
        settings: limits, severities and exceptions.
        folder: rules of the user's own; they run on a closed copy.
        bound: what `bind` found for the plan; None: it is found now.

    Raises:
        FolderMissing: `folder` is not a folder.
        UnknownRule: a severity is set for a rule that no file defines.
    """
    rules, broken = read_rules(None)
    own, own_broken = _own_rules(folder, rules)
    _refuse_unknown_severities(settings, [*rules, *own], [*broken, *own_broken])
    bound = bound or bind(database, settings, folder)
    with held(database):
        first = _judged(database.connection, _after_plan(rules, settings), settings)
    users = _judged_closed(database, _after_plan(own, settings), settings)
    problems = [*broken, *own_broken, *bound.problems, *first[1], *users[1]]
    with database.transaction():
        database.run("check", "forget_findings")
        database.run("check", "forget_problems")
        database.clear(RuleText)
        database.put(RuleText, _rule_texts([*rules, *own], settings))
        _keep(database, [*bound.found, first[0], users[0]], problems)
        _apply_exceptions(database)
        last = _judged(database.connection, [rule for rule in rules if rule.last], settings)
        _keep(database, [last[0]], last[1])
        _apply_exceptions(database)


def _after_plan(rules: Sequence[Rule], settings: Settings) -> list[Rule]:
    return [rule for rule in rules if not rule.last and not _binds(rule, settings)]


def portfolio(database: Database, since: date) -> tuple[RuleStanding, ...]:
    """Return every rule that ever found something, most standing findings first.

    Each rule comes once for the whole portfolio and then once for every region it was found in.

    Args:
        database: checked, with `this_run` set.
        since: the first day of what counts as new, such as the first of the quarter.
    """
    return tuple(database.records(RuleStanding, "check", "standing", {"since": since}))


def rule_list(folder: Path | None = None) -> tuple[Rule, ...]:
    """Return every rule that can be read, by name; with the user's own where a folder is given."""
    rules, _ = read_rules(None)
    own, _ = _own_rules(folder, rules)
    return tuple(sorted((*rules, *own), key=lambda rule: rule.name))


def explain(name: str, settings: Settings, folder: Path | None = None) -> str:
    """Return what one rule looks for and why, with the limits of `settings` filled in.

    Raises:
        UnknownRule: no file defines it; the nearest name is given.
        RuleUnusable: its file cannot be read as a rule.
    """
    rules = rule_list(folder)
    for rule in rules:
        if rule.name == name:
            return explanation(rule, settings)
    for problem in _own_rules(folder, rules)[1]:
        if Path(problem.file).stem == name:
            raise RuleUnusable(problem.file, problem.line, problem.sentence)
    raise UnknownRule(name, [rule.name for rule in rules])


def _own_rules(
    folder: Path | None, shipped: Sequence[Rule]
) -> tuple[tuple[Rule, ...], tuple[BrokenRule, ...]]:
    if folder is None:
        return (), ()
    read, broken = read_rules(folder)
    taken = {rule.name for rule in shipped}
    named = "A shipped rule has this name; give yours another."
    late = "Only shipped rules may judge the findings; leave out 'runs: last'."
    problems = [
        *broken,
        *(BrokenRule(rule.path.name, 1, named) for rule in read if rule.name in taken),
        *(BrokenRule(rule.path.name, 1, late) for rule in read if rule.last),
        *(problem for rule in read if (problem := beyond(rule)) is not None),
    ]
    refused = {problem.file for problem in problems}
    return tuple(rule for rule in read if rule.path.name not in refused), tuple(problems)


def _refuse_unknown_severities(
    settings: Settings, rules: Iterable[Rule], broken: Iterable[BrokenRule]
) -> None:
    known = [*(rule.name for rule in rules), *(Path(problem.file).stem for problem in broken)]
    for name in settings.severity:
        if name not in known:
            raise UnknownRule(name, known)


@contextmanager
def held(database: Database) -> Iterator[None]:
    """Work out once what most rules read; the rules themselves run unchanged."""
    with database.held("store_now", "station_now", "in_earshot", "wifi_cover", "survey_moment"):
        yield


def _judged_closed(database: Database, rules: Sequence[Rule], settings: Settings) -> _Judged:
    if not rules:
        return _judged(database.connection, rules, settings)
    with guarded_copy(database) as connection:
        return _judged(connection, rules, settings, judge_own)


def _judged(
    connection: duckdb.DuckDBPyConnection,
    rules: Sequence[Rule],
    settings: Settings,
    by: Callable[[duckdb.DuckDBPyConnection, Rule], pl.DataFrame | BrokenRule] = judge,
) -> _Judged:
    frames = [pl.DataFrame(schema=dict.fromkeys(_COLUMNS, pl.String))]
    problems = []
    for rule in rules:
        found = by(connection, rule)
        if isinstance(found, BrokenRule):
            problems.append(found)
        elif not found.is_empty():  # as most are, and each step of a frame costs
            severity = settings.severity.get(rule.name, rule.severity)
            told = found.with_columns(rule=pl.lit(rule.name), severity=pl.lit(severity.value))
            frames.append(told.select(_COLUMNS))
    return pl.concat(frames), tuple(problems)


def _rule_texts(rules: Sequence[Rule], settings: Settings) -> list[RuleText]:
    return [
        RuleText(
            rule=rule.name,
            language=language,
            title=fill(words.title, settings.limits, style(language)),
            says=words.says,
            remedy=fill(words.remedy, settings.limits, style(language)),
        )
        for rule in rules
        for language, words in rule.words.items()
    ]


def _keep(
    database: Database, found: Sequence[pl.DataFrame], problems: Sequence[BrokenRule]
) -> None:
    database.insert("check", "insert_findings", pl.concat(found))
    database.insert("check", "insert_problems", frame_of(BrokenRule, problems))


def _apply_exceptions(database: Database) -> None:
    """Mark the run's findings that an exception covers with its reason.

    An exception covers a finding of its rule whose store and subject it names exactly or by '*',
    up to and on its end date. Those that ran out or cover nothing are findings of rules of their
    own.
    """
    database.run("check", "apply_exceptions")


_WIDTH = 92
_INDENT = 10


def explanation(rule: Rule, settings: Settings) -> str:
    """Return a rule's title, severity, reasons and limits as lines for a terminal."""
    severity = settings.severity.get(rule.name, rule.severity)
    changed = "" if severity is rule.severity else f" (set in the rules file; else {rule.severity})"
    parts = [
        ("severity", f"{severity}{changed}"),
        ("why", _filled(rule.why, settings.limits)),
        ("do", _filled(rule.english.remedy, settings.limits)),
        ("source", _filled(rule.source, settings.limits)),
        ("limits", _limits(rule, settings.limits)),
        ("binds", rule.binding(severity)),
        ("file", rule.path.name),
    ]
    lines = [f"{rule.name}: {_filled(rule.english.title, settings.limits)}", ""]
    return "\n".join([*lines, *(_paragraph(name, text) for name, text in parts if text)])


def manual_page(rules: Sequence[Rule], limits: Mapping[str, float]) -> str:
    """Return the page that lists every rule, gravest first, as Markdown."""
    lines = [
        "# Rules",
        "",
        "Made from the headers of `sql/rules/*.sql`, with the shipped limits; do not edit.",
        "`quietaisle rules NAME` shows a rule with the limits of your own rules file.",
        "",
    ]
    for severity in Severity:
        chosen = [rule for rule in rules if rule.severity is severity]
        lines += [f"## {severity}: {severity.meaning}", ""]
        for rule in chosen:
            lines += _section(rule, limits)
    return "\n".join([*lines, _OWN_RULES.replace("{blanks}", _blanks())])


_OWN_RULES = """\
## Rules of your own

Put one `.sql` file a rule into a folder and name it with `--rules-folder`. A file begins with the
header that every shipped rule has, each field on a line of its own, more of it on lines that
begin with `--` and three spaces:

```sql
-- name: own-loud-freezer
-- title: Loud station near the freezers
-- title.de: Laute Station bei den Kühltruhen
-- severity: watch
-- says: Transmits at {tx_power_dbm:.0f} dBm beside the freezers.
-- says.de: Sendet mit {tx_power_dbm:.0f} dBm neben den Kühltruhen.
-- why: Steel doors reflect, and the site's limit of {tx_power_limit_dbm} dBm is near. A limit in
--   braces is filled in where the rule is shown; {busy_share_limit:%} shows a share as per cent.
-- do: Reduce its power by 3 dB and survey again.
-- source: common practice, no published source
select store, station as subject, tx_power_dbm
from station_now
where mounted ilike '%freezer%' and tx_power_dbm > limit_of('tx_power_limit_dbm') - 3
order by store, subject;
```

The name is the file's name without `.sql`; the severity is stop, fix, watch or note.
Below stands one select over the tables and views of the database; it runs by hand in the DuckDB
shell as it is. Its first columns are the texts `store` and `subject` (what the finding is about: a
station, a channel, a file); the others are the facts, which fill the blanks of `says`. No row:
nothing found. `limit_of('...')` gives a limit of the rules file. A limit that does not exist is
refused when the rule is read, and so is a rule that reads the table `setting` itself.
`chance_above(a, b, limit)` gives the chance that a share with the `a` and `b` of `ed_evidence` is
above a limit.

`title`, `says` and `do` may be given in further languages. Reports use the language of the store's
country, and English where the header does not have it. A rule without `says` gives its sentence as
a text column `detail`.

A rule may bind the plan of the stations it finds (its `subject` is a station) with a field more:
`binds: hold` keeps a station on its channel, `binds: first` has its move made as early as the order
of moves allows and its store in the first wave, `binds: alone` gives its move a night of its own. A
rule of severity stop puts a move first without saying so. Such a rule is judged before the plan is
made, so it cannot read what the plan, the schedule or the findings say; what it found is in the
table `plan_bound`, and the reason of a station that is held names the rule. An approved exception
to the finding takes this back.

{blanks}

Rules of your own run on a read-only copy of the database in which files, the network and other
databases are closed. One that cannot be used becomes a finding, rule-unusable, that names file
and line; all others run.

An approved exception in the rules file takes a finding out of the counts, not out of the report:
by rule, store and subject (exactly, or `*` for all), with a reason, an approver and a last day.
"""


def _section(rule: Rule, limits: Mapping[str, float]) -> list[str]:
    named = _limits(rule, limits)
    return [
        f"### {rule.name}",
        "",
        f"**{_filled(rule.english.title, limits)}.** {_filled(rule.why, limits)}",
        "",
        f"*What to do:* {_filled(rule.english.remedy, limits)}",
        "",
        f"*Source:* {_filled(rule.source, limits)}",
        *([f"*Limits:* {named}"] if named else []),
        *([f"*Binds the plan:* {binds}"] if (binds := rule.binding(rule.severity)) else []),
        "",
    ]


def _blanks() -> str:
    """Return how blanks are written, from where they are read."""
    return (phrases.__doc__ or "").partition("\n\n")[2].strip()


def _filled(text: str, limits: Mapping[str, float]) -> str:
    return phrases.fill(text, limits, phrases.plain_style())


def _limits(rule: Rule, limits: Mapping[str, float]) -> str:
    return ", ".join(f"{name} = {limits[name]:g}" for name in rule.limits if name in limits)


def _paragraph(name: str, text: str) -> str:
    return textwrap.fill(
        text,
        width=_WIDTH,
        initial_indent=f"{name:<{_INDENT}}",
        subsequent_indent=" " * _INDENT,
        break_long_words=False,
        break_on_hyphens=False,
    )
