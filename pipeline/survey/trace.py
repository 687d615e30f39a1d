"""Where an estimate comes from: every input that `docs/method.md` makes it of."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

import polars as pl

from pipeline.database import Database
from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.portfolio import Portfolio
from pipeline.estimate.prior import OUTSIDE, group_of
from pipeline.fresh import narrowed
from pipeline.settings import Settings
from pipeline.survey.evidence import FACTS, folded
from pipeline.tables.survey import EdEvidence

_DAYS_PER_WEEK = 7


@dataclass(frozen=True, slots=True)
class TracedReading:
    """Equal readings that count, at one moment on the store's clock; `above`: over the limit."""

    store_time: datetime
    level_dbm: float
    statistic: str
    dwell_ms: float | None
    readings: int
    above: bool


@dataclass(frozen=True, slots=True)
class TracedBlock:
    """The readings of one hour of a visit, and how many weeks old the visit is."""

    visit: int
    begins: datetime
    hour: int
    statistic: str
    dwell_ms: float | None
    level_dbm: float | None
    readings: int
    busy: int
    still: int | None
    span_s: float
    weeks: int


@dataclass(frozen=True, slots=True)
class TracedChannel:
    """All that the estimate of one station on one channel is made of.

    `read_at` is the station or place whose readings stand for it, `left_free` what our own traffic
    left free and is taken off, `group` the prior's, `wifi_weeks` the age of its Wi-Fi survey.
    """

    evidence: EdEvidence
    read_at: str
    time_zone: str | None
    readings: tuple[TracedReading, ...]
    blocks: tuple[TracedBlock, ...]
    left_free: float | None
    wifi_share: float | None
    burst_dbm: float | None
    wifi_seen_at: date | None
    wifi_weeks: int
    group: str
    portfolio: Portfolio
    assumed: Assumptions


@dataclass(frozen=True, slots=True)
class _ReadPlace:
    read_at: str
    time_zone: str | None


def traced(
    database: Database, settings: Settings, store: str, station: str, channels: Sequence[int]
) -> tuple[TracedChannel, ...]:
    """Return what the estimates of a station on some channels are made of, by the last run.

    Channels that the survey has no estimate of are left out.
    """
    assumed = Assumptions.of(settings.limits)
    portfolio = Portfolio.from_json(database.column("survey", "portfolio_fit")[0])
    database.run("survey", "next_door")
    with narrowed(database, [store], *FACTS):
        found, known = folded(database, assumed)
        free = database.frame("survey", "free_of_own")
        mine = {"store": store, "station": station}
        every = [
            _channel(
                database, mine | {"channel": channel}, (found, known, free), portfolio, assumed
            )
            for channel in channels
        ]
    return tuple(one for one in every if one is not None)


def _channel(
    database: Database,
    key: dict[str, object],
    frames: tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame],
    portfolio: Portfolio,
    assumed: Assumptions,
) -> TracedChannel | None:
    evidence = database.records(EdEvidence, "survey", "traced_evidence", key)
    if not evidence:
        return None
    (place,) = database.records(
        _ReadPlace, "survey", "traced_place", {name: key[name] for name in ("store", "station")}
    )
    found, known, free = (
        frame.filter(*(pl.col(name) == value for name, value in key.items())) for frame in frames
    )
    as_of = datetime.combine(database.value("run", "this_day"), time.max)
    blocks = found.with_columns(_weeks(pl.col("begins"), as_of).alias("weeks")).sort(
        "visit", "hour", "statistic", "dwell_ms"
    )
    fields = list(TracedBlock.__dataclass_fields__)
    facts = known.with_columns(
        group_of(pl.col("wifi_share")).alias("group"),
        _weeks(pl.col("wifi_seen_at").cast(pl.Datetime("us")), as_of).fill_null(0).alias("weeks"),
    ).row(0, named=True)
    return TracedChannel(
        evidence=evidence[0],
        read_at=place.read_at,
        time_zone=place.time_zone,
        readings=tuple(database.records(TracedReading, "survey", "traced_readings", key)),
        blocks=tuple(TracedBlock(*row) for row in blocks.select(fields).iter_rows()),
        left_free=None if free.is_empty() else free["free_of_own"][0],
        wifi_share=facts["wifi_share"],
        burst_dbm=facts["burst_dbm"],
        wifi_seen_at=facts["wifi_seen_at"],
        wifi_weeks=facts["weeks"] if facts["group"] != OUTSIDE else 0,
        group=facts["group"],
        portfolio=portfolio,
        assumed=assumed,
    )


def _weeks(moment: pl.Expr, as_of: datetime) -> pl.Expr:
    """Return the age of a moment in whole weeks, as the estimate counts it."""
    return ((pl.lit(as_of) - moment).dt.total_days() // _DAYS_PER_WEEK).clip(lower_bound=0)
