"""Energy readings and labels of many stores at once, column by column."""

from collections.abc import Iterator, Sequence
from datetime import datetime, time, timedelta

import polars as pl

from pipeline.demo import air, observe
from pipeline.demo.chain import LATEST
from pipeline.demo.chance import bell, draws, unit
from pipeline.demo.columns import ED_LONG, LABELS
from pipeline.demo.records import Site
from pipeline.demo.sheets import ENGLISH_TEXT

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


def reading_frame(seed: int, part: int, sites: Sequence[Site], readings: int) -> pl.DataFrame:
    """Return the energy readings of some stores, one a row, under the headings of region North."""
    bursts = draws(seed, part, "bursts")
    power = _milliwatt(air.NOISE_FLOOR_DBM + _NOISE_DB * bell(draws(seed, part, "noise")))
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
        pl.lit(0.128),
        pl.lit(ENGLISH_TEXT.yes),
    )
    scans = pl.DataFrame({"scan": range(readings)}, schema={"scan": pl.Int64})
    frame = pl.DataFrame(list(_air_rows(seed, sites)), schema=_AIR_SCHEMA, orient="row")
    laid = frame.join(scans, how="cross").sort("position", "scan", "channel")
    return laid.select(
        cell.alias(heading) for (heading, _), cell in zip(ED_LONG, cells, strict=True)
    )


def label_frame(seed: int, part: int, sites: Sequence[Site]) -> pl.DataFrame:
    """Return the labels of some stores under the headings of region North, with their date."""
    place, state = draws(seed, part, "label places"), draws(seed, part, "label states")
    distance_m = _LABEL_RADIUS_M * unit(place, 0, 2).sqrt()
    kind = unit(state, 0, 4)
    updates, octets = _of_kind(kind, 1), _of_kind(kind, 2)
    level = _label_level_dbm(distance_m) + _LABEL_SPREAD_DB * bell(draws(seed, part, "shadow"))
    number = pl.col("number") + 1
    cells = (
        pl.col("store"),
        pl.format("{}-L{}", "store", number.cast(pl.String).str.zfill(4)),
        pl.format(
            "{}-{}",
            "store",
            ((unit(place, 1, 2) * pl.col("stations")).floor().cast(pl.Int64) + 1)
            .cast(pl.String)
            .str.zfill(2),
        ),
        level.round().cast(pl.Int32),
        1 + (unit(state, 1, 4) * 5).floor().cast(pl.Int32),
        (100 - 4 * unit(state, 2, 4) ** 2).round(1),
        pl.lit(LATEST) - pl.duration(days=(2.2 * unit(state, 3, 4)).floor().cast(pl.Int64)),
        updates,
        octets,
        pl.col("listens_on"),
        pl.lit(LATEST),
    )
    headings = (*(heading for heading, _ in LABELS), "Exported on")
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


def _air_rows(seed: int, sites: Sequence[Site]) -> Iterator[tuple[object, ...]]:
    """Yield each station and channel with its loudest Wi-Fi bursts: shares, then powers in mW."""
    stations = [(site, station) for site in sites for station in site.stations]
    for position, (site, station) in enumerate(stations):
        bursts = observe.burst_levels(seed, station, site.access_points)
        for channel in air.CHANNELS:
            found = sorted(bursts[channel], key=lambda burst: -burst[1])[:_LOUDEST]
            padded = [*found, *[(0.0, air.NOISE_FLOOR_DBM)] * (_LOUDEST - len(found))]
            shares = [share for share, _ in padded]
            powers = [10 ** (level / 10) for _, level in padded]
            yield position, station.store, station.station, channel, *shares, *powers


def _milliwatt(level_dbm: pl.Expr) -> pl.Expr:
    return pl.lit(10.0) ** (level_dbm / 10)


def _label_level_dbm(distance_m: pl.Expr) -> pl.Expr:
    """Return the level of a 0 dBm station by the demo's path loss, in steps of half a metre."""
    steps = int(_LABEL_RADIUS_M * 2) + 1
    levels = {step: -air.path_loss_db(step / 2) for step in range(steps + 1)}
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
