"""Rules as files: a header of comments says in words what the select below it finds."""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import duckdb

from pipeline import sql_file
from pipeline.errors import FolderMissing, PhraseBroken
from pipeline.phrases import Phrase, phrase
from pipeline.records import Severity
from pipeline.settings import load_settings
from pipeline.tables.every import every_table
from pipeline.wording import DEFAULT_LANGUAGE, languages, texts

FIELDS = ("name", "title", "severity", "says", "why", "do", "source")
TRANSLATED = ("title", "says", "do")
# A select may give the sentence itself, as `detail`.
_OPTIONAL = {"says": "{detail}", "runs": "", "binds": ""}
_LAST = "last"
BINDS = ("hold", "first", "alone")
"""What a finding may do to the plan of its station: see the table `plan_bound`."""
_HEADER_LINE = re.compile(r"-- (?P<field>(?P<plain>[a-z]+)(\.[a-z]{2,3})?):(?: (?P<text>.*))?$")
_CONTINUED = re.compile(r"--   (?P<text>.+)$")
_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
# Tables that only these macros may read, since they refuse a name that is not there.
_SETTINGS = {"setting": "limit_of", "setting_text": "text_of"}
_TEXTS = frozenset({"firmware_standard"})
# What the plan and the steps after it work out: a rule that binds the plan is judged before.
_LATER = frozenset(
    table.name
    for table in every_table()
    if table.kind.__module__.rpartition(".")[2] in {"check", "plan", "schedule"}
) | {"finding_track", "move_story", "station_bound", "unapproved", "wave_result"}
_HIDING = ("query", "query_table")  # they read tables that a text names, unseen by any check


