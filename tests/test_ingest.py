"""Ingest: recognition by content, decisions once per file, and every row accounted for."""

import json
from datetime import date, datetime
from pathlib import Path

import pytest
from ingest_kit import LABELS, READINGS, SET, STATIONS, STORES, put, take

from pipeline.errors import FolderMissing, HeadingFieldUnknown
from pipeline.settings import load_settings


def test_a_valid_set_is_taken_whole(tmp_path: Path) -> None:
    """Every kind is known by its headings, whatever the file is called, and every row loads."""
    files = {f"{place}.txt": text for place, text in enumerate(SET.values())}

    result = take(put(tmp_path, files))

    kinds = {outcome.file: outcome.kind for outcome in result.outcomes}
    assert [kinds[f"{place}.txt"] for place in range(6)] == [
        "stores", "stations", "ed_readings", "labels", "wifi", "heard",
    ]  # fmt: skip
    assert sum(outcome.rows_loaded for outcome in result.outcomes) == 2 + 3 + 4 + 3 + 2 + 1
    assert result.tables["quarantined_row"] == []


def test_values_arrive_typed(tmp_path: Path) -> None:
    """Addresses come in one notation, PAN IDs as numbers, clocks by their offset."""
    result = take(put(tmp_path, SET))

    station = result.tables["station_seen"][0]
    assert station[:3] == ("S001", "S001-01", date(2026, 9, 30))
    assert (station[8], station[9], station[11], station[16]) == (
        11, 0x1A2B, "00005eef10000001", True,
    )  # fmt: skip
    at = datetime(2026, 9, 29, 3)
    tail = ("single", None, None)
    assert result.tables["ed_reading"] == [
        ("S001", "S001-01", at, "store", 11, -91.0, *tail, 2),
        ("S001", "S001-01", at, "store", 12, -70.5, *tail, 1),
        ("S002", "S002-01", at, "utc", 11, -88.0, *tail, 1),
    ]


def test_a_missing_folder_is_said() -> None:
    """A folder that is not there raises with its name."""
    with pytest.raises(FolderMissing, match="nowhere"):
        take(Path("/nowhere"))


WIDE_GERMAN = """Energiemessung;;;;;;;;;;
Filiale;Basisstation;Zeitpunkt;Einheit;Kanal 11;Kanal 12;13;ch14;15;16;17;18
S1;A;30.09.2026 10:00;-dBm;70,5;80;;90;91;92;93;94
S1;A;30.09.2026 10:01;-dBm;30;30;30;30;30;30;30;30
S1;A;30.09.2026 10:02;-dBm;ERROR;-30;31;32;33;34;35;36
S1;A;30.09.2026 10:03;-dBm;;;;;;;;
S1;A;30.09.2026 10:04;-dBm;70;80
"""


def test_wide_scans_in_cp1252(tmp_path: Path) -> None:
    """A scan a row, decimal commas, days first, magnitudes: each cell becomes a reading.

    A stuck radio, an empty and a cut row are named in quarantine, and of a scan with words and a
    wrong sign these two cells alone.
    """
    content = WIDE_GERMAN.replace("Energiemessung", "Prüfung Größe").encode("cp1252")

    result = take(put(tmp_path, {"wide.csv": content}))

    assert result.problems() == [
        (4, "radio-stuck"), (6, "level-missing"), (7, "row-too-short"),
        (5, "level-not-a-number"), (5, "reading-impossible"),
    ]  # fmt: skip
    readings = {(row[2].minute, row[4]): row[5] for row in result.tables["ed_reading"]}
    assert readings == {
        (0, 11): -70.5, (0, 12): -80.0, (0, 14): -90.0, (0, 15): -91.0, (0, 16): -92.0,
        (0, 17): -93.0, (0, 18): -94.0, (2, 13): -31.0, (2, 14): -32.0, (2, 15): -33.0,
        (2, 16): -34.0, (2, 17): -35.0, (2, 18): -36.0,
    }  # fmt: skip
    decisions = result.tables["export_file"][0][9]
    assert "cp1252" in str(decisions)
    assert "semicolon" in str(decisions)
    assert "decimal comma" in str(decisions)
    assert "day before month" in str(decisions)


