"""Headings of exports: ours as empty files to fill in, and what those of others may mean."""

import re
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory

from pipeline import sql_file
from pipeline.database import Database, open_database
from pipeline.errors import NothingToRead, OutputNotWritable
from pipeline.ingest.clean import clean
from pipeline.ingest.discover import Stamps, discover
from pipeline.ingest.given import understand
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.notation import FolderTerms
from pipeline.ingest.pasting import LASTING, Line, lines_of, proposal
from pipeline.ingest.tables import DeliveredTable, open_tables
from pipeline.ingest.words import TableRefused, escaped
from pipeline.settings import DEFAULT_RULES, Settings
from pipeline.tables.exports import EXPORT_KINDS

_SHOWN = 3  # values shown of a column
_VALUE_MOST = 24  # letters of a value
_QUESTIONS_MOST = 12  # about one table
_ANY_DAY = date(2000, 1, 1)  # of tables that say none: a run is told with --as-of
_KIND = re.compile(r"\[(?:headings|above)\.(\w+)\]")
_PACKAGE = Path(__file__).resolve().parent


@dataclass(frozen=True, slots=True)
class TaughtColumn:
    """A column: its heading, some values, the field it is taken or proposed for, and why."""

    heading: str
    values: tuple[str, ...]
    field: str | None
    why: str  # 'heading', 'heading and values', 'values' or 'you'; empty: no field


@dataclass(frozen=True, slots=True)
class Taught:
    """A table: the kind it is or may be, its columns, and the fields it needs and lacks.

    `known`: it is taken as it is. `refused` says what else keeps it from being taken, and `options`
    are the lines of which one would mend that. `above` are answers that stand above its headings.
    """

    file: str
    kind: str | None
    known: bool
    columns: tuple[TaughtColumn, ...]
    lacking: tuple[str, ...]
    refused: str | None
    options: tuple[Line, ...] = ()
    mapped: Mapping[str, str] = field(default_factory=dict)
    above: Mapping[str, str] = field(default_factory=dict)

    @property
    def proposed(self) -> Mapping[str, str]:
        """The headings that stand for a field by proposal or answer only."""
        found = {c.heading: c.field for c in self.columns if c.field and c.why != "heading"}
        return {**self.mapped, **found}


Ask = Callable[[str, str, Sequence[str]], str | None]
"""Asks which of some answers a thing is, given what it means; None: nobody says."""


def teach(folder: Path, settings: Settings, ask: Ask | None = None) -> tuple[Taught, ...]:
    """Return every table of a folder with what its columns are taken for; nothing is stored.

    What is open is asked, until nothing is: then a run with `rules_of` needs no more.

    Raises:
        FolderMissing: there is no such folder.
        NothingToRead: it holds no table.
    """
    with (
        TemporaryDirectory(prefix="quietaisle-") as room,
        open_database(Path(room) / "q.duckdb") as database,
    ):
        for name in sql_file.statements("ingest", "macros"):
            database.run("ingest", name)
        found = discover(folder, Stamps(database))
        read = sorted((each for each in found if not each.passed_over), key=lambda each: each.file)
        taught: list[Taught] = []
        for each in read:
            count = 1
            while count:  # a file of several tables is opened anew for each: answers change it
                told = _Told(settings, taught)
                with open_tables(each, told.vocabulary, Path(room)) as tables:
                    table = tables[count - 1]
                    taught.append(_asked_of(database, table, told, ask))
                    count = count + 1 if count < len(tables) else 0
    if not taught:
        raise NothingToRead(folder)
    return tuple(taught)


class _Told:
    """The settings with all answers so far."""

    def __init__(self, settings: Settings, taught: Sequence[Taught]) -> None:
        own = {kind: dict(words) for kind, words in settings.headings.items()}
        above = {kind: dict(words) for kind, words in settings.above.items()}
        for each in taught:
            if each.kind and each.known:  # what was answered in full
                own.setdefault(each.kind, {}).update(each.proposed)
                above.setdefault(each.kind, {}).update(each.above)
        self.settings = settings
        self.own, self.above = own, above

    @property
    def vocabulary(self) -> Vocabulary:
        """What headings and lines above them are now known to mean."""
        return Vocabulary(self.own, self.above)

    def heard(self, kind: str, line: Line) -> None:
        """Take an answer in."""
        place = self.own if line.section == "headings" else self.above
        place.setdefault(kind, {})[line.name] = line.value


