"""Properties of ingest: any table in any dialect reads back, any order of files gives the same."""

import csv
import io
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import permutations
from pathlib import Path
from random import Random
from typing import Literal

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ingest_kit import FACTS, READINGS, SET, Result, put, take

DAYS = {
    "iso": "%Y-%m-%d",
    "dotted": "%d.%m.%Y",
    "day first": "%d/%m/%Y",
    "month first": "%m/%d/%Y",
}
ENGLISH = ("store", "label", "station", "level dbm", "success %", "updates per day", "exported on")
GERMAN = (
    "Filiale", "Etikett", "Basisstation", "Pegel dBm", "Erfolg %", "Updates pro Tag", "Stand",
)  # fmt: skip
# What delimiters, quotes and programs trip over; a text that is itself in quotes is not told
# from a quoted one, so no text begins with one.
SIGNS = "abzAZ059 äöüßéÄłąŚ,;|\t\"'\n.-_=+@%()/\\"
Label = tuple[str, str, str, float | None, float | None, int | None, date]


@dataclass(frozen=True)
class Dialect:
    """How a table is written down."""

    delimiter: str
    end: str
    encoding: str
    quoting: Literal[0, 1, 2]  # as the csv module numbers its ways
    comma: bool
    days: str
    headings: tuple[str, ...]
    title: bool


def texts() -> st.SearchStrategy[str]:
    """Return texts that begin with no quotation mark."""
    return (
        st.text(st.sampled_from(SIGNS), min_size=1, max_size=12)
        .map(lambda text: text.replace("\\", "").strip())
        .filter(lambda text: bool(text) and text[0] not in "'\"")
    )


def labels() -> st.SearchStrategy[list[Label]]:
    """Return tables of labels."""
    # -128 and 0 stand for no measurement.
    tenths = st.integers(-1300, -1).filter(lambda value: value != -1280).map(lambda v: v / 10)
    share = st.integers(0, 1000).map(lambda value: value / 10)
    row = st.tuples(
        texts(), texts(), texts(), tenths, share | st.none(), st.integers(0, 900) | st.none(),
        st.integers(0, 900).map(lambda days: date(2026, 1, 1) + timedelta(days)),
    )  # fmt: skip
    return st.lists(row, min_size=1, max_size=12).filter(_in_percent)


def _in_percent(rows: list[Label]) -> bool:
    """Tell whether shares are clearly in percent: parts of 1 alone are asked about."""
    shares = [row[4] for row in rows if row[4]]
    return not shares or max(shares) >= 1


QUOTINGS: tuple[Literal[0, 1, 2], ...] = (0, 1, 2)
DELIMITERS = ",;\t|"


def dialects(delimiters: str = DELIMITERS) -> st.SearchStrategy[Dialect]:
    """Return ways to write a table down."""
    return st.builds(
        Dialect,
        delimiter=st.sampled_from(delimiters),
        end=st.sampled_from(("\n", "\r\n")),
        encoding=st.sampled_from(("utf-8", "utf-8-sig", "utf-16")),
        quoting=st.sampled_from(QUOTINGS),
        comma=st.booleans(),
        days=st.sampled_from(sorted(DAYS)),
        headings=st.sampled_from((ENGLISH, GERMAN)),
        title=st.booleans(),
    )


def written(rows: list[Label], dialect: Dialect) -> bytes:
    """Return a table written in a dialect."""

    def number(value: float | None) -> str:
        text = "" if value is None else str(value)
        return text.replace(".", ",") if dialect.comma else text

    out = io.StringIO(newline="")
    answers = {"day first": "Dates: dd/mm/yyyy", "month first": "Dates: mm/dd/yyyy"}
    if dialect.title:
        out.write(f"Labels of the chain{dialect.end}")
    if dialect.days in answers:
        out.write(answers[dialect.days] + dialect.end)
    writer = csv.writer(
        out, delimiter=dialect.delimiter, lineterminator=dialect.end, quoting=dialect.quoting
    )
    writer.writerow(dialect.headings)
    for *texts_, level, success, updates, day in rows:
        shown = (number(level), number(success), number(updates), day.strftime(DAYS[dialect.days]))
        writer.writerow((*texts_, *shown))
    return out.getvalue().encode(dialect.encoding)


def found(result: Result) -> set[tuple[object, ...]]:
    """Return the labels of the database."""
    return {
        (row[0], row[1], row[3], row[4], row[6], row[8], row[2])
        for row in result.tables["label_seen"]
    }


def check_read_back(rows: list[Label], dialect: Dialect) -> None:
    """Write, ingest and compare."""
    with tempfile.TemporaryDirectory() as room:
        result = take(put(Path(room), {"x.csv": written(rows, dialect)}))
    assert result.tables["quarantined_row"] == []
    assert found(result) == set(rows)
    (outcome,) = result.outcomes
    assert (outcome.rows_read, outcome.rows_loaded) == (len(rows), len(set(rows)))


