"""A cell is not a row: what cannot be read in an optional cell costs that cell alone.

`odd_cells.csv` holds cells as people write them (kind, field, cell) and what each becomes: a value;
`blank` for a usual way to write nothing; empty where it cannot be read and is kept in quarantine.
"""

import csv
from pathlib import Path
from typing import Any

import duckdb
import pytest
from ingest_kit import put, take

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
    "channels": "listens on", "utilisation_pct": "utilisation %", "secondary": "secondary",
}  # fmt: skip


def quoted(cell: str) -> str:
    """Return a cell as CSV has it."""
    return '"' + cell.replace('"', '""') + '"'


def export_of(odd: dict[str, str], key: str) -> str:
    """Return an export whose one row holds an odd cell."""
    _, key_heading, others = PLAIN[odd["kind"]]
    cells = {key_heading: key, **others, HEADINGS[odd["field"]]: odd["cell"]}
    if odd["kind"] == "stores":
        cells = {"country": "DE", "time zone": "Europe/Berlin"} | cells
    line = ",".join(quoted(cell) for cell in cells.values())
    return f"Exported on: 2026-09-30\nDecimals: point\n{','.join(cells)}\n{line}\n"


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a database that took every odd cell in an export of its own."""
    folder = tmp_path_factory.mktemp("odd")
    files = {f"{n}.csv": export_of(odd, f"K{n}") for n, odd in enumerate(ODD)}
    take(put(folder / "in", files), folder / "q.duckdb")
    return folder / "q.duckdb"


def test_there_are_as_many_cells_as_promised() -> None:
    """At least 150 cells, none twice."""
    assert len({tuple(odd.values()) for odd in ODD}) == len(ODD) >= 150


@pytest.mark.parametrize(
    "number", range(len(ODD)), ids=[f"{o['kind']}-{o['field']}-{o['cell']}" for o in ODD]
)
def test_the_row_stands_and_the_cell_is_read_or_kept(taken: Path, number: int) -> None:
    """The row is there; the field holds the value, or nothing and the cell is in quarantine."""
    odd = ODD[number]
    table, key, _ = PLAIN[odd["kind"]]
    with duckdb.connect(str(taken), read_only=True) as connection:
        found = connection.table(table).filter(f"{key} = 'K{number}'").project(odd["field"])
        (value,) = one(found.fetchall())
        kept = connection.execute(
            "select line, field, text from quarantined_cell where file = $file",
            {"file": f"{number}.csv"},
        ).fetchall()
        books = connection.execute(
            "select rows_read, rows_loaded, rows_quarantined from export_file where file = $file",
            {"file": f"{number}.csv"},
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
