"""What a change did to the air: the estimate from scans since, and its difference from before."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from math import hypot
from typing import Protocol

import polars as pl

from pipeline.database import Database
from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.portfolio import Portfolio
from pipeline.estimate.posterior import estimate

HELPED, NO_DIFFERENCE, WORSE, SCAN_AGAIN = "helped", "no difference shown", "worse", "scan again"
"""What the difference from before shows."""

_SERIES = ["store", "station", "channel"]


@dataclass(frozen=True, slots=True)
class Share:
    """A share of time, 0..1, with its 5 and 95 % points."""

    value: float
    low: float
    high: float

    def less(self, other: "Share") -> "Share":
        """Return the difference of two independent shares.

        Each side of its interval is the root of the sum of the squares of the sides that make it:
        exact for normal distributions, near enough for others (common practice, no published
        source).
        """
        value = self.value - other.value
        down = hypot(self.value - self.low, other.high - other.value)
        up = hypot(self.high - self.value, other.value - other.low)
        return Share(value, value - down, value + up)


@dataclass(frozen=True, slots=True)
class Measured:
    """Readings since a change on the channel found, and the clear air they show."""

    readings: int
    air: Share | None


class Changed(Protocol):
    """A change that waits for an export, as far as it matters to its effect."""

    @property
    def change(self) -> str:
        """The change's name."""
        ...

    @property
    def station(self) -> str:
        """Its station."""
        ...

    @property
    def store(self) -> str:
        """Its store."""
        ...

    @property
    def since(self) -> date:
        """Readings of later days count."""
        ...

    @property
    def free_of_own(self) -> float:
        """The share of time that own neighbours leave free, 0..1."""
        ...


NOTHING = Measured(0, None)


def measured(
    database: Database, changes: Sequence[Changed], limits: Mapping[str, float], as_of: date
) -> dict[str, Measured]:
    """Return what scans since each change show; changes without any are left out.

    Call it with their stores chosen.
    """
    fit = database.value("changes", "portfolio_fit")
    blocks = database.frame("changes", "blocks_since")
    if fit is None or blocks.is_empty():
        return {}
    since = pl.DataFrame(
        [(one.change, one.store, one.station, one.since) for one in changes],
        schema={"change": pl.String, "store": pl.String, "station": pl.String, "since": pl.Date},
        orient="row",
    )
    # A change stands for the store, so that each has readings of its own.
    heard = (
        blocks.join(since, on=["store", "station"])
        .filter(pl.col("begins").dt.date() > pl.col("since"))
        .with_columns(pl.col("change").alias("store"))
        .drop("change", "since")
        .sort(*_SERIES, "visit", "hour", "statistic")
    )
    if heard.is_empty():
        return {}
    assumed = Assumptions(
        threshold_dbm=limits["cca_threshold_dbm"], half_life_days=limits["evidence_half_life_days"]
    )
    known = heard.select(*_SERIES, "wifi_share", "burst_dbm", "wifi_seen_at").unique(_SERIES)
    found = estimate(
        heard.drop("wifi_share", "burst_dbm", "wifi_seen_at"),
        known.sort(_SERIES),
        Portfolio.from_json(fit),
        datetime.combine(as_of, time.max),
        assumed,
    ).frame
    free = {one.change: one.free_of_own for one in changes}
    return {
        row["store"]: Measured(row["readings"], _air(row, free[row["store"]]))
        for row in found.iter_rows(named=True)
    }


def _air(row: Mapping[str, float], free_of_own: float) -> Share:
    return Share(
        round((1 - row["busy_estimate"]) * free_of_own, 6),
        round((1 - row["busy_high"]) * free_of_own, 6),
        round((1 - row["busy_low"]) * free_of_own, 6),
    )


def share_of(value: float | None, low: float | None, high: float | None) -> Share | None:
    """Return a share with its interval; None where it is not known."""
    if value is None:
        return None
    return Share(value, value if low is None else low, value if high is None else high)


def verdict(gain: Share | None) -> str:
    """Return what a difference from before shows, 19 times in 20."""
    if gain is None:
        return SCAN_AGAIN
    if gain.low > 0:
        return HELPED
    return WORSE if gain.high < 0 else NO_DIFFERENCE