@dataclass(frozen=True, slots=True)
class RuleWords:
    """What a rule is called, what a finding says, and what to do, in one language."""

    title: str
    says: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. `text` is the whole file, which runs as it is; `last`: it judges the findings.

    `binds` is what its findings do to the plan of their stations, one of `BINDS`; "": nothing.
    `words` are by language, English always among them. Their blanks and those of `why` and `source`
    are limits; those of what a finding says are columns of the select.
    """

    name: str
    severity: Severity
    words: Mapping[str, RuleWords]
    why: str
    source: str
    last: bool
    binds: str
    path: Path
    text: str

    @property
    def english(self) -> RuleWords:
        """The words of the language in which findings are kept."""
        return self.words[DEFAULT_LANGUAGE]

    def binding(self, severity: Severity) -> str:
        """Return what its findings of a severity do to the plan: what must not go on comes first.

        A rule that reads what the plan makes binds nothing.
        """
        stops = severity is Severity.STOP and not self.last and _read_later(self.text) is None
        return self.binds or ("first" if stops else "")

    @property
    def limits(self) -> tuple[str, ...]:
        """The limits its header speaks of and its select reads, in order."""
        spoken = [self.english.title, self.why, self.english.remedy, self.source]
        named = re.findall(r"\{(\w+)", " ".join(spoken))
        read = [name for _, macro, name in _settings_read(self.text) if macro == "limit_of"]
        return tuple(dict.fromkeys([*named, *filter(None, read)]))


@dataclass(frozen=True, slots=True)
class BrokenRule:
    """Why a rule cannot be used, and the line of its file to mend."""

    file: str
    line: int
    sentence: str


class _Unreadable(Exception):
    """A rule that cannot be read; carries the problem out of the parser."""

    def __init__(self, line: int, sentence: str) -> None:
        super().__init__(sentence)
        self.line = line
        self.sentence = sentence


def read_rules(folder: Path | None) -> tuple[tuple[Rule, ...], tuple[BrokenRule, ...]]:
    """Return the rules of this package, or of a user's `folder`, by name, and what is broken.

    Raises:
        FolderMissing: `folder` is not a folder.
    """
    if folder is not None and not folder.is_dir():
        raise FolderMissing(folder, "your rules (*.sql)")
    paths = sql_file.folder("rules") if folder is None else sorted(folder.glob("*.sql"))
    read = [read_rule(path) for path in paths]
    rules = tuple(rule for rule in read if isinstance(rule, Rule))
    return rules, tuple(problem for problem in read if isinstance(problem, BrokenRule))


def read_rule(path: Path) -> Rule | BrokenRule:
    """Read one rule, or say why it cannot be read."""
    try:
        return checked_rule(path, path.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        return BrokenRule(path.name, line, "The file is not UTF-8 text; save it as UTF-8.")
    except OSError as error:
        return BrokenRule(path.name, 1, f"The file cannot be read: {error.strerror}.")


@lru_cache(maxsize=1024)
def checked_rule(path: Path, text: str) -> Rule | BrokenRule:
    """Return the rule in a text; kept, since a run judges by its rules more than once."""
    try:
        rule = _rule(path, text, _header(text.splitlines()))
        _check_blanks(rule)
        _check_settings(rule.text)
        _check_binds(rule)
    except _Unreadable as error:
        return BrokenRule(path.name, error.line, error.sentence)
    return rule


def _header(lines: Sequence[str]) -> Mapping[str, tuple[int, str]]:
    """Return field -> (line, text) of the comments before the select."""
    fields: dict[str, tuple[int, str]] = {}
    field = ""
    for number, line in enumerate(lines, 1):
        if not line.startswith("--"):
            break
        if match := _HEADER_LINE.match(line):
            field = match["field"]
            if field not in (*FIELDS, *_OPTIONAL) and match["plain"] not in TRANSLATED:
                known = ", ".join((*FIELDS, "runs", "binds"))
                raise _Unreadable(number, f"The header has no field '{field}'; it has {known}.")
            if field in fields:
                raise _Unreadable(number, f"The header gives '{field}' twice.")
            fields[field] = (number, (match["text"] or "").strip())
        elif (match := _CONTINUED.match(line)) and field:
            first, text = fields[field]
            fields[field] = (first, f"{text} {match['text'].strip()}".strip())
        else:
            expected = "'-- field: text', or '--   ' and more of the field above"
            raise _Unreadable(number, f"A header line reads {expected}; this one is neither.")
    return MappingProxyType(fields)


def _rule(path: Path, text: str, header: Mapping[str, tuple[int, str]]) -> Rule:
    said = {field: said for field, (_, said) in header.items()}
    for field in FIELDS:
        if not said.setdefault(field, _OPTIONAL.get(field, "")):
            line = header[field][0] if field in header else 1
            raise _Unreadable(line, f"The header lacks '-- {field}: ...'.")
    name, severity, runs = said["name"], said["severity"], said.get("runs", "")
    if not _NAME.fullmatch(name) or name != path.stem:
        expected = "small letters, digits and single hyphens, the same as the file's name"
        raise _Unreadable(header["name"][0], f"The name '{name}' must be {expected} ({path.stem}).")
    if severity not in tuple(Severity):
        known = ", ".join(Severity)
        raise _Unreadable(
            header["severity"][0], f"The severity '{severity}' must be one of {known}."
        )
    if runs not in ("", _LAST):
        raise _Unreadable(
            header["runs"][0], f"'runs: {runs}' must be 'runs: {_LAST}' or be left out."
        )
    return Rule(
        name=name,
        severity=Severity(severity),
        words=MappingProxyType(_words(name, said)),
        why=said["why"],
        source=said["source"],
        last=runs == _LAST,
        binds=said.get("binds", ""),
        path=path,
        text=text,
    )


def _words(name: str, said: Mapping[str, str]) -> dict[str, RuleWords]:
    """Return the words by language: of the header, else of the language's own texts."""
    found = {DEFAULT_LANGUAGE: RuleWords(said["title"], said["says"], said["do"])}
    named = {field.partition(".")[2] for field in said if "." in field}
    for language in sorted({*languages(), *named} - {DEFAULT_LANGUAGE}):
        own = texts(language) if language in languages() else {}
        given = [
            said.get(f"{field}.{language}", own.get(f"rule.{name}.{field}")) for field in TRANSLATED
        ]
        if any(given):
            english = (said[field] for field in TRANSLATED)
            found[language] = RuleWords(*(a or b for a, b in zip(given, english, strict=True)))
    return found


def _check_blanks(rule: Rule) -> None:
    """Refuse texts that cannot be filled, and limits in them that do not exist."""
    for words in rule.words.values():
        _read_phrase(rule, words.says)
        for text in (words.title, words.remedy, rule.why, rule.source):
            for name in sorted(_read_phrase(rule, text).names - _limits()):
                line = line_with(rule.text, f"{{{name}")
                raise _Unreadable(line, f"There is no limit named '{name}'.")


