"""Report files: where they go, when they are written, and that names cannot lead astray."""

import os
import pickle
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_stores import Invented, extremes, invent, invented_database

from pipeline.database import Database
from pipeline.errors import StorageFailed, UnknownSelection
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.report import write
from pipeline.report.files import put_file, safe_names
from pipeline.report.store import gather
from pipeline.report.store.content import StoreContent
from pipeline.report.store.gather import store_contents
from pipeline.report.store.pages import summary
from pipeline.report.write import report
from pipeline.settings import load_settings


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """Give a database with four small stores in three regions."""
    into = Invented()
    invent(into, "S1", stations=2, moved=1)
    invent(into, "S2", stations=2, moved=1)
    invent(into, "con", stations=1, moved=0, region="../../away")
    invent(into, "../S3", stations=1, moved=0, region="Süd/West")
    with invented_database(tmp_path / "stores.duckdb", into) as opened:
        yield opened


def tree(out: Path) -> dict[str, bytes]:
    """Return every file below a folder."""
    return {
        str(path.relative_to(out)): path.read_bytes() for path in out.rglob("*") if path.is_file()
    }


def test_every_store_gets_its_two_files_below_the_folder(
    database: Database, tmp_path: Path
) -> None:
    """Region, store, file: that is the tree, whatever the names are; nothing lands elsewhere."""
    out = tmp_path / "deep" / "reports"
    before = {path for path in tmp_path.rglob("*") if "reports" not in path.parts}
    written, failed = report(database, load_settings(), out, Selection(), Silent())

    assert failed == ()
    assert [w.store for w in written] == ["../S3", "S1", "S2", "con"]
    assert len(tree(out)) == 8
    for entry in written:
        assert entry.workbook.parent == entry.summary.parent
        assert entry.workbook.resolve().is_relative_to(out.resolve())
        assert len(entry.workbook.relative_to(out).parts) == 3
        assert entry.workbook.read_bytes().startswith(b"PK")
        assert entry.summary.read_bytes().startswith(b"%PDF")
    assert (out / "North" / "S1" / "change-plan.xlsx").is_file()
    after = {path for path in tmp_path.rglob("*") if "reports" not in path.parts}
    assert after - before == {tmp_path / "deep"}


def test_a_second_run_leaves_every_file_untouched(database: Database, tmp_path: Path) -> None:
    """Unchanged contents rewrite nothing: bytes and times stay."""
    report(database, load_settings(), tmp_path / "out", Selection(), Silent())
    first = tree(tmp_path / "out")
    paths = [tmp_path / "out" / name for name in first]
    for path in paths:
        os.utime(path, (1_000_000, 1_000_000))
    report(database, load_settings(), tmp_path / "out", Selection(), Silent())

    assert tree(tmp_path / "out") == first
    assert {path.stat().st_mtime for path in paths} == {1_000_000}


def test_selection_takes_stores_and_regions(database: Database, tmp_path: Path) -> None:
    """Only what was asked for is written; an unknown name is refused with the nearest one."""
    stores = Selection(stores=("S2",))
    regions = Selection(regions=("../../away",))

    written, _ = report(database, load_settings(), tmp_path / "a", stores, Silent())
    assert [entry.store for entry in written] == ["S2"]
    written, _ = report(database, load_settings(), tmp_path / "b", regions, Silent())
    assert [entry.store for entry in written] == ["con"]
    with pytest.raises(UnknownSelection, match=r"has no region 'Nort'. Did you mean 'North'"):
        report(database, load_settings(), tmp_path / "c", Selection(regions=("Nort",)), Silent())


