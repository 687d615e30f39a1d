"""Simulated readings in the form the estimator takes them: as the survey step will fold them."""

import polars as pl

THRESHOLD_DBM = -75.0
STILL_DBM = -91.0


def folded(readings: pl.DataFrame) -> pl.DataFrame:
    """Return one row per scan, channel and statistic, with counts of what was loud."""
    by = ["store", "station", "channel", "scanned_at", "statistic", "dwell_ms"]
    loud = pl.col("level_dbm") > THRESHOLD_DBM
    power = (10 ** (pl.col("level_dbm") / 10) * pl.col("readings")).sum()
    return (
        readings.group_by(by)
        .agg(
            pl.col("readings").sum(),
            pl.col("readings").filter(loud).sum().alias("busy"),
            pl.lit(0, dtype=pl.Int64).alias("censored"),
            pl.col("readings").filter(pl.col("level_dbm") <= STILL_DBM).sum().alias("still"),
            (10 * (power / pl.col("readings").sum()).log10()).alias("level_dbm"),
            pl.col("level_dbm").mean().alias("typical_dbm"),
            (pl.col("level_dbm") ** 2).mean().alias("square_dbm"),
        )
        .with_columns(pl.col("scanned_at").dt.hour().cast(pl.Int64).alias("hour"))
        .sort(by)
    )


def known(truth: pl.DataFrame) -> pl.DataFrame:
    """Return the part of the truth that a Wi-Fi survey tells."""
    return truth.select("store", "station", "channel", "wifi_share", "burst_dbm")
