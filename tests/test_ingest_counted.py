"""Rows counted another way: a state machine that shares no code with ingest agrees with it."""

import csv
import io
from pathlib import Path
from random import Random

import pytest
from ingest_kit import LABELS, READINGS, put, take
from physical_records import filled, lines_of, records_of

STATIONS = (
    'Store,Station,Channel,Exported on,"TX power\ndBm"\n'
    "S1,A,15,2026-09-30,0\nS1,B,20,2026-09-30,4\n"
)


def counted(text: str, headings: int, delimiter: str = ",") -> int:
    """Return how many filled records stand below record number `headings` (0 is the first)."""
    lines = lines_of(text.removeprefix("\ufeff"))
    width, below = _headings(lines, headings, delimiter)
    return sum(filled(cells) for _, cells in records_of(lines[below:], delimiter, width))


def _headings(lines: list[str], headings: int, delimiter: str) -> tuple[int, int]:
    """Return the width of the headings and the place of the line after them."""
    at = 0
    for number in range(headings + 1):
        for span in range(1, 60):
            text = "".join(lines[at : at + span])
            if text.count('"') % 2 == 0:
                break
        else:
            raise AssertionError(number)
        cells = next(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter), [])
        at += span
    return len(cells), at


def test_a_heading_of_two_lines_loses_no_row(tmp_path: Path) -> None:
    """A line break in a heading: both rows below are read and loaded."""
    result = take(put(tmp_path, {"s.csv": STATIONS}))

    assert counted(STATIONS, 0) == 2
    assert result.outcome("s.csv").rows_read == 2
    assert sorted(row[1] for row in result.tables["station_seen"]) == ["A", "B"]


@pytest.mark.parametrize("breaks", [1, 2, 5])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_title_of_many_lines_loses_no_row(tmp_path: Path, breaks: int, end: str) -> None:
    """A quoted title that runs over lines, then headings, one of them over lines too."""
    title = '"Stations' + "\nof the chain" * breaks + '",,,,\n'
    text = (title + STATIONS).replace("\n", end)

    result = take(put(tmp_path, {"s.csv": text}))

    assert result.outcome("s.csv").rows_read == counted(text, 1) == 2
    assert len(result.tables["station_seen"]) == 2


def mutated(text: str, random: Random) -> str:
    """Return a text with a few letters put in, taken out or doubled below its headings."""
    head, _, body = text.partition("\n")
    for _ in range(random.randint(1, 4)):
        at = random.randrange(len(body))
        letter = random.choice(('"', "\n", ",", "x", "\r\n", '""', '"\n', " "))
        kind = random.randrange(3)
        body = body[:at] + (letter if kind else "") + body[at + (kind != 1) :]
    return f"{head}\n{body}"


def check_mutations(folder: Path, first: int, count: int) -> None:
    """Mutate exports and hold the rows read against the physical count."""
    base = READINGS + "".join(
        f"S001,S001-0{n % 3},2026-09-29 03:{n:02}:00,{11 + n % 16},-{70 + n}\n" for n in range(20)
    )
    labels = LABELS + 'S002,"L ""4""",S002-01,-66,100,2026-09-30\n'
    files = {}
    for number in range(first, first + count):
        random = Random(number)
        files[f"{number}.csv"] = mutated(random.choice((base, labels)), random)

    result = take(put(folder, files))

    for name, text in files.items():
        outcome = result.outcome(name)
        # A mutation may leave the decimal mark open; the rows are counted all the same.
        assert outcome.refused is None or "decimal mark" in outcome.refused, (name, outcome.refused)
        assert outcome.rows_read == counted(text, 0), (name, text)


def test_mutated_exports_are_counted_alike(tmp_path: Path) -> None:
    """20 mutations: rows read are the records that a state machine counts."""
    check_mutations(tmp_path, 0, 20)


@pytest.mark.slow
@pytest.mark.parametrize(("first", "count"), [(20, 180), (10_000, 2_000)])
def test_many_mutated_exports_are_counted_alike(tmp_path: Path, first: int, count: int) -> None:
    """2,180 more."""
    check_mutations(tmp_path, first, count)
