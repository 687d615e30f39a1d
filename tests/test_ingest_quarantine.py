"""The quarantine as a workbook: readable, harmless, and mended rows come back from it."""

import shutil
from collections.abc import Callable
from pathlib import Path

import openpyxl
from ingest_kit import SET, Result, put, take
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.database import open_database
from pipeline.report.quarantine import write_quarantine

BAD = {
    "stations.csv": (
        "Stand: 30.09.2026;;;;\n"
        "Filiale;Basisstation;Kanal;Sendeleistung dBm;Bezeichnung\n"
        "S001;S001-01;11;4,5;Tür\n"
        "S001;S001-02;300;x;=1+1\n"
        "S001;S001-03;15;vier;@cmd\n"
        "S002;S002-01;15;1,5;+49\n"
        "S002;S002-02;15\n"
    ),
    "labels.csv": (
        "store,label,station,success %,exported on\n"
        "S001,L1,S001-01,104,2026-09-30\n"
        "S001,L2,S001-01,99,2026-09-30\n"
    ),
    "refused.csv": "store,chanel\nS001,11\n",
}


def write(database: Path, out: Path) -> Path | None:
    """Write the workbook of a database."""
    with open_database(database) as opened:
        return write_quarantine(opened, out)


def mend(path: Path, change: Callable[[Worksheet], None]) -> None:
    """Change the sheets of a workbook."""
    book = openpyxl.load_workbook(path)
    for sheet in book.worksheets:
        change(sheet)
    book.save(path)


def column_of(sheet: Worksheet, heading: str) -> int | None:
    """Return the column under a heading."""
    for row in sheet.iter_rows(max_row=6):
        for cell in row:
            if cell.value == heading:
                return int(cell.column or 0)
    return None


def set_cells(sheet: Worksheet, heading: str, wrong: str, right: str) -> None:
    """Correct the cells under a heading that say `wrong`."""
    column = column_of(sheet, heading)
    if column is not None:
        for row in range(3, sheet.max_row + 1):
            cell = sheet.cell(row, column)
            if cell.value == wrong:
                cell.value = right


def test_nothing_in_quarantine_writes_no_workbook(tmp_path: Path) -> None:
    """Without quarantined rows there is no workbook, and an old one goes away."""
    take(put(tmp_path / "in", SET), tmp_path / "d.duckdb")
    put(tmp_path / "out", {"quarantine.xlsx": "old"})

    assert write(tmp_path / "d.duckdb", tmp_path / "out") is None
    assert not (tmp_path / "out" / "quarantine.xlsx").exists()


def test_cells_to_mend_fit_their_columns(tmp_path: Path) -> None:
    """A moment with its offset stands whole in its cell, and a long heading has two lines."""
    scan = "2026-09-26T03:10:47+02:00"
    rows = "".join(f"S001,S001-01,{scan},{channel},99,true\n" for channel in range(11, 27))
    text = f"store,station,scanned at,channel,level dBm,own stations quiet\n{rows}"
    take(put(tmp_path / "in", {**SET, "ed.csv": text}), tmp_path / "d.duckdb")
    path = write(tmp_path / "d.duckdb", tmp_path / "out")

    assert path is not None
    (sheet,) = [s for s in openpyxl.load_workbook(path).worksheets if s.title.endswith("readings")]
    line, moment = next((c.row, c) for row in sheet for c in row if c.value == scan)
    assert sheet.column_dimensions[moment.column_letter].width > len(scan)
    assert sheet.row_dimensions[line - 1].height >= 2 * 15


def test_the_workbook_shows_cells_reasons_and_advice(tmp_path: Path) -> None:
    """Every row stands with its original cells, as text, beside what is wrong and what to do."""
    take(put(tmp_path / "in", BAD), tmp_path / "d.duckdb")

    path = write(tmp_path / "d.duckdb", tmp_path / "out")

    assert path is not None
    book = openpyxl.load_workbook(path)
    assert book.sheetnames[0] == "Overview"
    cells = [cell for sheet in book.worksheets for row in sheet.iter_rows() for cell in row]
    texts = {str(cell.value) for cell in cells}
    assert {"=1+1", "300", "vier", "104"} <= texts
    assert all(cell.data_type != "f" for cell in cells)
    assert any("'104' in 'success %'" in text for text in texts)
    overview = list(book["Overview"].iter_rows(values_only=True))
    assert ("refused.csv", 1, 1) in [row[:3] for row in overview]


def test_the_same_quarantine_gives_the_same_bytes(tmp_path: Path) -> None:
    """Two runs over the same exports write equal workbooks."""
    written = []
    for place in ("a", "b"):
        database = tmp_path / f"{place}.duckdb"
        take(put(tmp_path / "in", BAD), database)
        path = write(database, tmp_path / place)
        assert path is not None
        written.append(path.read_bytes())

    assert written[0] == written[1]


