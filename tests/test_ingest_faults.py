"""Random damage to the demo exports: no row is lost, and stores it does not touch stay the same."""

import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest
from ingest_kit import Result, take

from pipeline.settings import load_settings

DEMO = Path(__file__).parents[1] / "sample_exports"


def flip_bytes(content: bytes, random: Random) -> bytes:
    """Set a few bytes at random."""
    out = bytearray(content)
    for _ in range(random.choice((1, 1, 3, 20))):
        out[random.randrange(len(out))] = random.randrange(256)
    return bytes(out)


def truncate(content: bytes, random: Random) -> bytes:
    """Cut the end off."""
    return content[: random.randrange(len(content))]


def cut_out(content: bytes, random: Random) -> bytes:
    """Take a piece out."""
    start, end = sorted(random.randrange(len(content)) for _ in range(2))
    return content[:start] + content[end:]


def duplicate_block(content: bytes, random: Random) -> bytes:
    """Put a piece in twice."""
    start, end = sorted(random.randrange(len(content)) for _ in range(2))
    return content[:end] + content[start:end] + content[end:]


def swap_columns(content: bytes, random: Random) -> bytes:
    """Exchange two columns from some row on."""
    delimiter = b";" if content.count(b";") > content.count(b",") else b","
    rows = [line.split(delimiter) for line in content.split(b"\n")]
    width = max(map(len, rows))
    a, b = random.randrange(width), random.randrange(width)
    start = random.choice((0, random.randrange(len(rows))))
    for row in rows[start:]:
        if max(a, b) < len(row):
            row[a], row[b] = row[b], row[a]
    return b"\n".join(delimiter.join(row) for row in rows)


def insert_sign(content: bytes, random: Random) -> bytes:
    """Put one sign in that delimited text is read by."""
    sign = random.choice((b'"', b"'", b";", b",", b"\n", b"\r", b"\0", b"\t", b"\xff", b"=", b"\\"))
    at = random.randrange(len(content))
    return content[:at] + sign + content[at:]


DAMAGES: tuple[Callable[[bytes, Random], bytes], ...] = (
    flip_bytes, truncate, cut_out, duplicate_block, swap_columns, insert_sign,
)  # fmt: skip


def of_stores(result: Result, stores: set[object]) -> Counter[tuple[object, ...]]:
    """Return the facts of some stores, counted."""
    return Counter(
        (table, *row) for table, rows in result.facts.items() for row in rows if row[0] in stores
    )


OTHER_STORES = {
    "mitte": {"E301", "E302", "E303", "E304"},
    "east": {"M201", "M202", "M203", "M204"},
}


def damage_often(tmp_path: Path, times: int, seed: int, *, whole_every: int) -> None:
    """Damage one file at a time.

    Alone it must conserve its rows and say nothing of the other region's stores; every so often
    all files are taken with it, and those stores compared.
    """
    settings = load_settings(DEMO / "rules.toml")
    folder = tmp_path / "in"
    for name in ("mitte/2026-09-30", "east/2026-09-30"):
        shutil.copytree(DEMO / name, folder / name)
    files = sorted(path for path in folder.rglob("*") if path.suffix in (".csv", ".xlsx"))
    whole = take(folder, settings=settings)
    random = Random(seed)
    for turn in range(times):
        path = random.choice(files)
        content = path.read_bytes()
        damage = random.choice(DAMAGES)
        if path.suffix == ".xlsx" and damage is swap_columns:
            damage = flip_bytes
        damaged = damage(content, random)
        stores: set[object] = set(OTHER_STORES[path.relative_to(folder).parts[0]])
        alone = tmp_path / f"alone{turn}"
        alone.mkdir()
        (alone / path.name).write_bytes(damaged)
        said = of_stores(take(alone, settings=settings), stores)
        assert not said, (path, damage.__name__)
        shutil.rmtree(alone)
        if turn % whole_every == 0:
            path.write_bytes(damaged)
            result = take(folder, settings=settings)
            path.write_bytes(content)
            assert of_stores(result, stores) == of_stores(whole, stores), (path, damage.__name__)


def test_damage_to_one_file_harms_no_other(tmp_path: Path) -> None:
    """Two random damages: rows are conserved in every file, unharmed stores are unchanged."""
    damage_often(tmp_path, 2, 1, whole_every=2)


@pytest.mark.slow
def test_damage_to_one_file_harms_no_other_50_times(tmp_path: Path) -> None:
    """The same for 50 damages, more of them beside all other files."""
    damage_often(tmp_path, 50, 1, whole_every=17)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(101, 111))
def test_damage_to_one_file_harms_no_other_2000_times(tmp_path: Path, seed: int) -> None:
    """The same for 2,000 damages, 200 at a time."""
    damage_often(tmp_path, 200, seed, whole_every=40)


def test_damage_to_one_row_harms_no_other_row(tmp_path: Path) -> None:
    """One sign put into one row of a readings file costs at most that row and the next."""
    source = DEMO / "north" / "2026-09-30" / "ed_readings.csv"
    lines = source.read_bytes().split(b"\n")[:400]
    content = b"\n".join(lines) + b"\n"
    folder = tmp_path / "in"
    folder.mkdir()
    random = Random(5)
    (folder / "ed.csv").write_bytes(content)
    whole = take(folder).outcome("ed.csv").rows_loaded
    head = len(lines[0]) + 1
    for place in range(12):
        damaged = content[:head] + insert_sign(content[head:], random)
        (folder / f"ed{place}.csv").write_bytes(damaged)
    result = take(folder)

    for outcome in result.outcomes:
        assert outcome.rows_loaded + outcome.rows_repeated >= whole - 2, outcome
