"""The workbook: what is read back equals the content, and no text becomes a formula."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints
from zipfile import ZipFile

import pytest
from openpyxl import load_workbook
from openpyxl.utils import column_index_from_string
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet
from report_stores import extremes, invented_database

from pipeline.changes.returned import read_workbook
from pipeline.report import quarantine
from pipeline.report.kit.column import SheetColumn, lines, row_height
from pipeline.report.quarter import workbook as quarter_book
from pipeline.report.region import workbook as region_book
from pipeline.report.store import form_rows, forms
from pipeline.report.store import workbook as store_book
from pipeline.report.store.content import StoreContent
from pipeline.report.store.gather import store_contents
from pipeline.report.store.workbook import workbook
from pipeline.wording import FIXED_SPACE, texts, wording

SHEETS = [
    "Summary", "Moves", "Decisions", "Results", "Channels", "Findings", "Evidence", "Stations",
]  # fmt: skip
STORES = tuple(f"S{n:03}" for n in range(1, 13))
Shown = tuple[str, str, tuple[str, ...], tuple[str, ...]]


@pytest.fixture(scope="module")
def contents(tmp_path_factory: pytest.TempPathFactory) -> dict[str, StoreContent]:
    """Give the contents of all invented stores."""
    path: Path = tmp_path_factory.mktemp("report") / "stores.duckdb"
    with invented_database(path, extremes()) as database:
        return {content.store.store: content for content in store_contents(database, STORES)}


@pytest.fixture(scope="module")
def octets(contents: dict[str, StoreContent]) -> dict[str, bytes]:
    """Give the workbooks of all invented stores."""
    return {store: workbook(content) for store, content in contents.items()}


def read(content: StoreContent) -> Workbook:
    """Return a store's workbook as another library reads it."""
    return load_workbook(BytesIO(workbook(content)))


def rows(sheet: Worksheet) -> list[tuple[object, ...]]:
    """Return the rows of a list below its headings."""
    return [tuple(cell.value for cell in row) for row in sheet.iter_rows(min_row=2)]


def test_moves_equal_the_content(contents: dict[str, StoreContent]) -> None:
    """Every step is there in order, with the station's place and the channel to go back to."""
    content = contents["S001"]
    found = rows(read(content)["Moves"])
    stations = {station.station: station for station in content.stations}

    assert [row[0] for row in found] == [1, 2, 3, 4]
    for row, move in zip(found, content.moves, strict=True):
        station = stations[move.station]
        assert row[1:4] == (move.station, station.name, station.mounted)
        assert row[4:6] == (move.from_channel, move.to_channel)
        assert row[6] == ("parking" if move.parking else "final")
        assert row[7:10] == (move.reason, move.clear_air_before, move.clear_air_after)
        assert row[10:] == ("high", None, None, station.channel)


def test_findings_evidence_and_stations_equal_the_content(
    contents: dict[str, StoreContent],
) -> None:
    """Each finding, each cell of evidence and each station is one row with the same values."""
    content = contents["S001"]
    book = read(content)

    assert [(r[0], r[2], r[3], r[4], r[5]) for r in rows(book["Findings"])] == [
        (f.severity.value, f.subject, f.detail, f.excepted, f.rule) for f in content.findings
    ]
    for row, cell in zip(rows(book["Evidence"]), content.air, strict=True):
        assert row[:4] == (cell.station, cell.channel, cell.readings, cell.worth)
        assert row[4:8] == (cell.visits, cell.busy_estimate, cell.busy_low, cell.busy_high)
        assert row[8] == cell.frames_lost
        assert row[9:13] == (cell.mean_dbm, cell.p50_dbm, cell.p90_dbm, cell.p99_dbm)
        assert row[13:] == (
            "yes" if cell.own_traffic else "no", cell.source, cell.newest_at, cell.wifi,
        )  # fmt: skip
    for row, station in zip(rows(book["Stations"]), content.stations, strict=True):
        assert row[:3] == (station.station, station.name, station.mounted)
        assert row[6:10] == (
            station.channel, station.channel_planned,
            station.clear_air_now, station.clear_air_planned,
        )  # fmt: skip
        assert row[15:19] == (
            station.labels, station.weak_labels, station.silent_labels, station.lone_labels,
        )  # fmt: skip
        assert row[21] == f"0x{station.pan_id:04X}"


