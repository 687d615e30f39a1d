"""Ingest meets hostile files: each is refused with a sentence and costs no other."""

import io
import os
import subprocess
import sys
import time
import zipfile
from pathlib import Path
from random import Random

import openpyxl
import pytest
from ingest_kit import SET, STATIONS, STORES, dump, put, take
from started import begun, killed

from pipeline.database import open_database
from pipeline.errors import DatabaseBusy
from pipeline.ingest.load import ingest
from pipeline.progress import Silent
from pipeline.settings import load_settings

SHEET = "xl/worksheets/sheet1.xml"


def workbook(rows: list[list[object]]) -> bytes:
    """Return a workbook of these rows."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def with_part(content: bytes, name: str, change: bytes) -> bytes:
    """Return a workbook in which one part is replaced."""
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.namelist():
            new.writestr(part, change if part == name else old.read(part))
    return buffer.getvalue()


def zipped(members: dict[str, bytes]) -> bytes:
    """Return an archive of these members."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return buffer.getvalue()


STATION_SHEET = [line.split(",") for line in STATIONS.splitlines()]
SOUND = workbook([list(row) for row in STATION_SHEET])
OPEN = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
CLOSE = b"</sheetData></worksheet>"
CELL = b'<c t="inlineStr"><is><t>%s</t></is></c>'
LAUGHS = (
    b'<?xml version="1.0"?><!DOCTYPE w [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;">]>'
    + OPEN
    + b"<row>"
    + CELL % b"&b;"
    + b"</row>"
    + CLOSE
)
HOSTILE = (
    "entities.xlsx",
    "entities16.xlsx",
    "huge_cell.xlsx",
    "wide_row.xlsx",
    "far_row.xlsx",
    "far_column.xlsx",
    "texts.xlsx",
    "broken.xlsx",
    "not_at_all.xlsx",
    "no_sheets.xlsx",
    "bomb.zip",
    "nested.zip",
    "many.zip",
    "broken.zip",
    "empty.csv",
    "long_line.csv",
    "nuls.csv",
    "old.xls",
)


def hostile_files() -> dict[str, bytes]:
    """Return the hostile files, some of which take a while to make."""
    return {
        "entities.xlsx": with_part(SOUND, SHEET, LAUGHS),
        "entities16.xlsx": with_part(SOUND, SHEET, LAUGHS.decode().encode("utf-16")),
        "huge_cell.xlsx": with_part(
            SOUND, SHEET, OPEN + b"<row>" + CELL % (b"a" * (6 << 20)) + b"</row>" + CLOSE
        ),
        "wide_row.xlsx": with_part(
            SOUND, SHEET, OPEN + b"<row>" + (CELL % b"x") * 1_000_000 + b"</row>" + CLOSE
        ),
        "far_row.xlsx": with_part(
            SOUND, SHEET, OPEN + b'<row r="999999999">' + CELL % b"x" + b"</row>" + CLOSE
        ),
        "far_column.xlsx": with_part(
            SOUND, SHEET, OPEN + b'<row r="1"><c r="ZZZZZZ1"><v>1</v></c></row>' + CLOSE
        ),
        "texts.xlsx": with_part(
            workbook([["a"]]), "xl/sharedStrings.xml", b"<sst>" + b" " * (130 << 20) + b"</sst>"
        ),
        "broken.xlsx": SOUND[: len(SOUND) // 2],
        "not_at_all.xlsx": b"store,station\n",
        "no_sheets.xlsx": zipped({"hello.txt": b"x"}),
        "bomb.zip": zipped({"a.csv": b"0" * (200 << 20)}),
        "nested.zip": zipped({"inner.zip": zipped({"stores.csv": STORES.encode()})}),
        "many.zip": zipped({f"{place}.csv": b"" for place in range(2500)}),
        "broken.zip": zipped({"a.csv": b"x"})[:-30],
        "empty.csv": b"",
        "long_line.csv": b"store," * 3_000_000,
        "nuls.csv": b"\0" * 100_000,
        "old.xls": b"\xd0\xcf\x11\xe0",
    }


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str | None]:
    """Return the sentence for every hostile file, all taken in one run beside a valid set."""
    files = hostile_files()
    assert tuple(files) == HOSTILE
    folder = put(tmp_path_factory.mktemp("hostile"), {**SET, **files})
    (folder / "link.csv").symlink_to("/etc/hostname")
    (folder / "folder").symlink_to("/etc")
    (folder / "loop").symlink_to(folder)
    os.mkfifo(folder / "pipe.csv")
    result = take(folder)
    assert sum(outcome.rows_loaded for outcome in result.outcomes) == 15
    return {outcome.file: outcome.refused for outcome in result.outcomes}


