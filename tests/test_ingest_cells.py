"""A cell is not a row: what cannot be read in an optional cell costs that cell alone.

`odd_cells.csv` holds cells as people write them (kind, field, cell) and what each becomes: a value;
`blank` for a usual way to write nothing; empty where it cannot be read and is kept in quarantine.
"""

import csv
from collections import Counter
from collections.abc import Callable
from datetime import date, datetime, time
from functools import cache
from pathlib import Path
from typing import Any

import duckdb
import pytest
from ingest_kit import put, take

from pipeline.tables.declare import declared_tables

ODD = tuple(
    csv.DictReader(
        (Path(__file__).parent / "odd_cells.csv").read_text(encoding="utf-8").splitlines()
    )
)
# Per kind: the table, headings with a key that tells the row, and what stands in the other cells.
PLAIN: dict[str, tuple[str, str, dict[str, str]]] = {
    "stations": ("station_seen", "station", {"store": "S1", "channel": "15"}),
    "stores": ("store_seen", "store", {"name": "One", "region": "North", "store type": "market"}),
    "labels": ("label_seen", "label", {"store": "S1", "station": "A1"}),
    "wifi": ("wifi_seen", "network", {"store": "S1", "wi-fi channel": "6", "heard at": "A1"}),
}
HEADINGS = {
    "floor": "floor", "x_m": "x m", "y_m": "y m", "pan_id": "pan id",
    "tx_power_dbm": "tx power dbm", "port": "port", "connected": "connected", "eui64": "eui-64",
    "ip_address": "ip address", "country": "country", "time_zone": "time zone", "opens": "opens",
    "closes": "closes", "level_dbm": "level dbm", "success_pct": "success %",
    "stations_heard": "stations heard", "last_heard_on": "last heard",
    "updates_per_day": "updates per day", "payload_octets": "payload octets",
    "channels": "listens on", "updates_sent": "updates sent",
    "updates_acknowledged": "updates acknowledged",
    "acknowledged_first": "acknowledged first time", "utilisation_pct": "utilisation %",
    "secondary": "secondary",
}  # fmt: skip


def quoted(cell: str) -> str:
    """Return a cell as CSV has it."""
    return '"' + cell.replace('"', '""') + '"'


def shared_out() -> tuple[str, ...]:
    """Return the key of the row that holds each odd cell: one cell of a field in a row."""
    before = Counter[tuple[str, str]]()
    keys = []
    for odd in ODD:
        place = odd["kind"], odd["field"]
        keys.append(f"{odd['kind']}{before[place]}")
        before[place] += 1
    return tuple(keys)


KEYS = shared_out()


def export_of(key: str) -> str:
    """Return an export of one row with the odd cells that share its key."""
    odd_cells = [odd for odd, its in zip(ODD, KEYS, strict=True) if its == key]
    kind = odd_cells[0]["kind"]
    _, key_heading, others = PLAIN[kind]
    odd = {HEADINGS[odd["field"]]: odd["cell"] for odd in odd_cells}
    cells = {key_heading: key, **others, **odd}
    if kind == "stores":
        cells = {"country": "DE", "time zone": "Europe/Berlin"} | cells
    line = ",".join(quoted(cell) for cell in cells.values())
    return f"Exported on: 2026-09-30\nDecimals: point\n{','.join(cells)}\n{line}\n"