def _read_phrase(rule: Rule, text: str) -> Phrase:
    try:
        return phrase(text)
    except PhraseBroken as error:
        line = line_with(rule.text, text[:40])
        raise _Unreadable(line, f"The text cannot be read: {error.fault}.") from error


def line_with(text: str, words: str) -> int:
    """Return the first line of a text that holds the words, 1 where none does."""
    lines = enumerate(text.splitlines(), 1)
    return next((number for number, line in lines if words in line), 1)


def _check_settings(text: str) -> None:
    """Refuse limits that do not exist, whatever form the select takes to read them."""
    known = {"limit_of": _limits(), "text_of": _TEXTS}
    for line, macro, name in _settings_read(text):
        kind = macro.partition("_")[0]
        if macro not in known:
            raise _Unreadable(line, f"'{macro}' hides which tables a rule reads; name the table.")
        if name is None:
            sentence = f"{macro}('...') takes the name of a {kind} in quotes"
            raise _Unreadable(line, f"A rule reads a {kind} in one way: {sentence}.")
        if name not in known[macro]:
            raise _Unreadable(line, f"There is no {kind} named '{name}'.")


def _check_binds(rule: Rule) -> None:
    """Refuse a rule that would bind the plan in an unknown way, or by what the plan makes."""
    if not rule.binds:
        return
    line = line_with(rule.text, "-- binds:")
    if rule.binds not in BINDS:
        known = ", ".join(BINDS)
        raise _Unreadable(line, f"'binds: {rule.binds}' must be one of {known}, or be left out.")
    later = _read_later(rule.text)
    if rule.last or later is not None:
        at, name = later or (line, "the findings")
        sentence = f"A rule that binds the plan is judged before it and cannot read {name}."
        raise _Unreadable(at, sentence)


def _read_later(text: str) -> tuple[int, str] | None:
    """Return line and name of the first table a select reads that the plan, or later, makes."""
    for line, node in syntax_nodes(text):
        name = str(node.get("table_name", "")).lower()
        if name in _LATER:
            return line, name
    return None


def _settings_read(text: str) -> Iterator[tuple[int, str, str | None]]:
    """Yield (line, macro, name) of each limit or text that a select reads.

    The name is None where it is not written out, or where the table is read without the macro.
    """
    for line, node in syntax_nodes(text):
        function = str(node.get("function_name", "")).lower()
        if table := _SETTINGS.get(str(node.get("table_name", "")).lower()):
            yield line, table, None
        elif function in _HIDING:
            yield line, function, None
        elif function in _SETTINGS.values():
            yield line, function, _constant(node["arguments"])


def syntax_nodes(text: str) -> Iterator[tuple[int, Mapping[str, Any]]]:
    """Yield every node of a parsed select with the line it stands on."""
    octets = text.encode()
    for node in _nodes(json.loads(_syntax(text))):
        at = node.get("query_location", 0)
        known = 0 < at < len(octets)  # else the statement as a whole is meant
        yield octets.count(b"\n", 0, at) + 1 if known else first_line(text), node


def first_line(text: str) -> int:
    """Return the line on which the statement of a file begins."""
    lines = enumerate(text.splitlines(), 1)
    return next((n for n, line in lines if line.strip() and not line.startswith("--")), 1)


def _nodes(tree: Any) -> Iterator[Mapping[str, Any]]:  # noqa: ANN401 - parsed JSON
    for child in tree.values() if isinstance(tree, dict) else tree:
        if isinstance(child, dict | list):
            yield from _nodes(child)
    if isinstance(tree, dict):
        yield tree


def _constant(arguments: Sequence[Mapping[str, Any]]) -> str | None:
    literals = [argument["expression"].get("literal", {}) for argument in arguments]
    if len(literals) == 1 and literals[0].get("kind") == "STRING":
        return str(literals[0]["text"])
    return None


@cache
def _limits() -> frozenset[str]:
    """Return the names of all limits: those of the shipped rules file."""
    return frozenset(load_settings().limits)


@cache
def _syntax(text: str) -> str:
    """Return the tree of a select as JSON; of what is none, an error in its place."""
    found = _parser().execute(sql_file.statement("check", "syntax"), {"text": text}).fetchone()
    return str(found[0]) if found else "{}"


@cache
def _parser() -> duckdb.DuckDBPyConnection:
    return duckdb.connect()