# What a sheet shows under its headings: a table, what tells its rows apart, and its columns.
SHOWN = {
    ("Evidence", "ed_evidence", ("Station", "Channel"), ("station", "channel")): {
        "Readings": "readings", "Worth": "worth", "Visits": "visits",
        "Busy": "busy_estimate", "Busy, at least": "busy_low", "Busy, at most": "busy_high",
        "Mean, dBm": "mean_dbm", "Median, dBm": "p50_dbm", "90th percentile, dBm": "p90_dbm",
        "99th percentile, dBm": "p99_dbm", "Wi-Fi channels": "wifi",
    },
    ("Stations", "station_seen", ("Station",), ("station",)): {
        "Name": "name", "Where it hangs": "mounted", "Floor": "floor", "x, m": "x_m",
        "y, m": "y_m", "Channel": "channel", "Power, dBm": "tx_power_dbm", "EUI-64": "eui64",
        "IP address": "ip_address", "Port": "port", "Firmware": "firmware",
        "Hardware": "hardware",
    },
    ("Stations", "station_plan", ("Station",), ("station",)): {
        "Planned channel": "channel_planned", "Clear air before": "clear_air_now",
        "Clear air after": "clear_air_planned", "Best when drawn anew": "kept",
        "Channel if refused": "next_best_channel",
        "Cost of refusing, of one station": "next_best_cost",
    },
    ("Stations", "station_load", ("Station",), ("station",)): {
        "Labels": "labels", "Weak labels": "weak_labels", "Silent labels": "silent_labels",
        "Labels hearing one station only": "lone_labels", "Own air share": "air_share",
    },
    ("Moves", "move", ("Order",), ("position",)): {
        "Station": "station", "From channel": "from_channel", "To channel": "to_channel",
        "Clear air before": "clear_air_before", "Clear air after": "clear_air_after",
    },
}  # fmt: skip


@pytest.mark.parametrize(
    ("shown", "columns"), SHOWN.items(), ids=[f"{sheet}: {table}" for sheet, table, *_ in SHOWN]
)
def test_a_cell_is_what_the_table_holds_in_the_column_of_its_heading(
    contents: dict[str, StoreContent], shown: Shown, columns: Mapping[str, str]
) -> None:
    """What was put into the tables stands under its own heading, never under its neighbour's."""
    sheet, table, headings, keys = shown
    first, *lines = read(contents["S001"])[sheet].iter_rows(values_only=True)
    cells = [dict(zip(map(str, first), line, strict=True)) for line in lines]
    held = [row for row in extremes().tables[table] if row["store"] == "S001"]
    told = {tuple(row[key] for key in keys): row for row in held}

    assert len(cells) == len(told) > 0
    for cell in cells:
        row = told[tuple(cell[heading] for heading in headings)]
        assert {heading: cell[heading] for heading in columns} == {
            heading: row[column] for heading, column in columns.items()
        }


def test_heat_map_marks_channels_by_text(contents: dict[str, StoreContent]) -> None:
    """Today's and the proposed channel can be told without colour."""
    content = contents["S001"]
    sheet = read(content)["Channels"]
    heads = [cell.value for cell in sheet[2]]
    shown = {row[0].value: row for row in sheet.iter_rows(min_row=3)}

    assert heads[2:] == list(range(11, 27))
    for station in content.stations:
        row = shown[station.station]
        marked = {heads[i]: str(c.value)[0] for i, c in enumerate(row[2:], 2) if c.font.bold}
        if station.moved:
            assert marked == {station.channel: "[", station.final_channel: "►"}
        else:
            assert marked == {station.channel: "■"}


@pytest.mark.parametrize("store", STORES)
def test_every_store_has_the_same_sheets_ready_to_print(
    octets: dict[str, bytes], contents: dict[str, StoreContent], store: str
) -> None:
    """Names, frozen headings, filters, print areas, titles, paper, header and footer are set."""
    book = load_workbook(BytesIO(octets[store]))
    words = wording(contents[store].store.country)

    since = ["Outcome"] if store in {"S002", "S007"} else []
    assert book.sheetnames == [*map(words.tab, [*SHEETS, *since, "Glossary"]), "Register"]
    assert book["Register"].sheet_state == "hidden"
    for sheet in book.worksheets[:-1]:
        assert sheet.page_setup.paperSize == (1 if store == "S003" else 9)
        assert sheet.print_area
        header, footer = sheet.HeaderFooter.oddHeader, sheet.HeaderFooter.oddFooter
        assert header is not None
        assert footer is not None
        assert header.left.text
        assert "&P" in str(footer.right.text)
    for sheet in book.worksheets[1:-1]:
        assert sheet.freeze_panes is not None
        assert sheet.print_title_rows is not None
    content = contents[store]
    lists = {"Moves": content.moves, "Findings": content.findings, "Evidence": content.air,
             "Stations": content.stations}  # fmt: skip
    for name, records in lists.items():
        sheet = book[words.tab(name)]
        assert (sheet.auto_filter.ref is not None) == bool(records)
        assert sheet.max_row == 1 + max(1, len(records))
        if not records:  # the sentence that says so has the row to itself
            [merged] = sheet.merged_cells.ranges
            assert merged.min_row == merged.max_row == 2
            assert str(sheet["A2"].value).endswith(".")
            assert sheet.page_setup.fitToWidth == 1


