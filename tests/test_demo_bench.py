"""Exports of any size: counts, repeatability and plausibility of what is made column by column."""

import csv
from pathlib import Path

import polars as pl
import pytest

from pipeline.demo.bench import BenchSize, bell, splitmix64, unit, write_bench


def rows_of(folder: Path, kind: str) -> list[dict[str, str]]:
    """Return the rows of one kind over all parts."""
    found: list[dict[str, str]] = []
    for path in sorted(folder.rglob(f"{kind}.csv")):
        with path.open(encoding="utf-8", newline="") as lines:
            found.extend(csv.DictReader(lines))
    return found


def test_the_generator_gives_the_published_numbers() -> None:
    """SplitMix64 from 1234567 gives the five numbers of its task on Rosetta Code (from memory)."""
    counts = pl.DataFrame({"count": range(1, 6)})

    assert counts.select(splitmix64(1234567, pl.col("count"))).to_series().to_list() == [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
        4593380528125082431,
        16408922859458223821,
    ]


def test_parts_of_a_draw_are_spread_evenly() -> None:
    """Each part of a draw lies in [0, 1) with mean 1/2 and variance 1/12; the bell has 0 and 1."""
    frame = pl.DataFrame({"count": range(1, 20_001)})
    draw = splitmix64(7, pl.col("count"))
    for parts in (2, 3, 4):
        values = frame.select(unit(draw, part, parts).alias(str(part)) for part in range(parts))
        assert values.min_horizontal().min() >= 0  # type: ignore[operator]  # numbers
        assert values.max_horizontal().max() < 1  # type: ignore[operator]  # numbers
        for column in values:
            assert column.mean() == pytest.approx(1 / 2, abs=0.01)
            assert column.var() == pytest.approx(1 / 12, abs=0.003)
    bells = frame.select(bell(draw)).to_series()
    assert bells.mean() == pytest.approx(0, abs=0.03)
    assert bells.std() == pytest.approx(1, abs=0.03)


def test_row_counts_are_those_asked_for(tmp_path: Path) -> None:
    """Every store, station, reading and label asked for is written once."""
    write_bench(tmp_path, BenchSize(53, stations=4, readings=3, labels=20), 5)

    assert len(rows_of(tmp_path, "stores")) == 53
    assert len(rows_of(tmp_path, "stations")) == 212
    assert len({row["EUI-64"] for row in rows_of(tmp_path, "stations")}) == 212
    readings = rows_of(tmp_path, "ed_readings")
    assert len({(r["Station"], r["Scanned at"], r["Channel"]) for r in readings}) == 10176
    assert len(readings) == 10176
    labels = rows_of(tmp_path, "labels")
    assert len({row["Label"] for row in labels}) == len(labels) == 1060
    stations = {(row["Store"], row["Station"]) for row in rows_of(tmp_path, "stations")}
    assert {(row["Store"], row["Station"]) for row in (*labels, *readings)} <= stations


def test_one_seed_gives_one_bench(tmp_path: Path) -> None:
    """The same arguments write the same bytes; another seed writes other readings and labels."""
    for name, seed in (("a", 5), ("b", 5), ("c", 6)):
        write_bench(tmp_path / name, BenchSize(3, stations=3, readings=4, labels=30), seed)
    files = sorted(path.relative_to(tmp_path / "a") for path in (tmp_path / "a").rglob("*.csv"))

    assert len(files) == 6
    for file in files:
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()
    for name in ("ed_readings.csv", "labels.csv"):
        one, other = (tmp_path / folder / "part-0001" / name for folder in "ac")
        assert one.read_bytes() != other.read_bytes()


def test_bench_air_is_like_the_demos(tmp_path: Path) -> None:
    """Quiet readings lie about the noise floor, Wi-Fi makes some busy, labels hear well."""
    write_bench(tmp_path, BenchSize(12, readings=30, labels=200), 5)
    levels = pl.Series([int(row["Level dBm"]) for row in rows_of(tmp_path, "ed_readings")])
    heard = pl.Series([int(row["Label level dBm"]) for row in rows_of(tmp_path, "labels")])

    assert levels.median() == pytest.approx(-94, abs=1)
    assert 0.01 < (levels > -75).mean() < 0.25  # type: ignore[operator]  # a share
    assert levels.max() < -10  # type: ignore[operator]  # a level
    assert (heard < -80).mean() < 0.05  # type: ignore[operator]  # a share