def _asked_of(database: Database, table: DeliveredTable, told: _Told, ask: Ask | None) -> Taught:
    """Return a table with what is known of it, once nothing is open or nobody answers."""
    taught = _taught(database, table, told)
    mapped: dict[str, str] = {}
    above: dict[str, str] = {}
    for _ in range(_QUESTIONS_MOST):
        lines = [] if ask is None or taught.known else list(_answers(taught, ask))
        if taught.kind is None or all(line.name in {**mapped, **above} for line in lines):
            break  # nothing new
        for line in lines:
            (mapped if line.section == "headings" else above)[line.name] = line.value
            told.heard(taught.kind, line)
        taught = _taught(database, table, told)
    return replace(taught, mapped=mapped, above=above)


def _answers(taught: Taught, ask: Ask) -> Iterator[Line]:
    """Yield what somebody answers to what is open about a table."""
    if taught.options:
        offered = {f"{line.name}: {line.value}": line for line in taught.options}
        chosen = ask("the answer", taught.refused or "", list(offered))
        if chosen is not None:
            yield offered[chosen]
        return
    once = asked(taught, ask)
    for column in once.columns:
        if column.field and column.why != "heading":
            yield Line("headings", column.heading, column.field)


def _taught(database: Database, table: DeliveredTable, told: _Told) -> Taught:
    if table.refused is not None:
        refused = table.refused
        return Taught(table.file, None, False, (), (), f"{refused.reason} {refused.advice}")
    cells, vocabulary = table.head.headings.cells, told.vocabulary
    values = table.first_values()
    meant = understand(table, vocabulary, {}, _ANY_DAY)
    if isinstance(meant, TableRefused):
        return _proposed(table, vocabulary, values, meant)
    named = enumerate(column.field for column in meant.mapped.columns)
    fields = {place: field for place, field in named if not field.startswith("other ")}
    columns = _columns(cells, values, fields, dict.fromkeys(fields.values(), "heading"))
    kind = meant.mapped.kind
    cleaned = clean(database, table, vocabulary, told.settings, FolderTerms(as_of=_ANY_DAY))
    if isinstance(cleaned, TableRefused):
        said, options = f"{cleaned.reason} {cleaned.advice}", _options(cleaned)
        return Taught(table.file, kind, False, columns, (), said, options)
    return Taught(table.file, kind, True, columns, (), None)


def _options(refused: TableRefused) -> tuple[Line, ...]:
    """Return the lines of which one would mend it, and that last from export to export."""
    lines = lines_of(refused.advice)
    asked_for = [line for line in lines if line.section == "headings" or line.name in LASTING]
    return tuple(line for line in asked_for if not line.name.startswith("heading of your"))


def _proposed(
    table: DeliveredTable,
    vocabulary: Vocabulary,
    values: Sequence[tuple[str, ...]],
    refused: TableRefused,
) -> Taught:
    cells = table.head.headings.cells
    best = proposal(cells, values, vocabulary)
    said = f"{refused.reason} {refused.advice}"
    named = _KIND.search(refused.advice)
    if named and "Paste at the end of the rules file, if" not in refused.advice:
        columns = _columns(cells, values, {}, {})
        return Taught(table.file, named[1], False, columns, (), said, _options(refused))
    if not best.why:
        return Taught(table.file, None, False, _columns(cells, values, {}, {}), (), said)
    columns = _columns(cells, values, best.places, best.why)
    return Taught(
        table.file, best.kind, False, columns, best.lacking, None if best.proposed else said
    )


def _columns(
    cells: Sequence[str],
    values: Sequence[tuple[str, ...]],
    fields: Mapping[int, str],
    why: Mapping[str, str],
) -> tuple[TaughtColumn, ...]:
    """Return the columns; `fields` has the field of each place that has one."""
    return tuple(
        TaughtColumn(
            " ".join(cell.split()),
            _shown(values[place]),
            fields.get(place),
            why.get(fields.get(place, ""), ""),
        )
        for place, cell in enumerate(cells)
    )


def _shown(values: Sequence[str]) -> tuple[str, ...]:
    different = dict.fromkeys(value.strip() for value in values if value.strip())
    return tuple(value[:_VALUE_MOST] for value in islice(different, _SHOWN))


