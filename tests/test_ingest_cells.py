"""A cell is not a row: what cannot be read in an optional cell costs that cell alone.

`odd_cells.csv` holds cells as people write them (kind, field, cell) and what each becomes: a value;
`blank` for a usual way to write nothing; empty where it cannot be read and is kept in quarantine.
"""

import csv
from collections import Counter
from collections.abc import Callable
from functools import cache
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
