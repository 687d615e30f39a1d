"""Rules as files: a header of comments says what a rule is, the select below says what it finds."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from pipeline import sql_file
from pipeline.errors import FolderMissing
from pipeline.records import Severity

FIELDS = ("name", "title", "severity", "why", "do", "source")
SHAPE = ("store", "subject", "detail")
_LAST = "last"
_HEADER_LINE = re.compile(r"-- (?P<field>[a-z]+):(?: (?P<text>.*))?$")
_CONTINUED = re.compile(r"--   (?P<text>.+)$")
_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_LIMIT = re.compile(r"\{(?P<name>\w+)(?P<percent>:%)?\}")


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. `text` is the whole file, which runs as it is; `last`: it judges the findings."""

    name: str
    title: str
    severity: Severity
    why: str
    remedy: str
    source: str
    last: bool
    path: Path
    text: str

    @property
    def limits(self) -> tuple[str, ...]:
        """The limits its header speaks of, in the order it names them."""
        found = _LIMIT.finditer(f"{self.title} {self.why} {self.remedy} {self.source}")
        return tuple(dict.fromkeys(match["name"] for match in found))


@dataclass(frozen=True, slots=True)
class RuleProblem:
    """Why a rule cannot be used, and the line of its file to mend."""

    file: str
    line: int
    sentence: str


class _Unreadable(Exception):
    """A header that cannot be read; carries the problem out of the parser."""

    def __init__(self, line: int, sentence: str) -> None:
        super().__init__(sentence)
        self.line = line
        self.sentence = sentence


def fill(text: str, limits: Mapping[str, float]) -> str:
    """Put the limits into a header text: `{name}` as it is, `{name:%}` as a percentage."""

    def value(match: re.Match[str]) -> str:
        if match["name"] not in limits:
            return match[0]
        limit = limits[match["name"]]
        return f"{100 * limit:g} %" if match["percent"] else f"{limit:g}"

    return _LIMIT.sub(value, text)


def read_rules(folder: Path | None) -> tuple[tuple[Rule, ...], tuple[RuleProblem, ...]]:
    """Return the rules of this package, or of a user's `folder`, by name, and what is broken.

    Raises:
        FolderMissing: `folder` is not a folder.
    """
    if folder is not None and not folder.is_dir():
        raise FolderMissing(folder, "your rules (*.sql)")
    paths = sql_file.folder("rules") if folder is None else sorted(folder.glob("*.sql"))
    read = [read_rule(path) for path in paths]
    rules = tuple(rule for rule in read if isinstance(rule, Rule))
    return rules, tuple(problem for problem in read if isinstance(problem, RuleProblem))


def read_rule(path: Path) -> Rule | RuleProblem:
    """Read one rule, or say why it cannot be read."""
    try:
        text = path.read_text(encoding="utf-8-sig")
        return _rule(path, text, _header(text.splitlines()))
    except _Unreadable as error:
        return RuleProblem(path.name, error.line, error.sentence)
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        return RuleProblem(path.name, line, "The file is not UTF-8 text; save it as UTF-8.")
    except OSError as error:
        return RuleProblem(path.name, 1, f"The file cannot be read: {error.strerror}.")


def _header(lines: Sequence[str]) -> Mapping[str, tuple[int, str]]:
    """Return field -> (line, text) of the comments before the select."""
    fields: dict[str, tuple[int, str]] = {}
    field = ""
    for number, line in enumerate(lines, 1):
        if not line.startswith("--"):
            break
        if match := _HEADER_LINE.match(line):
            field = match["field"]
            if field not in (*FIELDS, "runs"):
                known = ", ".join((*FIELDS, "runs"))
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
    for field in FIELDS:
        line, value = header.get(field, (1, ""))
        if not value:
            raise _Unreadable(line, f"The header lacks '-- {field}: ...'.")
    line, name = header["name"]
    if not _NAME.fullmatch(name) or name != path.stem:
        expected = "small letters, digits and single hyphens, the same as the file's name"
        raise _Unreadable(line, f"The name '{name}' must be {expected} ({path.stem}).")
    line, severity = header["severity"]
    if severity not in tuple(Severity):
        raise _Unreadable(line, f"The severity '{severity}' must be one of {_words(Severity)}.")
    line, runs = header.get("runs", (1, ""))
    if runs not in ("", _LAST):
        raise _Unreadable(line, f"'runs: {runs}' must be 'runs: {_LAST}' or be left out.")
    return Rule(
        name=name,
        title=header["title"][1],
        severity=Severity(severity),
        why=header["why"][1],
        remedy=header["do"][1],
        source=header["source"][1],
        last=runs == _LAST,
        path=path,
        text=text,
    )


def _words(names: type[Severity]) -> str:
    return ", ".join(names)
