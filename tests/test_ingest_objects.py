"""JSON, JSON Lines and Parquet give the rows that the same table gives as text.

RFC 8259 is the standard of JSON; JSON Lines and nesting are read as `docs/exports.md` says.
"""

import csv
import json
from collections.abc import Callable
from contextlib import suppress
from io import BytesIO, StringIO
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ingest_kit import FACTS, SET, Result, put, take

from pipeline.ingest.objects import ObjectsUnreadable, read_objects

Record = dict[str, str]


def records_of(text: str) -> list[Record]:
    """Return the rows of one of the set's files as objects, the day of a line above in each."""
    lines = text.splitlines()
    day = lines.pop(0).split(": ")[1] if lines[0].startswith("Exported on") else None
    rows = list(csv.DictReader(lines))
    return [row | ({"exported on": day} if day else {}) for row in rows]


def as_json(records: list[Record]) -> bytes:
    """Return a list of objects."""
    return json.dumps(records).encode()


def as_lines(records: list[Record]) -> bytes:
    """Return an object a line."""
    return "".join(json.dumps(record) + "\n" for record in records).encode()


def as_parquet(records: list[Record]) -> bytes:
    """Return the columns of a Parquet file."""
    buffer = BytesIO()
    pl.DataFrame(records).write_parquet(buffer)
    return buffer.getvalue()


def facts(result: Result) -> dict[str, list[tuple[object, ...]]]:
    """Return the facts that were taken."""
    return {name: sorted(result.tables[name], key=repr) for name in FACTS}


@pytest.fixture(scope="module")
def from_text(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[tuple[object, ...]]]:
    """Give the facts of the set as text."""
    found = facts(take(put(tmp_path_factory.mktemp("text"), SET)))
    assert [name for name, rows in found.items() if not rows] == ["network_seen"]
    return found


@pytest.mark.parametrize(
    ("form", "suffix"), [(as_json, "json"), (as_lines, "ndjson"), (as_parquet, "parquet")]
)
def test_the_facts_are_those_of_the_text(
    form: Callable[[list[Record]], bytes],
    suffix: str,
    from_text: dict[str, list[tuple[object, ...]]],
    tmp_path: Path,
) -> None:
    """Each kind of export, whatever its form."""
    for name, text in SET.items():
        (tmp_path / f"{Path(name).stem}.{suffix}").write_bytes(form(records_of(text)))

    result = take(tmp_path)

    assert facts(result) == from_text
    assert {outcome.rows_quarantined for outcome in result.outcomes} == {0}


def test_one_file_may_hold_every_list_with_values_beside(tmp_path: Path) -> None:
    """Plain values beside the lists count as lines above the headings; numbers stay as written."""
    said = {
        "exported on": "2026-09-30",
        "chain": {"of": "nobody"},
        "stations": [
            {"store": "007", "station": "a", "channel": 11, "position": {"x m": 1.50, "y m": 2}},
            {"store": "007", "station": "b", "channel": 15, "connected": True},
        ],
        "labels": [{"store": "007", "label": "L1", "station": "a", "listens on": [11, 15, 20]}],
    }
    (tmp_path / "all.json").write_text(json.dumps(said))

    result = take(tmp_path)

    assert [(o.file, o.kind, o.rows_loaded) for o in result.outcomes] == [
        ("all.json#stations", "stations", 2),
        ("all.json#labels", "labels", 1),
    ]
    stations = sorted(map(str, result.tables["station_seen"]))
    assert "1.5, 2.0" in stations[0]
    assert "True" in stations[1]
    assert "11 15 20" in str(result.tables["label_seen"])


def test_what_a_row_has_beyond_is_not_dropped(tmp_path: Path) -> None:
    """A key that comes twice holds its row, with the place of the row in the file."""
    text = (
        '{"store": "S1", "station": "A", "channel": 11, "exported on": "2026-09-30"}\n\n'
        '{"store": "S1", "station": "B", "channel": 11, "channel": 12, '
        '"exported on": "2026-09-30"}\n'
    )
    (tmp_path / "a.jsonl").write_text(text)

    result = take(tmp_path)

    (outcome,) = result.outcomes
    assert (outcome.rows_read, outcome.rows_loaded, outcome.rows_quarantined) == (2, 1, 1)
    (row,) = result.tables["quarantined_row"]
    assert (row[3], row[5]) == (3, "row-too-long")