def test_one_broken_store_does_not_stop_the_others(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A store whose pages cannot be laid out is named with the reason; the rest is written."""
    sound = summary

    def broken(content: StoreContent) -> bytes:
        if content.store.store == "S1":
            message = "no such luck"
            raise ValueError(message)
        return sound(content)

    monkeypatch.setattr(write, "summary", broken)
    written, failed = report(database, load_settings(), tmp_path / "out", Selection(), Silent())

    assert [entry.store for entry in written] == ["../S3", "S2", "con"]
    [(store, sentence)] = failed
    assert store == "S1"
    assert "S1" in sentence
    assert "no such luck" in sentence


def test_a_folder_that_cannot_be_made_is_said(database: Database, tmp_path: Path) -> None:
    """Where a file stands in the way of a folder, every store says so."""
    (tmp_path / "out").write_text("in the way", encoding="utf-8")
    written, failed = report(database, load_settings(), tmp_path / "out", Selection(), Silent())

    assert written == ()
    assert len(failed) == 4
    assert all("cannot be written" in sentence for _, sentence in failed)


def test_chunks_give_the_same_contents(database: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many stores are read at a time, each content is the same."""
    names = database.frame("report", "stores")["store"].to_list()
    whole = list(gather.store_contents(database, names))
    monkeypatch.setattr(gather, "CHUNK", 1)

    assert list(gather.store_contents(database, names)) == whole
    assert [content.store.store for content in whole] == sorted(names)
    assert list(gather.store_contents(database, [])) == []


def test_files_are_swapped_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write that breaks off leaves the old file as it was, and the next one succeeds."""
    path = tmp_path / "a" / "file.bin"
    put_file(path, b"old")

    def torn(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", torn)
        with pytest.raises(StorageFailed, match="No space left"):
            put_file(path, b"new")
    assert path.read_bytes() == b"old"
    put_file(path, b"new")
    assert path.read_bytes() == b"new"
    assert [p.name for p in path.parent.iterdir()] == ["file.bin"]


@pytest.mark.parametrize(
    "name",
    ["..", ".", "", "   ", "a/b", "a\\b", "C:", "nul", "COM1.txt", "aux ", "x" * 400, "ends.",
     " a", "a\0b", "a\nb", "\u202eabc", "audit", "-", "é" * 300],
)  # fmt: skip
def test_dangerous_names_become_harmless(name: str) -> None:
    """No separator, device, control letter, lone dot, outer blank or overlong name is left."""
    harmless(safe_names([name])[name])


@given(st.lists(st.text(max_size=40), max_size=12))
def test_any_names_become_different_harmless_folders(names: list[str]) -> None:
    """Whatever the names, folders differ even where case does not count, and stay the same."""
    safe = safe_names(names)

    assert set(safe) == set(names)
    assert len({folder.casefold() for folder in safe.values()}) == len(set(names))
    assert safe_names(list(reversed(names))) == safe
    for folder in safe.values():
        harmless(folder)


@pytest.mark.parametrize("name", ["S001", "Łódź 3", "Halle (West)", "店舗", "a.b", "a-b_c"])
def test_harmless_names_stay_as_they_are(name: str) -> None:
    """Letters of any script, dots inside, blanks inside and brackets are kept."""
    assert safe_names([name]) == {name: name}


def test_names_that_differ_in_case_only_get_marks() -> None:
    """Two such stores would share a folder on many file systems; each gets its own mark."""
    safe = safe_names(["Abc", "aBC", "other"])

    assert safe["other"] == "other"
    assert safe["Abc"].startswith("Abc-")
    assert safe["aBC"].startswith("aBC-")


def harmless(folder: str) -> None:
    """Check a folder name against what file systems refuse or take for something else."""
    assert folder
    assert folder == folder.strip(" .")
    assert not set(folder) & set('<>:"/\\|?*')
    assert all(letter.isprintable() for letter in folder)
    assert len(folder.encode()) <= 160
    device = folder.split(".", maxsplit=1)[0].strip().lower()
    assert device not in {
        "con",
        "prn",
        "aux",
        "nul",
        "com1",
        "audit",
    }


def test_contents_can_go_to_another_process(tmp_path: Path) -> None:
    """Every part of a store's content survives the way there and back."""
    with invented_database(tmp_path / "s.duckdb", extremes()) as database:
        for content in store_contents(database, ["S001", "S002", "S008"], ("A",)):
            assert pickle.loads(pickle.dumps(content)) == content  # noqa: S301 - our own bytes
