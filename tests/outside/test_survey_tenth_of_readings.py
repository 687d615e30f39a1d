"""A tenth of real readings, in visits, says within its interval what all of them say.

Readings: InSecTT TDMA interference data set (CC-BY-4.0), one energy detection of 128 us per slot of
0.9 ms; and sweeps summed over each channel, FFT_eval (CC0-1.0). Both are read in place. The capture
whose levels are above 0 dBm is left out, as a loader must.
"""

from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
from simulate.fold import folded

from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.portfolio import fit_portfolio
from pipeline.estimate.posterior import estimate
from pipeline.estimate.visits import blocks

START = datetime(2026, 8, 3, 12)
THRESHOLD_DBM = -75.0
PIECES = 16  # each slot file is as long as so many surveys of one channel


def _series(folder: Path) -> dict[tuple[str, int], list[float]]:
    series: dict[tuple[str, int], list[float]] = {}
    for name in ("tdma_slots_ble5", "tdma_slots_periodic"):
        table = pl.read_csv(folder / f"{name}.csv").drop("SF")
        levels = [x for row in table.iter_rows() for x in row if x is not None]
        size = len(levels) // PIECES
        series |= {(name, 11 + i): levels[i * size : (i + 1) * size] for i in range(PIECES)}
    sweeps = pl.read_csv(folder / "sweep_binned_to_channels.csv")
    for (capture,), part in sweeps.group_by("capture", maintain_order=True):
        if part["dbm"].max() <= 0:  # type: ignore[operator]  # a column of floats
            for (channel,), rows in part.group_by("channel", maintain_order=True):
                series[str(capture), int(str(channel))] = rows["dbm"].to_list()
    return series


def _tenth(levels: list[float]) -> list[tuple[datetime, float]]:
    """Return a tenth of a series as up to ten visits of neighbouring readings, on ten days."""
    size = max(1, len(levels) // 100)
    visits = max(1, round(len(levels) / 10 / size))
    begins = [i * len(levels) // visits for i in range(visits)]
    return [
        (START + timedelta(days=day, milliseconds=j), levels[begin + j])
        for day, begin in enumerate(begins)
        for j in range(size)
    ]


def test_a_tenth_covers_the_whole(shared_data: Path) -> None:
    """The intervals hold the whole series' share in at least 85 % of the channels."""
    series = _series(shared_data / "ed_readings")
    rows = [
        (capture, "A", at, channel, level, "single", 0.128, 1)
        for (capture, channel), levels in series.items()
        for at, level in _tenth(levels)
    ]
    columns = (
        "store", "station", "scanned_at", "channel", "level_dbm", "statistic", "dwell_ms",
        "readings",
    )  # fmt: skip
    truth = pl.DataFrame(
        [(c, "A", n, sum(x > THRESHOLD_DBM for x in v) / len(v)) for (c, n), v in series.items()],
        schema=["store", "station", "channel", "busy"],
        orient="row",
    )
    assumed = Assumptions()
    found = blocks(folded(pl.DataFrame(rows, schema=columns, orient="row")), assumed)
    known = truth.select(
        "store",
        "station",
        "channel",
        pl.lit(None, pl.Float64).alias("wifi_share"),
        pl.lit(None, pl.Float64).alias("burst_dbm"),
    )
    portfolio = fit_portfolio(found, known, assumed)
    last = START + timedelta(days=10)
    frame = estimate(found, known, portfolio, last, assumed).frame.join(
        truth, on=["store", "station", "channel"]
    )
    covered = frame.filter(
        (pl.col("busy") >= pl.col("busy_low") - 0.0005)
        & (pl.col("busy") <= pl.col("busy_high") + 0.0005)
    )
    assert len(frame) > 60
    assert len(covered) / len(frame) >= 0.85
    # Wide intervals would cover anything: these also tell the quiet from the busy.
    assert (frame["busy_high"] - frame["busy_low"]).mean() < 0.35  # type: ignore[operator]  # floats
    assert abs((frame["busy_estimate"] - frame["busy"]).mean()) < 0.03  # type: ignore[operator, arg-type]  # floats