def test_changes_made_say_what_became_of_their_labels(contents: dict[str, StoreContent]) -> None:
    """The sheet of results sums it up and lists the labels; the figures have a sheet."""
    book = read(contents["S002"])
    note = str(book["Ergebnisse"]["A2"].value)

    assert "bis 30.09.2026 290 von 298 Schildern zurück; 6 seither nicht gehört" in note
    assert "von 2 nicht bekannt; 4 jetzt an anderen Stationen; 2 nicht mehr aufgeführt" in note
    assert f"94,1{FIXED_SPACE}%" in note
    assert "+2,2 Punkte (+1,1 bis +3,3)" in note
    [row] = rows(book["Wirkung"])
    assert row[4:12] == (300, datetime(2026, 9, 30), 290, 6, 2, 2, 4, 300)
    assert row[12:17] == (94.12, 96.33, 2.21, 1.08, 3.34)
    results = [[cell.value for cell in row] for row in book["Ergebnisse"].iter_rows()]
    at = next(n for n, row in enumerate(results) if row[0] == "Schilder, die nicht folgten")
    heads, *missing = ([v for v in row if v is not None] for row in results[at + 1 :])
    assert heads == [
        "Filiale", "Schild", "Station vorher", "Jetzt aufgeführte Station", "Zuletzt gehört",
        "Umstellung",
    ]  # fmt: skip
    assert [line[:3] for line in missing] == [["S002", f"L{n}", "S002-01"] for n in range(6)]
    assert missing[0][3] == datetime(2026, 9, 1)
    note = str(read(contents["S007"])["Results"]["A2"].value)
    assert "updates acknowledged: not known" in note
    assert "2 more changes are on the sheet Outcome." in note


def test_the_list_below_the_results_is_not_read_back(
    octets: dict[str, bytes], tmp_path: Path
) -> None:
    """It is behind a mark, so no label is taken for a change."""
    path = tmp_path / "change-plan.xlsx"
    path.write_bytes(octets["S002"])

    returned = read_workbook(path)

    assert (returned.results, returned.refusals) == ((), ())


def test_a_share_shows_the_per_cent_of_the_pages(contents: dict[str, StoreContent]) -> None:
    """A sheet never rounds to none or all what is neither; the figure itself stays exact."""
    content = contents["S001"]
    shares = (0.0, 0.003, 0.42, 0.997, 1.0)
    moves = tuple(replace(content.moves[0], clear_air_after=share) for share in shares)

    told = load_workbook(BytesIO(workbook(replace(content, moves=moves))))["Moves"]["J"][1:]

    assert [cell.value for cell in told] == list(shares)
    shown = [cell.number_format for cell in told]
    assert shown == ["0 %", '"1 %"', "0 %", '"99 %"', "0 %"]
    assert [wording("GB").percent(share) for share in (0.003, 0.997)] == [
        f"1{FIXED_SPACE}%", f"99{FIXED_SPACE}%",
    ]  # fmt: skip


@pytest.mark.parametrize("start", ["=1+1", "+1", "-1", "@sum", "\tx", "\r=x", "{=1}"])
def test_text_that_looks_like_a_formula_stays_a_text(
    contents: dict[str, StoreContent], start: str
) -> None:
    """Names, reasons and details keep their first letter and never run."""
    content = contents["S001"]
    stations = tuple(replace(s, name=start, mounted=start) for s in content.stations)
    moves = tuple(replace(m, reason=start) for m in content.moves)
    findings = tuple(replace(f, detail=start, subject=start) for f in content.findings)
    changed = replace(content, stations=stations, moves=moves, findings=findings)
    octets = workbook(replace(changed, store=replace(content.store, name=start)))

    book = load_workbook(BytesIO(octets))
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            assert all(cell.data_type != "f" for cell in row)
    kept = start.replace("\r", "\n")
    assert {cell.value for cell in book["Moves"]["H"][1:]} == {kept}
    with ZipFile(BytesIO(octets)) as parts:
        assert all(b"<f>" not in parts.read(name) for name in parts.namelist())