def test_every_bad_cell_of_a_row_is_named(tmp_path: Path) -> None:
    """The reason names each bad cell with its heading and value; the original cells are kept."""
    row = "S001,S001-09,300,zzzz,ninety,not an address,perhaps\n"

    result = take(put(tmp_path, {"stations.csv": STATIONS + row}))

    (entry,) = result.tables["quarantined_row"]
    assert entry[3] == 6
    for part in ("'300' in 'channel'", "'zzzz' in 'pan id'", "'ninety' in 'tx power dbm'",
                 "'perhaps' in 'connected'"):  # fmt: skip
        assert part in str(entry[6])
    assert json.loads(str(entry[8]))["eui-64"] == "not an address"


def test_a_row_of_another_form_is_told_its_form_alone(tmp_path: Path) -> None:
    """The cells a short row lacks, or that stand elsewhere in a long one, are not judged."""
    text = "store,label,station,level dbm,exported on\n"

    result = take(put(tmp_path, {"x.csv": text + "S1,L1,A,-60\nS1,L2,A,-60,0,2026-09-30\n"}))

    assert [row[6] for row in result.tables["quarantined_row"]] == [
        "The row and the headings differ in number (cells, headings: 4, 5).",
        "The row and the headings differ in number (cells, headings: 6, 5).",
    ]


def test_headings_left_aside_are_told(tmp_path: Path) -> None:
    """A heading that stands for no field is named with how the file was read, and parts nothing."""
    head = 'store,label,sucess %,station,,"a; decimal comma; b",exported on\n'
    text = head + "S1,L1,99,A,,x,2026-09-30\n"

    results = [
        take(put(tmp_path / name, {"x.csv": each})) for name, each in (("a", text), ("b", LABELS))
    ]

    told, plain = (str(result.tables["export_file"][0][9]).split("; ") for result in results)
    assert told[-1] == "headings left aside: 'sucess %', 'a, decimal comma, b'"
    assert told[:-1] == plain


def test_raw_levels_need_their_scale(tmp_path: Path) -> None:
    """Raw 0-255 stand on columns of the file or a scale of the rules file; else they are named."""
    head = "store,station,scanned at,channel,level,unit,scale,scale zero dbm,scale db per step\n"
    stem = "S001,A,2026-09-29 03:00:00,"
    rows = [
        stem + "11,40,raw,,-100,0.5\n",
        stem + "12,40,raw,radio-a,,\n",
        stem + "13,40,raw,radio-b,,\n",
        stem + "14,300,raw,radio-a,,\n",
        stem + "15,40,furlongs,,,\n",
    ]
    (tmp_path / "rules").mkdir()
    rules = tmp_path / "rules" / "r.toml"
    rules.write_text('[scales]\n"radio-a" = { zero_dbm = -95.0, db_per_step = 1.0 }\n')

    result = take(
        put(tmp_path / "in", {"ed.csv": head + "".join(rows)}), settings=load_settings(rules)
    )

    assert [row[5] for row in result.tables["ed_reading"]] == [-80.0, -55.0]
    assert result.problems() == [
        (4, "scale-unknown"), (5, "level-off-scale"), (6, "unit-unknown"),
    ]  # fmt: skip


@pytest.mark.parametrize("level_dbm", [0.5, 2, 40])
def test_a_reading_over_the_range_is_kept(tmp_path: Path, level_dbm: float) -> None:
    """It is loud, not missing; beyond 40 dBm nothing is a reading."""
    rows = f"S1,A,2026-09-29 03:00:00,11,+{level_dbm}\nS1,A,2026-09-29 03:00:00,12,41\n"

    result = take(put(tmp_path, {"s.csv": f"store,station,scanned at,channel,level dbm\n{rows}"}))

    assert [(row[4], row[5]) for row in result.tables["ed_reading"]] == [(11, level_dbm)]
    assert result.problems() == [(3, "reading-impossible")]


