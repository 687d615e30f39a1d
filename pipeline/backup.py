"""Keep a database as a folder of parquet files with a manifest of digests, and bring it back."""

import json
from dataclasses import dataclass
from hashlib import file_digest
from pathlib import Path

import duckdb

from pipeline import __version__
from pipeline.database import Database, open_database
from pipeline.errors import BackupBroken, BackupInTheWay
from pipeline.tables.declare import Table
from pipeline.tables.every import VERSION, every_table
from pipeline.tables.run import SchemaMade, TablesVersion

MANIFEST = "manifest.json"


@dataclass(frozen=True, slots=True)
class BackedUp:
    """What a backup holds, or what came back from one."""

    folder: Path
    tables: int
    rows: int


def back_up(database: Database, folder: Path) -> BackedUp:
    """Write every table into a new folder, with the digest and the rows of each file.

    The manifest is written last: a folder without one is no backup.

    Raises:
        BackupInTheWay: the folder holds something already.
    """
    if folder.exists() and any(folder.iterdir()):
        raise BackupInTheWay(folder, "holds something already; name a new folder")
    folder.mkdir(parents=True, exist_ok=True)
    kept = {}
    for table in every_table():
        relation = database.connection.table(table.name)
        path = folder / f"{table.name}.parquet"
        relation.write_parquet(str(path))
        kept[table.name] = {"rows": relation.shape[0], "sha256": _digest(path)}
    said = {"program": __version__, "tables_version": VERSION, "tables": kept}
    (folder / MANIFEST).write_text(json.dumps(said, indent=1) + "\n", encoding="utf-8")
    return BackedUp(folder, len(kept), sum(int(str(each["rows"])) for each in kept.values()))


def restore(folder: Path, path: Path) -> BackedUp:
    """Make a new database of a backup, equal to the row and in the same order of rows.

    Raises:
        BackupInTheWay: there is a database at the path already.
        BackupBroken: a file is missing or changed, or another version of the tables was kept.
    """
    if path.exists():
        raise BackupInTheWay(path, "is there already; name a database that is not")
    held = _held(folder)
    try:
        with open_database(path) as database, database.transaction():
            rows = sum(_filled(database, folder, table, held) for table in every_table())
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return BackedUp(folder, len(held), rows)


def _held(folder: Path) -> dict[str, int]:
    """Return the rows of each table that the manifest names, all files being as it says."""
    path = folder / MANIFEST
    try:
        said = json.loads(path.read_text(encoding="utf-8"))
        version, tables = said["tables_version"], dict(said["tables"])
        rows = {name: int(each["rows"]) for name, each in tables.items()}
        digests = {name: str(each["sha256"]) for name, each in tables.items()}
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BackupBroken(path, "cannot be read as the manifest of a backup") from error
    if version != VERSION:
        program = said.get("program")
        raise BackupBroken(
            path, f"is of version {version} of the tables; this program has {VERSION}: restore it "
            f"with program version {program}, and open the database with this one"
        )  # fmt: skip
    for name in sorted({table.name for table in every_table()} - set(rows)):
        raise BackupBroken(path, f"does not name the table {name}")
    for name, digest in digests.items():
        file = folder / f"{name}.parquet"
        if not file.is_file():
            raise BackupBroken(file, "is missing")
        if _digest(file) != digest:
            raise BackupBroken(file, "is not the file that was written: its digest differs")
    return rows


def _filled(database: Database, folder: Path, table: Table, held: dict[str, int]) -> int:
    """Fill one table; return its rows."""
    connection = database.connection
    if table.kind in {TablesVersion, SchemaMade}:
        return held[table.name]  # opening the database has written it
    wanted = [duckdb.ColumnExpression(name) for name in connection.table(table.name).columns]
    kept = connection.read_parquet(str(folder / f"{table.name}.parquet"))
    kept.select(*wanted).insert_into(table.name)
    return held[table.name]


def _digest(path: Path) -> str:
    with path.open("rb") as octets:
        return file_digest(octets, "sha256").hexdigest()
