"""Rules in words: one explained for the terminal, all of them as a page of the manual."""

import textwrap
from collections.abc import Mapping, Sequence

from pipeline import phrases
from pipeline.check.rule_file import Rule
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
