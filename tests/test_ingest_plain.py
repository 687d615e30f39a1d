"""Texts in which some rows are of another form: read at one go, and exactly as row by row."""

import tempfile
from pathlib import Path

import duckdb
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from ingest_kit import put, take
from openpyxl import Workbook

from pipeline.database import Database
from pipeline.ingest import clean, delimited
from pipeline.ingest.delimited import (
    LINE_LIMIT,
    PLAIN_COLUMNS,
    DeliveredRow,
    Head,
    TextDialect,
    plain_lines,
)
from pipeline.ingest.given import Understood
from pipeline.ingest.headings import FieldColumn, Mapped
from pipeline.ingest.notation import Titles
from pipeline.ingest.staging import stage_plain
from pipeline.ingest.tables import DeliveredTable

HEADINGS = ("store", "label", "station", "level dbm", "exported on")
COLUMNS = tuple(FieldColumn(f"other {place}", f"column {place}") for place in (1, 2, 3))
MAPPED = Mapped("labels", wide=False, columns=COLUMNS)
KNOWN = Understood(MAPPED, Titles(), {}, "")
DIALECTS = st.builds(
    TextDialect, st.sampled_from(",;\t|"), st.just('"'), st.sampled_from('"\\')
) | st.just(TextDialect(",", "'", "'"))


def by_copy(path: Path, head: Head, room: Path) -> list[tuple[object, ...]]:
    """Return the rows as the database reads the plain copy, with empty cells alike."""
    lines = lambda: plain_lines(path, head)  # noqa: E731 - a table's way to its lines
    table = DeliveredTable("x", "0", head, "", lines, room / "plain.csv")
    with duckdb.connect() as connection:
        count = stage_plain(Database(connection), table, KNOWN)
        columns = [*PLAIN_COLUMNS, *(column.field for column in COLUMNS)]
        rows = connection.table("delivered").select(*map(duckdb.ColumnExpression, columns))
        found = [tuple(value or None for value in row) for row in rows.fetchall()]
    assert len(found) == count
    return found


def row_by_row(path: Path, head: Head) -> list[tuple[object, ...]]:
    """Return the rows with every line taken apart, none passed on as it is."""
    width = len(COLUMNS)
    found: list[tuple[object, ...]] = []
    with path.open(encoding="utf-8", newline="") as file:
        lines = delimited._Lines(iter(file.readline, ""))  # noqa: SLF001 - what is compared with
        lines.take()
        while line := lines.take():
            row = delimited._row(line, lines, head.dialect, width)  # noqa: SLF001 - the same
            if not row.is_blank:
                cells = [*row.cells, "", "", ""][:width]
                more = " | ".join(row.cells[width:])
                told = (row.line, row.fault, row.form(width), more, *cells)
                found.append(tuple(value or None for value in told))
    return found


@given(
    st.lists(st.text("ab1 ,;|\t\"'\\\r\n\0é\u00a0\ufffd", max_size=14), max_size=14),
    DIALECTS,
    st.sampled_from(("\n", "\r\n", "\r")),
)
@example(["a,b,c", '"a\nb",b,c', "", '"a,b,c', "a,b", "a,b,c,d", ",,", '"x""y",b,c'],
         TextDialect(",", '"', '"'), "\n")  # fmt: skip
@example(['"a\\"b",b,c', "a\\,b,c"], TextDialect(",", '"', "\\"), "\n")
@example(["'a''b',\"b,c", 'a,b"",c'], TextDialect(",", "'", "'"), "\n")
@example([",,'\r", "1'"], TextDialect(",", "'", "'"), "\n")
@settings(max_examples=100, suppress_health_check=[HealthCheck.too_slow])
def test_the_copy_holds_what_reading_row_by_row_gives(
    lines: list[str], dialect: TextDialect, end: str
) -> None:
    """Lines, faults, cells and cells too many are the same, whatever the text is made of."""
    head = Head(dialect, (), DeliveredRow(1, ["x", "y", "z"]), 2)
    text = dialect.delimiter.join("xyz") + end + end.join(lines)
    with tempfile.TemporaryDirectory() as room:
        path = Path(room) / "x.csv"
        path.write_text(text, encoding="utf-8", newline="")

        assert by_copy(path, head, Path(room)) == row_by_row(path, head)


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


def test_a_few_odd_rows_do_not_make_the_rest_be_read_one_by_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ragged rows, a broken quote, a text of two lines: only these are taken apart.

    Every line of the quarantine is the line of the file.
    """
    rows, taken_apart = 4000, []
    whole = delimited._row  # noqa: SLF001 - what is watched

    def watched(
        line: str, lines: delimited._Lines, dialect: TextDialect, width: int | None
    ) -> DeliveredRow:
        if width is not None:
            taken_apart.append(line)
        return whole(line, lines, dialect, width)

    monkeypatch.setattr(delimited, "_row", watched)
    result = take(put(tmp_path, {"x.csv": odd_text(rows)}))

    assert len(taken_apart) < 10
    assert sorted(result.problems()) == [
        (rows // 8 + 2, "row-too-long"), (rows // 4 + 2, "row-too-short"),
        (rows // 2 + 2, "quote-unclosed"), (rows + 1, "level-impossible"),
    ]  # fmt: skip
    outcome = result.outcome("x.csv")
    assert (outcome.rows_read, outcome.rows_loaded) == (rows - 1, rows - 4)
    labels = {row[1] for row in result.tables["label_seen"]}
    assert {"L0", "two\nlines", f"L{rows - 1}"} <= labels


def test_a_copy_that_the_database_reads_otherwise_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Should the number of rows differ, the table is refused: no row is lost in silence."""
    monkeypatch.setattr(clean, "stage_plain", lambda *each: stage_plain(*each) + 1)

    outcome = take(put(tmp_path, {"x.csv": odd_text(40)})).outcome("x.csv")

    assert (outcome.kind, outcome.rows_read, outcome.rows_quarantined) == (None, 39, 39)
    assert "cannot be read exactly" in str(outcome.refused)


def test_a_row_of_a_sheet_longer_than_any_line_is_quarantined(tmp_path: Path) -> None:
    """Cells may share one long text, so a small workbook can hold a row of any length."""
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.append([*HEADINGS, *(f"more {place}" for place in range(40))])
    sheet.append(["S1", "L1", "A", -60, "2026-09-30", *["x" * 32_000] * 40])
    sheet.append(["S1", "L2", "A", -61, "2026-09-30"])
    book.save(tmp_path / "x.xlsx")

    result = take(tmp_path)

    assert result.problems() == [(2, "line-too-long")]
    assert [row[1] for row in result.tables["label_seen"]] == ["L2"]


def test_a_row_longer_than_the_database_reads_is_no_loss(tmp_path: Path) -> None:
    """Beside a row that just fits and is twice as long in quotes, all rows are accounted for."""
    long = "é" * (LINE_LIMIT - 100)
    text = odd_text(40) + f'S001,"{long}",A,-60,2026-09-30\nS002,end,A,-61,2026-09-30\n'

    result = take(put(tmp_path, {"x.csv": text}))

    assert {long, "end"} <= {row[1] for row in result.tables["label_seen"]}
    assert len(result.problems()) == 4
