"""Show what the headings of a folder's exports are taken for, and propose what they may be."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory

from pipeline.database import open_database
from pipeline.errors import OutputNotWritable
from pipeline.ingest.discover import Stamps, discover
from pipeline.ingest.given import understand
from pipeline.ingest.headings import TableRefused, Vocabulary
from pipeline.ingest.pasting import proposal
from pipeline.ingest.tables import DeliveredTable, open_tables
from pipeline.ingest.words import escaped
from pipeline.settings import Settings
from pipeline.tables.exports import EXPORT_KINDS

_SHOWN = 3  # values shown of a column
_VALUE_MOST = 24  # letters of a value


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

    `known`: it is taken as it is. `refused` says what else keeps it from being taken.
    """

    file: str
    kind: str | None
    known: bool
    columns: tuple[TaughtColumn, ...]
    lacking: tuple[str, ...]
    refused: str | None

    @property
    def proposed(self) -> Mapping[str, str]:
        """The headings that stand for a field by proposal only."""
        return {c.heading: c.field for c in self.columns if c.field and c.why != "heading"}


def teach(folder: Path, settings: Settings) -> tuple[Taught, ...]:
    """Return every table of a folder with what its columns are taken for; nothing is stored.

    Raises:
        FolderMissing: there is no such folder.
    """
    vocabulary = Vocabulary(settings.headings, settings.above)
    with TemporaryDirectory(prefix="quietaisle-") as room:
        with open_database(Path(room) / "q.duckdb") as database:
            found = discover(folder, Stamps(database))
        read = sorted((each for each in found if not each.passed_over), key=lambda each: each.file)
        taught: list[Taught] = []
        for each in read:
            with open_tables(each, vocabulary, Path(room)) as tables:
                taught += [_taught(table, vocabulary) for table in tables]
    return tuple(taught)


def _taught(table: DeliveredTable, vocabulary: Vocabulary) -> Taught:
    if table.refused is not None:
        return Taught(table.file, None, False, (), (), table.refused)
    cells = table.head.headings.cells
    values = table.first_values()
    meant = understand(table, vocabulary, {}, None)
    if not isinstance(meant, TableRefused):
        named = enumerate(column.field for column in meant.mapped.columns)
        fields = {place: field for place, field in named if not field.startswith("other ")}
        columns = _columns(cells, values, fields, dict.fromkeys(fields.values(), "heading"))
        return Taught(table.file, meant.mapped.kind, True, columns, (), None)
    return _proposed(table, vocabulary, values, meant)


def _proposed(
    table: DeliveredTable,
    vocabulary: Vocabulary,
    values: Sequence[tuple[str, ...]],
    refused: TableRefused,
) -> Taught:
    cells = table.head.headings.cells
    best = proposal(cells, values, vocabulary)
    said = f"{refused.reason} {refused.advice}"
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


def asked(taught: Taught, ask: Callable[[str, str, Sequence[str]], str | None]) -> Taught:
    """Return a table with the answers to what is open.

    `ask` is given the field, what it means, and the headings that are free; it returns one of
    these, or None.
    """
    meanings = {
        f.name: f.meaning for kind in EXPORT_KINDS if kind.name == taught.kind for f in kind.fields
    }
    for field in taught.lacking:
        free = [column.heading for column in taught.columns if column.field is None]
        chosen = ask(field, meanings[field], free) if free else None
        if chosen is not None:
            columns = tuple(
                replace(c, field=field, why="you") if c.heading == chosen else c
                for c in taught.columns
            )
            left = tuple(each for each in taught.lacking if each != field)
            taught = replace(taught, columns=columns, lacking=left)
    return taught


def rules_of(tables: Sequence[Taught]) -> str:
    """Return the lines of a rules file that map what is proposed; empty where nothing is."""
    return "\n".join(_rules(tables))


def _rules(tables: Sequence[Taught]) -> Iterator[str]:
    for kind in EXPORT_KINDS:
        own = [each for each in tables if each.kind == kind.name and each.proposed]
        mapped: dict[str, str] = {}
        if own:
            yield f"[headings.{kind.name}]"
        for each in own:
            yield f"# {each.file}"
            for column in each.columns:
                field = each.proposed.get(column.heading)
                if field and column.heading not in mapped:
                    mapped[column.heading] = field
                    said = ", ".join(column.values) or "empty"
                    yield f'"{escaped(column.heading)}" = "{field}"  # by {column.why}: {said}'
            for field in each.lacking:
                yield f'# "heading of your column for {field}" = "{field}"'
        if own:
            yield ""


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