def test_a_stuck_radio_is_found_across_rows(tmp_path: Path) -> None:
    """Eight channels of one scan at one level above the threshold are all put aside.

    The same at the noise floor is a quiet store.
    """

    def scan(minute: int, level: int) -> str:
        return "".join(f"S001,A,2026-09-29 03:0{minute}:00,{c},{level}\n" for c in range(11, 19))

    text = "store,station,scanned at,channel,level dbm\n" + scan(1, -30) + scan(2, -94)

    result = take(put(tmp_path, {"ed.csv": text}))

    assert [problem for _, problem in result.problems()] == ["radio-stuck"] * 8
    assert len(result.tables["ed_reading"]) == 8


def test_a_row_of_a_stuck_radio_says_all_that_is_wrong(tmp_path: Path) -> None:
    """A cell that could not be read is named beside the radio."""
    rows = "".join(f"S001,A,2026-09-29 03:01:00,{c},-30,{'?' * (c == 12)}\n" for c in range(11, 19))
    text = f"store,station,scanned at,channel,level dbm,own stations quiet\n{rows}"

    result = take(put(tmp_path, {"ed.csv": text}))

    (reason,) = [row[6] for row in result.tables["quarantined_row"] if row[3] == 3]
    assert "was stuck" in reason
    assert "'?'" in reason


def test_a_missing_heading_fails_the_file_with_both_lists(tmp_path: Path) -> None:
    """The sentence names what was found, what is needed and the nearest match; rows are counted."""
    text = STATIONS.replace(",channel,", ",chanel,")

    outcome = take(put(tmp_path, {"x.csv": text})).outcome("x.csv")

    assert (outcome.kind, outcome.rows_read, outcome.rows_quarantined) == (None, 3, 3)
    for part in (
        "Found: 'store', 'station', 'chanel'",
        "Needed: 'store'",
        "Is 'chanel' the column",
    ):
        assert part in str(outcome.refused)


def test_own_headings_come_from_the_rules_file(tmp_path: Path) -> None:
    """A heading mapped in the rules file stands for the field it names."""
    rules = tmp_path / "r.toml"
    rules.write_text('[headings.stations]\n"Kanał radiowy" = "channel"\n')
    text = STATIONS.replace(",channel,", ",Kanał_Radiowy,")

    result = take(put(tmp_path / "in", {"x.csv": text}), settings=load_settings(rules))

    assert result.outcome("x.csv").rows_loaded == 3


def test_own_headings_for_no_field_are_said(tmp_path: Path) -> None:
    """A heading mapped to a field that does not exist stops the run with the nearest one."""
    rules = tmp_path / "r.toml"
    rules.write_text('[headings.stations]\n"Funkkanal" = "chanel"\n')

    with pytest.raises(HeadingFieldUnknown, match="Did you mean 'channel'"):
        take(put(tmp_path / "in", {"x.csv": STATIONS}), settings=load_settings(rules))


def test_a_snapshot_without_its_day_is_refused(tmp_path: Path) -> None:
    """Stations need the day they were exported on; without one the file is refused."""
    text = STATIONS.split("\n", 1)[1]

    assert "Which day was it?" in str(take(put(tmp_path, {"x.csv": text})).outcome("x.csv").refused)


def test_two_columns_for_one_field_are_refused(tmp_path: Path) -> None:
    """Two columns that stand for one field are never chosen between."""
    text = "store,site,label,station,exported on\nS001,S002,L1,A,2026-09-30\n"

    assert "Which one is right?" in str(
        take(put(tmp_path, {"x.csv": text})).outcome("x.csv").refused
    )