def asked(taught: Taught, ask: Ask) -> Taught:
    """Return a table with the answers to what is open.

    `ask` is given the field, what it means, and the headings that are free; it returns one of
    these, or None.
    """
    meanings = {
        f.name: f.meaning for kind in EXPORT_KINDS if kind.name == taught.kind for f in kind.fields
    }
    for name in taught.lacking:
        free = [column.heading for column in taught.columns if column.field is None]
        chosen = ask(name, meanings[name], free) if free else None
        if chosen is not None:
            columns = tuple(
                replace(c, field=name, why="you") if c.heading == chosen else c
                for c in taught.columns
            )
            left = tuple(each for each in taught.lacking if each != name)
            taught = replace(taught, columns=columns, lacking=left)
    return taught


def rules_of(tables: Sequence[Taught]) -> str:
    """Return the lines of a rules file that map what is proposed; empty where nothing is."""
    return "\n".join(_rules(tables))


def _rules(tables: Sequence[Taught]) -> Iterator[str]:
    for kind in EXPORT_KINDS:
        own = [each for each in tables if each.kind == kind.name]
        yield from _section("headings", kind.name, map(_mappings, own))
        yield from _section("above", kind.name, map(_lines_above, own))


def _section(name: str, kind: str, parts: Iterable[Sequence[tuple[str, str]]]) -> Iterator[str]:
    """Yield a section of lines, each with the name that it must not give twice, if it has any."""
    told: set[str] = set()
    for part in parts:
        new = [(key, line) for key, line in part if key not in told or not key]
        if part and not told:
            yield f"[{name}.{kind}]"
        told |= {"", *(key for key, _ in new)} if part else set()
        yield from (line for _, line in new)
    if told:
        yield ""


def _mappings(each: Taught) -> Sequence[tuple[str, str]]:
    if not each.proposed and not (each.options and each.options[0].section == "headings"):
        return []
    lines = [("", f"# {each.file}")]
    of = {column.heading: column for column in each.columns}
    for heading, name in each.proposed.items():
        column = of.get(heading)
        said = ", ".join(column.values) or "empty" if column else "a name, not a column"
        why = column.why if column and column.why != "heading" else "you"
        lines.append((heading, f'"{escaped(heading)}" = "{name}"  # by {why or "you"}: {said}'))
    lines += [("", f'# "heading of your column for {f}" = "{f}"') for f in each.lacking]
    return lines + _open(each, "headings")


def _lines_above(each: Taught) -> Sequence[tuple[str, str]]:
    lines = [(name, f'"{name}" = "{text}"') for name, text in each.above.items()]
    lines += _open(each, "above")
    return [("", f"# {each.file}"), *lines] if lines else []


def _open(each: Taught, section: str) -> list[tuple[str, str]]:
    """Return the lines of which one is right, all as comments."""
    lines = [line for line in each.options if line.section == section]
    return [("", f'# "{escaped(line.name)}" = "{line.value}"') for line in lines]


def write_rules(path: Path, tables: Sequence[Taught]) -> None:
    """Write the lines of `rules_of` into a new file.

    Raises:
        OutputNotWritable: it exists, or cannot be made.
    """
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(rules_of(tables))
    except OSError as error:
        raise OutputNotWritable(path, error.strerror or str(error)) from error


def demo_folder() -> Path:
    """Return the sample exports: inside the package in a wheel, beside it in a checkout."""
    packed = _PACKAGE / "sample_exports"
    return packed if packed.is_dir() else _PACKAGE.parent / "sample_exports"


def write_template(folder: Path) -> tuple[Path, ...]:
    """Write one empty file per kind of export, and the rules file; replace no file.

    Raises:
        OutputNotWritable: the folder cannot be made, or one of the files exists.
    """
    texts = {
        f"{kind.name}.csv": ",".join(
            field.headings[0] for field in kind.fields if field.name != "scanned_on"
        )
        + "\r\n"
        for kind in EXPORT_KINDS
    }
    texts["rules.toml"] = DEFAULT_RULES.read_text(encoding="utf-8")
    return tuple(_write(folder, name, text) for name, text in texts.items())


def write_demo(folder: Path) -> tuple[Path, ...]:
    """Copy the demo's exports into a new folder.

    Raises:
        OutputNotWritable: the folder exists, or cannot be made.
    """
    try:
        shutil.copytree(demo_folder(), folder)
    except OSError as error:
        raise OutputNotWritable(folder, error.strerror or str(error)) from error
    return tuple(sorted(path for path in folder.rglob("*") if path.is_file()))


def _write(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    except OSError as error:
        raise OutputNotWritable(path, error.strerror or str(error)) from error
    return path
