"""What the tests of ingest share: small export sets, a run over them, and what must always hold."""

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from empty import new_database

from pipeline.database import Database, open_database
from pipeline.ingest.load import ingest
from pipeline.progress import Silent
from pipeline.settings import Settings, load_settings
from pipeline.tables.taken import ExportFile

FACTS = (
    "store_seen", "station_seen", "ed_reading", "label_seen", "wifi_seen", "heard_seen",
    "network_seen",
)  # fmt: skip
TABLES = (*FACTS, "export_file", "quarantined_row", "quarantined_cell")

STORES = """Exported on: 2026-09-30
store,name,region,country,store type,time zone,opens,closes
S001,First,North,GB,large,Europe/London,08:00,22:00
S002,Second,Mitte,DE,small,Europe/Berlin,07:00,20:00
"""
STATIONS = """Exported on: 2026-09-30
store,station,channel,pan id,tx power dbm,eui-64,connected
S001,S001-01,11,0x1A2B,0,00-00-5e-ef-10-00-00-01,yes
S001,S001-02,15,0x1A2C,0,00-00-5e-ef-10-00-00-02,no
S002,S002-01,20,0x1A2D,4.5,00-00-5e-ef-10-00-00-03,yes
"""
READINGS = """store,station,scanned at,channel,level dbm
S001,S001-01,2026-09-29 03:00:00,11,-91
S001,S001-01,2026-09-29 03:00:00,11,-91
S001,S001-01,2026-09-29 03:00:00,12,-70.5
S002,S002-01,2026-09-29T03:00:00Z,11,-88
"""
LABELS = """store,label,station,level dbm,success %,exported on
S001,L1,S001-01,-60,99.5,2026-09-30
S001,L2,S001-02,-75,97,2026-09-30
S002,L3,S002-01,-66,100,2026-09-30
"""
WIFI = """store,heard at,network,wi-fi channel,level dbm,surveyed on
S001,S001-01,net a,1,-50,2026-09-01
S002,,net b,13,-61,2026-09-01
"""
HEARD = """store,listening station,heard station,level dbm,measured on
S001,S001-01,S001-02,-64,2026-09-02
"""
SET: Mapping[str, str] = {
    "stores.csv": STORES,
    "stations.csv": STATIONS,
    "readings.csv": READINGS,
    "labels.csv": LABELS,
    "wifi.csv": WIFI,
    "heard.csv": HEARD,
}


@dataclass(frozen=True, slots=True)
class Result:
    """What a run gave: the outcomes, and the rows of every table in a fixed order."""

    outcomes: tuple[ExportFile, ...]
    tables: Mapping[str, list[tuple[Any, ...]]]

    def outcome(self, file: str) -> ExportFile:
        """Return the outcome of one file."""
        return next(each for each in self.outcomes if each.file == file)

    @property
    def facts(self) -> Mapping[str, list[tuple[Any, ...]]]:
        """Return the tables of facts alone."""
        return {name: self.tables[name] for name in FACTS}

    def problems(self) -> list[tuple[int, str]]:
        """Return (line, problem) of every row and every cell in quarantine, the rows first."""
        rows = [(row[3], row[5]) for row in self.tables["quarantined_row"]]
        return rows + [(row[3], row[6]) for row in self.tables["quarantined_cell"]]


def put(folder: Path, files: Mapping[str, str | bytes]) -> Path:
    """Write files into the folder and return it."""
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
    return folder


def take(folder: Path, database: Path | None = None, settings: Settings | None = None) -> Result:
    """Ingest a folder into a database (a new one if none is named) and check what always holds."""
    with (
        tempfile.TemporaryDirectory() as room,
        open_database(database) if database else new_database(Path(room) / "q.duckdb") as opened,
    ):
        outcomes = ingest(opened, folder, settings or load_settings(), Silent())
        result = Result(outcomes, dump(opened))
    check_conservation(result)
    return result


def dump(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    """Return every row of every table, sorted as text so that nothing depends on their order."""
    return {name: sorted(database.connection.table(name).fetchall(), key=repr) for name in TABLES}


def check_conservation(result: Result) -> None:
    """Every row read is loaded, quarantined or repeated; quarantine holds what it says."""
    for row in result.tables["export_file"]:
        file, sha256, kind, _, read, loaded, quarantined, repeated, refused, decisions, passed = row
        assert (read, quarantined) == (loaded + quarantined + repeated, quarantined), file
        assert min(read, loaded, quarantined, repeated) >= 0, file
        entries = [
            entry
            for entry in result.tables["quarantined_row"]
            if (entry[0], entry[1]) == (file, sha256)
        ]
        assert sum(entry[4] for entry in entries) == quarantined, file
        assert [kind, refused, passed].count(None) == 2, file
        assert decisions
        assert all(entry[6] and entry[7] for entry in entries), file
    names = [(row[0], row[1]) for row in result.tables["export_file"]]
    assert len(names) == len(set(names))
    known = {name for name, _ in names}
    assert {outcome.file for outcome in result.outcomes} <= known
