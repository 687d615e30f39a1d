"""Tables: what is declared is what the database has and what the reference pages say."""

import csv
import io
from collections.abc import Callable
from pathlib import Path

import pytest
from check_cases import RENEW
from ingest_kit import put

from pipeline.database import open_database
from pipeline.ingest.load import ingest
from pipeline.progress import Silent
from pipeline.settings import load_settings
from pipeline.sql_file import statements
from pipeline.tables.__main__ import exports_page, tables_page
from pipeline.tables.cells import FORMS, TEXT
from pipeline.tables.declare import ExportField, table_of
from pipeline.tables.every import VERSION, every_table
from pipeline.tables.exports import EXPORT_KINDS, ExportKind

DOCS = Path(__file__).parents[1] / "docs"


def test_the_database_has_what_is_declared(tmp_path: Path) -> None:
    """Every table with its columns, their types and which may be null; no other table."""
    with open_database(tmp_path / "q.duckdb") as database:
        found = database.connection.execute(
            "select table_name, column_name, lower(data_type), is_nullable from duckdb_columns() "
            "where not internal and schema_name = 'main' and table_name in "
            "(select table_name from duckdb_tables() where not temporary)"
        ).fetchall()
    keys = {(table.name, name) for table in every_table() for name in table.key}
    declared = {
        (
            table.name,
            column.name,
            column.sql.split()[0],
            column.null and (table.name, column.name) not in keys,
        )
        for table in every_table()
        for column in table.columns
    }

    assert {(table, column, kind, bool(null)) for table, column, kind, null in found} == declared


def test_every_table_and_column_says_what_it_means() -> None:
    """In more than the column's own name."""
    for table in every_table():
        assert not table.meaning.startswith(table.kind.__name__ + "("), table.name
        for column in table.columns:
            assert column.meaning.strip(), (table.name, column.name)


@pytest.mark.parametrize(("name", "page"), [("tables", tables_page), ("exports", exports_page)])
def test_the_pages_are_those_of_the_declarations(name: str, page: Callable[[], str]) -> None:
    """The page is what the declarations give; QUIETAISLE_RENEW=1 writes it anew."""
    path = DOCS / f"{name}.md"
    if RENEW:
        path.write_text(page(), encoding="utf-8")

    assert path.read_text(encoding="utf-8") == page()


def example(field: ExportField, place: int) -> str:
    """Return an example of a field's cells; texts differ by field, as keys must."""
    examples = field.form.examples
    written = examples[place % len(examples)]
    return f"{written} {field.name}" if field.form is TEXT else written


def export(kind: ExportKind, place: int) -> str:
    """Return an export of one row that has an example in every field."""
    text = io.StringIO()
    lines = csv.writer(text)
    lines.writerow([field.headings[0] for field in kind.fields])
    lines.writerow([example(field, place) for field in kind.fields])
    return text.getvalue()


def test_every_example_is_accepted_and_fills_its_column(tmp_path: Path) -> None:
    """What docs/exports.md promises of each field, and no clean-up forgets a column."""
    files = {
        f"{kind.name} {place}.csv": export(kind, place)
        for kind in EXPORT_KINDS
        for place in range(max(len(field.form.examples) for field in kind.fields))
    }
    with open_database(tmp_path / "q.duckdb") as database:
        outcomes = ingest(database, put(tmp_path / "in", files), load_settings(), Silent())
        assert [each for each in outcomes if each.rows_loaded + each.rows_repeated != 1] == []
        for kind in EXPORT_KINDS:
            table = table_of(kind.record)
            rows = database.connection.table(table.name)
            for column in table.columns:
                empty = rows.filter(f'"{column.name}" is null').fetchall()
                assert empty == [], (kind.name, column.name)


def test_every_form_of_a_field_is_on_the_page() -> None:
    """No field has cells of a form that docs/exports.md does not explain."""
    used = {field.form for kind in EXPORT_KINDS for field in kind.fields}

    assert used == set(FORMS)


def test_every_migration_leads_to_a_version_that_tables_have() -> None:
    """A migration of a later version than any table or column would never be run again."""
    numbers = {int(name.partition("-")[0]) for name in statements("migrations")}

    assert numbers <= set(range(2, VERSION + 1))


def test_columns_added_later_may_be_null_or_are_migrated() -> None:
    """An older database gets such a column empty; else a migration fills it or drops the table."""
    migrated = "".join(statements("migrations").values())
    for table in every_table():
        for column in table.columns:
            if column.since > table.since and not column.null:
                added = f"alter table {table.name} add column {column.name}" in migrated
                made_anew = f"drop table if exists {table.name};" in migrated
                assert added or made_anew