def test_bytes_are_the_same_every_time(
    contents: dict[str, StoreContent], octets: dict[str, bytes]
) -> None:
    """The same content gives the same bytes: no clock is written anywhere."""
    for store, content in contents.items():
        assert workbook(content) == octets[store]
    with ZipFile(BytesIO(octets["S001"])) as parts:
        assert {part.date_time for part in parts.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    properties = read(contents["S001"]).properties
    assert properties.created == properties.modified == datetime(2000, 1, 1)
    assert properties.creator == "quietaisle"


def test_rows_are_high_enough_for_their_texts(contents: dict[str, StoreContent]) -> None:
    """A text that wraps gets the lines it needs, up to the highest row there can be."""
    sheet = read(contents["S008"])["Moves"]

    assert sheet.row_dimensions[2].height > 60
    assert sheet.row_dimensions[5].height < sheet.row_dimensions[2].height
    assert lines("word " * 30, 40) >= 4
    assert lines("short", 40) == 1
    assert row_height([("x " * 9000, 10)]) == 409


def test_a_text_longer_than_a_cell_is_cut_to_what_a_cell_holds(
    contents: dict[str, StoreContent],
) -> None:
    """The longest text a cell can hold is kept; the workbook still opens."""
    content = contents["S002"]
    stations = (replace(content.stations[0], reason="w" * 40_000),)

    assert read(replace(content, stations=stations))["Stationen"]["O2"].value == "w" * 32_767


def declared() -> Iterator[tuple[str, type, SheetColumn[Any]]]:
    """Give every column declared for a sheet, with where it stands and the record it shows."""
    for module in (store_book, forms, form_rows, region_book, quarter_book, quarantine):
        for name, hint in get_type_hints(module).items():
            for inner in get_args(hint):
                if get_origin(inner) is SheetColumn:
                    (record,) = get_args(inner)
                    sheet = getattr(module, name)
                    for column in sheet.values() if isinstance(sheet, Mapping) else sheet:
                        yield f"{module.__name__}.{name}", record, column


def test_every_column_shows_a_field_that_is_there_under_a_heading_that_is_there() -> None:
    """Fields are fields or properties of the record, dotted ones too; headings are texts."""
    columns = list(declared())

    assert len({where for where, _, _ in columns}) == 30
    assert len(columns) > 184
    for where, record, column in columns:
        assert "." not in column.heading or column.heading in texts("en"), (where, column.heading)
        if isinstance(column.field, str):
            kind: Any = record
            for field in column.field.split("."):
                inner = [a for a in (get_args(kind) or (kind,)) if a is not type(None)]
                (kind,) = inner
                hints = get_type_hints(kind)
                assert field in hints or isinstance(getattr(kind, field), property), where
                kind = hints.get(field)


def test_german_headings_for_german_stores(contents: dict[str, StoreContent]) -> None:
    """Headings and tabs follow the store's language."""
    sheet = read(contents["S002"])["Umstellungen"]

    assert [cell.value for cell in sheet[1]][:3] == ["Folge", "Station", "Name"]
    assert read(contents["S002"])["Messwerte"]["Q1"].value == "WLAN-Kanäle"


@pytest.mark.parametrize(("store", "country"), [("S001", "GB"), ("S002", "DE"), ("S001", "PL")])
def test_the_glossary_has_every_word_in_the_language_of_the_store(
    contents: dict[str, StoreContent], store: str, country: str
) -> None:
    """A row a word, in the order of the language's file, each with its meaning."""
    content, words = contents[store], wording(country)
    book = read(replace(content, store=replace(content.store, country=country)))
    terms = [key for key in words.texts if key.startswith("glossary.")]

    assert len(terms) > 12
    assert [row[:2] for row in rows(book[words("tab.glossary")])] == [
        (words(key), words(key.replace("glossary.", "meaning."))) for key in terms
    ]


def test_nothing_that_repeats_on_a_second_page_is_cut(contents: dict[str, StoreContent]) -> None:
    """Above the columns that repeat on every page stands the title alone, as wide as they are."""
    book = read(contents["S001"])
    repeating = [sheet for sheet in book.worksheets if sheet.print_title_cols]

    assert "Decisions" in {sheet.title for sheet in repeating}
    for sheet in repeating:
        last = column_index_from_string(str(sheet.print_title_cols).rpartition("$")[2])
        merged = {cell for area in sheet.merged_cells.ranges for cell in area.top}
        for area in sheet.merged_cells.ranges:
            assert area.max_col <= last or area.min_col > last, (sheet.title, area.coord)
        if sheet.title == "Decisions":
            assert (1, 1) in merged
            assert sheet["A1"].alignment.wrap_text
