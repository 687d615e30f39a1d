"""Texts in which some rows are of another form: read at one go, and exactly as row by row."""

import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import duckdb
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from ingest_kit import Result, put, take

from pipeline.database import Database
from pipeline.ingest import tables
from pipeline.ingest.delimited import (
    LINE_LIMIT,
    DeliveredRow,
    Head,
    TextDialect,
    read_rows,
    write_plain,
)
from pipeline.ingest.headings import FieldColumn, Mapped
from pipeline.ingest.staging import stage_plain, stage_rows

HEADINGS = ("store", "label", "station", "level dbm", "exported on")
COLUMNS = tuple(FieldColumn(f"other {place}", f"column {place}") for place in (1, 2, 3))
MAPPED = Mapped("labels", wide=False, columns=COLUMNS, dbm_by_heading=False)
DIALECTS = st.builds(
    TextDialect, st.sampled_from(",;\t|"), st.just('"'), st.sampled_from('"\\')
) | st.just(TextDialect(",", "'", "'"))


def staged(stage: Callable[[Database], None]) -> list[tuple[object, ...]]:
    """Return the delivered rows of one way of reading, with empty cells alike."""
    with duckdb.connect() as connection:
        stage(Database(connection))
        columns = ["line_number", "row_fault", "beyond", "more", *(c.field for c in COLUMNS)]
        rows = connection.table("delivered").select(*map(duckdb.ColumnExpression, columns))
        return [tuple(value or None for value in row) for row in rows.fetchall()]


@given(
    st.lists(st.text("ab1 ,;|\t\"'\\\r\n\0é\u00a0\ufffd", max_size=14), max_size=14),
    DIALECTS,
    st.sampled_from(("\n", "\r\n", "\r")),
)
@example(["a,b,c", '"a\nb",b,c', "", '"a,b,c', "a,b", "a,b,c,d", ",,", '"x""y",b,c'],
         TextDialect(",", '"', '"'), "\n")  # fmt: skip
@example(['"a\\"b",b,c', "a\\,b,c"], TextDialect(",", '"', "\\"), "\n")
@example(["'a''b',\"b,c", 'a,b"",c'], TextDialect(",", "'", "'"), "\n")
@settings(max_examples=100, suppress_health_check=[HealthCheck.too_slow])
def test_the_copy_holds_what_reading_row_by_row_gives(
    lines: list[str], dialect: TextDialect, end: str
) -> None:
    """Lines, faults, cells and cells too many are the same, whatever the text is made of."""
    head = Head(dialect, (), DeliveredRow(1, ["x", "y", "z"]), 2)
    text = dialect.delimiter.join("xyz") + end + end.join(lines)
    with tempfile.TemporaryDirectory() as room:
        path, copy = Path(room) / "x.csv", Path(room) / "copy.csv"
        path.write_text(text, encoding="utf-8", newline="")
        rows = write_plain(path, head, copy)
        by_copy = staged(lambda database: stage_plain(database, copy, head, MAPPED))
        by_row = staged(lambda database: stage_rows(database, MAPPED, read_rows(path, head)))

    assert by_copy == by_row
    assert rows == len(by_row)


def odd_text(rows: int) -> str:
    """Return a labels export in which a few rows are of another form."""
    lines = [f"S{row % 50:03},L{row},A,-60,2026-09-30" for row in range(rows)]
    lines[rows // 8] += ",more"
    lines[rows // 4] = lines[rows // 4][:12]
    lines[rows // 2] = 'S001,"L,A,-60,2026-09-30'
    lines[rows // 2 + 9] = 'S001,"two\nlines",A,-60,2026-09-30'
    lines[rows - 5] = ""
    lines[rows - 2] = "S001,last,A,5,2026-09-30"
    return "\n".join([",".join(HEADINGS), *lines]) + "\n"


def refuse(*_: object) -> Iterator[DeliveredRow]:
    """Stand in for reading row by row where that must not happen."""
    raise AssertionError


def told(result: Result) -> list[tuple[object, ...]]:
    """Return what quarantine says of rows: line, problem, reason, original cells."""
    return sorted((row[3], row[5], row[6], row[8]) for row in result.tables["quarantined_row"])


def test_a_few_odd_rows_do_not_make_the_rest_be_read_one_by_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ragged rows, a broken quote, a text of two lines: the rest is read at one go.

    Every line of the quarantine is the line of the file.
    """
    rows = 4000
    folder = put(tmp_path, {"x.csv": odd_text(rows)})
    with monkeypatch.context() as patch:
        patch.setattr(tables, "read_rows", refuse)
        result = take(folder)
    with monkeypatch.context() as patch:
        patch.setattr(tables, "write_plain", lambda *_: None)
        row_by_row = take(folder)

    assert sorted(result.problems()) == [
        (rows // 8 + 2, "row-too-long"), (rows // 4 + 2, "row-too-short"),
        (rows // 2 + 2, "quote-unclosed"), (rows + 1, "level-impossible"),
    ]  # fmt: skip
    outcome = result.outcome("x.csv")
    assert (outcome.rows_read, outcome.rows_loaded) == (rows - 1, rows - 5)
    assert told(result) == told(row_by_row)
    assert result.facts == row_by_row.facts


def test_a_row_longer_than_the_database_reads_is_no_loss(tmp_path: Path) -> None:
    """Beside a row that just fits and is twice as long in quotes, all rows are accounted for."""
    long = "é" * (LINE_LIMIT - 100)
    text = odd_text(40) + f'S001,"{long}",A,-60,2026-09-30\nS002,end,A,-61,2026-09-30\n'

    result = take(put(tmp_path, {"x.csv": text}))

    assert {long, "end"} <= {row[1] for row in result.tables["label_seen"]}
    assert len(result.problems()) == 4