def mended_everything(sheet: Worksheet) -> None:
    """Correct every bad cell of the set."""
    set_cells(sheet, "Kanal", "300", "20")
    set_cells(sheet, "Sendeleistung dBm", "x", "3,5")


def check_mended(result: Result) -> None:
    """All mended rows are in, and only the refused file is left in quarantine."""
    stations = {row[1]: (row[8], row[10], row[3]) for row in result.tables["station_seen"]}
    assert stations["S001-02"] == (20, 3.5, "=1+1")
    assert stations["S001-03"] == (15, None, "@cmd")  # a cell is mended where it was exported
    assert len(stations) == 5
    assert {row[1]: row[6] for row in result.tables["label_seen"]} == {"L1": None, "L2": 99.0}
    assert {row[7] for row in result.tables["quarantined_cell"]} == {
        "'vier' in 'Sendeleistung dBm' is not a transmit power in dBm.",
        "'104' in 'success %' is not a share of updates between 0 and 100 %.",
    }
    assert [row[0] for row in result.tables["quarantined_row"]] == ["refused.csv"]


def test_mended_rows_are_taken_and_leave_quarantine(tmp_path: Path) -> None:
    """The mended workbook, put among the exports, brings its rows in; they count once."""
    folder, database = put(tmp_path / "in", BAD), tmp_path / "d.duckdb"
    take(folder, database)
    path = write(database, tmp_path / "out")
    assert path is not None
    mend(path, mended_everything)
    shutil.copy(path, folder / "mended.xlsx")

    result = take(folder, database)

    check_mended(result)
    counts = {row[0]: row[4:8] for row in result.tables["export_file"]}
    assert counts["stations.csv"] == (5, 3, 0, 2)
    assert sum(counts[file][1] for file in counts) == 5 + 2
    assert write(database, tmp_path / "out") is not None  # the refused file is still there


def test_mended_rows_may_come_before_the_file_they_mend(tmp_path: Path) -> None:
    """A mended workbook and its originals give the same tables in one run or in either order."""
    folder, database = put(tmp_path / "in", BAD), tmp_path / "d.duckdb"
    take(folder, database)
    path = write(database, tmp_path / "out")
    assert path is not None
    mend(path, mended_everything)
    put(tmp_path / "only", {"mended.xlsx": path.read_bytes()})

    take(tmp_path / "only", tmp_path / "e.duckdb")
    result = take(folder, tmp_path / "e.duckdb")

    check_mended(result)


def test_a_row_still_wrong_stays_in_quarantine_once(tmp_path: Path) -> None:
    """An unmended workbook fed back moves its rows under its own name and loses none."""
    folder, database = put(tmp_path / "in", BAD), tmp_path / "d.duckdb"
    (folder / "stations.csv").write_text(BAD["stations.csv"].replace("S002;S002-02;15\n", ""))
    before = take(folder, database)
    path = write(database, tmp_path / "out")
    assert path is not None
    shutil.copy(path, folder / "unmended.xlsx")

    after = take(folder, database)

    assert after.facts == before.facts
    assert len(after.tables["quarantined_row"]) == len(before.tables["quarantined_row"])
    assert {row[5] for row in after.tables["quarantined_row"]} == {
        "band-other",
        "file-refused",
    }
    assert len(after.tables["quarantined_cell"]) == 2


def test_a_german_chain_reads_german(tmp_path: Path) -> None:
    """Where every store is in Germany, no reason, advice, title or heading of a list is English."""
    told: list[set[str]] = []
    for country in ("GB", "DE"):
        database = tmp_path / f"{country}.duckdb"
        rows = "".join(f"S00{n},Markt,{country},2026-09-30\n" for n in (1, 2))
        stores = f"store,name,country,exported on\n{rows}"
        take(put(tmp_path / country, {**BAD, "stores.csv": stores}), database)
        with open_database(database) as opened:
            opened.connection.execute("insert into this_run values ('r1', '2026-09-30')")
            path = write_quarantine(opened, tmp_path / f"out-{country}")
        assert path is not None
        sheets = openpyxl.load_workbook(path).worksheets
        listed = {str(cell.value) for cell in sheets[0][1]}
        for sheet in sheets:
            for heading in ("reason", "what to do", "Grund", "was zu tun ist"):
                place = column_of(sheet, heading)
                cells = sheet.iter_cols(place, place, 2, None, values_only=True) if place else ()
                listed |= {str(value) for column in cells for value in column if value}
        told.append(listed | {sheets[0].title})
    english, german = told

    # What a later run reads back from the sheets to mend is the same in every language.
    read_back = {"reason", "what to do", "Dates: dd/mm/yyyy", "Decimals: comma", "None"}
    assert english & german <= read_back
    assert "Übersicht" in german
    assert any("300" in text and "Kanal" in text for text in german)
    assert any(text.startswith("Keine Zeile enthält die Überschriften") for text in german)
