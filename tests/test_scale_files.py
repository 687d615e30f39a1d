"""Exports met before are not read again, and whatever might have changed is."""

import os
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import IO

import pytest
from openpyxl import Workbook

from pipeline.database import Database, open_database
from pipeline.ingest import discover, load
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.load import ingest
from pipeline.ingest.notation import FolderTerms
from pipeline.ingest.tables import DeliveredTable
from pipeline.ingest.take import take as take_table
from pipeline.progress import Silent
from pipeline.settings import Settings, load_settings
from pipeline.tables.taken import ExportFile

STORES = (
    "store,name,region,country,store type,time zone,exported on\n"
    "S1,Quay,North,GB,small,Europe/London,2026-09-30\nS2,Mill,North,GB,small,Europe/London,2026-09-30\n"
)
OTHER = STORES.replace("Quay", "Lock")  # as many octets


class Reads:
    """Counts how many files and members are read through."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.count = 0
        whole: Callable[[IO[bytes]], str] = discover._sha256  # noqa: SLF001 - what is watched

        def counted(source: IO[bytes]) -> str:
            self.count += 1
            return whole(source)

        monkeypatch.setattr(discover, "_sha256", counted)

    def of(self, folder: Path) -> int:
        """Ingest a folder; return how many were read through."""
        self.count = 0
        take(folder)
        return self.count


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> Reads:
    """Watch the reading of files."""
    return Reads(monkeypatch)


def take(folder: Path, settings: Settings | None = None) -> tuple[ExportFile, ...]:
    """Ingest `folder` into the database beside it."""
    with open_database(folder.parent / "q.duckdb") as database:
        return ingest(database, folder, settings or load_settings(), Silent())


def names(folder: Path) -> list[str]:
    """Return the names of stores the database knows."""
    with open_database(folder.parent / "q.duckdb") as database:
        rows = database.connection.execute("select name from store_seen order by name").fetchall()
    return [name for (name,) in rows]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Give a folder with a text, and the same text in an archive."""
    made = tmp_path / "exports"
    made.mkdir()
    (made / "stores.csv").write_text(STORES, encoding="utf-8")
    with zipfile.ZipFile(made / "packed.zip", "w") as archive:
        archive.writestr("a/stores.csv", STORES)
        archive.writestr("b.csv", STORES.replace("S1", "S3"))
    return made


def test_files_met_before_are_not_read_through_again(folder: Path, reads: Reads) -> None:
    """The first time all are read, members of archives too; then none, and as if they were."""
    first = take(folder)
    assert reads.of(folder) == 0
    assert take(folder) == first
    assert [outcome.file for outcome in first if outcome.rows_loaded] != []


def test_a_new_stamp_is_read_and_the_same_content_loads_nothing(folder: Path, reads: Reads) -> None:
    """A file that was touched is read once more; its content was taken before."""
    first = take(folder)
    os.utime(folder / "stores.csv", (1_000_000_000, 1_000_000_000))

    assert reads.of(folder) == 1
    assert reads.of(folder) == 0
    assert take(folder) == first


def test_a_change_that_keeps_size_and_time_is_met(folder: Path, reads: Reads) -> None:
    """Somebody sets the time of change back: the content still decides."""
    take(folder)
    path = folder / "stores.csv"
    before = path.stat()
    path.write_text(OTHER, encoding="utf-8")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert path.stat().st_size == before.st_size

    assert reads.of(folder) == 1
    assert "Lock" in names(folder)


def test_a_changed_archive_is_read_whole(folder: Path, reads: Reads) -> None:
    """One new member: the archive and all its members are read, and the new one is taken."""
    take(folder)
    with zipfile.ZipFile(folder / "packed.zip", "a") as archive:
        archive.writestr("c.csv", OTHER)

    assert reads.of(folder) == 4
    assert "Lock" in names(folder)


def test_a_file_under_another_name_is_another_file(folder: Path) -> None:
    """It is read and adds nothing, as ever: names decide nothing."""
    take(folder)
    before = names(folder)
    (folder / "stores.csv").rename(folder / "renamed.csv")
    found = {outcome.file: outcome for outcome in take(folder)}

    assert found["renamed.csv"].rows_repeated == found["renamed.csv"].rows_read == 2
    assert names(folder) == before


def test_what_was_refused_is_tried_again(tmp_path: Path) -> None:
    """A heading nobody knew is named in the rules: the file that was refused is taken now."""
    folder = tmp_path / "exports"
    folder.mkdir()
    strange = STORES.replace("store,name", "Haus,name")
    (folder / "stores.csv").write_text(strange, encoding="utf-8")
    assert take(folder)[0].refused is not None
    rules = tmp_path / "rules.toml"
    rules.write_text('[headings.stores]\nHaus = "store"\n', encoding="utf-8")

    assert take(folder, load_settings(rules))[0].refused is None
    assert names(folder) == ["Mill", "Quay"]


def test_a_workbook_cut_off_between_sheets_is_finished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sheet that was taken counts, and the rest is taken by the next run."""
    folder = tmp_path / "exports"
    folder.mkdir()
    book = Workbook()
    for title, text in (("one", STORES), ("two", STORES.replace("S1", "S3"))):
        sheet = book.create_sheet(title)
        for line in text.splitlines():
            sheet.append(line.split(","))
    book.remove(book.worksheets[0])
    book.save(folder / "stores.xlsx")

    def cut(
        database: Database,
        table: DeliveredTable,
        vocabulary: Vocabulary,
        settings: Settings,
        terms: FolderTerms,
    ) -> ExportFile:
        if table.file.endswith("two"):
            raise KeyboardInterrupt
        return take_table(database, table, vocabulary, settings, terms)

    with monkeypatch.context() as patch:
        patch.setattr(load, "take", cut)
        with pytest.raises(KeyboardInterrupt):
            take(folder)
    assert len(names(folder)) == 2

    outcomes = take(folder)
    assert [outcome.file for outcome in outcomes] == ["stores.xlsx#one", "stores.xlsx#two"]
    assert len(names(folder)) == 3
    assert take(folder) == outcomes
