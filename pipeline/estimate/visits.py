"""Which readings belong together, and what they are worth."""

import polars as pl

from pipeline.estimate.assumptions import Assumptions

SERIES = ("store", "station", "channel")


def worth(readings: float, correlation: float) -> float:
    """Return what the readings of one visit count as, in independent ones: n / (1 + (n - 1) r).

    Source: the design effect of cluster sampling (Kish, 1965, from memory).
    """
    return readings / (1 + (readings - 1) * correlation) if readings else 0.0


def blocks(readings: pl.DataFrame, assumed: Assumptions) -> pl.DataFrame:
    """Return the readings folded by series, visit and hour.

    readings: store, station, channel, scanned_at, until, hour (0..23 on the store's clock),
    statistic, dwell_ms, readings, busy, censored, and level_dbm (power mean of the row, for means;
    else null), still (how many of its means were at the radio's floor), typical_dbm and square_dbm
    (levels and their squares, averaged in dB); null or left out: not known; one row per scan,
    channel and statistic, or per hour of scans: from the first to the last, `until`, at most an
    hour apart. Censored readings are over the scale: loud, so busy.

    Returns store, station, channel, visit (from 0), begins, hour, statistic, dwell_ms, level_dbm,
    readings, busy, still, span_s, stray_db (how far single levels stray), sorted. A visit is a run
    of readings of one station none of which is more than `gap_hours` after the one before, on
    whatever channel.
    """
    if "until" not in readings.columns:
        readings = readings.with_columns(pl.col("scanned_at").alias("until"))
    left_out = [name for name in ("still", "typical_dbm", "square_dbm") if name not in readings]
    readings = readings.with_columns(pl.lit(None, pl.Float64).alias(name) for name in left_out)
    timed = readings.join(_visits(readings, assumed), on=["store", "station", "scanned_at"])
    # By the number of the station: to group and sort by names costs twice as much.
    by = ["place", "channel", "visit", "hour", "statistic", "dwell_ms"]
    power = (10 ** (pl.col("level_dbm") / 10) * pl.col("readings")).sum()
    mean, square = (
        (pl.col(name) * pl.col("readings")).sum() / pl.col("readings").sum()
        for name in ("typical_dbm", "square_dbm")
    )
    span = (pl.col("until") - pl.col("scanned_at")).dt.total_milliseconds() / 1000
    return (
        timed.group_by(by)
        .agg(
            pl.col("store", "station", "begins").first(),
            power.alias("power"),
            (square - mean**2).clip(0).sqrt().round(2).alias("stray_db"),
            pl.col("readings").sum(),
            pl.when(pl.col("still").is_not_null().all()).then(pl.col("still").sum()),
            (pl.col("busy") + pl.col("censored")).sum(),
            pl.col("scanned_at").min(),
            pl.col("until").max(),
        )
        .sort(by)
        .select(
            *SERIES, "visit", "begins", "hour", "statistic", "dwell_ms",
            (10 * (pl.col("power") / pl.col("readings")).log10()).round(0).alias("level_dbm"),
            "readings", "busy", "still",
            span.alias("span_s"),
            "stray_db",
        )
    )  # fmt: skip


def _visits(readings: pl.DataFrame, assumed: Assumptions) -> pl.DataFrame:
    gap = pl.duration(seconds=round(assumed.gap_hours * 3600))
    station = ["store", "station"]
    # Other channels may have been scanned until later within the hour before.
    before = pl.col("until").cum_max().shift().over(station)
    starts = (pl.col("scanned_at") - before >= gap).fill_null(value=False)
    return (
        readings.group_by(*station, "scanned_at")
        .agg(pl.col("until").max())
        .sort(*station, "scanned_at")
        .with_columns(
            starts.cum_sum().over(station).alias("visit"),
            pl.struct(station).rle_id().alias("place"),
        )
        .with_columns(pl.col("scanned_at").min().over(*station, "visit").alias("begins"))
    )
