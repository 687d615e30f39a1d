"""Judge the tables by every rule in the folder of rules, and by the user's own."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import duckdb
import polars as pl

from pipeline.check.exceptions import apply_exceptions
from pipeline.check.guard import guarded_copy
from pipeline.check.judge import judge
from pipeline.check.manual import explanation
from pipeline.check.rule_file import SHAPE, Rule, RuleProblem, read_rules
from pipeline.database import Database
from pipeline.errors import RuleUnusable, UnknownRule
from pipeline.frames import frame_of
from pipeline.settings import Settings

_COLUMNS = ("rule", "severity", *SHAPE)
_Judged = tuple[pl.DataFrame, tuple[RuleProblem, ...]]


def check(database: Database, settings: Settings, folder: Path | None = None) -> None:
    """Replace this run's findings by what the rules find now.

    A rule that cannot be used becomes a finding that names its file and line; the others run.

    Args:
        database: with `this_run` set and the survey done.
        settings: limits, severities and exceptions.
        folder: rules of the user's own; they run on a closed copy.

    Raises:
        RulesFolderMissing: `folder` is not a folder.
        UnknownRule: a severity is set for a rule that no file defines.
    """
    rules, broken = read_rules(None)
    own, own_broken = _own_rules(folder, rules)
    _refuse_unknown_severities(settings, [*rules, *own], [*broken, *own_broken])
    with held(database):
        first = _judged(database.connection, [rule for rule in rules if not rule.last], settings)
    users = _judged_closed(database, own, settings)
    problems = [*broken, *own_broken, *first[1], *users[1]]
    with database.transaction():
        database.run("check", "forget")
        database.run("check", "forget_problems")
        _keep(database, [first[0], users[0]], problems)
        apply_exceptions(database)
        last = _judged(database.connection, [rule for rule in rules if rule.last], settings)
        _keep(database, [last[0]], last[1])
        apply_exceptions(database)


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
) -> tuple[tuple[Rule, ...], tuple[RuleProblem, ...]]:
    if folder is None:
        return (), ()
    read, broken = read_rules(folder)
    taken = {rule.name for rule in shipped}
    problems = [
        *broken,
        *(
            _refused(rule, "A shipped rule has this name; give yours another.")
            for rule in read
            if rule.name in taken
        ),
        *(
            _refused(rule, "Only shipped rules may judge the findings; leave out 'runs: last'.")
            for rule in read
            if rule.last
        ),
    ]
    named = {problem.file for problem in problems}
    return tuple(rule for rule in read if rule.path.name not in named), tuple(problems)


def _refused(rule: Rule, sentence: str) -> RuleProblem:
    return RuleProblem(rule.path.name, 1, sentence)


def _refuse_unknown_severities(
    settings: Settings, rules: Iterable[Rule], broken: Iterable[RuleProblem]
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
        return _judged(connection, rules, settings)


def _judged(
    connection: duckdb.DuckDBPyConnection, rules: Sequence[Rule], settings: Settings
) -> _Judged:
    frames = [pl.DataFrame(schema=dict.fromkeys(_COLUMNS, pl.String))]
    problems = []
    for rule in rules:
        found = judge(connection, rule, settings.limits)
        if isinstance(found, RuleProblem):
            problems.append(found)
        else:
            severity = settings.severity.get(rule.name, rule.severity)
            told = found.with_columns(rule=pl.lit(rule.name), severity=pl.lit(severity.value))
            frames.append(told.select(_COLUMNS))
    return pl.concat(frames), tuple(problems)


def _keep(
    database: Database, found: Sequence[pl.DataFrame], problems: Sequence[RuleProblem]
) -> None:
    database.insert("check", "insert_finding", pl.concat(found))
    database.insert("check", "insert_problem", frame_of(RuleProblem, problems))