@pytest.mark.parametrize("text", ["", "\n\n", "\ufeff", "\0" * 100])
def test_a_blank_file_is_empty(tmp_path: Path, text: str) -> None:
    """It has no headings to name."""
    refused = take(put(tmp_path, {"x.csv": text})).outcome("x.csv").refused

    assert refused == "The file is empty. Export it again, or remove it from the folder."


def test_a_heading_that_stands_twice_is_to_be_renamed(tmp_path: Path) -> None:
    """No line of the rules file could tell the two apart."""
    text = "store,Store,label,station,exported on\nS001,S002,L1,A,2026-09-30\n"
    refused = str(take(put(tmp_path, {"x.csv": text})).outcome("x.csv").refused)

    assert "Rename all but the right one" in refused
    assert "[headings" not in refused


def test_the_same_content_again_adds_nothing(tmp_path: Path) -> None:
    """Renamed, re-sorted and overlapping files count as repeated; the facts do not change."""
    lines = READINGS.splitlines(keepends=True)
    again = lines[0] + "".join(reversed(lines[1:]))
    labels = LABELS.splitlines(keepends=True)
    overlap = labels[0] + labels[2] + labels[2].replace("L2", "L9")
    first = take(put(tmp_path / "a", SET))

    second = take(
        put(tmp_path / "b", {**SET, "again.csv": again, "copy.csv": LABELS, "part.csv": overlap})
    )

    assert second.facts["ed_reading"] == first.facts["ed_reading"]
    assert len(second.facts["label_seen"]) == len(first.facts["label_seen"]) + 1
    counts = {o.file: (o.rows_loaded, o.rows_repeated) for o in second.outcomes}
    assert sorted([counts["readings.csv"], counts["again.csv"]]) == [(0, 4), (4, 0)]
    assert sum(counts[f][0] for f in ("labels.csv", "copy.csv", "part.csv")) == 4


def test_a_second_run_takes_nothing_twice(tmp_path: Path) -> None:
    """Running again over the same folder leaves every table as it was."""
    folder = put(tmp_path / "in", {**SET, "bad.csv": "nothing,known\n1,2\n"})

    first = take(folder, tmp_path / "d.duckdb")
    second = take(folder, tmp_path / "d.duckdb")

    assert second.tables == first.tables
    assert second.outcomes == first.outcomes


def test_a_refused_file_is_tried_again(tmp_path: Path) -> None:
    """A refused file that is mended in place takes the place of the refused one."""
    folder = put(tmp_path / "in", {"x.csv": STATIONS.replace("channel", "chanel")})
    take(folder, tmp_path / "d.duckdb")

    result = take(put(folder, {"x.csv": STATIONS}), tmp_path / "d.duckdb")

    assert [row[2] for row in result.tables["export_file"]] == ["stations"]
    assert result.tables["quarantined_row"] == []


def test_larger_counts_stand(tmp_path: Path) -> None:
    """Equal readings are counted per file and the larger count stands, in any order of files."""
    head, *rows = READINGS.splitlines(keepends=True)
    one, three = head + rows[0], head + rows[0] * 3
    a = put(tmp_path / "a", {"1.csv": one})
    b = put(tmp_path / "b", {"1.csv": three})

    for order in ((a, b), (b, a)):
        database = tmp_path / f"{order[0].name}.duckdb"
        take(order[0], database)
        result = take(order[1], database)
        assert [row[-1] for row in result.tables["ed_reading"]] == [3]


def test_a_local_file_name_never_matters(tmp_path: Path) -> None:
    """Names with quotes, brackets, stars and line ends are only names."""
    names = ["a'b.csv", "x;drop table.csv", "[1].csv", "*.csv", "%s{0}$file.csv", "é\n.csv"]

    result = take(put(tmp_path, dict.fromkeys(names, STORES)))

    assert sorted(outcome.file for outcome in result.outcomes) == sorted(names)
    assert sum(outcome.rows_loaded for outcome in result.outcomes) == 2
