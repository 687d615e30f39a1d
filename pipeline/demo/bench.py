"""Exports of any size, for measuring: stores as in the demo, a file for every fifty of them.

Energy readings and labels are made column by column, from draws that repeat on any machine.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path

import polars as pl

from pipeline.demo import observe
from pipeline.demo.air import CHANNELS, NOISE_FLOOR_DBM, dice, path_loss_db
from pipeline.demo.chain import LATEST, plan_of, site_of
from pipeline.demo.exports import (
    DWELL_MS,
    ED_NORTH,
    NORTH_TEXT,
    columns_of,
    dated,
    table,
    write_files,
)
from pipeline.demo.records import DemoSite, ExportedStore
from pipeline.progress import Progress, Silent

REVISIT_DAYS = 7  # after the first exports, some stores send new ones
_STORES_A_FILE = 50
_LOUDEST = 3  # bursts of further access points change hardly a level
_NOISE_DB = 1.1
_LABEL_SPREAD_DB = 3.0
_LABEL_RADIUS_M = 18.0
_FIRST_SCAN = datetime.combine(LATEST - timedelta(days=4), time(8))
_MINUTES_BETWEEN_SCANS = 13
_AIR_SCHEMA = {
    "position": pl.Int64,
    "store": pl.String,
    "station": pl.String,
    "channel": pl.Int64,
    **{f"share_{index}": pl.Float64 for index in range(_LOUDEST)},
    **{f"milliwatt_{index}": pl.Float64 for index in range(_LOUDEST)},
}
# Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014, figure 17.
_STEP = 0x9E3779B97F4A7C15
_ROUNDS = ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB))
_LAST_SHIFT = 31


@dataclass(frozen=True, slots=True)
class BenchSize:
    """How much to generate: stores; stations and labels a store; readings a station and channel."""

    stores: int
    stations: int = 8
    readings: int = 50
    labels: int = 4000


def write_bench(folder: Path, size: BenchSize, seed: int, progress: Progress | None = None) -> None:
    """Write exports of any size below `folder`, fifty stores at a time.

    Memory does not grow with the number of stores. The same arguments write the same bytes.
    """
    starts = range(0, size.stores, _STORES_A_FILE)
    watched = (progress or Silent()).over(starts, "exports", len(starts))
    for part, first in enumerate(watched, start=1):
        batch = range(first, min(first + _STORES_A_FILE, size.stores))
        sites = [_site(seed, number, size) for number in batch]
        target = folder / f"part-{part:04d}"
        kinds: dict[str, list[object]] = {
            "stores": [ExportedStore(site.plan, LATEST) for site in sites],
            "stations": [station for site in sites for station in site.stations],
            "wifi": [row for site in sites for row in observe.wifi(seed, site, LATEST)],
            "heard": [row for site in sites for row in observe.heard(seed, site, LATEST)],
        }
        for kind, rows in kinds.items():
            _write_table(target, kind, rows, LATEST)
        _write_frame(target, "ed_readings", _reading_frame(seed, part, sites, size.readings))
        _write_frame(target, "labels", _label_frame(seed, part, sites))


def write_revisit(folder: Path, numbers: Sequence[int], size: BenchSize, seed: int) -> None:
    """Write what stores of the bench, by number, send `REVISIT_DAYS` later below `folder`.

    Their stations, the first of each on another channel, and new energy readings.
    """
    later = timedelta(days=REVISIT_DAYS)
    sites = [_moved(_site(seed, number, size)) for number in numbers]
    stations = [station for site in sites for station in site.stations]
    _write_table(folder / "revisit", "stations", stations, LATEST + later)
    readings = _reading_frame(seed + 1, 1, sites, size.readings)
    moved = readings.with_columns(pl.selectors.datetime() + later)
    _write_frame(folder / "revisit", "ed_readings", moved)


def _site(seed: int, number: int, size: BenchSize) -> DemoSite:
    plan = plan_of(seed, number, size.stations, size.labels)
    return site_of(seed, plan, number * size.stations, number)


def _moved(site: DemoSite) -> DemoSite:
    """Return a store whose first station somebody set to another channel."""
    first, *rest = site.stations
    channel = CHANNELS[(CHANNELS.index(first.channel) + 1) % len(CHANNELS)]
    return replace(site, stations=(replace(first, channel=channel), *rest))


def _write_table(folder: Path, kind: str, rows: Sequence[object], day: date) -> None:
    columns = dated(columns_of("north")[kind], "Exported on", day)
    write_files([table(f"{kind}.csv", NORTH_TEXT, columns, rows)], folder)


def _write_frame(folder: Path, kind: str, frame: pl.DataFrame) -> None:
    frame.write_csv(folder / f"{kind}.csv", datetime_format=NORTH_TEXT.moment_format)


def _reading_frame(seed: int, part: int, sites: Sequence[DemoSite], readings: int) -> pl.DataFrame:
    """Return the energy readings of some stores, one a row, under the headings of region North."""
    bursts = _draws(seed, part, "bursts")
    power = _milliwatt(NOISE_FLOOR_DBM + _NOISE_DB * bell(_draws(seed, part, "noise")))
    for index in range(_LOUDEST):
        on = unit(bursts, index, _LOUDEST) < pl.col(f"share_{index}")
        power = power + pl.when(on).then(pl.col(f"milliwatt_{index}")).otherwise(0.0)
    minutes = pl.col("scan") * _MINUTES_BETWEEN_SCANS + pl.col("position") % _MINUTES_BETWEEN_SCANS
    cells = (
        pl.col("store"),
        pl.col("station"),
        pl.lit(_FIRST_SCAN) + pl.duration(minutes=minutes),
        pl.col("channel"),
        (10 * power.log10()).round().cast(pl.Int32),
        pl.lit("single"),
        pl.lit(DWELL_MS),
        pl.lit(NORTH_TEXT.yes),
    )
    scans = pl.DataFrame({"scan": range(readings)}, schema={"scan": pl.Int64})
    frame = pl.DataFrame(list(_air_rows(seed, sites)), schema=_AIR_SCHEMA, orient="row")
    laid = frame.join(scans, how="cross").sort("position", "scan", "channel")
    return laid.select(
        cell.alias(heading) for (heading, _), cell in zip(ED_NORTH, cells, strict=True)
    )


def _air_rows(seed: int, sites: Sequence[DemoSite]) -> Iterator[tuple[object, ...]]:
    """Yield each station and channel with its loudest Wi-Fi bursts: shares, then powers in mW."""
    stations = [(site, station) for site in sites for station in site.stations]
    for position, (site, station) in enumerate(stations):
        bursts = observe.burst_levels(seed, station, site.access_points)
        for channel in CHANNELS:
            found = sorted(bursts[channel], key=lambda burst: -burst[1])[:_LOUDEST]
            padded = [*found, *[(0.0, NOISE_FLOOR_DBM)] * (_LOUDEST - len(found))]
            shares = [share for share, _ in padded]
            powers = [10 ** (level / 10) for _, level in padded]
            yield position, station.store, station.station, channel, *shares, *powers


def _milliwatt(level_dbm: pl.Expr) -> pl.Expr:
    return pl.lit(10.0) ** (level_dbm / 10)


def _label_frame(seed: int, part: int, sites: Sequence[DemoSite]) -> pl.DataFrame:
    """Return the labels of some stores under the headings of region North, with their date."""
    place, state = _draws(seed, part, "label places"), _draws(seed, part, "label states")
    distance_m = _LABEL_RADIUS_M * unit(place, 0, 2).sqrt()
    spread_db = _LABEL_SPREAD_DB * bell(_draws(seed, part, "shadow"))
    kind = unit(state, 0, 4)
    station = (unit(place, 1, 2) * pl.col("stations")).floor().cast(pl.Int64) + 1
    cells = (
        pl.col("store"),
        pl.format("{}-L{}", "store", (pl.col("number") + 1).cast(pl.String).str.zfill(4)),
        pl.format("{}-{}", "store", station.cast(pl.String).str.zfill(2)),
        (_label_level_dbm(distance_m) + spread_db).round().cast(pl.Int32),
        1 + (unit(state, 1, 4) * 5).floor().cast(pl.Int32),
        (100 - 4 * unit(state, 2, 4) ** 2).round(1),
        pl.lit(LATEST) - pl.duration(days=(2.2 * unit(state, 3, 4)).floor().cast(pl.Int64)),
        _of_kind(kind, 1),
        _of_kind(kind, 2),
        pl.col("listens_on"),
        pl.lit(LATEST),
    )
    headings = (*(heading for heading, _ in columns_of("north")["labels"]), "Exported on")
    rows = [
        (s.plan.store, s.plan.stations, s.plan.labels, " ".join(map(str, s.plan.listens_on)))
        for s in sites
    ]
    columns = ["store", "stations", "labels", "listens_on"]
    return (
        pl.DataFrame(rows, schema=columns, orient="row")
        .with_columns(number=pl.int_ranges(0, pl.col("labels")))
        .explode("number")
        .select(cell.alias(heading) for heading, cell in zip(headings, cells, strict=True))
    )


def _label_level_dbm(distance_m: pl.Expr) -> pl.Expr:
    """Return the level of a 0 dBm station by the demo's path loss, in steps of half a metre."""
    steps = int(_LABEL_RADIUS_M * 2) + 1
    levels = {step: -path_loss_db(step / 2) for step in range(steps + 1)}
    return (distance_m * 2).round().cast(pl.Int64).replace_strict(levels, return_dtype=pl.Float64)