@pytest.mark.parametrize(
    "name",
    [
        *(name for name in HOSTILE if name not in ("nested.zip", "long_line.csv")),
        "nested.zip!inner.zip", "link.csv", "folder", "loop", "pipe.csv",
    ],
)  # fmt: skip
def test_hostile_files_are_refused_with_a_sentence(
    hostile: dict[str, str | None], name: str
) -> None:
    """Each is named, refused with a sentence, and the valid set beside them loads whole."""
    found = [why for file, why in hostile.items() if file.split("#")[0] == name]

    assert found
    assert all(why and why[0].isupper() and why.rstrip().endswith((".", "?")) for why in found)


def test_a_line_without_end_takes_little_memory(tmp_path: Path) -> None:
    """A line of 60 MB below valid headings is one quarantined row; its neighbours load."""
    rows = STORES.splitlines(keepends=True)
    text = "".join(rows[:3]) + "x" * 60_000_000 + "\n" + rows[3]

    result = take(put(tmp_path, {"x.csv": text}))

    assert result.problems() == [(4, "line-too-long")]
    assert result.outcome("x.csv").rows_loaded == 2


def test_members_of_archives_never_name_files(tmp_path: Path) -> None:
    """A member with a path that climbs out is read, and written nowhere."""
    content = zipped({"../../escape.csv": STORES.encode(), "/abs.csv": STATIONS.encode()})
    folder = put(tmp_path / "a" / "b" / "in", {"x.zip": content})

    result = take(folder)

    assert [outcome.rows_loaded for outcome in result.outcomes] in ([2, 3], [3, 2])
    assert [path.name for path in tmp_path.rglob("*.csv")] == []


HOLD = """
import sys, time
from pathlib import Path
from pipeline.database import open_database
with open_database(Path(sys.argv[1])):
    print("open", flush=True)
    time.sleep(60)
"""


def test_a_second_process_gets_a_sentence(tmp_path: Path) -> None:
    """While one process holds the database another is told so."""
    path = tmp_path / "d.duckdb"
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path)],
        stdout=subprocess.PIPE,
        cwd=Path(__file__).parents[1],
    ) as other:
        assert other.stdout is not None
        other.stdout.readline()
        try:
            with pytest.raises(DatabaseBusy, match="in use"), open_database(path):
                pass
        finally:
            other.kill()


def ingest_into(folder: Path, database: Path) -> None:
    """Ingest a folder, as the process does that is killed."""
    with open_database(database) as opened:
        ingest(opened, folder, load_settings(), Silent())


def crash_set(folder: Path) -> Path:
    """Write an export set whose ingest takes a while in small transactions."""
    files = dict(SET)
    for place in range(8):
        rows = "".join(
            f"S{place:03},S{place:03}-01,2026-09-{day:02} 0{hour}:00:00,{channel},-{70 + hour}\n"
            for day in range(1, 8)
            for hour in range(9)
            for channel in range(11, 27)
        )
        files[f"ed{place}.csv"] = "store,station,scanned at,channel,level dbm\n" + rows + "S,,,\n"
    return put(folder, files)


def killed_at_work(folder: Path, database: Path, after_s: float) -> bool:
    """Kill an ingest some time after its start; return whether it was still at work."""
    process = begun(ingest_into, folder, database)
    time.sleep(after_s)
    return killed(process)


def crash_often(tmp_path: Path, times: int, seed: int) -> None:
    """Kill and repeat, and compare with the undisturbed run."""
    folder = crash_set(tmp_path / "in")
    started = time.monotonic()
    undisturbed = take(folder, tmp_path / "whole.duckdb").tables
    whole_s = time.monotonic() - started
    random = Random(seed)
    met = 0
    for place in range(times):
        database = tmp_path / f"{place}.duckdb"
        met += killed_at_work(folder, database, random.uniform(0, whole_s))
        take(folder, database)
        with open_database(database) as opened:
            assert dump(opened) == undisturbed
        database.unlink()
    assert met >= times // 4


def test_killed_at_any_moment(tmp_path: Path) -> None:
    """Killed at a random moment and run again, the database equals that of an undisturbed run."""
    crash_often(tmp_path, 1, 3)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(101, 109))
def test_killed_at_any_moment_200_times(tmp_path: Path, seed: int) -> None:
    """The same for 200 moments, 25 at a time."""
    crash_often(tmp_path, 25, seed)
