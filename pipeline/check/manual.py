"""Rules in words: one explained for the terminal, all of them as a page of the manual."""

import textwrap
from collections.abc import Mapping, Sequence

from pipeline.check.rule_file import Rule, fill
from pipeline.records import Severity
from pipeline.settings import Settings

_WIDTH = 92
_INDENT = 10


def explanation(rule: Rule, settings: Settings) -> str:
    """Return a rule's title, severity, reasons and limits as lines for a terminal."""
    severity = settings.severity.get(rule.name, rule.severity)
    changed = "" if severity is rule.severity else f" (set in the rules file; else {rule.severity})"
    parts = [
        ("severity", f"{severity}{changed}"),
        ("why", fill(rule.why, settings.limits)),
        ("do", fill(rule.remedy, settings.limits)),
        ("source", fill(rule.source, settings.limits)),
        ("limits", _limits(rule, settings.limits)),
        ("file", rule.path.name),
    ]
    lines = [f"{rule.name}: {fill(rule.title, settings.limits)}", ""]
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
        lines += [f"## {severity}: {_MEANING[severity]}", ""]
        for rule in chosen:
            lines += _section(rule, limits)
    return "\n".join([*lines, _OWN_RULES])


_OWN_RULES = """\
## Rules of your own

Put one `.sql` file a rule into a folder and name it with `--rules-folder`. A file begins with the
header that every shipped rule has, each field on a line of its own, more of it on lines that
begin with `--` and three spaces:

```sql
-- name: own-loud-freezer
-- title: A station near the freezers is loud
-- severity: watch
-- why: Steel doors reflect, and the site's limit of {tx_power_limit_dbm} dBm is near. A limit in
--   braces is filled in where the rule is shown; {busy_share_limit:%} shows a share as per cent.
-- do: Reduce its power by 3 dB and survey again.
-- source: common practice, no published source
select store, station as subject,
    format('Transmits at {:.0f} dBm beside the freezers.', tx_power_dbm) as detail,
    tx_power_dbm
from station_now
where mounted ilike '%freezer%'
    and tx_power_dbm > (select value from setting where name = 'tx_power_limit_dbm') - 3
order by store, subject;
```

The name is the file's name without `.sql`; the severity is stop, fix, watch or note.
Below stands one select. Its first columns are the texts `store`, `subject` (what the finding is
about: a station, a channel, a file) and `detail` (one sentence); further columns are figures for
whoever runs the file by hand. No row: nothing found. It reads the tables and views of `sql/schema`
and takes limits from table `setting`, so that it runs by hand in the DuckDB shell as it is.

Rules of your own run on a read-only copy of the database in which files, the network and other
databases are closed. One that cannot be used becomes a finding, rule-unusable, that names file
and line; all others run.

An approved exception in the rules file takes a finding out of the counts, not out of the report:
by rule, store and subject (exactly, or `*` for all), with a reason, an approver and a last day.
"""

_MEANING: Mapping[Severity, str] = {
    Severity.STOP: "must not go on",
    Severity.FIX: "needs a change",
    Severity.WATCH: "look at it",
    Severity.NOTE: "for the record",
}


def _section(rule: Rule, limits: Mapping[str, float]) -> list[str]:
    named = _limits(rule, limits)
    return [
        f"### {rule.name}",
        "",
        f"**{fill(rule.title, limits)}.** {fill(rule.why, limits)}",
        "",
        f"*What to do:* {fill(rule.remedy, limits)}",
        "",
        f"*Source:* {fill(rule.source, limits)}",
        *([f"*Limits:* {named}"] if named else []),
        "",
    ]


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