@pytest.mark.parametrize(
    ("name", "content", "why"),
    [
        ("a.json", b'{"store": ', "The file is not valid JSON"),
        pytest.param("a.json", b"[1, 2]", "holds no list of objects", marks=pytest.mark.slow),
        pytest.param(
            "a.json", b"[" * 100_000, "The file is not valid JSON", marks=pytest.mark.slow
        ),
        ("a.json", '[{"store": "ä"}]'.encode("latin-1"), "is not UTF-8"),
        ("a.ndjson", b'{"store": "S"}\n{"store"\n', "is not valid JSON in line 2"),
        ("a.ndjson", b"{}\n", "holds no list of objects"),
        ("a.parquet", b"PAR1 no more", "The file is damaged"),
    ],
)
def test_a_damaged_file_is_refused_in_a_sentence(
    name: str, content: bytes, why: str, tmp_path: Path
) -> None:
    """It is named with what is wrong; the files beside it are taken."""
    put(tmp_path, SET)
    (tmp_path / name).write_bytes(content)

    result = take(tmp_path)

    assert why in (result.outcome(name).refused or "")
    assert sum(o.refused is None for o in result.outcomes) == len(SET)


def test_damage_below_a_sound_head_stops_no_other_file(tmp_path: Path) -> None:
    """The pages of a Parquet file are read late: it is refused all the same, whole."""
    put(tmp_path, SET)
    rows = [{"store": f"S{n}", "station": f"B{n}", "channel": str(n % 90)} for n in range(3000)]
    content = bytearray(as_parquet(rows))
    content[40:400] = bytes(octet ^ 255 for octet in content[40:400])
    (tmp_path / "late_2026-09-30.parquet").write_bytes(content)

    result = take(tmp_path)

    refused = result.outcome("late_2026-09-30.parquet").refused or ""
    assert refused.startswith("The file is damaged: ")
    assert refused.endswith("Export it again and replace the file.")
    assert sum(o.refused is None for o in result.outcomes) == len(SET)


TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)


@given(
    st.lists(st.dictionaries(TEXTS, TEXTS | st.integers() | st.booleans(), min_size=1), min_size=1)
)
def test_every_value_stands_under_its_key(records: list[dict[str, object]]) -> None:
    """Cell by cell, an independent reading of the same JSON finds nothing else."""
    path = Path("/dev/shm" if Path("/dev/shm").is_dir() else "/tmp") / "objects.json"  # noqa: S108 - written and read at once
    path.write_text(json.dumps(records), encoding="utf-8")
    (table,) = read_objects(path, ".json")
    headings = table.head.headings.cells
    rows = [next(csv.reader(StringIO(line, newline=""), delimiter="\t")) for line in table.lines()]

    wanted = [
        {
            key: str(value).lower() if isinstance(value, bool) else str(value)
            for key, value in each.items()
        }
        for each in records
    ]
    filled = [each for each in wanted if any(text.strip() for text in each.values())]
    assert len(rows) == len(filled)
    for row, each in zip(rows, filled, strict=True):
        cells = dict(zip(headings, row[4:], strict=True))
        assert {key: cells[key] for key in each} == each
        assert not any(text for key, text in cells.items() if key not in each)


def test_nothing_else_is_raised(tmp_path: Path) -> None:
    """Cut anywhere, a Parquet or JSON file is read or refused, and nothing else."""
    for form, suffix in ((as_json, ".json"), (as_parquet, ".parquet")):
        content = form(records_of(SET["stations.csv"]))
        path = tmp_path / f"cut{suffix}"
        for end in range(0, len(content), max(1, len(content) // 40)):
            path.write_bytes(content[:end])
            with suppress(ObjectsUnreadable):
                for table in read_objects(path, suffix):
                    assert all(line.endswith("\n") for line in table.lines())
