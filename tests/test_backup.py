"""A database kept as a folder comes back equal to the row; what was touched does not."""

import json
from pathlib import Path

import duckdb
import pytest
from demo_run import Ran

from pipeline.backup import MANIFEST, back_up, restore
from pipeline.database import open_database
from pipeline.errors import BackupBroken, BackupInTheWay
from pipeline.proof.check import check_register
from pipeline.tables.every import VERSION, every_table


@pytest.fixture
def folder(two_run: Ran, tmp_path: Path) -> Path:
    """Give a backup of a finished run."""
    ran = two_run.copied(tmp_path, reports=False)
    with open_database(ran.request.database) as database:
        back_up(database, tmp_path / "kept")
    return tmp_path / "kept"


def rows_of(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Return every row of every table, in the order in which they were added."""
    with duckdb.connect(str(path), read_only=True) as connection:
        return {
            table.name: connection.execute(f"from {table.name} order by rowid").fetchall()
            for table in every_table()
        }


def test_it_comes_back_equal_to_the_row(folder: Path, tmp_path: Path) -> None:
    """Tables, columns and rows are the same, in their order; the register stands as sealed."""
    back = restore(folder, tmp_path / "back.duckdb")

    before, after = rows_of(tmp_path / "q.duckdb"), rows_of(tmp_path / "back.duckdb")
    assert after == before
    assert back.rows == sum(map(len, before.values())) > 1000
    with open_database(tmp_path / "back.duckdb") as database:
        checked = check_register(database, [])
        assert checked.entries > 0
        assert checked.problems == ()


def test_the_same_database_is_the_same_backup(folder: Path, tmp_path: Path) -> None:
    """Kept twice, or kept again after it came back, every file has the same octets."""
    restore(folder, tmp_path / "back.duckdb")
    with open_database(tmp_path / "back.duckdb") as database:
        back_up(database, tmp_path / "again")

    for file in sorted(folder.iterdir()):
        assert (tmp_path / "again" / file.name).read_bytes() == file.read_bytes(), file.name


def test_nothing_is_written_over(folder: Path, tmp_path: Path) -> None:
    """A folder that holds something, and a database that is there, are left alone."""
    with (
        open_database(tmp_path / "q.duckdb") as database,
        pytest.raises(BackupInTheWay, match="holds something already"),
    ):
        back_up(database, folder)
    with pytest.raises(BackupInTheWay, match="is there already"):
        restore(folder, tmp_path / "q.duckdb")


def _touched(folder: Path) -> None:
    path = folder / "change.parquet"
    octets = bytearray(path.read_bytes())
    octets[len(octets) // 2] ^= 1
    path.write_bytes(octets)


def _gone(folder: Path) -> None:
    (folder / "change.parquet").unlink()


def _unnamed(folder: Path) -> None:
    said = json.loads((folder / MANIFEST).read_text())
    del said["tables"]["change"]
    (folder / MANIFEST).write_text(json.dumps(said))


def _older(folder: Path) -> None:
    said = json.loads((folder / MANIFEST).read_text())
    said["tables_version"] = VERSION - 1
    (folder / MANIFEST).write_text(json.dumps(said))


def _cut(folder: Path) -> None:
    (folder / MANIFEST).unlink()


@pytest.mark.parametrize(
    ("harm", "sentence"),
    [
        (_touched, "change.parquet is not the file that was written"),
        (_gone, "change.parquet is missing"),
        (_unnamed, "does not name the table change"),
        (_older, f"is of version {VERSION - 1} of the tables; this program has {VERSION}"),
        (_cut, "cannot be read as the manifest"),
    ],
)
def test_a_harmed_backup_is_refused(harm: object, sentence: str, folder: Path) -> None:
    """It is refused in a sentence, and no database is left behind."""
    assert callable(harm)
    harm(folder)

    with pytest.raises(BackupBroken, match=sentence):
        restore(folder, folder.parent / "back.duckdb")
    assert not (folder.parent / "back.duckdb").exists()
