"""Ingest against open collections of awkward tables, each file alone and inside valid exports.

Sources: maxogden/csv-spectrum (BSD-2), with answers; the data/csv folder of the duckdb/duckdb test
suite (MIT); FFT_eval spectrum sweeps binned to channels, simonwunderlich/FFT_eval @ 777749c5c7cc
(CC0-1.0), which hold impossible levels above 0 dBm.
"""

import csv
import json
from pathlib import Path

import pytest
from ingest_kit import SET, put, take

from pipeline.ingest.delimited import PLAIN_COLUMNS, plain_lines, read_head
from pipeline.ingest.encoding import inspect, transcode
from pipeline.ingest.headings import Vocabulary

SPECTRUM = (
    "comma_in_quotes", "empty", "empty_crlf", "escaped_quotes", "json", "newlines",
    "newlines_crlf", "quotes_and_newlines", "simple", "simple_crlf", "utf8",
)  # fmt: skip
LABEL_HEADINGS = b"store,label,station,level dbm,exported on\n"


def read(path: Path) -> list[dict[str, str]]:
    """Return the rows of a text by their headings, from its plain lines; none has a fault."""
    head = read_head(path, Vocabulary({}))
    lines = list(csv.reader(plain_lines(path, head), delimiter=head.dialect.delimiter))
    assert all(not any(line[1 : len(PLAIN_COLUMNS)]) for line in lines)
    cells = [line[len(PLAIN_COLUMNS) :] for line in lines]
    return [dict(zip(head.headings.cells, each, strict=True)) for each in cells]


@pytest.mark.parametrize("name", SPECTRUM)
def test_awkward_files_parse_to_their_answers(shared_data: Path, tmp_path: Path, name: str) -> None:
    """Every file of the collection reads to the answer that comes with it."""
    folder = shared_data / "messy_tables" / "csv_spectrum"
    content = (folder / f"csvs__{name}.csv").read_bytes()
    if name.endswith("_crlf") and b"\r" not in content:
        # A copy through version control loses the line ends the file is about.
        content = content.replace(b"\n", b"\r\n")
    path = tmp_path / "x.csv"
    path.write_bytes(content)
    answer = json.loads((folder / f"json__{name}.json").read_text(encoding="utf-8"))

    assert read(path) == answer


def messy_files(shared_data: Path) -> dict[str, bytes]:
    """Return the content of every awkward file by its name."""
    folder = shared_data / "messy_tables"
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*.csv"))
    }


@pytest.mark.parametrize("every", [60, pytest.param(1, marks=pytest.mark.slow)])
def test_awkward_files_beside_valid_exports(shared_data: Path, tmp_path: Path, every: int) -> None:
    """All, or every sixtieth, in one folder with a valid set: every file is accounted for.

    The facts are those of the set alone.
    """
    messy = dict(list(messy_files(shared_data).items())[::every])
    assert len(messy) > 700 // every

    result = take(put(tmp_path / "in", {**SET, **messy}))

    assert len(result.outcomes) == len(messy) + len(SET)
    assert result.facts == take(put(tmp_path / "set", SET)).facts


def glue_and_take(shared_data: Path, folder: Path, every: int) -> None:
    """Glue files below the headings of a labels export, with a sound row above each."""
    sound = b"Z%03d,above,A,-60,2026-09-30\n"
    files = {
        f"{place}.csv": LABEL_HEADINGS + sound % place + content
        for place, content in enumerate(messy_files(shared_data).values())
        if place % every == 0 and b"\0" not in content
    }
    assert len(files) > 650 // every

    result = take(put(folder, files))

    loaded = {row[0] for row in result.tables["label_seen"] if row[1] == "above"}
    assert len(loaded) == len(files)
    assert {outcome.kind for outcome in result.outcomes} == {"labels"}


def test_awkward_content_inside_a_valid_export(shared_data: Path, tmp_path: Path) -> None:
    """Every 60th file glued into a valid export: no row is lost, the sound row above loads."""
    glue_and_take(shared_data, tmp_path, 60)


@pytest.mark.slow
def test_all_awkward_content_inside_a_valid_export(shared_data: Path, tmp_path: Path) -> None:
    """The same for every file of the collections."""
    glue_and_take(shared_data, tmp_path, 1)


def test_real_sweeps_with_impossible_levels(shared_data: Path, tmp_path: Path) -> None:
    """Real readings load, those above 0 dBm as over range; what no receiver reports does not."""
    path = shared_data / "ed_readings" / "sweep_binned_to_channels.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    text, impossible, loud = as_export(rows)

    result = take(put(tmp_path, {"ed.csv": text}))

    problems = [problem for _, problem in result.problems()]
    assert impossible + loud > 0
    assert problems.count("reading-impossible") == impossible
    assert sum(row[9] for row in result.tables["ed_reading"] if row[5] > 0) == loud
    assert result.outcome("ed.csv").rows_quarantined == len(problems)


def as_export(rows: list[dict[str, str]]) -> tuple[str, int, int]:
    """Return the sweeps as an export, how many lie outside -130..40 dBm, and how many above 0."""
    lines = ["store,station,scanned at,channel,level dbm"]
    for row in rows:
        minute, second = divmod(int(row["sample"]), 60)
        stamp = f"2026-09-01 {minute // 60:02}:{minute % 60:02}:{second:02}"
        lines.append(f"S,{row['capture']},{stamp},{row['channel']},{row['dbm']}")
    impossible = sum(not -130 <= float(row["dbm"]) <= 40 for row in rows)
    loud = sum(0 < float(row["dbm"]) <= 40 for row in rows)
    return "\n".join(lines) + "\n", impossible, loud


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
def test_answers_survive_transcoding(shared_data: Path, tmp_path: Path, encoding: str) -> None:
    """The quoted, many-lined file reads to its answer from other encodings too."""
    folder = shared_data / "messy_tables" / "csv_spectrum"
    text = (folder / "csvs__quotes_and_newlines.csv").read_bytes().decode()
    path, out = tmp_path / "a.csv", tmp_path / "b.csv"
    path.write_bytes((text + "5,Größe\n").encode(encoding))
    answer = json.loads((folder / "json__quotes_and_newlines.json").read_text(encoding="utf-8"))

    transcode(path, inspect(path).encoding, out)

    assert read(out) == [*answer, {"a": "5", "b": "Größe"}]