@given(labels(), dialects())
@settings(max_examples=6, suppress_health_check=[HealthCheck.too_slow])
def test_any_table_in_any_dialect_reads_back(rows: list[Label], dialect: Dialect) -> None:
    """Whatever a table holds and however it is written, its values come out equal."""
    check_read_back(rows, dialect)


@pytest.mark.slow
@pytest.mark.parametrize("delimiter", DELIMITERS)
@given(data=st.data())
@settings(max_examples=250, suppress_health_check=[HealthCheck.too_slow])
def test_any_table_in_any_dialect_reads_back_at_length(delimiter: str, data: st.DataObject) -> None:
    """The same for 1,000 tables, 250 for each delimiter."""
    check_read_back(data.draw(labels()), data.draw(dialects(delimiter)))


def sheet_of(rows: list[Label]) -> bytes:
    """Return a table as a workbook with typed cells."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(ENGLISH)
    for row in rows:
        sheet.append(row)
        for cell in sheet[sheet.max_row]:
            if isinstance(cell.value, str):
                cell.data_type = "s"
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


@given(labels())
@settings(max_examples=4, suppress_health_check=[HealthCheck.too_slow])
def test_any_table_in_a_workbook_reads_back(rows: list[Label]) -> None:
    """Typed cells of a workbook come out as the same values."""
    check_workbook(rows)


@pytest.mark.slow
@given(labels())
@settings(max_examples=100, suppress_health_check=[HealthCheck.too_slow])
def test_any_table_in_a_workbook_reads_back_at_length(rows: list[Label]) -> None:
    """The same for 100 tables."""
    check_workbook(rows)


def check_workbook(rows: list[Label]) -> None:
    """Write a workbook, ingest and compare."""
    with tempfile.TemporaryDirectory() as room:
        result = take(put(Path(room), {"x.xlsx": sheet_of(rows)}))
    assert result.tables["quarantined_row"] == []
    assert found(result) == set(rows)


def overlapping() -> Mapping[str, str]:
    """Return an export set whose files repeat, overlap and contradict one another."""
    head, *rows = READINGS.splitlines(keepends=True)
    bad = "S001,S001-01,2026-09-29 03:00:00,99,-91\n"
    return {
        **SET,
        "readings twice.csv": head + "".join(rows) + rows[0],
        "readings part.csv": head + rows[2] + bad,
        "readings back.csv": head + "".join(reversed(rows)),
        "stations late.csv": SET["stations.csv"].replace("2026-09-30", "2026-06-30"),
        "stations other.csv": SET["stations.csv"].replace(",11,", ",25,"),
        "labels part.csv": "".join(SET["labels.csv"].splitlines(keepends=True)[:2]),
        "unknown.csv": "a,b\n1,2\n",
    }


def nameless(result: Result) -> dict[str, list[tuple[object, ...]]]:
    """Return every table without the names of files."""
    return {
        name: rows if name in FACTS else sorted((row[1:] for row in rows), key=repr)
        for name, rows in result.tables.items()
    }


@pytest.mark.parametrize("turns", [1, pytest.param(6, marks=pytest.mark.slow)])
def test_any_permutation_of_the_files_gives_the_same_database(tmp_path: Path, turns: int) -> None:
    """Files under each other's names and in other folders give identical tables, names aside."""
    files = overlapping()
    random = Random(4)
    whole = nameless(take(put(tmp_path / "whole", files)))
    for turn in range(turns):
        names = list(files)
        random.shuffle(names)
        moved = {
            f"{random.choice('abc')}/{name}": text
            for name, text in zip(names, files.values(), strict=True)
        }

        assert nameless(take(put(tmp_path / str(turn), moved))) == whole


@pytest.mark.parametrize("tried", [1, pytest.param(6, marks=pytest.mark.slow)])
def test_files_in_runs_of_their_own_in_any_order_give_the_same_facts(
    tmp_path: Path, tried: int
) -> None:
    """Late and out-of-order exports give the same facts as all at once."""
    files = overlapping()
    whole = take(put(tmp_path / "whole", files)).facts
    random = Random(5)
    readings = [name for name in files if name.startswith("readings")]
    others = [name for name in files if name not in readings]
    orders = list(permutations(readings))[:: 24 // tried]
    for turn, order in enumerate(orders):
        database = tmp_path / f"{turn}.duckdb"
        random.shuffle(others)
        folder = tmp_path / f"one{turn}"
        for name in (*order, *(others if turn == 0 else ())):
            shutil.rmtree(folder, ignore_errors=True)
            result = take(put(folder, {name: files[name]}), database)

        seen = result.facts
        assert seen["ed_reading"] == whole["ed_reading"]
        if turn == 0:
            assert seen == whole