def _of_kind(draw: pl.Expr, field: int) -> pl.Expr:
    """Return a label kind's value (1: updates a day, 2: octets) by the draw."""
    common, large, largest = observe.LABEL_KINDS
    return (
        pl.when(draw < common[0])
        .then(pl.lit(common[field]))
        .when(draw < large[0])
        .then(pl.lit(large[field]))
        .otherwise(pl.lit(largest[field]))
    )


def splitmix64(start: int, count: pl.Expr) -> pl.Expr:
    """Return the `count`-th (from 1) 64-bit number of the generator started at `start`."""
    mixed = _constant(start) + count.cast(pl.UInt64) * _constant(_STEP)
    for shift, factor in _ROUNDS:
        mixed = (mixed ^ (mixed // _constant(1 << shift))) * _constant(factor)
    return mixed ^ (mixed // _constant(1 << _LAST_SHIFT))


def _constant(value: int) -> pl.Expr:
    return pl.lit(value, dtype=pl.UInt64)


def _draws(*parts: object) -> pl.Expr:
    """Return one 64-bit number a row, of a generator named by its parts."""
    return splitmix64(dice(*parts).getrandbits(64), pl.int_range(1, pl.len() + 1, dtype=pl.UInt64))


def unit(draw: pl.Expr, part: int, parts: int) -> pl.Expr:
    """Return part number `part` of a 64-bit draw cut into `parts`, as a number in [0, 1)."""
    bits = 64 // parts
    piece = (draw // _constant(1 << (bits * part))) % _constant(1 << bits)
    return piece.cast(pl.Float64) / float(1 << bits)


def bell(draw: pl.Expr) -> pl.Expr:
    """Return a number of mean 0 and spread 1, nearly normal: the sum of four uniform ones."""
    total = pl.sum_horizontal(unit(draw, part, 4) for part in range(4))
    return (total - 2.0) * math.sqrt(3)