# By default every sixth cell of each field is taken in, the first among them.
QUICK = frozenset(key for key in KEYS if int(key.lstrip("abcdefghijklmnopqrstuvwxyz")) % 6 == 0)


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Return what gives a database that took a row, with the others of the same set of tests."""

    @cache
    def taken_with(*, quick: bool) -> Path:
        folder = tmp_path_factory.mktemp("odd")
        files = {f"{key}.csv": export_of(key) for key in KEYS if (key in QUICK) == quick}
        take(put(folder / "in", files), folder / "q.duckdb")
        return folder / "q.duckdb"

    return lambda key: taken_with(quick=key in QUICK)


def test_there_are_as_many_cells_as_promised() -> None:
    """At least 150 cells, none twice."""
    assert len({tuple(odd.values()) for odd in ODD}) == len(ODD) >= 150


@pytest.mark.parametrize(
    "number",
    [number if key in QUICK else pytest.param(number, marks=pytest.mark.slow)
     for number, key in enumerate(KEYS)],
    ids=[f"{o['kind']}-{o['field']}-{o['cell']}" for o in ODD],
)  # fmt: skip
def test_the_row_stands_and_the_cell_is_read_or_kept(
    taken: Callable[[str], Path], number: int
) -> None:
    """The row is there; the field holds the value, or nothing and the cell is in quarantine."""
    odd = ODD[number]
    table, key, _ = PLAIN[odd["kind"]]
    with duckdb.connect(str(taken(KEYS[number])), read_only=True) as connection:
        found = connection.table(table).filter(f"{key} = '{KEYS[number]}'").project(odd["field"])
        (value,) = one(found.fetchall())
        kept = connection.execute(
            "select line, field, text from quarantined_cell where file = $file and field = $field",
            {"file": f"{KEYS[number]}.csv", "field": odd["field"]},
        ).fetchall()
        books = connection.execute(
            "select rows_read, rows_loaded, rows_quarantined from export_file where file = $file",
            {"file": f"{KEYS[number]}.csv"},
        ).fetchone()

    assert books == (1, 1, 0)
    if odd["becomes"] in {"", "blank"}:
        assert value is None
        assert kept == ([(4, odd["field"], odd["cell"])] if not odd["becomes"] else [])
    else:
        assert str(value).lower() == odd["becomes"].lower() or float(value) == pytest.approx(
            float(odd["becomes"])
        )
        assert kept == []


def one(rows: list[tuple[Any, ...]]) -> tuple[Any, ...]:
    """Return the only row."""
    (row,) = rows
    return row


def test_a_part_is_no_larger_than_the_whole(tmp_path: Path) -> None:
    """More acknowledged than sent cannot be; each cell is judged by the whole that is known."""
    rows = ["L1,20,21,5", "L2,20,18,19", "L3,,18,18", "L4,20,,21", "L5,-1,7,7"]
    export = "\n".join(f"S1,A1,2026-09-30,{row}" for row in rows)
    head = "store,station,as of,label,updates sent,updates acknowledged,acknowledged first time"
    take(put(tmp_path / "in", {"labels.csv": f"{head}\n{export}\n"}), tmp_path / "q.duckdb")

    with duckdb.connect(str(tmp_path / "q.duckdb"), read_only=True) as connection:
        found = connection.execute(
            "select updates_sent, updates_acknowledged, acknowledged_first from label_seen "
            "order by label"
        ).fetchall()
        kept = connection.execute("select text from quarantined_cell order by line").fetchall()
    assert found == [(20, None, 5), (20, 18, None), (None, 18, 18), (20, None, None), (None, 7, 7)]
    assert kept == [("21",), ("19",), ("21",), ("-1",)]


# Per kind: how a field is headed, a cell of it, what is stored, and a cell that cannot be read.
Cells = dict[str, tuple[str, str, Any, str | None]]
_KEYS: Cells = {
    "store": ("store", "S1", "S1", None),
    "seen_on": ("exported on", "2026-09-28", date(2026, 9, 28), None),
}
EVERY_CELL: dict[str, Cells] = {
    "store_seen": {
        **_KEYS, "name": ("name", "One", "One", None), "region": ("region", "North", "North", None),
        "country": ("country", "GB", "GB", "Utopia"),
        "store_type": ("store type", "large", "large", None),
        "time_zone": ("time zone", "Europe/London", "Europe/London", "Nowhere/Town"),
        "opens": ("opens", "08:00", time(8), "dawn"),
        "closes": ("closes", "22:00", time(22), "dusk"),
        "site": ("shared site", "Canal Court", "Canal Court", None),
    },
    "station_seen": {
        **_KEYS, "station": ("station", "A1", "A1", None), "name": ("name", "Till", "Till", None),
        "mounted": ("mounted", "ceiling", "ceiling", None), "floor": ("floor", "2", 2, "attic?"),
        "x_m": ("x m", "12.5", 12.5, "left"), "y_m": ("y m", "34.25", 34.25, "right"),
        "channel": ("channel", "15", 15, None), "pan_id": ("pan id", "0x1A2B", 0x1A2B, "zzzz"),
        "tx_power_dbm": ("tx power dbm", "4.5", 4.5, "ninety"),
        "eui64": ("eui-64", "00-00-5e-ef-10-00-00-01", "00005eef10000001", None),
        "ip_address": ("ip address", "192.0.2.7", "192.0.2.7", None),
        "port": ("port", "8443", 8443, "many"), "firmware": ("firmware", "2.1", "2.1", None),
        "hardware": ("hardware", "H3", "H3", None), "connected": ("connected", "no", False, "odd"),
        "status": ("installation status", "planned", "planned", "soon"),
    },
    "label_seen": {
        **_KEYS, "label": ("label", "L1", "L1", None), "station": ("station", "A1", "A1", None),
        "level_dbm": ("level dbm", "-61.5", -61.5, "loud"),
        "stations_heard": ("stations heard", "3", 3, "few"),
        "success_pct": ("success %", "97.5", 97.5, "mostly"),
        "last_heard_on": ("last heard", "2026-09-27", date(2026, 9, 27), "lately"),
        "updates_per_day": ("updates per day", "2.5", 2.5, "daily"),
        "payload_octets": ("payload octets", "5200", 5200.0, "big"),
        "channels": ("listens on", "11 15", "11 15", "all of them"),
        "updates_sent": ("updates sent", "90", 90, "ninety"),
        "updates_acknowledged": ("updates acknowledged", "80", 80, "eighty"),
        "acknowledged_first": ("acknowledged first time", "70", 70, "seventy"),
        "floor": ("floor", "2", 2, "attic?"), "x_m": ("x m", "12.5", 12.5, "left"),
        "y_m": ("y m", "34.25", 34.25, "right"),
    },
    "wifi_seen": {
        **_KEYS, "station": ("heard at", "A1", "A1", None),
        "network": ("network", "net a", "net a", None),
        "wifi_channel": ("wi-fi channel", "6", 6, None),
        "width_mhz": ("width mhz", "40", 40, "wide"),
        "secondary": ("secondary", "below", "below", "beside"),
        "level_dbm": ("level dbm", "-48.5", -48.5, "loud"),
        "utilisation_pct": ("utilisation %", "35", 35.0, "mostly"),
        "ours": ("own network", "yes", True, "ours?"),
    },
    "ed_reading": {
        "store": ("store", "S1", "S1", None), "station": ("station", "A1", "A1", None),
        "scanned_at": ("scanned at", "2026-09-29 03:00:00", datetime(2026, 9, 29, 3), None),
        "channel": ("channel", "15", 15, None), "level_dbm": ("level dbm", "-71.5", -71.5, None),
        "statistic": ("statistic", "max", "max", None), "dwell_ms": ("dwell ms", "8", 8.0, "long"),
        "own_quiet": ("own stations quiet", "yes", True, "hush"),
    },
    "heard_seen": {
        **_KEYS, "station": ("listening station", "A1", "A1", None),
        "neighbour": ("heard station", "B1", "B1", None),
        "level_dbm": ("level dbm", "-64.5", -64.5, None),
        "neighbour_store": ("heard store", "S9", "S9", None),
    },
    "network_seen": {
        **_KEYS, "ip_address": ("ip address", "192.0.2.9", "192.0.2.9", None),
        "port": ("port", "8443", 8443, "many"),
        "eui64": ("eui-64", "00-00-5e-ef-10-00-00-02", "00005eef10000002", None),
        "device": ("device type", "switch", "switch", None),
    },
}  # fmt: skip


def test_every_cell_goes_to_its_own_column(tmp_path: Path) -> None:
    """Of each kind a row that is stored cell by cell, and one whose bad cells are kept by name."""
    files = {}
    for table, cells in EVERY_CELL.items():
        good = [cell for _, cell, _, _ in cells.values()]
        bad = [bad or ("S2" if at == "store" else good) for at, (_, good, _, bad) in cells.items()]
        head = [heading for heading, *_ in cells.values()]
        files[f"{table}.csv"] = "\n".join(
            ["Decimals: point", *map(",".join, (head, good, bad)), ""]
        )

    result = take(put(tmp_path, files))

    kept = [(row[0], row[4], row[9]) for row in result.tables["quarantined_cell"]]
    columns = {table.name: table.columns for table in declared_tables()}
    for table, cells in EVERY_CELL.items():
        names = [column.name for column in columns[table]]
        first, second = (dict(zip(names, row, strict=True)) for row in result.tables[table])
        assert {at: first[at] for at in cells} == {at: cell[2] for at, cell in cells.items()}
        odd = {field: bad for field, (_, _, _, bad) in cells.items() if bad}
        assert second["store"] == "S2"
        assert {(f"{table}.csv", field, bad) for field, bad in odd.items()} == {
            each for each in kept if each[0] == f"{table}.csv"
        }
